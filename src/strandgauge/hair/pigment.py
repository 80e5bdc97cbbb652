"""The pigment algebra: a colour taken apart into pigments, then lifted, dyed, wetted or faded.

Hair that hides its background is one layer whose absorption measure ``A`` (:mod:`strandgauge.hair.law`) adds
over pigments at each wavelength. A measured colour gives three numbers, a spectrum has many: the amounts of
a few smooth absorbers (``calibration/pigments.toml``) are solved so that the CIELAB comes out exactly and
the absorbers that hair has of itself explain as much as they can.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import WHITE_D65, delta_e_2000, lab_from_xyz, lab_slope, xyz_from_lab
from strandgauge.errors import OutsideModelError
from strandgauge.files.calibration import CalibrationTable, calibration_file, read_calibration
from strandgauge.hair.law import Law, LawName
from strandgauge.hair.spectra import GRID, lab_from_reflectance, observer_weights
from strandgauge.hair.stain import off_path
from strandgauge.hair.words import load_words

Index = Any
"""Whatever numpy takes between the brackets."""

EXACT = 0.02
"""CIEDE2000 within which a solved spectrum must reproduce its colour."""


@dataclass(frozen=True, eq=False)
class Pigments:
    """The absorbers of one file and the law in which they add."""

    law: Law
    names: tuple[str, ...]
    shapes: Array
    """(M, 31), absorption of a unit amount."""
    reluctance: Array
    """(M,)"""
    foreign: Array
    """(M,) bool, True for bands that only old dye explains."""


@dataclass(frozen=True, eq=False)
class Base:
    """Hair of known colour as amounts of pigment; any leading shape, ``...``."""

    pigments: Pigments
    amounts: Array
    """(..., M), none negative."""
    floor: Array
    """(...) share of light that the surface returns."""
    laid_over: Array | None = None
    """(..., 31) absorption of dye laid on before, or None."""

    @property
    def absorption(self) -> Array:
        """Absorption measure, (..., 31)."""
        own = self.amounts @ self.pigments.shapes
        return np.asarray(own if self.laid_over is None else own + self.laid_over)

    @property
    def reflectance(self) -> Array:
        """Reflectance, perfect white = 1, (..., 31)."""
        return self.pigments.law.reflectance(self.absorption, self.floor)

    @property
    def lab(self) -> Array:
        """CIELAB (..., 3)."""
        return lab_from_reflectance(self.reflectance)

    def dyed(self, absorption: ArrayLike) -> Array:
        """Return the CIELAB (..., 3) after dyes whose summed absorption is (..., 31) have been laid over."""
        total = self.absorption + np.asarray(absorption, dtype=float)
        return lab_from_reflectance(self.pigments.law.reflectance(total, self.floor))

    def over(self, absorption: ArrayLike) -> Base:
        """Return this hair with dye of absorption (..., 31) on it, as the base of a further step."""
        before = 0.0 if self.laid_over is None else self.laid_over
        laid = before + np.asarray(absorption, dtype=float)
        return replace(self, laid_over=np.broadcast_to(laid, (*self.amounts.shape[:-1], GRID.size)))

    def at(self, index: Index) -> Base:
        """Return the part of the leading shape at ``index``, which numpy's rules apply to."""
        deep = (*index, slice(None)) if isinstance(index, tuple) else index
        return replace(
            self,
            amounts=self.amounts[deep],
            floor=np.asarray(self.floor)[index],
            laid_over=None if self.laid_over is None else self.laid_over[deep],
        )


def load_pigments(path: Path | None = None) -> Pigments:
    """Read the absorbers and the law; those that ship with the package where no path is given.

    Raises
    ------
    BadCalibrationError : a value is missing or impossible; the line is named.
    """
    return _read_pigments(path) if path is not None else _shipped_pigments()


@cache
def _shipped_pigments() -> Pigments:
    return _read_pigments(calibration_file("pigments.toml"))


def _read_pigments(path: Path) -> Pigments:
    table = read_calibration(path, "strandgauge.pigments/1")
    rows = range(table.rows("absorber"))
    if len(rows) < 3:
        raise table.error("at least three absorbers are needed", "absorber")
    law_name: LawName
    match table.text("law", "name"):
        case "square":
            law_name = "square"
        case "kubelka-munk":
            law_name = "kubelka-munk"
        case other:
            raise table.error(f"no law is called '{other}'; use 'square' or 'kubelka-munk'", "law", "name")
    parts = [table.text("absorber", row, "part") for row in rows]
    for row in rows:
        if parts[row] not in ("hair", "stain"):
            raise table.error('\'part\' must be "hair" or "stain"', "absorber", row, "part")
    return Pigments(
        Law(law_name, table.number("law", "floor", low=0.0, high=0.1)),
        tuple(table.text("absorber", row, "name") for row in rows),
        np.array([_shape(table, row) for row in rows]),
        np.array([table.number("absorber", row, "reluctance", low=1e-3, high=1e3) for row in rows]),
        np.array([part == "stain" for part in parts]),
    )


