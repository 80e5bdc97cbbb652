"""Strands of a class side by side: who is more even than whom, and who has reached a level, noise allowed for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from strandgauge.change.compare import TWO_SIDED_95
from strandgauge.reading.evenness import evenness
from strandgauge.reading.model import COVERAGE, Reading

Array = NDArray[np.float64]

Reached = Literal["reached", "perhaps", "not-yet"]
_DRAWS, _SEED = 2000, 1931


def ranks(readings: Sequence[Reading]) -> list[int]:
    """Rank strands by evenness: one more than the number of strands that are measurably more even.

    Strands whose ranges of level differ by less than 95 % of noise share what neither can claim alone. The noise of
    a range is that of its three zones, taken as independent, by Monte Carlo [JCGM 101:2008].
    """
    if not readings:
        return []
    noise = np.random.default_rng(_SEED).standard_normal((_DRAWS, 3))
    ranges = np.array([evenness(reading).level_range for reading in readings])
    sds = np.array([_range_sd(reading, noise) for reading in readings])
    return [
        1 + int(np.sum(ranges < value - TWO_SIDED_95 * np.hypot(sds, sd)))
        for value, sd in zip(ranges, sds, strict=True)
    ]


def _range_sd(reading: Reading, noise: Array) -> float:
    levels = np.array([zone.level for zone in reading.zones])
    sds = np.array([zone.level_sd for zone in reading.zones])
    return float(np.std(np.ptp(levels + noise * sds, axis=1)))


def reached(reading: Reading, level: float) -> Reached:
    """Tell whether root, mids and ends have all reached a level: surely, perhaps, or surely not yet (95 %)."""
    low = min(zone.level - COVERAGE * zone.level_sd for zone in reading.zones)
    high = min(zone.level + COVERAGE * zone.level_sd for zone in reading.zones)
    return "reached" if low >= level else "not-yet" if high < level else "perhaps"
