"""The one spectral grid, 400 to 700 nm in steps of 10 nm, and its colours under D65."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import lab_from_xyz
from strandgauge.files.calibration import calibration_file, read_calibration

GRID: Array = np.arange(400.0, 701.0, 10.0)
"""Wavelengths, nm, (31,)."""


@cache
def observer_weights() -> Array:
    """Return the weights (31, 3) that turn a reflectance spectrum into XYZ under D65, 2 degree observer.

    Raises
    ------
    BadCalibrationError : ``calibration/observer.toml`` does not hold one row for each wavelength.
    """
    table = read_calibration(calibration_file("observer.toml"), "strandgauge.observer/1")
    rows = np.asarray(table.get("weights"), dtype=float)
    if rows.shape != (GRID.size, 4) or not np.array_equal(rows[:, 0], GRID):
        raise table.error("the weights must be one row for each 10 nm from 400 to 700", "weights")
    weights: Array = rows[:, 1:] / 100.0  # the tables of the standard have white at Y = 100
    weights.flags.writeable = False
    return weights


def xyz_from_reflectance(reflectance: ArrayLike) -> Array:
    """Return XYZ (..., 3) of reflectance spectra (..., 31), perfect white = 1."""
    return np.asarray(np.asarray(reflectance, dtype=float) @ observer_weights())


def lab_from_reflectance(reflectance: ArrayLike) -> Array:
    """Return CIELAB (..., 3) under D65, 2 degree observer, of reflectance spectra (..., 31)."""
    return lab_from_xyz(xyz_from_reflectance(reflectance))
