"""People with what they may make up, and tools with their calibrations."""
