"""Who checks joints and when: crews with their hours and days off, and outages with the areas that they shut down."""