def _shape(table: CalibrationTable, row: int) -> Array:
    if table.get("absorber", row, "power") is not None:
        return np.asarray((GRID / 550.0) ** table.number("absorber", row, "power", low=-40.0, high=10.0))
    peak = table.number("absorber", row, "peak", low=300.0, high=800.0)
    width = table.number("absorber", row, "width", low=5.0, high=200.0)
    return np.asarray(np.exp(-((GRID - peak) ** 2) / (2.0 * width**2)))


# --- from a colour to pigments --------------------------------------------------------------------------


def solve_base(lab: ArrayLike, pigments: Pigments | None = None, *, strict: bool = True) -> Base:
    """Return the pigments of hair with CIELAB colours (..., 3), reproducing them within CIEDE2000 0.02.

    For each colour the amounts ``c >= 0`` of least ``sum (reluctance c)^2`` among all that reproduce it. With
    ``strict`` off, a colour that cannot be had gives the nearest instead of an error.

    Raises
    ------
    OutsideModelError : no amounts give that colour; the error names the nearest colour that can be had.
    """
    pigments = pigments or load_pigments()
    colours = np.asarray(lab, dtype=float)
    flat = colours.reshape(-1, 3)
    ratio = np.clip(xyz_from_lab(flat) / WHITE_D65, 0.0, None)
    floors = pigments.law.floor_for(ratio)
    amounts = np.stack(
        [_solve_one(one, float(floor), pigments, strict) for one, floor in zip(flat, floors, strict=True)]
    )
    return Base(
        pigments,
        amounts.reshape(*colours.shape[:-1], len(pigments.names)),
        floors.reshape(colours.shape[:-1]),
    )


def _solve_one(target: Array, floor: float, pigments: Pigments, strict: bool) -> Array:
    from scipy.optimize import nnls

    weight = pigments.reluctance
    amounts = _first_guess(target, floor, pigments)
    insist = 1e4
    for turn in range(60):
        found, slope = _lab_and_slope(amounts, floor, pigments)
        miss = target - found
        if float(np.max(np.abs(miss))) < 1e-4 and turn > 3:
            break
        scale = 1.0 / max(float(np.linalg.norm(weight * amounts)), 1e-6)
        system = np.concatenate([insist * slope, scale * np.diag(weight)])
        wanted = np.concatenate([insist * (slope @ amounts + miss), np.zeros(len(weight))])
        step = nnls(system, wanted)[0] - amounts
        amounts = _damped(amounts, step, target, floor, pigments)
    nearest = lab_from_reflectance(pigments.law.reflectance(amounts @ pigments.shapes, np.asarray(floor)))
    if strict and not float(delta_e_2000(nearest, target)) < EXACT:
        raise OutsideModelError(
            "no hair pigments give the colour L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*target)
            + "; the nearest is {:.1f}, {:.1f}, {:.1f}".format(*nearest)
        )
    return amounts


def _damped(amounts: Array, step: Array, target: Array, floor: float, pigments: Pigments) -> Array:
    """Return the amounts after the longest part of ``step`` that does not move away from the target."""
    before = float(np.linalg.norm(_lab(amounts, floor, pigments) - target))
    share = 1.0
    for _ in range(12):
        moved = np.maximum(amounts + share * step, 0.0)
        if (
            float(np.linalg.norm(_lab(moved, floor, pigments) - target))
            <= before * (1.0 - 0.1 * share) + 1e-6
        ):
            return moved
        share /= 2.0
    return np.maximum(amounts + share * step, 0.0)


def _first_guess(target: Array, floor: float, pigments: Pigments) -> Array:
    """Return amounts of the hair's own absorbers that give the lightness."""
    own = np.where(pigments.foreign, 0.0, 1.0 / pigments.reluctance)
    scales = np.geomspace(1e-5, 60.0, 60)
    lightness = _lab(scales[:, None] * own, floor, pigments)[:, 0]
    return np.asarray(own * np.interp(-target[0], -lightness, scales))


def _lab(amounts: Array, floor: float, pigments: Pigments) -> Array:
    reflectance = pigments.law.reflectance(amounts @ pigments.shapes, np.asarray(floor))
    return lab_from_reflectance(reflectance)


def _lab_and_slope(amounts: Array, floor: float, pigments: Pigments) -> tuple[Array, Array]:
    """Return CIELAB (3,) and its derivative by each amount (3, M)."""
    absorption = amounts @ pigments.shapes
    weights = observer_weights()
    xyz = pigments.law.reflectance(absorption, np.asarray(floor)) @ weights
    by_amount = (pigments.law.slope(absorption, np.asarray(floor)) * pigments.shapes) @ weights
    return lab_from_xyz(xyz), (lab_slope(xyz) @ by_amount[..., None])[..., 0].T


