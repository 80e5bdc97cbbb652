"""The page of one strand's lift: go on or stop, in letters that can be read at arm's length."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from strandgauge.judge.lifting import load_rules
from strandgauge.lift.curve import Estimate, LiftCurve, Look
from strandgauge.reading.evenness import evenness
from strandgauge.reading.model import Reading, ZoneReading
from strandgauge.show.pages.charts import lift_chart
from strandgauge.show.pages.render import minutes, render
from strandgauge.words import figure, lift, say, sentence
from strandgauge.words import reading as words
from strandgauge.words.colour import shade_name
from strandgauge.words.reading import at_least

_ALREADY = 0.5
"""Minutes below which a level counts as reached."""

Fact = tuple[str, str, str]
"""Name, value and a lesser line, which may be empty."""


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer as a shape and a word."""

    kind: str
    """Of the macro ``icon`` and of the class in style.css: go, slow, stop or look."""
    word: str


def follow_page(
    curve: LiftCurve,
    readings: Sequence[Reading],
    strips: Mapping[str, bytes],
    *,
    refresh: int | None = None,
    said: tuple[str, tuple[str, ...]] | None = None,
) -> str:
    """Return the page of a lift curve.

    Parameters
    ----------
    curve : what `strandgauge.judge.follow.follow` found.
    readings : those the curve was drawn from, in any order; found by their photo's name.
    strips : of each photo's name the picture by `strandgauge.show.picture.strip.strip_jpeg`; a photo without one
        is shown as a colour field.
    refresh : seconds after which a browser that shows it loads it again; never where left out.
    said : headline and sentences in place of the curve's own, where something else comes first.
    """
    saying, sentences = said or (lift.headline(curve), lift.sentences(curve))
    return render(
        "follow.html.j2",
        refresh=refresh,
        curve=curve,
        saying=saying,
        sentences=sentences,
        stop_signs=lift.stop_signs(),
        answer=answer(curve),
        facts_shown=facts(curve),
        roomy=Markup(lift_chart(curve, width=860, height=380)),
        narrow=Markup(lift_chart(curve, width=340, height=300)),
        looks=list(_looks(curve, readings, strips)),
        words=words,
        evenness=evenness,
    )


def answer(curve: LiftCurve) -> Answer:
    """Return shape and word of the answer."""
    if curve.stop:
        return Answer("stop", say("lift-page.stop"))
    if curve.state == "first look" or not curve.looks[-1].used:
        return Answer("look", say("lift-page.look-again"))
    if _unlikely(curve):
        return Answer("slow", say("lift-page.not-in-time"))
    if curve.state == "slowing":
        return Answer("slow", say("lift-page.slowing"))
    return Answer("go", say("lift-page.go-on"))


def facts(curve: LiftCurve) -> list[Fact]:
    """Return what is known, most pressing first. No time past the limit is ever named as one to wait for."""
    last = curve.looks[-1].minutes
    shown: list[Fact] = []
    if not curve.stop and curve.next_look is not None:
        wait = (
            say("lift-page.now")
            if curve.next_look < _ALREADY
            else say("lift-page.in", wait=minutes(curve.next_look))
        )
        shown.append(
            (say("lift-page.next-look"), wait, say("lift-page.at", time=minutes(last + curve.next_look)))
        )
    if curve.limit is None:
        shown.append((say("lift-page.limit"), say("lift-page.no-limit"), say("lift-page.look-up")))
    elif curve.stop:
        shown.append(
            (say("lift-page.on-hair"), minutes(last), say("lift-page.limit-at", time=minutes(curve.limit)))
        )
    else:
        left = minutes(max(curve.limit - last, 0.0))
        shown.append((say("lift-page.left"), left, say("lift-page.to-limit", time=minutes(curve.limit))))
    if not curve.dyed:
        shown.append(
            (say("lift-page.level-now"), figure(curve.level_now.value, ".1f"), _levels(curve.level_now))
        )
    if curve.needs_level is not None:
        name = (
            say("lift-page.needs", shade=sentence(shade_name(curve.target)))
            if curve.target
            else say("lift-page.wanted-level")
        )
        shown.append((name, at_least(curve.needs_level), _outlook(curve, curve.needs_level, last)))
    if curve.rate is not None:
        spread = say("lift-page.in-ten-minutes", low=max(curve.rate.low, 0.0), high=curve.rate.high)
        shown.append((say("lift-page.pace"), figure(curve.rate.value, "+.1f"), spread))
    if curve.plateau is not None:
        shown.append(
            (
                say("lift-page.end"),
                figure(curve.plateau.value, ".1f"),
                say("lift-page.no-further", levels=_levels(curve.plateau)),
            )
        )
    return shown


def _outlook(curve: LiftCurve, needs_level: float, last: float) -> str:
    """Say whether and when the needed level comes."""
    wait = curve.minutes_to_need
    if curve.state == "light enough" or (wait is not None and wait.value <= _ALREADY):
        return (
            say("lift-page.reached") if curve.level_now.low >= needs_level else say("lift-page.about-there")
        )
    if curve.stop:
        return say("lift-page.not-reached")
    if wait is None:
        return ""
    if curve.limit is not None and last + wait.value > curve.limit:
        never = _unlikely(curve)
        return say("lift-page.past-limit" if never else "lift-page.perhaps-past-limit", chance=_chance(curve))
    if not math.isfinite(wait.value):
        return say("lift-page.untold")
    told = math.isfinite(wait.high) and (curve.limit is None or last + wait.high <= curve.limit)
    time, chance = minutes(wait.value), _chance(curve)
    if not told:
        return say("lift-page.soon-or-later", time=time, low=wait.low, chance=chance)
    return say("lift-page.soon", time=time, low=wait.low, high=wait.high, chance=chance)


def _unlikely(curve: LiftCurve) -> bool:
    return curve.chance_in_time is not None and curve.chance_in_time < load_rules().unlikely


def _chance(curve: LiftCurve) -> str:
    if curve.chance_in_time is None:
        return ""
    return say("lift-page.chance", chance=100 * curve.chance_in_time)


def _levels(estimate: Estimate) -> str:
    return say("number.from-to", low=max(estimate.low, 1.0), high=estimate.high)


def _looks(
    curve: LiftCurve, readings: Sequence[Reading], strips: Mapping[str, bytes]
) -> Iterator[tuple[Look, str, Reading | None, ZoneReading | None, bytes | None]]:
    """Yield each look with its level in words, its reading, the zone that is followed, and its strip."""
    # Photos of different folders may share a name: each look takes the next reading of its name.
    waiting: dict[str, list[Reading]] = {}
    for reading in readings:
        waiting.setdefault(reading.photo, []).append(reading)
    for look in curve.looks:
        found = waiting[look.photo].pop(0) if waiting.get(look.photo) else None
        zones = [] if found is None else [*(z for z in found.zones if z.name == curve.zone), found.overall]
        yield look, lift.look_level(look), found, zones[0] if zones else None, strips.get(look.photo)
