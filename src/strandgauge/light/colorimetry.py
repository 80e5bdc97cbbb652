"""CIELAB for D65 and the 2 degree observer: fast array forms and derivatives for the fit.

The conversions themselves are those of ``strandgauge.colour.cielab``, here with Y = 1 for white; the derivatives
serve the inner loop of the fit. All are checked against colour-science and scikit-image.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.cielab import WHITE_D65, lab_from_xyz, xyz_from_lab

Array = NDArray[np.float64]

WHITE_XYZ = WHITE_D65 / 100
"""D65, CIE 1931 2 degree observer, Y = 1 (IEC 61966-2-1 white, ASTM E308 rounded)."""
SRGB_TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
"""Linear sRGB to XYZ (IEC 61966-2-1 primaries, D65)."""
_EPSILON = (6 / 29) ** 3
_SLOPE = (29 / 6) ** 2 / 3


def xyz_to_lab(xyz: Array) -> Array:
    """Return CIELAB of (..., 3) XYZ with Y = 1 for white."""
    return lab_from_xyz(100 * xyz)


def lab_to_xyz(lab: Array) -> Array:
    """Return XYZ with Y = 1 for white of (..., 3) CIELAB."""
    return np.asarray(xyz_from_lab(lab) / 100)


def lab_and_slope(xyz: Array) -> tuple[Array, Array]:
    """Return CIELAB (N, 3) and its derivative to XYZ (N, 3, 3) for (N, 3) XYZ with Y = 1 for white."""
    t = xyz / WHITE_XYZ
    high = t > _EPSILON
    root = np.cbrt(np.where(high, t, 1.0))
    f = np.where(high, root, _SLOPE * t + 4 / 29)
    slope = np.where(high, 1 / (3 * root**2), _SLOPE) / WHITE_XYZ
    lab = np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)
    derivative = np.zeros((len(xyz), 3, 3))
    derivative[:, 0, 1] = 116 * slope[:, 1]
    derivative[:, 1, 0] = 500 * slope[:, 0]
    derivative[:, 1, 1] = -500 * slope[:, 1]
    derivative[:, 2, 1] = 200 * slope[:, 1]
    derivative[:, 2, 2] = -200 * slope[:, 2]
    return lab, derivative


def difference_weights(lab: Array) -> Array:
    """Return (N, 3, 3) matrices that turn a small CIELAB difference at `lab` (N, 3) into CIEDE2000 parts.

    The length of the weighted difference approximates Delta E00 near `lab`: lightness, chroma and hue
    weighting functions and the a* rescaling of Sharma, Wu and Dalal 2005, without the rotation term.
    """
    L, a, b = lab.T
    c7 = np.hypot(a, b) ** 7
    stretch = 1 + 0.5 * (1 - np.sqrt(c7 / (c7 + 25.0**7)))
    a_prime = stretch * a
    chroma = np.hypot(a_prime, b)
    hue = np.arctan2(b, a_prime)
    T = (
        1
        - 0.17 * np.cos(hue - np.radians(30))
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.radians(6))
        - 0.20 * np.cos(4 * hue - np.radians(63))
    )
    SL = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    SC = 1 + 0.045 * chroma
    SH = 1 + 0.015 * chroma * T
    cos, sin = np.cos(hue), np.sin(hue)
    weights = np.zeros((len(lab), 3, 3))
    weights[:, 0, 0] = 1 / SL
    weights[:, 1, 1] = stretch * cos / SC
    weights[:, 1, 2] = sin / SC
    weights[:, 2, 1] = -stretch * sin / SH
    weights[:, 2, 2] = cos / SH
    return weights
