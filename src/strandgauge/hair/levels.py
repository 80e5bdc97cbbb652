"""The lift level of a colour: 1 black to 10 pale yellow and on to white-blond, on a ladder that the user may replace.

The rule: **lightness decides**. A level is where the colour's L* falls between the rungs of the ladder,
linearly. The ladder's a* and b* are what lifted hair usually shows at that lightness, and serve the
words for undertone and the outlook; they do not move the level, because natural, toned or grey hair of
a level is less chromatic than freshly lifted hair and the trade still calls it the same level.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from strandgauge.colour.arrays import Array
from strandgauge.files.calibration import calibration_file, read_calibration

LEVELS = tuple(range(1, 11))
"""Whole levels that every ladder has; it may go on past them."""
MOST_LEVELS = 14


@dataclass(frozen=True)
class Ladder:
    """CIELAB of lifted hair at whole levels from 1, to 10 at least (D65, 2 degree observer)."""

    name: str
    lab: Array
    """(N, 3), L* rising."""

    @property
    def rungs(self) -> Array:
        """The whole levels, 1.0 to the lightest, (N,)."""
        return np.arange(1.0, len(self.lab) + 1.0)

    @property
    def lightest(self) -> float:
        """The level at which the ladder ends."""
        return float(len(self.lab))

    def level_of(self, lab: ArrayLike) -> Array:
        """Return the level (...), 1.0 to the ladder's lightest, of CIELAB colours (..., 3)."""
        lightness = np.asarray(lab, dtype=float)[..., 0]
        return np.asarray(np.interp(lightness, self.lab[:, 0], self.rungs))

    def level_sd(self, lab: ArrayLike, lab_cov: ArrayLike) -> Array:
        """Return the standard uncertainty (...) of the level.

        Parameters
        ----------
        lab : CIELAB, (..., 3).
        lab_cov : covariance of the CIELAB, (..., 3, 3).

        The ladder is followed one standard deviation of L* up and down and, past its ends, at the slope of
        its last step, so that a colour beyond the ends does not pass for exactly known.
        """
        lightness = np.asarray(lab, dtype=float)[..., 0]
        step = np.sqrt(np.maximum(np.asarray(lab_cov, dtype=float)[..., 0, 0], 0.0))
        return np.asarray((self._endless(lightness + step) - self._endless(lightness - step)) / 2.0)

    def _endless(self, lightness: Array) -> Array:
        rungs = self.lab[:, 0]
        below = np.minimum(lightness - rungs[0], 0.0) / (rungs[1] - rungs[0])
        above = np.maximum(lightness - rungs[-1], 0.0) / (rungs[-1] - rungs[-2])
        return np.asarray(np.interp(lightness, rungs, self.rungs) + below + above)

    def shares(self, lightness: ArrayLike) -> dict[str, float]:
        """Return the share of each whole level among L* of any shape; empty ones left out, the rest sum to 1.

        A value half-way between two levels counts for the lighter one.
        """
        flat = np.asarray(lightness).ravel()
        known = np.sort(flat[np.isfinite(flat)])
        begin = np.interp(self.rungs[1:] - 0.5, self.rungs, self.lab[:, 0])
        counts = np.diff(np.searchsorted(known, begin), prepend=0, append=known.size).tolist()
        return {str(level): count / known.size for level, count in enumerate(counts, 1) if count}

    def lab_at(self, level: ArrayLike) -> Array:
        """Return the ladder's CIELAB (..., 3) at levels (...), linear between the rungs."""
        level = np.asarray(level, dtype=float)
        return np.stack([np.interp(level, self.rungs, self.lab[:, i]) for i in range(3)], axis=-1)

    def chroma_at(self, lightness: ArrayLike) -> Array:
        """Return C*ab (...) of the ladder at lightnesses (...)."""
        return np.asarray(
            np.interp(
                np.asarray(lightness, dtype=float), self.lab[:, 0], np.hypot(self.lab[:, 1], self.lab[:, 2])
            )
        )


def level_at_least(level: float) -> float:
    """Round a level that is needed up to a tenth, since less is not enough."""
    return math.ceil(10.0 * level - 1e-6) / 10.0


def load_ladder(path: Path | None = None) -> Ladder:
    """Read a ladder from TOML; the one that ships with the package where no path is given.

    Raises
    ------
    BadCalibrationError : a level is missing, named twice or not rising in L*; the line is named.
    """
    return _read_ladder(path) if path is not None else _shipped_ladder()


@cache
def _shipped_ladder() -> Ladder:
    return _read_ladder(calibration_file("ladder.toml"))


def _read_ladder(path: Path) -> Ladder:
    table = read_calibration(path, "strandgauge.ladder/1")
    name = table.text("ladder", "name")
    for key, wanted in (("illuminant", "D65"), ("observer", "2")):
        if table.text("ladder", key) != wanted:
            raise table.error(f"a ladder must hold for {key} {wanted}", "ladder", key)
    rungs: dict[int, tuple[float, ...]] = {}
    for row in range(table.rows("level")):
        number = table.number("level", row, "level", low=1, high=MOST_LEVELS)
        lab = table.numbers("level", row, "lab", count=3, low=-128, high=128)
        if number != int(number) or int(number) in rungs:
            raise table.error(
                f"level {number:g} is not a whole level, or is named twice", "level", row, "level"
            )
        if not 0.0 <= lab[0] <= 100.0:
            raise table.error(f"L* is {lab[0]:g}, outside 0 to 100", "level", row, "lab")
        lower = [level for level in rungs if level < number]
        if lower and lab[0] <= rungs[max(lower)][0]:
            raise table.error(
                f"L* must rise from level to level; level {number:g} does not", "level", row, "lab"
            )
        higher = [level for level in rungs if level > number]
        if higher and lab[0] >= rungs[min(higher)][0]:
            raise table.error(
                f"L* must rise from level to level; level {number:g} does not", "level", row, "lab"
            )
        rungs[int(number)] = lab
    missing = [str(level) for level in range(1, max((LEVELS[-1], *rungs)) + 1) if level not in rungs]
    if missing:
        raise table.error("the ladder lacks level " + ", ".join(missing), "level")
    values = np.array([rungs[level] for level in sorted(rungs)])
    values.flags.writeable = False
    return Ladder(name, values)
