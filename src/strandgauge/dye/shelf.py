"""The shelf of dyes: what each takes out of the light at full strength, read from TOML."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from strandgauge.colour.arrays import Array
from strandgauge.errors import UnknownDyeError
from strandgauge.files.calibration import CalibrationTable, calibration_file, read_calibration
from strandgauge.hair.spectra import GRID

SCHEMA = "strandgauge.dyes/1"
HALF_UPTAKE = 0.35
"""Share of dye in the bowl at which hair takes up half of what it could hold at most. Uptake that levels off as the
bath grows stronger (Langmuir 1918, J. Am. Chem. Soc. 40:1361) is what dye baths are usually described by; the value
is own choice: with it a tenth of the strongest dye still leaves a third of its colour, as pastels are mixed."""
STRONGEST = 80.0
"""Largest absorption measure that a dye may have at any wavelength; the strongest blacks have half of it."""


@dataclass(frozen=True, eq=False)
class Dye:
    """One ready-to-use dye."""

    name: str
    curve: Array
    """(31,) absorption measure that it adds, undiluted, to pale porous hair."""
    ingredients: tuple[str, ...]
    source: str
    fluorescent: bool = False
    """True where part of the light comes back at longer waves: it can look brighter than foretold."""
    lab_error: float = 0.0
    """CIEDE2000 that is left when the curve is asked for the colours it was learned from."""


@dataclass(frozen=True, eq=False)
class Shelf:
    """Dyes and the clear base that dilutes them."""

    dyes: tuple[Dye, ...]
    clear: str
    half_uptake: float = HALF_UPTAKE

    def held(self, shares: Array) -> Array:
        """Return what hair holds (..., D) after a bowl with shares (..., D), each 1 for the undiluted dye alone.

        All dyes of a bowl compete for the same places: ``share (1 + h) / (h + sum of shares)``.
        """
        half = self.half_uptake
        return np.asarray(shares * ((1.0 + half) / (half + np.sum(shares, axis=-1, keepdims=True))))

    def bowl(self, held: Array) -> Array:
        """Return the shares (..., D) of a bowl that leaves ``held`` (..., D), the inverse of `held`.

        More than an undiluted bowl can leave is brought down to that.
        """
        total = np.sum(held, axis=-1, keepdims=True)
        held, total = held / np.maximum(total, 1.0), np.minimum(total, 1.0)
        return np.asarray(held * (self.half_uptake / (1.0 + self.half_uptake - total)))

    def room(self, held: Array) -> float:
        """Return the share of places that dye already held, (D,), leaves to a further layer: 1 on bare hair."""
        return float(max(1.0 - np.sum(held) / (1.0 + self.half_uptake), 0.0))

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the dyes, in the order of ``curves``."""
        return tuple(dye.name for dye in self.dyes)

    @property
    def curves(self) -> Array:
        """(D, 31) absorption of each dye, undiluted."""
        return np.array([dye.curve for dye in self.dyes])

    def only(self, names: Iterable[str]) -> Shelf:
        """Return the shelf with none but these dyes.

        Raises
        ------
        UnknownDyeError : no dye has one of the names.
        """
        places = sorted({place for name in names if (place := self.index(name)) is not None})
        return replace(self, dyes=tuple(self.dyes[place] for place in places))

    def taken_up(self, factor: float) -> Shelf:
        """Return the shelf as it is on hair that takes up ``factor`` times what the shelf says."""
        return replace(self, dyes=tuple(replace(dye, curve=factor * dye.curve) for dye in self.dyes))

    def index(self, name: str) -> int | None:
        """Return the place of a dye, or None for the clear base.

        Raises
        ------
        UnknownDyeError : no dye has that name.
        """
        wanted = name.strip().casefold()
        if wanted == self.clear.casefold():
            return None
        for place, known in enumerate(self.names):
            if known.casefold() == wanted:
                return place
        raise UnknownDyeError(fault="named", name=name, shelf=", ".join((*self.names, self.clear)))


def load_shelf(path: Path | None = None, extra: Iterable[Path] = ()) -> Shelf:
    """Read the shelf that ships with the package (or the one at ``path``), with further files put on it.

    A dye in a later file replaces an earlier one of the same name.

    Raises
    ------
    BadCalibrationError : a file cannot be used; the line is named.
    """
    shelf = _read(path) if path is not None else _shipped()
    for one in extra:
        more = _read(one)
        new = {dye.name for dye in more.dyes}
        kept = tuple(dye for dye in shelf.dyes if dye.name not in new)
        shelf = Shelf((*kept, *more.dyes), shelf.clear, shelf.half_uptake)
    return shelf


