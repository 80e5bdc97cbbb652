"""CIELAB, CIE XYZ and the CIEDE2000 difference for D65 and the CIE 1931 2 degree observer.

XYZ is on the scale of the perfect white, Y = 1, everywhere in this package.

Small and vectorised, because the fit of the light and the solver of mixes need hundreds of thousands of these in
a blink; the tests hold them to colour-science, to scikit-image and to the published test pairs.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike

from strandgauge.codes.bounds import NotNegative
from strandgauge.colour.arrays import Array

Lab = tuple[float, float, float]
"""One colour: CIELAB L*, a*, b* for D65 and the CIE 1931 2 degree observer."""
LabSd = tuple[NotNegative, NotNegative, NotNegative]
"""Standard uncertainty of each of L*, a*, b*."""

WHITE_D65: Array = np.array([0.95047, 1.0, 1.08883])
"""XYZ of D65 for the 2 degree observer, Y = 1 (IEC 61966-2-1 white, ASTM E308 rounded)."""

EPSILON = 216.0 / 24389.0
KAPPA = 24389.0 / 27.0
"""Where CIELAB goes over from a cube root to a line, and that line's slope [CIE 15:2018]."""


LAB_OF_ROOT = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
"""Slopes of L*, a*, b* by the cube roots of X/Xn, Y/Yn, Z/Zn."""


def as_lab(values: Iterable[float]) -> Lab:
    """Return three numbers as one colour.

    Raises
    ------
    ValueError : there are not three.
    """
    lightness, a, b = (float(value) for value in values)
    return lightness, a, b


def xyz_from_lab(lab: ArrayLike) -> Array:
    """Return CIE XYZ (..., 3) of CIELAB (..., 3) [CIE 15:2018, 8.2.1]."""
    lab = np.asarray(lab, dtype=float)
    fy = (lab[..., 0] + 16.0) / 116.0
    f = np.stack([fy + lab[..., 1] / 500.0, fy, fy - lab[..., 2] / 200.0], axis=-1)
    ratio = np.where(f**3 > EPSILON, f**3, (116.0 * f - 16.0) / KAPPA)
    return np.asarray(ratio * WHITE_D65)


def lab_from_xyz(xyz: ArrayLike) -> Array:
    """Return CIELAB (..., 3) of CIE XYZ (..., 3) [CIE 15:2018, 8.2.1]."""
    ratio = np.asarray(xyz, dtype=float) / WHITE_D65
    f, dark = np.cbrt(ratio), ratio <= EPSILON
    if dark.any():
        f = np.where(dark, (KAPPA * ratio + 16.0) / 116.0, f)
    lab = np.empty_like(f)
    lab[..., 0] = 116.0 * f[..., 1] - 16.0
    lab[..., 1] = 500.0 * (f[..., 0] - f[..., 1])
    lab[..., 2] = 200.0 * (f[..., 1] - f[..., 2])
    return lab


def lab_slope(xyz: ArrayLike) -> Array:
    """Return the derivative (..., 3, 3) of CIELAB by XYZ (..., 3): row L*, a*, b*, column X, Y, Z."""
    ratio = np.asarray(xyz, dtype=float) / WHITE_D65
    high = ratio > EPSILON
    slope = np.where(high, np.cbrt(np.where(high, ratio, 1.0)) ** -2 / 3.0, KAPPA / 116.0) / WHITE_D65
    return np.asarray(LAB_OF_ROOT * slope[..., None, :])


def chroma(lab: ArrayLike) -> Array:
    """Return C*ab (...) of CIELAB (..., 3)."""
    lab = np.asarray(lab, dtype=float)
    return np.asarray(np.hypot(lab[..., 1], lab[..., 2]))


def hue_deg(lab: ArrayLike) -> Array:
    """Return h_ab (...) in degrees, 0 to 360, of CIELAB (..., 3)."""
    lab = np.asarray(lab, dtype=float)
    return np.asarray(np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360.0)


def delta_e_2000(first: ArrayLike, second: ArrayLike) -> Array:
    """Return the CIEDE2000 difference (...) of two CIELAB arrays (..., 3) that broadcast together.

    References
    ----------
    Sharma, Wu, Dalal 2005, The CIEDE2000 color-difference formula, Color Res. Appl. 30:21-30.
    """
    dl, dc, dh, cross = _weighted_differences(first, second)
    return np.asarray(np.sqrt(np.maximum(dl**2 + dc**2 + dh**2 + cross * dc * dh, 0.0)))


def delta_e_2000_terms(first: ArrayLike, second: ArrayLike) -> Array:
    """Return the terms of the CIEDE2000 difference (..., 4), signed, kL = kC = kH = 1.

    Delta L' / SL, Delta C' / SC, Delta H' / SH, and the rotation term RT (Delta C' / SC) (Delta H' / SH): the
    squares of the first three and the fourth sum to the square of the difference; see `delta_e_2000`.
    """
    dl, dc, dh, cross = _weighted_differences(first, second)
    return np.stack([dl, dc, dh, cross * dc * dh], axis=-1)


