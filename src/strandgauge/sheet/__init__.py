"""The class sheet: the photos of a folder, a row each, and what became of them."""
