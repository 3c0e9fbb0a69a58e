"""The register of joints: the joint list taken in, its changes kept, and what is on record read back."""
