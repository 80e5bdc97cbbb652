"""From a file to upright pixels: which format it is, how large it may be, how much of it is decoded."""

from strandgauge.photo.open import Photo, open_photo

__all__ = ["Photo", "open_photo"]
