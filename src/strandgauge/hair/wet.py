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


def dry_from_wet(lab: ArrayLike, lab_sd: ArrayLike, wetting: Wetting | None = None) -> tuple[Array, Array]:
    """Return the dry estimate of a wet colour and its standard uncertainty, wider than that of the reading.

    Parameters
    ----------
    lab : CIELAB read from the wet strand, (..., 3).
    lab_sd : its standard uncertainty, (..., 3).

    Returns
    -------
    lab, lab_sd : (..., 3) each. The uncertainty joins, as independent parts, the reading's own (carried
        through the model), that of the model's constant, and what the model leaves out.
    """
    wetting = wetting or load_wetting()
    lab, lab_sd = np.asarray(lab, dtype=float), np.asarray(lab_sd, dtype=float)
    p, p_sd = wetting.internal_reflectance, wetting.internal_reflectance_sd
    dry = _dry(lab, wetting, p)
    variance = ((_dry(lab, wetting, p + p_sd) - _dry(lab, wetting, p - p_sd)) / 2.0) ** 2
    for channel in range(3):
        step = np.zeros_like(lab)
        step[..., channel] = lab_sd[..., channel]
        variance = variance + ((_dry(lab + step, wetting, p) - _dry(lab - step, wetting, p)) / 2.0) ** 2
    variance = variance + np.asarray(wetting.lab_sd) ** 2
    return dry, np.maximum(np.sqrt(variance), lab_sd)


def _dry(lab: Array, wetting: Wetting, internal: float) -> Array:
    # The curve is applied to X, Y and Z: at hair's smooth spectra that is close to doing it wave by wave,
    # and needs no spectrum.
    ratio = np.clip(xyz_from_lab(lab) / WHITE_D65, 0.0, 1.0)
    return lab_from_xyz(dry_reflectance(ratio, wetting, internal) * WHITE_D65)
