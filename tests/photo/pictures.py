"""Small pictures of known content in every format, made with Pillow, pillow-heif, tifffile and OpenCV."""

from __future__ import annotations

import io
from functools import cache

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image

FORMATS = ("JPEG", "PNG", "TIFF", "WebP", "HEIC")


@cache
def scene(width: int = 96, height: int = 64) -> NDArray[np.uint8]:
    """Return (H, W, 3) RGB: four smooth coloured quarters, so that every turn and mirror tells."""
    corners = np.array([[(210, 60, 40), (60, 190, 70)], [(50, 70, 200), (225, 215, 120)]], np.uint8)
    return cv2.resize(corners, (width, height), interpolation=cv2.INTER_LINEAR)


@cache
def encode(
    kind: str, width: int = 96, height: int = 64, *, exif: bytes = b"", icc: bytes = b"", quality: int = 95
) -> bytes:
    """Return the scene as a file of one format."""
    picture = Image.fromarray(scene(width, height))
    file = io.BytesIO()
    extra = ({"exif": exif} if exif else {}) | ({"icc_profile": icc} if icc else {})
    if kind == "HEIC":
        import pillow_heif

        pillow_heif.from_pillow(picture).save(file, quality=quality, **extra)
    elif kind == "TIFF":
        # Pillow writes no EXIF subfolder into a compressed TIFF.
        picture.save(file, "TIFF", compression=None if exif else "tiff_lzw", **extra)
    elif kind == "JPEG":
        picture.save(file, "JPEG", quality=quality, subsampling=0, **extra)
    else:
        picture.save(file, kind, quality=quality, **extra)
    return file.getvalue()


def deep(kind: str, *, orientation: int = 1) -> bytes:
    """Return the scene with 16 bits a channel, each value 257 times the 8-bit one."""
    values = scene().astype(np.uint16) * 257
    if kind == "TIFF":
        file = io.BytesIO()
        tags = [(274, 3, 1, orientation, True)]
        tifffile.imwrite(file, values, photometric="rgb", compression="deflate", extratags=tags)
        return file.getvalue()
    ok, encoded = cv2.imencode(".png", values[..., ::-1])
    assert ok
    return encoded.tobytes()


def exif(*, orientation: int = 1, taken_at: str | None = None) -> bytes:
    """Return an EXIF block as cameras write it."""
    tags = Image.Exif()
    tags[0x0112] = orientation
    if taken_at:
        tags.get_ifd(0x8769)[0x9003] = taken_at
    return tags.tobytes()
