"""Invented lift curves, one for each thing that a strand may do."""

from __future__ import annotations

import math

from strandgauge.hair.levels import load_ladder
from strandgauge.lift.advice import Advice
from strandgauge.lift.curve import CurvePoint, Estimate, LiftCurve, Look

LADDER = load_ladder()


def look(minutes, level, *, used=True, sd=0.25, photo=None) -> Look:
    lightness, a, b = (float(v) for v in LADDER.lab_at(level))
    return Look(minutes, photo or f"look-{minutes:g}.jpg", level, sd, (lightness, a, b), used)


def rise(start, plateau, rate, until, *, widen=0.02, since=0.0, step=1.5) -> tuple[CurvePoint, ...]:
    """Return an approach to a plateau, with a band that widens with time."""
    points = []
    minute = since
    while minute <= until + 1e-9:
        level = plateau - (plateau - start) * math.exp(-rate * (minute - since))
        half = 0.25 + widen * (minute - since)
        points.append(CurvePoint(minute, level, level - half, level + half))
        minute += step
    return tuple(points)


def curve(**changes) -> LiftCurve:
    """Return a strand that lifts well: three looks, one of them bad, pastel pink wanted, 50 minutes at most."""
    values = {
        "zone": "overall",
        "looks": (look(5, 5.2), look(14, 6.4), look(18, 8.4, used=False, sd=0.6), look(22, 6.8)),
        "points": rise(5.2, 9.6, 0.028, 50, widen=0.022, since=5),
        "state": "lifting",
        "stop": False,
        "advice": (Advice("overall", "lift", ("lifting",), (("rate", 0.8),)),),
        "level_now": Estimate(6.9, 6.5, 7.3),
        "rate": Estimate(0.8, 0.5, 1.1),
        "plateau": Estimate(9.6, 8.3, 10.0),
        "target": "pastel pink",
        "needs_level": 9.0,
        "minutes_to_need": Estimate(28.0, 19.0, math.inf),
        "chance_in_time": 0.47,
        "limit": 50.0,
        "next_look": 8.0,
        "ladder": LADDER.name,
        "from_start": True,
    }
    return LiftCurve(**(values | changes))


def stalled(**changes) -> LiftCurve:
    """Return a strand whose lift has ended below what the shade needs."""
    return curve(
        **{
            "looks": (look(10, 6.0), look(25, 7.4), look(40, 7.6)),
            "points": rise(6.0, 7.6, 0.12, 50, widen=0.006, since=10),
            "state": "stalled",
            "stop": True,
            "advice": (Advice("overall", "rinse", ("stalled",), (("gain", 0.1),)),),
            "level_now": Estimate(7.6, 7.3, 7.9),
            "rate": Estimate(0.1, 0.0, 0.3),
            "plateau": Estimate(7.6, 7.3, 8.0),
            "minutes_to_need": Estimate(math.inf, math.inf, math.inf),
            "chance_in_time": 0.01,
            "next_look": None,
        }
        | changes
    )


def first_look(**changes) -> LiftCurve:
    """Return a strand looked at once, nothing known of shade or limit."""
    return curve(
        **{
            "looks": (look(5, 5.2),),
            "points": (),
            "state": "first look",
            "advice": (Advice("overall", "lift", ("first-look",)),),
            "level_now": Estimate(5.2, 4.7, 5.7),
            "rate": None,
            "plateau": None,
            "target": None,
            "needs_level": None,
            "minutes_to_need": None,
            "chance_in_time": None,
            "limit": None,
            "next_look": 10.0,
        }
        | changes
    )


def slowing(**changes) -> LiftCurve:
    return curve(
        **{
            "looks": (look(5, 5.2), look(20, 8.1), look(35, 8.9)),
            "points": rise(5.2, 9.2, 0.085, 50, widen=0.01, since=5),
            "state": "slowing",
            "level_now": Estimate(8.9, 8.6, 9.2),
            "rate": Estimate(0.3, 0.1, 0.5),
            "plateau": Estimate(9.2, 8.9, 9.6),
            "minutes_to_need": Estimate(5.0, 1.0, 21.0),
            "chance_in_time": 0.8,
            "next_look": 5.0,
        }
        | changes
    )
