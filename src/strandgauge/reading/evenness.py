"""How even a strand is along its length.

The limits are this project's own choice; no published scale is known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from strandgauge.codes.facts import NotNegative
from strandgauge.reading.model import Reading, ZoneReading
from strandgauge.strand.names import ZoneName

EvennessCode = Literal["even", "slightly-uneven", "uneven", "very-uneven"]
LIMITS: tuple[tuple[float, EvennessCode], ...] = (
    (0.6, "even"),
    (1.2, "slightly-uneven"),
    (2.5, "uneven"),
    (float("inf"), "very-uneven"),
)
"""What a range of levels along the strand is called below each limit."""


@dataclass(frozen=True, slots=True)
class Evenness:
    """How even a strand is."""

    code: EvennessCode
    level_range: NotNegative
    """Lightest zone's level minus the darkest zone's."""
    level_range_sd: NotNegative
    """Its standard uncertainty; zones of one strand share most of their error."""
    odd: ZoneName | None
    """The zone that stands out; None on an even strand."""
    apart: float
    """By how many levels it is lighter than the mean of the other two; negative where it is darker."""


def evenness(reading: Reading) -> Evenness:
    """Judge evenness along the strand by the range of the three zones' levels."""
    darkest, middle, lightest = sorted(reading.zones, key=lambda zone: zone.level)
    spread = lightest.level - darkest.level
    spread_sd = difference_sd(reading, darkest, lightest)
    code = next(code for limit, code in LIMITS if spread < limit)
    if code == "even":
        return Evenness(code, spread, spread_sd, None, 0.0)
    if middle.level - darkest.level > lightest.level - middle.level:
        return Evenness(
            code, spread, spread_sd, darkest.name, darkest.level - (middle.level + lightest.level) / 2
        )
    return Evenness(
        code, spread, spread_sd, lightest.name, lightest.level - (middle.level + darkest.level) / 2
    )


def difference_sd(reading: Reading, one: ZoneReading, two: ZoneReading) -> float:
    """Return the standard uncertainty of the difference of two zones' levels."""
    near, far = reading.zone_correlation
    shared = far if "mids" not in (one.name, two.name) else near
    variance = one.level_sd**2 + two.level_sd**2 - 2.0 * shared * one.level_sd * two.level_sd
    return math.sqrt(max(variance, 0.0))
