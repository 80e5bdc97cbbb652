"""The page of one strand's lift: go on or stop, in letters that can be read at arm's length."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from strandgauge.hair.levels import level_at_least
from strandgauge.judge.lifting import load_rules
from strandgauge.lift.curve import Estimate, LiftCurve, Look
from strandgauge.reading.evenness import evenness
from strandgauge.reading.model import COVERAGE, Reading, ZoneReading
from strandgauge.show.pages.charts import lift_chart
from strandgauge.show.pages.render import capital, minutes, render
from strandgauge.words import lift, say
from strandgauge.words import reading as words

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
        return Answer("stop", "Stop")
    if curve.state == "first look" or not curve.looks[-1].used:
        return Answer("look", "Look again")
    if _unlikely(curve):
        return Answer("slow", "Not in time")
    if curve.state == "slowing":
        return Answer("slow", "Slowing")
    return Answer("go", "Go on")


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
        shown.append(("Next look", wait, f"at {minutes(last + curve.next_look)}"))
    if curve.limit is None:
        shown.append(("Time limit", "not given", "Look it up in the maker's directions and keep to it."))
    elif curve.stop:
        shown.append(("On the hair", minutes(last), f"time limit {minutes(curve.limit)}"))
    else:
        shown.append(
            ("Time left", minutes(max(curve.limit - last, 0.0)), f"to the limit of {minutes(curve.limit)}")
        )
    shown.append(("Level now", f"{curve.level_now.value:.1f}", _levels(curve.level_now)))
    if curve.needs_level is not None:
        name = f"{capital(curve.target)} needs" if curve.target else "Wanted level"
        shown.append((name, level_at_least(curve.needs_level), _outlook(curve, curve.needs_level, last)))
    if curve.rate is not None:
        spread = f"{max(curve.rate.low, 0.0):.1f} to {curve.rate.high:.1f}"
        shown.append(("Pace", f"{curve.rate.value:+.1f}", f"levels in 10 min, {spread}"))
    if curve.plateau is not None:
        shown.append(
            (
                say("lift-page.end"),
                f"{curve.plateau.value:.1f}",
                say("lift-page.no-further", levels=_levels(curve.plateau)),
            )
        )
    return shown


def _outlook(curve: LiftCurve, needs_level: float, last: float) -> str:
    """Say whether and when the needed level comes."""
    wait = curve.minutes_to_need
    if curve.state == "light enough" or (wait is not None and wait.value <= _ALREADY):
        return "reached" if curve.level_now.low >= needs_level else "about there"
    if curve.stop:
        return "not reached"
    if wait is None:
        return ""
    if curve.limit is not None and last + wait.value > curve.limit:
        surely = "" if _unlikely(curve) else "perhaps "
        return f"{surely}not within the time limit{_chance(curve)}"
    if not math.isfinite(wait.value):
        return "cannot be told yet"
    told = math.isfinite(wait.high) and (curve.limit is None or last + wait.high <= curve.limit)
    upper = f" to {wait.high:.0f}" if told else " or more"
    return f"in about {minutes(wait.value)} ({wait.low:.0f}{upper}){_chance(curve)}"


def _unlikely(curve: LiftCurve) -> bool:
    return curve.chance_in_time is not None and curve.chance_in_time < load_rules().unlikely


def _chance(curve: LiftCurve) -> str:
    if curve.chance_in_time is None:
        return ""
    return f", chance {100 * curve.chance_in_time:.0f}\u00a0%"


def _levels(estimate: Estimate) -> str:
    return f"{max(estimate.low, 1.0):.1f} to {estimate.high:.1f}"


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
        level = f"{look.level:.1f} ± {COVERAGE * look.level_sd:.1f}"
        yield look, level, found, zones[0] if zones else None, strips.get(look.photo)
