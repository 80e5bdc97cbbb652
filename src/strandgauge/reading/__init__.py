"""The reading of a strand: what it is, and the one way from a photo to it."""
