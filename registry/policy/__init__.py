"""The versioned tables of a site: what is assumed, tolerated and asked for, each with its source."""
