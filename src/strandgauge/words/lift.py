"""A lift curve in words: the one thing to do, why, and what eyes and fingers must check."""

from __future__ import annotations

import math
from dataclasses import replace

from strandgauge.lift.advice import Advice
from strandgauge.lift.curve import Estimate, LiftCurve, Look
from strandgauge.words import say, sentence
from strandgauge.words.colour import shade_name
from strandgauge.words.judge import listed, surer, why_sentences
from strandgauge.words.reading import at_least, plus_minus

BEHIND = 0.8
"""Levels by which a part lags behind the strand as a whole before that is said."""
_OF_THE_WHOLE = ("lifting", "behind")
_WITH_LEVELS = ("light-enough", "ahead")
"""Reasons that tell the level, which dyed hair has none of; the headline says them without."""
_LOOKS = ("wet-mixed", "does-not-fit", "looks-torn")
"""Reasons to take the last look again before anything is decided."""
_TIME_OR_FEEL = ("stop-condition", "stop-time")
_AT_ONCE = ("no-lift-helps", "slow-now")
"""Reasons for which it comes off that are called out as a stop."""


def headline(curve: LiftCurve) -> str:
    """Return the answer in one short sentence."""
    if not curve.stop:
        return f"{pace(curve)} {again(curve)}"
    first = curve.advice[0] if curve.advice else None
    at_once = first is not None and (first.do in _TIME_OR_FEEL or _reason(curve) in _AT_ONCE)
    return say("lift.at-once", what=off(curve)) if at_once else off(curve)


def _reason(curve: LiftCurve) -> str:
    """Return the one reason that all parts share for taking it off."""
    first = curve.advice[0]
    return first.why[0] if len({one.why for one in curve.advice}) == 1 and first.why else "several"


def off(curve: LiftCurve) -> str:
    """Return why to take the lightener off, where it is to come off, in a short sentence or phrase."""
    if not curve.advice:
        return say("lift-off.several")
    first = curve.advice[0]
    if first.do in _TIME_OR_FEEL:
        return say(f"lift-stop.{first.do}")
    try:
        return say(f"lift-off.{_reason(curve)}", wish=_wish(curve), target=curve.target or "")
    except KeyError:  # a reason of a later version
        return say("lift-off.several")


def again(curve: LiftCurve) -> str:
    """Say when to look again."""
    if not curve.next_look:
        return say("lift.again-now")
    return say("lift.again", wait=_minutes(curve.next_look))


def pace(curve: LiftCurve) -> str:
    """Say how it stands, without the time of the next look."""
    off = [one.zone for one in curve.advice if one.do == "rinse"]
    if off:
        return say("lift.part-off", zones=listed(off))
    odd = next((one.why[0] for one in curve.advice if one.why and one.why[0] in _LOOKS), None)
    if odd is not None:
        return say(f"lift-odd.{odd}")
    other = next((one for one in curve.advice if one.do == "choose-another"), None)
    if other is not None:
        return say("lift.too-far") if "too-far" in other.why else say("lift.not-in-time")
    if curve.rate is None and curve.dyed:
        return say("lift.first-look-dyed", lightness=_lightness(curve.looks[-1]))
    if curve.rate is None:
        return say("lift.first-look", level=curve.looks[-1].level)
    speed = say("lift.slowing") if curve.state == "slowing" else say("lift.lifting")
    need = curve.minutes_to_need
    if need is None or curve.needs_level is None or not math.isfinite(need.value):
        return f"{speed}."
    return say("lift.time-to-go", pace=speed, minutes=_minutes(need.value), level=_level(curve))


def sentences(curve: LiftCurve) -> tuple[str, ...]:
    """Return why, and what else is known, most telling first."""
    told = [*_reasons(curve), *_where_it_stands(curve), *surer(curve.surer)]
    other = any(one.do == "choose-another" for one in curve.advice)
    if (other or (curve.stop and curve.state != "light enough")) and curve.reads_true_now:
        instead = say("lift.instead", shades=", ".join(map(shade_name, curve.reads_true_now)))
        told.insert(0 if other else len(told), instead)  # that it cannot be had is said by the headline
    if curve.stop and curve.state == "light enough":
        told.append(say("lift.dry-and-read"))
    told += [
        say("lift.left-out", minute=look.minutes, photo=look.photo)
        for look in curve.looks
        if not look.used and not (look is curve.looks[-1] and _brighter(curve))
    ]
    if not curve.stop and curve.limit is None:
        told.append(look_up_limit())
    return tuple(dict.fromkeys(told))


