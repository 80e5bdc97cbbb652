"""The parts of a strand that are told apart."""

from __future__ import annotations

from typing import Literal

ZoneName = Literal["overall", "root", "mids", "ends"]
ZONES: dict[ZoneName, tuple[float, float]] = {
    "overall": (0.08, 0.90),
    "root": (0.08, 0.25),
    "mids": (0.41, 0.59),
    "ends": (0.75, 0.90),
}
"""Part of the visible length, from the root end, that each zone takes; gaps keep transitions out of the zones."""
PARTS: tuple[ZoneName, ...] = ("root", "mids", "ends")
"""The zones that are parts of the whole."""
