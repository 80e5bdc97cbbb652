"""sRGB [IEC 61966-2-1]: its curve, its matrix, and the way to CIELAB and back."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import WHITE_D65, lab_from_xyz, xyz_from_lab

_PRIMARIES: Array = np.array([[0.64, 0.33, 0.03], [0.30, 0.60, 0.10], [0.15, 0.06, 0.79]]).T
"""Chromaticities x, y, z of red, green and blue, a column each."""

XYZ_FROM_RGB: Array = np.asarray(_PRIMARIES * np.linalg.solve(_PRIMARIES, WHITE_D65), dtype=np.float64)
"""Linear sRGB to XYZ (3, 3), so that (1, 1, 1) is D65 exactly, as colour-science and scikit-image have it."""
RGB_FROM_XYZ: Array = np.asarray(np.linalg.inv(XYZ_FROM_RGB), dtype=np.float64)
RATIO_FROM_RGB: Array = XYZ_FROM_RGB / WHITE_D65[:, None]
"""Linear sRGB to X/Xn, Y/Yn, Z/Zn of D65."""
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
"""Share of linear R, G, B in luminance, as the standard rounds it."""


def srgb_decode(v: ArrayLike) -> Array:
    """Return linear light for sRGB-encoded values 0 to 1."""
    v = np.asarray(v)
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0.0) + 0.055) / 1.055) ** 2.4)


def srgb_encode(linear: ArrayLike) -> Array:
    """Return sRGB-encoded values for linear light 0 to 1."""
    linear = np.asarray(linear)
    return np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    )


def srgb_from_lab(lab: ArrayLike) -> Array:
    """Return sRGB (..., 3), 0 to 1, of CIELAB (..., 3); colours outside its gamut are clipped to its edge."""
    return srgb_encode(np.clip(xyz_from_lab(lab) @ RGB_FROM_XYZ.T, 0.0, 1.0))


def lab_from_srgb(rgb: ArrayLike) -> Array:
    """Return CIELAB (..., 3) of sRGB (..., 3), 0 to 1."""
    return lab_from_xyz(srgb_decode(rgb) @ XYZ_FROM_RGB.T)


def hex_colour(lab: ArrayLike) -> str:
    """Return a CIELAB colour (3,) as ``#rrggbb``, the form that pages and terminals take."""
    red, green, blue = (round(255 * float(value)) for value in srgb_from_lab(lab))
    return f"#{red:02x}{green:02x}{blue:02x}"


def lab_from_hex(colour: str) -> Array:
    """Return CIELAB (3,) of ``#rrggbb``."""
    return lab_from_srgb([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
