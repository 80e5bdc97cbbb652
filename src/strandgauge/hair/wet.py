"""Wetting: what a wet strand will look like when dry, and the other way round.

The model is that of Lekner and Dorf (1988), applied at each wavelength; see ``calibration/wet.toml``. The
film's own gloss is no part of the colour read from a photo, since mirroring spots are left out of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import WHITE_D65, lab_from_xyz, xyz_from_lab
from strandgauge.files.calibration import calibration_file, read_calibration


@dataclass(frozen=True, slots=True)
class Wetting:
    """The constants of the wetting model."""

    surface_reflectance: float
    internal_reflectance: float
    internal_reflectance_sd: float
    lab_sd: tuple[float, float, float]


def load_wetting(path: Path | None = None) -> Wetting:
    """Read the constants; those that ship with the package where no path is given.

    Raises
    ------
    BadCalibrationError : a value is missing or impossible; the line is named.
    """
    return _read_wetting(path) if path is not None else _shipped_wetting()


@cache
def _shipped_wetting() -> Wetting:
    return _read_wetting(calibration_file("wet.toml"))


def _read_wetting(path: Path) -> Wetting:
    table = read_calibration(path, "strandgauge.wet/1")
    first, second, third = table.numbers("wetting", "lab_sd", count=3, low=0.0, high=50.0)
    return Wetting(
        table.number("wetting", "surface_reflectance", low=0.0, high=0.2),
        table.number("wetting", "internal_reflectance", low=0.0, high=0.9),
        table.number("wetting", "internal_reflectance_sd", low=0.0, high=0.5),
        (first, second, third),
    )


def dry_reflectance(wet: ArrayLike, wetting: Wetting | None = None, internal: float | None = None) -> Array:
    """Return the dry reflectance (...) of a material whose wet reflectance, film gloss left out, is (...).

    References
    ----------
    Lekner, Dorf 1988, Why some things are darker when wet, Appl. Opt. 27:1278-1280.
    """
    wetting = wetting or load_wetting()
    p = wetting.internal_reflectance if internal is None else internal
    # wet = t (1 - p) dry / (1 - p dry)  =>  dry = wet / (t (1 - p) + p wet), t = 1 - R_l
    wet = np.asarray(wet, dtype=float)
    return np.asarray(wet / ((1.0 - wetting.surface_reflectance) * (1.0 - p) + p * wet))


def wet_reflectance(dry: ArrayLike, wetting: Wetting | None = None) -> Array:
    """Return the wet reflectance (...), film gloss left out, of a material of dry reflectance (...)."""
    wetting = wetting or load_wetting()
    dry = np.asarray(dry, dtype=float)
    through = 1.0 - wetting.surface_reflectance
    return np.asarray(through - through * (1.0 - dry) / (1.0 - wetting.internal_reflectance * dry))


def drying_sd(dry: ArrayLike, wetting: Wetting | None = None) -> Array:
    """Return what drying adds to the uncertainty of L*, a*, b*, (3,), of a dry estimate ``dry`` (3,).

    That of the model's constant, and what the model leaves out, as independent parts.
    """
    wetting = wetting or load_wetting()
    p, p_sd = wetting.internal_reflectance, wetting.internal_reflectance_sd
    wet = wet_reflectance(np.clip(xyz_from_lab(dry) / WHITE_D65, 0.0, 1.0), wetting)
    more, less = (lab_from_xyz(dry_reflectance(wet, wetting, at) * WHITE_D65) for at in (p + p_sd, p - p_sd))
    return np.asarray(np.hypot((more - less) / 2.0, wetting.lab_sd))