def delta_e_2000_parts(first: ArrayLike, second: ArrayLike) -> Array:
    """Return three numbers (..., 3), signed, whose squares sum to the square of the CIEDE2000 difference.

    Lightness, chroma with half the cross term completed to a square, and what is left of hue.
    """
    dl, dc, dh, cross = _weighted_differences(first, second)
    rest = np.sqrt(np.maximum(1.0 - cross**2 / 4.0, 0.0))
    return np.stack([dl, dc + cross / 2.0 * dh, rest * dh], axis=-1)


def _weighted_differences(first: ArrayLike, second: ArrayLike) -> tuple[Array, Array, Array, Array]:
    """Return the weighted differences of lightness, chroma and hue, and the factor of their cross term.

    Unit weights kL = kC = kH = 1; see `delta_e_2000`.
    """
    one, two = np.broadcast_arrays(np.asarray(first, dtype=float), np.asarray(second, dtype=float))
    l1, a1, b1 = one[..., 0], one[..., 1], one[..., 2]
    l2, a2, b2 = two[..., 0], two[..., 1], two[..., 2]
    mean_c7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2.0) ** 7
    g = 0.5 * (1.0 - np.sqrt(mean_c7 / (mean_c7 + 25.0**7)))
    a1, a2 = a1 * (1.0 + g), a2 * (1.0 + g)
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.arctan2(b1, a1) % (2.0 * np.pi), np.arctan2(b2, a2) % (2.0 * np.pi)
    coloured = c1 * c2 > 0.0
    turn = h2 - h1
    turn = np.where(turn > np.pi, turn - 2.0 * np.pi, np.where(turn < -np.pi, turn + 2.0 * np.pi, turn))
    dh = np.where(coloured, 2.0 * np.sqrt(c1 * c2) * np.sin(turn / 2.0), 0.0)
    dl, dc = l2 - l1, c2 - c1
    mean_l, mean_c = (l1 + l2) / 2.0, (c1 + c2) / 2.0
    total = h1 + h2
    far = np.abs(h1 - h2) > np.pi
    mean_h = (
        np.where(far, np.where(total < 2.0 * np.pi, total + 2.0 * np.pi, total - 2.0 * np.pi), total) / 2.0
    )
    mean_h = np.where(coloured, mean_h, total)
    rotation = np.radians(30.0) * np.exp(-(((np.degrees(mean_h) - 275.0) / 25.0) ** 2))
    c7 = mean_c**7
    rc = 2.0 * np.sqrt(c7 / (c7 + 25.0**7))
    sl, sc, sh = _weights(mean_l, mean_c, mean_h)
    return dl / sl, dc / sc, dh / sh, -np.sin(2.0 * rotation) * rc


def _weights(lightness: Array, chroma: Array, hue: Array) -> tuple[Array, Array, Array]:
    """Return SL, SC and SH of CIEDE2000, hue in radians."""
    t = (
        1.0
        - 0.17 * np.cos(hue - np.radians(30.0))
        + 0.24 * np.cos(2.0 * hue)
        + 0.32 * np.cos(3.0 * hue + np.radians(6.0))
        - 0.20 * np.cos(4.0 * hue - np.radians(63.0))
    )
    away = (lightness - 50.0) ** 2
    return 1.0 + 0.015 * away / np.sqrt(20.0 + away), 1.0 + 0.045 * chroma, 1.0 + 0.015 * chroma * t


def difference_weights(lab: Array) -> Array:
    """Return matrices (N, 3, 3) that turn a small CIELAB difference at `lab` (N, 3) into CIEDE2000 parts.

    The length of the weighted difference approximates Delta E00 near `lab`: lightness, chroma and hue
    weighting functions and the a* rescaling of Sharma, Wu and Dalal 2005, without the rotation term.
    """
    L, a, b = lab.T
    c7 = np.hypot(a, b) ** 7
    stretch = 1 + 0.5 * (1 - np.sqrt(c7 / (c7 + 25.0**7)))
    a_prime = stretch * a
    hue = np.arctan2(b, a_prime)
    SL, SC, SH = _weights(L, np.hypot(a_prime, b), hue)
    cos, sin = np.cos(hue), np.sin(hue)
    weights = np.zeros((len(lab), 3, 3))
    weights[:, 0, 0] = 1 / SL
    weights[:, 1, 1] = stretch * cos / SC
    weights[:, 1, 2] = sin / SC
    weights[:, 2, 1] = -stretch * sin / SH
    weights[:, 2, 2] = cos / SH
    return weights
