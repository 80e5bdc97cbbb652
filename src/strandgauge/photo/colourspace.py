"""Which colour space a picture is stored in, and the way from there to sRGB."""

from __future__ import annotations

import io
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np

from strandgauge.photo.formats import Pixels

if TYPE_CHECKING:
    from PIL.ImageCms import ImageCmsProfile

SRGB = "sRGB"

_SRGB_RED_XYZ = (0.4360, 0.2225, 0.0139)
_SRGB_GREEN_XYZ = (0.3851, 0.7169, 0.0971)
"""Red and green primaries of sRGB adapted to the ICC profile white D50 (IEC 61966-2-1, ICC.1 annex)."""


@lru_cache(maxsize=8)
def _other_profile(icc: bytes | None) -> ImageCmsProfile | None:
    """Parse an ICC profile; None when there is none, it is damaged, or it is that of sRGB."""
    if not icc:
        return None
    from PIL import ImageCms

    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
    except (OSError, ImageCms.PyCMSError):
        return None
    return None if _is_srgb(profile) else profile


def colour_space_name(icc: bytes | None) -> str:
    """Return the name of the colour space that a picture states; sRGB when it states none, or a bad one."""
    profile = _other_profile(icc)
    if profile is None:
        return SRGB
    return str(profile.profile.profile_description or "unnamed colour space").strip()


def _is_srgb(profile: ImageCmsProfile) -> bool:
    """Tell sRGB by its primaries and its name, since many makers' files carry it under their own name."""
    facts = profile.profile
    if facts.xcolor_space.strip() != "RGB" or facts.red_colorant is None or facts.green_colorant is None:
        return False
    primaries = np.array([facts.red_colorant[0], facts.green_colorant[0]])
    same_primaries = np.abs(primaries - (_SRGB_RED_XYZ, _SRGB_GREEN_XYZ)).max() < 0.004
    return bool(same_primaries) and "srgb" in str(facts.profile_description).lower()


def to_srgb(pixels: Pixels, icc: bytes | None) -> Pixels:
    """Convert (H, W, 3) BGR pixels from the colour space of ``icc`` to sRGB.

    Pictures in sRGB, without a profile or with a damaged one come back untouched. Any other comes back as
    uint8, because the colour management library converts 8-bit pictures only. Colours outside sRGB are
    clipped to its edge.
    """
    profile = _other_profile(icc)
    if profile is None:
        return pixels
    from PIL import Image, ImageCms

    if pixels.dtype == np.uint16:
        pixels = cv2.convertScaleAbs(pixels, alpha=255 / 65535)
    try:
        transform = ImageCms.buildTransform(
            profile, ImageCms.createProfile("sRGB"), "RGB", "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC
        )
    except (OSError, ImageCms.PyCMSError):
        return pixels
    picture = Image.fromarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB))
    transform.apply_in_place(picture)
    return cv2.cvtColor(np.asarray(picture), cv2.COLOR_RGB2BGR)


@lru_cache(maxsize=1)
def display_p3_profile() -> bytes:
    """Return an ICC profile of Display P3 (SMPTE EG 432-1 primaries, D65 white, the curve of sRGB).

    HEIC files can state this space by a code instead of a profile. The file beside this module is the sRGB
    profile that LittleCMS makes, with the three primaries exchanged for those of Display P3, adapted to D50 by
    the Bradford transform.
    """
    return (Path(__file__).parent / "display-p3.icc").read_bytes()
