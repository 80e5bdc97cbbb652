"""One strand over time: its lift curve, where that is heading, and whether to go on or to stop, part by part.

The kinetics are in :mod:`strandgauge.lift.kinetics`, the decisions in :mod:`strandgauge.judge.lifting`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from strandgauge.colour.arrays import Array
from strandgauge.errors import BadTimesError
from strandgauge.hair.levels import Ladder
from strandgauge.hair.stretch import Stretch
from strandgauge.judge.lifting import Facts, Moment, Rules, advise_lifting, load_rules, part_of, state_of
from strandgauge.judge.outlook import Outlook
from strandgauge.judge.surer import Doubt, surer
from strandgauge.lift.curve import CurvePoint, Estimate, LiftCurve, Look
from strandgauge.lift.kinetics import LiftFit, fit_lift
from strandgauge.reading.model import Reading, ZoneReading
from strandgauge.strand.names import PARTS, ZoneName

_CURVE_POINTS = 41
LONGEST_LIMIT = 120.0
"""Minutes; no maker's time is longer, so that more is a slip of the finger."""


def follow(
    readings: Sequence[Reading],
    minutes: Sequence[float],
    *,
    ladder: Ladder,
    zone: ZoneName = "overall",
    target: str | None = None,
    needs_level: float | None = None,
    needs: Mapping[str, float | None] | None = None,
    reads_true_now: Sequence[str] = (),
    limit: float | None = None,
    stretch: Stretch | None = None,
    from_start: bool = True,
    by_zone: bool = True,
) -> LiftCurve:
    """Fit the lift curve of one strand and say what to do with each part of it.

    Parameters
    ----------
    readings : of the same strand, in any order. Looks of hair that was not wet or dry as at the last look are left
        out, since a wet strand reads darker than it is.
    minutes : of each reading, since the lightener went on.
    ladder : that of the readings.
    zone : the part of the strand to follow; where it is the whole, root, mids and ends are judged too.
    target : name of the wanted shade, for the words.
    needs_level : the level that the wanted shade needs. A ``target`` without it reads true at no level.
    needs : the level that each part needs, where they differ; see `needs_of`.
    reads_true_now : names of shades that read true on the strand as it is, for the words.
    limit : the maker's time, minutes since the lightener went on; no advice goes past it. Without it none goes past
        the ceiling of ``calibration/lift.toml``.
    stretch : the worst answer that the strand's stretch tests gave.
    from_start : False where it is not known when the lightener went on and ``minutes`` count from the first
        look; there can be no ``limit`` then.
    by_zone : False where the parts are not of interest.

    Raises
    ------
    BadTimesError : no reading, not one time for each, a time or limit that is no number or below zero, a limit
        without a start.
    """
    _check_times(readings, minutes, limit)
    if limit is not None and not from_start:
        raise BadTimesError(fault="no-start")
    rules = load_rules()
    order = sorted(range(len(minutes)), key=lambda place: minutes[place])
    shown = [readings[place] for place in order]
    times = [float(minutes[place]) for place in order]
    alike = [reading.wet == shown[-1].wet for reading in shown]
    moment = Moment(limit, from_start, stretch, not all(alike))
    kept = [place for place, like in enumerate(alike) if like]
    aimed = target is not None or needs_level is not None
    wanted = dict(needs or {})

    def part(name: ZoneName) -> tuple[Facts, LiftFit, list[bool]]:
        zones = [zone_of(shown[place], name) for place in kept]
        need = wanted.get(name, needs_level)
        return _part(name, zones, [times[place] for place in kept], need, aimed, limit, rules, ladder)

    whole, fit, used = part(zone)
    parts = [part(name)[0] for name in PARTS] if by_zone and zone == "overall" else []
    advice, stop, pause = advise_lifting(whole, parts, moment, rules)
    fitting = dict(zip(kept, used, strict=True))
    looks = tuple(
        Look(when, reading.photo, z.level, z.level_sd, z.lab, fitting.get(place, False), z.is_dyed)
        for place, (when, reading) in enumerate(zip(times, shown, strict=True))
        for z in (zone_of(reading, zone),)
    )
    return LiftCurve(
        zone=zone,
        looks=looks,
        points=_points(fit, [times[place] for place in kept], limit, rules, ladder.lightest),
        state=state_of(whole, moment, rules),
        stop=stop,
        advice=advice,
        level_now=whole.level_now,
        rate=whole.rate,
        plateau=whole.plateau,
        target=target,
        needs_level=whole.needs,
        minutes_to_need=whole.minutes_to_need,
        chance_in_time=whole.chance_in_time,
        limit=limit,
        next_look=pause,
        ladder=ladder.name,
        from_start=from_start,
        zones=tuple(part_of(facts, moment, rules) for facts in parts),
        reads_true_now=tuple(reads_true_now),
        surer=None if stop else surer(_doubts(parts or [whole]), shown[-1].ways),
    )


