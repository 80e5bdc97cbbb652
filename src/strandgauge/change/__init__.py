"""Readings side by side."""