def look_up_limit() -> str:
    """Say that the maker's time is not known; each way in says how to give it."""
    return say("lift.look-up-limit")


def look_level(look: Look) -> str:
    """Write the level of a look with the half-width of its 95 % interval; of dyed hair its lightness."""
    if look.dyed:
        return _lightness(look)
    return plus_minus(look.level, look.level_sd)


def stop_signs() -> tuple[str, ...]:
    """Return what eyes and fingers must check, always shown. Common practice of the trade, no source."""
    return tuple(say(f"sign.{name}") for name in ("gummy", "scalp", "eyes"))


def _reasons(curve: LiftCurve) -> list[str]:
    """Return why, once for all parts that share a reason; how it lifts is said by the curve as a whole."""
    parts: dict[tuple[str, ...], list[Advice]] = {}
    left = (*_OF_THE_WHOLE, *_WITH_LEVELS) if curve.dyed else _OF_THE_WHOLE
    for one in curve.advice:
        if why := tuple(code for code in one.why if code not in left):
            parts.setdefault(why, []).append(one)
    told = []
    for why, advice in parts.items():
        first = replace(advice[0], why=why)
        everywhere = first.zone in ("overall", curve.zone) or len(advice) == len(curve.zones)
        for text in why_sentences(first):
            where = sentence(listed(one.zone for one in advice))
            told.append(text if everywhere else f"{where}: {text[:1].lower()}{text[1:]}")
    if curve.stop or curve.dyed:
        return told
    behind = [one for one in curve.zones if curve.level_now.value - one.level >= BEHIND]
    told += [say("lift.behind", zone=one.zone, behind=curve.level_now.value - one.level) for one in behind]
    return told


def _where_it_stands(curve: LiftCurve) -> list[str]:
    told = []
    if curve.needs_level is not None:
        need = (
            say("lift.needs-shade", wish=_wish(curve), level=_level(curve))
            if curve.target
            else say("lift.needs", wish=_wish(curve))
        )
        wait = curve.minutes_to_need
        if wait is not None and math.isfinite(wait.value) and not curve.stop and wait.value > 0:
            latest = say("lift.or-never") if math.isinf(wait.high) else say("lift.latest", high=wait.high)
            need = say(
                "lift.in-minutes",
                need=sentence(need),
                minutes=_minutes(wait.value),
                low=wait.low,
                latest=latest,
            )
            told.append(need)
        else:
            told.append(say("lift.need", need=sentence(need)))
        if curve.chance_in_time is not None and curve.limit is not None and not curve.stop:
            told.append(say("lift.chance-in-time", limit=curve.limit, chance=curve.chance_in_time))
    at = _interval(curve.level_now)
    if curve.dyed:
        told.append(say("lift.at-dyed", lightness=_lightness(curve.looks[-1])))
    elif _brighter(curve):
        told.append(say("lift.seen-at", level=curve.looks[-1].level, at=at))
    elif curve.rate is None:
        told.append(say("lift.at", level=at))
    else:
        low = max(curve.rate.low, 0.0)
        told.append(say("lift.at-and-gains", level=at, rate=curve.rate.value, low=low, high=curve.rate.high))
    return told


def _brighter(curve: LiftCurve) -> bool:
    return any("brighter-than-forecast" in one.why for one in curve.advice)


def _wish(curve: LiftCurve) -> str:
    return shade_name(curve.target) if curve.target else say("lift.level", level=_level(curve))


def _level(curve: LiftCurve) -> str:
    return at_least(curve.needs_level or 1.0)


def _interval(level: Estimate) -> str:
    return say("number.between", value=level.value, low=level.low, high=level.high)


def _lightness(look: Look) -> str:
    return f"L* {look.lab[0]:.0f}"


def _minutes(value: float) -> str:
    return say("lift.minutes", minutes=max(1, round(value)))
