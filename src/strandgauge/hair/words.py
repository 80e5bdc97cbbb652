"""Reads the thresholds that turn a colour into words (``calibration/words.toml``)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strandgauge.colour.arrays import Array
from strandgauge.files.calibration import CalibrationTable, Key, calibration_file, read_calibration

HueRange = tuple[float, float]


def hue_within(hue: ArrayLike, span: HueRange) -> NDArray[np.bool_]:
    """Tell whether hue angles (...) lie in [from, to), through 0 where ``from`` is above ``to``."""
    from_low, below_high = np.asarray(hue) >= span[0], np.asarray(hue) < span[1]
    return from_low & below_high if span[0] <= span[1] else from_low | below_high


@dataclass(frozen=True, slots=True)
class UndertoneRule:
    """One rule: it fits when every condition it states fits."""

    word: str
    chroma_below: float
    chroma_share_below: float
    hue: HueRange
    level_from: float


@dataclass(frozen=True, slots=True)
class HueWord:
    """A word for the hues of a span, from a lightness upward."""

    word: str
    hue: HueRange
    lightness_from: float


@dataclass(frozen=True, eq=False)
class LiftPath:
    """The a*b* area that hair without dye can show, at a few lightnesses."""

    lightness: Array
    """(N,), rising."""
    chroma: Array
    """(N,) strongest C*ab of undyed hair at that lightness."""
    hue: Array
    """(N, 2) reddest and greenest hue angle, degrees."""
    grey_corner: Array
    """(K, 2) a*b* of the greyest undyed hair, at any lightness."""


@dataclass(frozen=True)
class Words:
    """All thresholds of one file."""

    undertones: tuple[UndertoneRule, ...]
    path: LiftPath
    stain_distance: float
    stain_uncertainties: float
    stain_hues: tuple[HueWord, ...]
    usual_warmth: float
    """By how much, in C*ab, warmth differs from the ladder's and is still what is usual."""


def load_words(path: Path | None = None) -> Words:
    """Read the thresholds; those that ship with the package where no path is given.

    Raises
    ------
    BadCalibrationError : a value is missing or impossible, or some hue has no word; the line is named.
    """
    return _read_words(path) if path is not None else _shipped_words()


@cache
def _shipped_words() -> Words:
    return _read_words(calibration_file("words.toml"))


def _read_words(path: Path) -> Words:
    table = read_calibration(path, "strandgauge.words/1")
    undertones = tuple(_undertone(table, row) for row in range(table.rows("undertone")))
    hues = tuple(
        HueWord(
            table.text("stain", "hue", row, "word"),
            _hue(table, "stain", "hue", row, "hue"),
            table.number("stain", "hue", row, "lightness_from", default=0.0),
        )
        for row in range(_count(table, "stain", "hue"))
    )
    for hue in range(360):
        if not any(hue_within(hue, word.hue) and word.lightness_from <= 0.0 for word in hues):
            raise table.error(f"no stain word covers the hue {hue}", "stain")
        if not any(
            hue_within(hue, rule.hue)
            and not np.isfinite(min(rule.chroma_below, rule.chroma_share_below))
            and rule.level_from <= 1.0
            for rule in undertones
        ):
            raise table.error(f"no undertone covers the hue {hue} at every chroma and level", "undertone")
    return Words(
        undertones,
        _path(table),
        table.number("stain", "distance", low=0.0),
        table.number("stain", "standard_uncertainties", low=0.0),
        hues,
        table.number("warmth", "usual", low=0.0),
    )


def _undertone(table: CalibrationTable, row: int) -> UndertoneRule:
    key: tuple[Key, ...] = ("undertone", row)
    return UndertoneRule(
        table.text(*key, "word"),
        table.number(*key, "chroma_below", low=0.0, default=np.inf),
        table.number(*key, "chroma_share_below", low=0.0, default=np.inf),
        (0.0, 360.0) if table.get(*key, "hue") is None else _hue(table, *key, "hue"),
        table.number(*key, "level_from", low=1.0, high=10.0, default=1.0),
    )


def _path(table: CalibrationTable) -> LiftPath:
    rows = _count(table, "path", "at")
    lightness = [table.number("path", "at", row, "lightness", low=0.0, high=100.0) for row in range(rows)]
    for row in range(1, rows):
        if lightness[row] <= lightness[row - 1]:
            raise table.error("'lightness' must rise along the path", "path", "at")
    if rows < 2:
        raise table.error("the path needs at least two lightnesses", "path")
    corner = table.get("path", "grey_corner")
    if not isinstance(corner, list) or not all(
        isinstance(point, list) and len(point) == 2 and all(isinstance(v, int | float) for v in point)
        for point in corner
    ):
        raise table.error("'grey_corner' must be pairs of a* and b*", "path", "grey_corner")
    chroma = [table.number("path", "at", row, "chroma", low=0.0, high=150.0) for row in range(rows)]
    hues = [_hue(table, "path", "at", row, "hue") for row in range(rows)]
    return LiftPath(np.array(lightness), np.array(chroma), np.array(hues), np.array(corner, dtype=float))


def _count(table: CalibrationTable, *key: Key) -> int:
    value = table.get(*key)
    if not isinstance(value, list):
        raise table.error(f"there is no [[{'.'.join(map(str, key))}]]", *key)
    return len(value)


def _hue(table: CalibrationTable, *key: Key) -> HueRange:
    low, high = table.numbers(*key, count=2, low=0.0, high=360.0)
    return low, high
