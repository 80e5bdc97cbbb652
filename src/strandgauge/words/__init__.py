"""The catalogue: what is said, for terminal, page and picture alike."""
