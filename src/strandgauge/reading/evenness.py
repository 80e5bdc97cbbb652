"""How even a strand is along its length.

The limits are this project's own choice; no published scale is known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from strandgauge.codes.bounds import NotNegative
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

AS_SAVED = 3
"""Decimals with which readings are saved: one that is read back is judged as it was."""


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
    zones = sorted(reading.zones, key=lambda zone: zone.level)
    low, middle, high = (round(zone.level, AS_SAVED) for zone in zones)
    spread, spread_sd = high - low, difference_sd(reading, zones[0], zones[2])
    code = next(code for limit, code in LIMITS if spread < limit)
    if code == "even":
        return Evenness(code, spread, spread_sd, None, 0.0)
    if middle - low > high - middle:
        return Evenness(code, spread, spread_sd, zones[0].name, low - (middle + high) / 2)
    return Evenness(code, spread, spread_sd, zones[2].name, high - (middle + low) / 2)


def difference_sd(reading: Reading, one: ZoneReading, two: ZoneReading) -> float:
    """Return the standard uncertainty of the difference of two zones' levels."""
    near, far = reading.zone_correlation
    shared = far if "mids" not in (one.name, two.name) else near
    first, second = round(one.level_sd, AS_SAVED), round(two.level_sd, AS_SAVED)
    variance = first**2 + second**2 - 2.0 * shared * first * second
    return math.sqrt(max(variance, 0.0))