def _doubts(parts: Sequence[Facts]) -> list[Doubt]:
    return [
        Doubt(part.zone, part.needs - part.latest_level, part.latest_sd)
        for part in parts
        if part.needs is not None and part.latest_used
    ]


def is_same_photo(one: Reading, other: Reading) -> bool:
    """Tell whether two readings are of one photo: no two shots agree to the last digit."""
    return one.taken == other.taken and one.zones == other.zones


def needs_of(outlook: Outlook) -> dict[str, float | None]:
    """Return the level that each part of a strand needs for the outlook's shade."""
    return {zone.name: None if zone.needs is None else zone.needs.level for zone in outlook.zones}


def zone_of(reading: Reading, name: ZoneName) -> ZoneReading:
    """Return one zone of a reading."""
    return next(zone for zone in (reading.overall, *reading.zones) if zone.name == name)


def _check_times(readings: Sequence[Reading], minutes: Sequence[float], limit: float | None) -> None:
    if not readings:
        raise BadTimesError(fault="nothing")
    if len(minutes) != len(readings):
        raise BadTimesError(fault="count", photos=len(readings), times=len(minutes))
    for value in minutes:
        if not math.isfinite(value) or value < 0:
            raise BadTimesError(fault="no-minutes", value=value)
    if limit is not None and not (math.isfinite(limit) and 0 < limit <= LONGEST_LIMIT):
        raise BadTimesError(fault="no-limit", limit=limit)


def _part(
    name: ZoneName,
    zones: Sequence[ZoneReading],
    times: Sequence[float],
    needs: float | None,
    aimed: bool,
    limit: float | None,
    rules: Rules,
    ladder: Ladder,
) -> tuple[Facts, LiftFit, list[bool]]:
    """Fit one part of the strand and draw from it what the advice needs to know; also which looks fit."""
    fit = fit_lift(times, [z.level for z in zones], [z.level_sd for z in zones], ladder)
    used = [bool(wrong <= 0.5) for wrong in fit.wrong]
    now, latest = times[-1], zones[-1]
    levels_now = fit.levels_at(now)
    single = len(times) == 1
    wait = chance = None
    enough = may_come = 0.0
    if needs is not None:
        enough = float(np.mean(levels_now >= needs))
        when = fit.minutes_when(needs)
        # Nothing is foretold past the time limit, or further ahead than anyone can tell.
        end = now + rules.too_far if limit is None else min(limit, now + rules.too_far)
        waits = np.where(when <= end, np.maximum(when - now, 0.0), np.inf)
        wait = None if single else _estimate(waits)
        chance = None if limit is None or single else float(np.mean(when <= limit))
        may_come = float(np.mean(when <= (max(rules.stop_past, now) if limit is None else limit)))
    gain = float(np.median(fit.gain(now, now + 10.0)))
    before = gain
    if gain < rules.stalled and not single:
        earlier = zones[:-1]
        without = fit_lift(times[:-1], [z.level for z in earlier], [z.level_sd for z in earlier], ladder)
        before = float(np.median(without.gain(now, now + 10.0)))
    facts = Facts(
        zone=name,
        minute=now,
        seen_for=now - times[0],
        single=single,
        latest_used=used[-1],
        # Whatever the curve makes of it: a strand that was just seen to be darker is not light enough.
        latest_agrees=used[-1] and (needs is None or latest.level + latest.level_sd >= needs),
        latest_level=latest.level,
        latest_sd=latest.level_sd,
        level_now=_estimate(levels_now),
        level_sd=float(np.std(levels_now)),
        needs=needs,
        aimed=aimed,
        rate=None if single else _estimate(10.0 * fit.gain(now, now + 1.0)),
        gain_ahead=gain,
        gain_before=before,
        level_at_limit=None if limit is None or single else _estimate(fit.levels_at(max(limit, now))),
        plateau=None if single else _estimate(np.minimum(fit.plateau, ladder.lightest)),
        enough=enough,
        minutes_to_need=wait,
        chance_in_time=chance,
        may_come=may_come,
    )
    return facts, fit, used


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


def _estimate(samples: Array) -> Estimate:
    # 'inverted_cdf' returns one of the samples, so that infinite ones do no harm to the others.
    low, middle, high = np.quantile(samples, [0.025, 0.5, 0.975], method="inverted_cdf")
    return Estimate(float(middle), float(low), float(high))