@cache
def _shipped() -> Shelf:
    return _read(calibration_file("dyes.toml"))


def _read(path: Path) -> Shelf:
    table = read_calibration(path, SCHEMA)
    clear = table.text("clear", "name", default="clear")
    half = table.number("uptake", "half", low=0.01, high=100.0, default=HALF_UPTAKE)
    ingredients = {
        table.text("ingredient", row, "inci"): _ingredient(table, row)
        for row in range(table.rows("ingredient"))
    }
    dyes: list[Dye] = []
    for row in range(table.rows("dye")):
        name = table.text("dye", row, "name")
        if name == clear or name in {dye.name for dye in dyes}:
            raise table.error(f"'{name}' is named twice", "dye", row, "name")
        if any(sign in name for sign in "=:,"):
            raise table.error("a dye's name may not hold '=', ':' or ','", "dye", row, "name")
        dyes.append(_dye(table, row, name, ingredients))
    if not dyes:
        raise table.error("the file holds no [[dye]]", "dye")
    return Shelf(tuple(dyes), clear, half)


def _dye(table: CalibrationTable, row: int, name: str, ingredients: dict[str, Array]) -> Dye:
    fluorescent = table.get("dye", row, "fluorescent") is True
    error = table.number("dye", row, "lab_error", low=0.0, default=0.0)
    if table.get("dye", row, "curve") is not None:
        curve = np.array(table.numbers("dye", row, "curve", count=GRID.size, low=0.0, high=STRONGEST))
        if not curve.max() > 0.0:
            raise table.error("a dye must take out some light", "dye", row, "curve")
        return Dye(name, curve, (), table.text("dye", row, "source", default="own file"), fluorescent, error)
    holds = table.get("dye", row, "holds")
    if not isinstance(holds, list) or not holds:
        raise table.error("a dye needs either a 'curve' or what it 'holds'", "dye", row)
    curve = np.zeros(GRID.size)
    names = []
    for item in holds:
        if (
            not isinstance(item, list)
            or len(item) != 2
            or item[0] not in ingredients
            or isinstance(item[1], bool)
            or not isinstance(item[1], int | float)
            or not 0.0 < item[1] <= STRONGEST
        ):
            raise table.error(
                "'holds' must be pairs of a known ingredient and its strength", "dye", row, "holds"
            )
        curve = curve + item[1] * ingredients[item[0]]
        names.append(str(item[0]))
    return Dye(name, curve, tuple(names), "built from published peaks", fluorescent, error)


def _ingredient(table: CalibrationTable, row: int) -> Array:
    """Return the curve (31,), 1 at the highest peak, of one ingredient in hair."""
    shift = table.number("in_hair", "shift", low=-30.0, high=30.0, default=0.0)
    widen = table.number("in_hair", "widen", low=0.5, high=3.0, default=1.0)
    blue = table.number("in_hair", "blue_share", low=0.3, high=0.8, default=0.5)
    width = widen * table.number("ingredient", row, "width", low=10.0, high=300.0)
    table.text("ingredient", row, "source")
    table.text("ingredient", row, "grade")
    peaks = table.get("ingredient", row, "peaks")
    if not isinstance(peaks, list) or not peaks:
        raise table.error("'peaks' must be pairs of wavelength and height", "ingredient", row, "peaks")
    curve = np.zeros(GRID.size)
    for peak in peaks:
        if not isinstance(peak, list) or len(peak) != 2 or not all(isinstance(v, int | float) for v in peak):
            raise table.error("'peaks' must be pairs of wavelength and height", "ingredient", row, "peaks")
        if not 300.0 <= peak[0] <= 800.0 or not 0.0 < peak[1] <= 1.0:
            raise table.error(
                "a peak lies at 300 to 800 nm, with a height up to 1", "ingredient", row, "peaks"
            )
        curve = curve + peak[1] * band(peak[0] + shift, width, blue)
    return np.asarray(curve / curve.max())


def band(peak: float, width: float, blue_share: float = 0.5) -> Array:
    """Return an absorption band (31,): a Gaussian over wavenumber on each flank, 1 at ``peak`` (nm).

    ``width`` is the full width at half the height, nm; ``blue_share`` of it lies toward shorter waves, so that a
    share above a half makes the flank toward red the steeper one.
    """
    blue, red = peak - blue_share * width, peak + (1.0 - blue_share) * width
    away = 1.0 / GRID - 1.0 / peak
    half = np.where(away > 0.0, 1.0 / blue - 1.0 / peak, 1.0 / peak - 1.0 / red)
    return np.asarray(np.exp(-np.log(2.0) * (away / half) ** 2))
