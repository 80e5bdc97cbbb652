"""The level that a shade needs: one rule for everyone who tells it.

Lifted hair of each whole level is given its best mix; the level needed is where that comes within what reads true of
the shade's region, between two levels along the straight line. The interval has the same rule with a tolerance that
is stricter and laxer by what a prediction is usually off.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from strandgauge.colour.arrays import Array
from strandgauge.dye.region import region_of
from strandgauge.dye.shelf import Shelf
from strandgauge.dye.solve import Grid, Sieve, make_grid, make_sieve, survey_mixes
from strandgauge.dye.targets import Target
from strandgauge.hair.levels import Ladder
from strandgauge.hair.pigment import solve_base
from strandgauge.judge.outlook import Needs

MARGIN = 0.5
"""CIEDE2000 inside of what reads true at which the level needed lies: at the very edge half of all heads miss it."""
USUALLY_OFF = 1.5
"""CIEDE2000 by which a prediction on hair of known level is usually off: uptake and the algebra together."""
DARKEST = 2


@dataclass(frozen=True, eq=False)
class Path:
    """What a shade gives on lifted hair of each whole level."""

    levels: Array
    """(L,)"""
    base: Array
    """(L, 3)"""
    lab: Array
    """(L, 3) of the best mix."""
    away: Array
    """(L,) its CIEDE2000 from the region."""
    shares: Array
    """(L, D) what hair holds of each dye."""


@lru_cache(maxsize=8)
def grid_for(shelf: Shelf) -> Grid:
    """Return the coarse mixes of a shelf."""
    return make_grid(shelf)


@lru_cache(maxsize=4)
def _ladder_sieve(shelf: Shelf, rungs: tuple[tuple[float, ...], ...]) -> Sieve:
    return make_sieve(solve_base(np.array(rungs)), grid_for(shelf))


@lru_cache(maxsize=256)
def _path_on(target: Target, shelf: Shelf, rungs: tuple[tuple[float, ...], ...]) -> Path:
    region = region_of(target)
    found = survey_mixes(_ladder_sieve(shelf, rungs), region.anchors)
    away, rows = region.away(found.lab), np.arange(len(rungs))
    best = np.argmin(away, axis=1)
    levels = DARKEST + np.arange(float(len(rungs)))
    return Path(levels, np.array(rungs), found.lab[rows, best], away[rows, best], found.shares[rows, best])


def path_of(target: Target, shelf: Shelf, ladder: Ladder) -> Path:
    """Return what a shade gives at each level."""
    return _path_on(target, shelf, tuple(map(tuple, ladder.lab[DARKEST - 1 :].tolist())))


def needs_on(path: Path, within: float) -> Needs | None:
    """Return the level from which a shade reads true; None where it does at none."""
    level = _first(path, within - min(MARGIN, within / 2.0))
    if level is None:
        return None
    level = round(level, 1)  # as it is told everywhere
    low, high = _first(path, within + USUALLY_OFF), _first(path, max(within - USUALLY_OFF, 0.0))
    best = float(path.levels[int(np.argmin(path.away))])
    return Needs(level, level if low is None else min(low, level), max(level, best if high is None else high))


def _first(path: Path, within: float) -> float | None:
    enough = np.flatnonzero(path.away <= within)
    if enough.size == 0:
        return None
    place = int(enough[0])
    if place == 0:
        return float(path.levels[0])
    before, here = float(path.away[place - 1]), float(path.away[place])
    return float(path.levels[place] - (within - here) / max(before - here, 1e-9))
