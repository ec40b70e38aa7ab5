"""Pictures: from what is true at a moment to a sheet without positions, then to shapes, then to a file."""
