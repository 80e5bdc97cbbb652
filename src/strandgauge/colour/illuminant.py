"""Colours given for another light, turned into those for D65."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray

ILLUMINANTS = ("A", "C", "D50", "D55", "D60", "D65", "D75", "E", "F2", "F7", "F8", "F11", "F12")
"""Illuminants a definition or a profile may name."""


def colour_library() -> Any:  # noqa: ANN401 - a module without type hints
    """Return colour-science, loaded on first use, without its remark that it cannot draw plots."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message='"Matplotlib" related API features')
        import colour
    return colour


def white_point(illuminant: str) -> NDArray[np.float64]:
    """Return XYZ (perfect white Y = 1) of an illuminant for the 2 degree observer, shape (3,).

    Chromaticities of CIE 15, as colour-science tabulates them.
    """
    colour = colour_library()
    name = f"FL{illuminant[1:]}" if illuminant.startswith("F") else illuminant
    xy = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][name]
    return np.asarray(colour.xy_to_XYZ(xy), dtype=np.float64)


def lab_under(xyz: NDArray[np.float64], white: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return CIELAB (CIE 15) of XYZ on the scale of `white`, shape (..., 3)."""
    colour = colour_library()
    return np.asarray(colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(white)), dtype=np.float64)


def adapt_to_d65(labs: NDArray[np.float64], illuminant: str) -> NDArray[np.float64]:
    """Return CIELAB for D65 of colours given for another illuminant, both for the 2 degree observer.

    Linear Bradford adaptation (Lam 1985), the transform that the ICC profile format prescribes.

    Parameters
    ----------
    labs : CIELAB, shape (N, 3).
    illuminant : one of :data:`ILLUMINANTS`.
    """
    if illuminant == "D65" or not len(labs):
        return labs
    colour = colour_library()
    white, d65 = white_point(illuminant), white_point("D65")
    xyz = colour.Lab_to_XYZ(labs, colour.XYZ_to_xy(white))
    adapted = colour.chromatic_adaptation(xyz, white, d65, method="Von Kries", transform="Bradford")
    return lab_under(np.asarray(adapted, dtype=np.float64), d65)
