"""How even a strand is along its length.

The limits are this project's own choice; no published scale is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from strandgauge.facts import NotNegative
from strandgauge.reading.model import Reading
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
    odd: ZoneName | None
    """The zone that stands out; None on an even strand."""
    apart: float
    """By how many levels it is lighter than the mean of the other two; negative where it is darker."""


def evenness(reading: Reading) -> Evenness:
    """Judge evenness along the strand by the range of the three zones' levels."""
    darkest, middle, lightest = sorted(reading.zones, key=lambda zone: zone.level)
    spread = lightest.level - darkest.level
    code = next(code for limit, code in LIMITS if spread < limit)
    if code == "even":
        return Evenness(code, spread, None, 0.0)
    if middle.level - darkest.level > lightest.level - middle.level:
        return Evenness(code, spread, darkest.name, darkest.level - (middle.level + lightest.level) / 2)
    return Evenness(code, spread, lightest.name, lightest.level - (middle.level + darkest.level) / 2)