def solve_around(lab: ArrayLike, lab_sd: ArrayLike, pigments: Pigments | None = None) -> Base:
    """Return the pigments (..., 7) of colours (..., 3) and of their neighbours one standard deviation away.

    In order: the colour itself, then L*, a*, b* raised in turn, then L*, a*, b* lowered in turn. A neighbour
    outside the model takes its nearest colour. ``lab_sd`` is (..., 3).

    Raises
    ------
    OutsideModelError : no amounts give one of the colours themselves.
    """
    pigments = pigments or load_pigments()
    centre = np.asarray(lab, dtype=float)[..., None, :]
    step = np.asarray(lab_sd, dtype=float)[..., None, :] * np.concatenate([np.eye(3), -np.eye(3)])
    around = centre + step
    around[..., 0] = np.clip(around[..., 0], 2.0, 100.0)
    middle, rest = solve_base(centre, pigments), solve_base(around, pigments, strict=False)
    return Base(
        pigments,
        np.concatenate([middle.amounts, rest.amounts], axis=-2),
        np.concatenate([middle.floor, rest.floor], axis=-1),
    )


# --- lifting, wetting, fading ---------------------------------------------------------------------------


@dataclass(frozen=True)
class PigmentPath:
    """Pigments of the ladder's hair at evenly spaced levels, 1 to the lightest."""

    levels: Array
    """(K,)"""
    base: Base
    """K bases"""

    def amounts_at(self, level: ArrayLike) -> Array:
        """Return the amounts (..., M) at levels (...)."""
        wanted = np.asarray(level, dtype=float)
        columns = [np.interp(wanted, self.levels, column) for column in self.base.amounts.T]
        return np.stack(columns, axis=-1)


def lift_path(ladder_lab: Array, pigments: Pigments | None = None) -> PigmentPath:
    """Return the pigments along a ladder given as CIELAB (N, 3)."""
    return _path_of(tuple(map(tuple, ladder_lab.tolist())), pigments or load_pigments())


@cache
def _path_of(rungs: tuple[tuple[float, ...], ...], pigments: Pigments) -> PigmentPath:
    ladder_lab = np.asarray(rungs)
    whole = np.arange(1.0, len(ladder_lab) + 1.0)
    levels = np.linspace(1.0, whole[-1], 4 * len(whole) - 3)
    lab = np.stack([np.interp(levels, whole, ladder_lab[:, i]) for i in range(3)], axis=-1)
    return PigmentPath(levels, solve_base(lab, pigments))


def lifted(base: Base, level: ArrayLike, ladder_lab: Array) -> Base:
    """Return hair of another level on the natural lift path, for bases (...) and levels that broadcast.

    What makes this hair differ from the ladder's hair of its own level shrinks in proportion to the pigment
    that the ladder loses. The lightness without old dye then follows the ladder exactly. Old dye stays on
    top, since lightener may not shift it: what colours off the natural path owe to foreign bands.
    """
    levels = np.arange(1.0, len(ladder_lab) + 1.0)
    path = lift_path(ladder_lab, base.pigments)
    wanted = np.asarray(level, dtype=float)
    now = np.interp(base.lab[..., 0], ladder_lab[:, 0], levels)
    there, here = path.amounts_at(wanted), path.amounts_at(now)
    keep = np.sum(there, axis=-1, keepdims=True) / np.maximum(np.sum(here, axis=-1, keepdims=True), 1e-9)
    own = base.amounts - here
    stained = _stained_share(base.lab)[..., None]
    old_dye = np.where(base.pigments.foreign, np.maximum(own, 0.0) * stained, 0.0)
    natural = np.maximum(there + (own - old_dye) * keep, 0.0)
    floor = np.minimum(base.pigments.law.floor, np.maximum(base.floor, 0.0))
    floor = np.broadcast_to(floor, natural.shape[:-1])
    goal = np.interp(wanted, levels, ladder_lab[:, 0])
    return Base(base.pigments, _scaled_to(goal, natural, floor, base.pigments) + old_dye, floor)


def _stained_share(lab: Array) -> Array:
    """Return how surely colours (..., 3) hold old dye: 0 on the lift path, 1 well off it, (...)."""
    words = load_words()
    flat = np.array([np.hypot(*off_path(one, words.path)) for one in lab.reshape(-1, 3)])
    return np.clip(flat / words.stain_distance - 0.5, 0.0, 1.0).reshape(lab.shape[:-1])


def _scaled_to(lightness: Array, amounts: Array, floor: Array, pigments: Pigments) -> Array:
    """Return amounts times one factor each, such that L* is as asked for (bisection on the factor's log)."""
    low = np.full(amounts.shape[:-1], np.log(1e-3))
    high = np.full(amounts.shape[:-1], np.log(1e3))
    for _ in range(30):
        middle = (low + high) / 2.0
        tried = pigments.law.reflectance((np.exp(middle)[..., None] * amounts) @ pigments.shapes, floor)
        lighter = lab_from_reflectance(tried)[..., 0] > lightness
        low, high = np.where(lighter, middle, low), np.where(lighter, high, middle)
    return np.asarray(np.exp((low + high) / 2.0)[..., None] * amounts)


def faded(dye_absorption: ArrayLike, share: float) -> Array:
    """Return what is left of a dye's absorption (..., 31) once ``share`` (0 to 1) of it has washed out."""
    return np.asarray(dye_absorption, dtype=float) * (1.0 - share)
