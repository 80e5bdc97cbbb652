"""One strand over time: its lift curve, where that is heading, and whether to go on or to stop.

The kinetics are in :mod:`strandgauge.lift.kinetics`, the words in :mod:`strandgauge.judge.advice`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from strandgauge.errors import BadTimesError
from strandgauge.hair.levels import Ladder, load_ladder
from strandgauge.judge.advice import STOP_SIGNS, Facts, Rules, Wish, advise, load_rules
from strandgauge.lift.curve import CurvePoint, Estimate, LiftCurve, Look, State
from strandgauge.lift.kinetics import LiftFit, fit_lift
from strandgauge.reading.model import Reading, ZoneReading
from strandgauge.strand.names import ZoneName

__all__ = ["CurvePoint", "Estimate", "LiftCurve", "Look", "State", "follow", "zone_of"]

_CURVE_POINTS = 41


def follow(
    readings: Sequence[Reading],
    minutes: Sequence[float],
    *,
    zone: ZoneName = "overall",
    target: str | None = None,
    needs_level: float | None = None,
    reads_true_now: Sequence[str] = (),
    limit: float | None = None,
    ladder: Ladder | None = None,
    from_start: bool = True,
) -> LiftCurve:
    """Fit the lift curve of one strand and say whether to go on.

    Parameters
    ----------
    readings : of the same strand, in any order.
    minutes : of each reading, since the lightener went on.
    zone : the part of the strand to follow.
    target : name of the wanted shade, for the words.
    needs_level : the level that the wanted shade needs. A ``target`` without it reads true at no level.
    reads_true_now : names of shades that read true on the strand as it is, for the words.
    limit : the maker's time limit, minutes since the lightener went on; no advice goes past it.
    ladder : that of the readings; the shipped one when left out.
    from_start : False where it is not known when the lightener went on and ``minutes`` count from the first
        look; there can be no ``limit`` then.

    Raises
    ------
    BadTimesError : no reading, not one time for each, a time or limit that is no number or below zero, a limit
        without a start.
    """
    _check_times(readings, minutes, limit)
    if limit is not None and not from_start:
        raise BadTimesError(
            "A time limit counts from when the lightener went on, which is not known",
            remedy="Give that time with --start HH:MM, or each photo's minutes with --at.",
        )
    rungs = ladder or load_ladder()
    order = sorted(range(len(minutes)), key=lambda place: minutes[place])
    zones = [zone_of(readings[place], zone) for place in order]
    times = [float(minutes[place]) for place in order]
    fit = fit_lift(times, [z.level for z in zones], [z.level_sd for z in zones], rungs)
    looks = tuple(
        Look(when, readings[place].photo, z.level, z.level_sd, z.lab, bool(wrong <= 0.5))
        for when, place, z, wrong in zip(times, order, zones, fit.wrong, strict=True)
    )
    rules = load_rules()
    facts = _facts(fit, looks, needs_level, limit, rules, rungs.lightest)
    wish = Wish(target, needs_level, tuple(reads_true_now))
    state = _state(facts, needs_level, limit, rules)
    words = advise(state, facts, wish, looks, readings[order[-1]], zone, limit, rules)
    return LiftCurve(
        zone=zone,
        looks=looks,
        points=_points(fit, times, limit, rules, rungs.lightest),
        state=state,
        stop=words.stop,
        headline=words.headline,
        advice=words.advice,
        stop_signs=STOP_SIGNS,
        level_now=facts.level_now,
        rate=facts.rate,
        plateau=facts.plateau,
        target=target,
        needs_level=needs_level,
        minutes_to_need=facts.minutes_to_need,
        chance_in_time=facts.chance_in_time,
        limit=limit,
        next_look=words.next_look,
        ladder=rungs.name,
        from_start=from_start,
    )


def zone_of(reading: Reading, name: ZoneName) -> ZoneReading:
    """Return one zone of a reading."""
    return next(zone for zone in (reading.overall, *reading.zones) if zone.name == name)


def _check_times(readings: Sequence[Reading], minutes: Sequence[float], limit: float | None) -> None:
    if not readings:
        raise BadTimesError("There is no reading to follow", remedy="Name at least one photo.")
    if len(minutes) != len(readings):
        raise BadTimesError(f"There are {len(readings)} photos and {len(minutes)} times")
    for value in minutes:
        if not math.isfinite(value) or value < 0:
            raise BadTimesError(f"'{value:g}' is no time since the lightener went on")
    if limit is not None and not (math.isfinite(limit) and limit > 0):
        raise BadTimesError(
            f"'{limit:g}' is no time limit", remedy="Give the maker's limit in minutes, such as --limit 45."
        )


def _facts(
    fit: LiftFit,
    looks: tuple[Look, ...],
    needs_level: float | None,
    limit: float | None,
    rules: Rules,
    lightest: float,
) -> Facts:
    """Draw from the fit what the advice needs to know."""
    now = looks[-1].minutes
    levels_now = fit.levels_at(now)
    single = len(looks) == 1
    wait = chance = None
    enough = 0.0
    if needs_level is not None:
        enough = float(np.mean(levels_now >= needs_level))
        when = fit.minutes_when(needs_level)
        # Nothing is foretold past the time limit, or further ahead than anyone can tell.
        end = now + rules.too_far if limit is None else min(limit, now + rules.too_far)
        waits = np.where(when <= end, np.maximum(when - now, 0.0), np.inf)
        wait = None if single else _estimate(waits)
        chance = None if limit is None or single else float(np.mean(when <= limit))
    return Facts(
        minute=now,
        seen_for=now - looks[0].minutes,
        latest_used=looks[-1].used,
        # Whatever the curve makes of it: a strand that was just seen to be darker is not light enough.
        latest_agrees=looks[-1].used
        and (needs_level is None or looks[-1].level + looks[-1].level_sd >= needs_level),
        level_now=_estimate(levels_now),
        rate=None if single else _estimate(10.0 * fit.gain(now, now + 1.0)),
        gain_ahead=float(np.median(fit.gain(now, now + 10.0))),
        level_at_limit=None if limit is None or single else _estimate(fit.levels_at(max(limit, now))),
        plateau=None if single else _estimate(np.minimum(fit.plateau, lightest)),
        enough=enough,
        minutes_to_need=wait,
        chance_in_time=chance,
    )


def _state(facts: Facts, needs_level: float | None, limit: float | None, rules: Rules) -> State:
    if limit is not None and facts.minute >= limit:
        return "time is up"
    if needs_level is not None and facts.enough >= 0.5 and facts.latest_agrees:
        return "light enough"
    if facts.rate is None:
        return "first look"
    stalled = facts.gain_ahead < rules.stalled and facts.seen_for >= rules.look_every
    if stalled and facts.latest_used and not facts.torn:
        return "stalled"
    return "slowing" if facts.gain_ahead < rules.slowing else "lifting"


def _points(
    fit: LiftFit, times: list[float], limit: float | None, rules: Rules, lightest: float
) -> tuple[CurvePoint, ...]:
    if len(times) == 1:
        return ()
    ahead = times[-1] + rules.too_far / 2.0
    end = ahead if limit is None else max(times[-1], min(limit, times[-1] + rules.too_far))
    points = []
    for minute in np.unique(np.append(np.linspace(times[0], end, _CURVE_POINTS), times)):
        level = _estimate(np.clip(fit.levels_at(float(minute)), 1.0, lightest))
        points.append(CurvePoint(float(minute), level.value, level.low, level.high))
    return tuple(points)


def _estimate(samples: NDArray[np.float64]) -> Estimate:
    # 'inverted_cdf' returns one of the samples, so that infinite ones do no harm to the others.
    low, middle, high = np.quantile(samples, [0.025, 0.5, 0.975], method="inverted_cdf")
    return Estimate(float(middle), float(low), float(high))
