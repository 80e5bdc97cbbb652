"""The strand: which pixels are hair, where its root, mids and ends lie, and how the light falls on it."""
