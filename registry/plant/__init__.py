"""The plot plan of a site: what stands, runs and shakes where; drawings in, areas and sheet grid out."""
