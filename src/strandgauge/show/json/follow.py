"""A lift curve as a plain dictionary, ready for JSON."""

from __future__ import annotations

import math
from typing import Any

from strandgauge.lift.curve import Estimate, LiftCurve
from strandgauge.show.json.reading import short

Document = dict[str, Any]


def curve_document(curve: LiftCurve) -> Document:
    """Return a lift curve as ``strandgauge.lift-curve/1``; what is infinite, or not known, is null."""
    return {
        "schema": "strandgauge.lift-curve/1",
        "zone": curve.zone,
        "ladder": curve.ladder,
        "from_start": curve.from_start,
        "state": curve.state,
        "stop": curve.stop,
        "headline": curve.headline,
        "advice": list(curve.advice),
        "stop_signs": list(curve.stop_signs),
        "target": curve.target,
        "needs_level": _short(curve.needs_level),
        "limit_minutes": _short(curve.limit),
        "next_look_minutes": _short(curve.next_look),
        "level_now": _estimate(curve.level_now),
        "levels_in_10_minutes": _estimate(curve.rate),
        "plateau_level": _estimate(curve.plateau),
        "minutes_to_need": _estimate(curve.minutes_to_need),
        "chance_in_time": _short(curve.chance_in_time),
        "looks": [
            {
                "minutes": _short(look.minutes),
                "photo": look.photo,
                "level": _short(look.level),
                "level_sd": _short(look.level_sd),
                "lab": [_short(value) for value in look.lab],
                "used": look.used,
            }
            for look in curve.looks
        ],
        "curve": [
            {
                "minutes": _short(point.minutes),
                "level": _short(point.level),
                "low": _short(point.low),
                "high": _short(point.high),
            }
            for point in curve.points
        ],
    }


def _estimate(estimate: Estimate | None) -> Document | None:
    if estimate is None:
        return None
    return {"value": _short(estimate.value), "low": _short(estimate.low), "high": _short(estimate.high)}


def _short(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else short(value)
