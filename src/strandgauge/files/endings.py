"""How the names of pictures end, wherever a folder is looked through or a file is written."""

from __future__ import annotations

PHOTO_ENDINGS = frozenset(
    (".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".hif")
)
"""Photos that are read."""
OTHER_PICTURES = frozenset((".avif", ".gif", ".bmp", ".dng", ".jxl", ".jp2"))
"""Pictures that are not read, and are told so."""
WRITTEN_PICTURES = (".png", ".jpg", ".jpeg")
"""Pictures that are written."""
