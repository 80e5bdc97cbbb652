"""The reference card: what is on it, how it is printed, and where it lies in a photo."""
