"""The media as networks: links that are made and broken, reduction, paths."""
