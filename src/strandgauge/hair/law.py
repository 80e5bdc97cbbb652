"""The law by which pigments add: which function of the reflectance is additive. Here and nowhere else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from strandgauge.colour.arrays import Array

LawName = Literal["square", "kubelka-munk"]

LARGEST_ABSORPTION = 200.0


def kubelka_munk(reflectance: ArrayLike) -> Array:
    """Return K/S = (1 - R)^2 / 2R of an opaque layer of reflectance R [Kubelka and Munk 1931]."""
    r = np.asarray(reflectance, dtype=float)
    return np.asarray((1.0 - r) ** 2 / (2.0 * r))


def kubelka_munk_reflectance(ratio: ArrayLike) -> Array:
    """Return the reflectance of an opaque layer with K/S = ``ratio``: R = 1 + q - sqrt(q^2 + 2 q)."""
    q = np.asarray(ratio, dtype=float)
    return np.asarray(1.0 + q - np.sqrt(q * q + 2.0 * q))


@dataclass(frozen=True, slots=True)
class Law:
    """An absorption measure that adds over pigments, above a surface floor.

    The floor is the light that the fibres' surface returns before it meets any pigment. No dye takes it away.
    """

    name: LawName
    floor: float

    def floor_for(self, xyz_ratio: ArrayLike) -> Array:
        """Return the floor (...) for colours given as X/Xn, Y/Yn, Z/Zn (..., 3).

        Some hair is darker than the usual floor: less of its surface is seen. For it the floor is a fixed
        share of its darkest value, so that every colour keeps some absorption that can be told.
        """
        return np.asarray(np.minimum(self.floor, 0.8 * np.min(np.asarray(xyz_ratio, dtype=float), axis=-1)))

    def absorption(self, reflectance: ArrayLike, floor: ArrayLike | None = None) -> Array:
        """Return the absorption measure of reflectances (..., 31); ``floor`` (...) replaces the usual one."""
        base = self._floor(floor)
        inner = np.clip((np.asarray(reflectance, dtype=float) - base) / (1.0 - base), 1e-6, 1.0)
        measure = np.log(inner) ** 2 if self.name == "square" else kubelka_munk(inner)
        return np.asarray(np.minimum(measure, LARGEST_ABSORPTION))

    def reflectance(self, absorption: ArrayLike, floor: ArrayLike | None = None) -> Array:
        """Return the reflectances (..., 31) of absorption measures (..., 31)."""
        base = self._floor(floor)
        measure = np.maximum(np.asarray(absorption, dtype=float), 0.0)
        inner = np.exp(-np.sqrt(measure)) if self.name == "square" else kubelka_munk_reflectance(measure)
        return np.asarray(base + (1.0 - base) * inner)

    def slope(self, absorption: ArrayLike, floor: ArrayLike | None = None) -> Array:
        """Return dR/dA (..., 31), finite also where nothing absorbs."""
        base = self._floor(floor)
        measure = np.maximum(np.asarray(absorption, dtype=float), 1e-6)
        if self.name == "square":
            root = np.sqrt(measure)
            inner = -np.exp(-root) / (2.0 * root)
        else:
            inner = 1.0 - (measure + 1.0) / np.sqrt(measure * measure + 2.0 * measure)
        return np.asarray((1.0 - base) * inner)

    def _floor(self, floor: ArrayLike | None) -> Array:
        if floor is None:
            return np.asarray(self.floor)
        return np.asarray(floor, dtype=float)[..., None]
