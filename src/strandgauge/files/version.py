"""The version, apart from the front door, so that no part of the package needs the door to name it."""

__version__ = "0.1.0"
