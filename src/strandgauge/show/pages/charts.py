"""The lift curve as an inline picture: levels up, minutes across, in the page's own ink.

Plain SVG from a template. The colours are custom properties of ``style.css`` with fallbacks, so the same picture
is readable in light, in dark, in print, and in a page that has no such style. Nothing in it needs an id or a
style attribute: several may stand in one page, under any content policy.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from strandgauge.hair.levels import Ladder, level_at_least, load_ladder
from strandgauge.hair.warmth import undertone
from strandgauge.lift.curve import CurvePoint, LiftCurve, Look
from strandgauge.reading.model import COVERAGE
from strandgauge.show.pages.render import minutes, render
from strandgauge.show.terminal.reading import hex_colour

_LEAST_LEVELS = 3.0
"""A chart spans at least so many levels, lest noise look like lift."""
_TICK_STEPS = (1, 2, 5, 10, 15, 20, 30, 60, 120, 240)
_BAR_STEP = 0.25
_LETTER = 8.2
"""Width of a bold letter of the size that lines are labelled in."""


@dataclass(frozen=True, slots=True)
class _Rung:
    y: float
    level: int
    word: str


@dataclass(frozen=True, slots=True)
class _Mark:
    x: float
    y: float
    y_high: float
    y_low: float
    hex: str
    used: bool


@dataclass(frozen=True, slots=True)
class _Frame:
    """From minutes and levels to places in the picture."""

    left: float
    right: float
    top: float
    bottom: float
    last_minute: float
    lowest: float
    highest: float

    def x(self, minute: float) -> float:
        return self.left + (self.right - self.left) * minute / self.last_minute

    def y(self, level: float) -> float:
        inside = min(max(level, self.lowest), self.highest)
        return self.bottom - (self.bottom - self.top) * (inside - self.lowest) / (self.highest - self.lowest)


def lift_chart(curve: LiftCurve, *, width: int = 640, height: int = 360, ladder: Ladder | None = None) -> str:
    """Draw a lift curve as an ``<svg>`` to be put into a page as it is.

    Parameters
    ----------
    curve : the strand's looks and the curve through them.
    width, height : of the drawing, in units that are CSS pixels where it is shown at its own size; type is 14
        units high, so a chart for a phone should be drawn about as wide as the phone.
    ladder : that of the curve, for the undertones and colours of the levels; where it is left out and the curve is
        not on the shipped one, the levels are bare numbers.
    """
    shown = ladder or load_ladder()
    named = shown.name == curve.ladder
    frame = _frame(curve, width, height, named, shown.lightest)
    past = [point for point in _drawable(curve.points) if point.minutes <= curve.looks[-1].minutes]
    ahead = [point for point in _drawable(curve.points) if point.minutes > curve.looks[-1].minutes]
    band = past + ahead
    return render(
        "chart.svg.j2",
        width=width,
        height=height,
        frame=frame,
        title=_title(curve),
        description=describe(curve),
        axis="minutes since the lightener went on" if curve.from_start else "minutes since the first look",
        rungs=[
            _Rung(frame.y(level), level, undertone(shown.lab_at(level), shown) if named else "")
            for level in range(math.ceil(frame.lowest), math.floor(frame.highest) + 1)
        ],
        bar=_bar(frame, shown) if named else [],
        ticks=[(frame.x(minute), f"{minute:g}") for minute in _ticks(frame)],
        band=_path([(frame.x(p.minutes), frame.y(p.high)) for p in band])
        + "".join(f" L{frame.x(p.minutes):.1f} {frame.y(p.low):.1f}" for p in reversed(band))
        if len(band) > 1
        else "",
        past=_path([(frame.x(p.minutes), frame.y(p.level)) for p in past]),
        ahead=_path([(frame.x(p.minutes), frame.y(p.level)) for p in past[-1:] + ahead]),
        # Those left out lie below the others.
        marks=[_mark(look, frame) for look in sorted(curve.looks, key=lambda look: look.used)],
        now=_mark(curve.looks[-1], frame),
        now_words=f"by the curve {curve.level_now.value:.1f}",
        need=None if curve.needs_level is None else (frame.y(curve.needs_level), _need_label(curve, frame)),
        limit=None if curve.limit is None else (frame.x(curve.limit), f"time limit {minutes(curve.limit)}"),
    )


def need_words(curve: LiftCurve) -> str:
    """Name the needed level, such as 'pastel pink needs 9.0'; empty where none is needed."""
    if curve.needs_level is None:
        return ""
    level = level_at_least(curve.needs_level)
    return f"{curve.target} needs {level}" if curve.target else f"wanted level {level}"


def describe(curve: LiftCurve) -> str:
    """Say in words what the chart shows, for those who do not see it."""
    first, last = curve.looks[0], curve.looks[-1]
    looks = (
        f"One look, at {minutes(last.minutes)}: level {last.level:.1f}."
        if len(curve.looks) == 1
        else f"{len(curve.looks)} looks, from level {first.level:.1f} at {minutes(first.minutes)} "
        f"to level {last.level:.1f} at {minutes(last.minutes)}."
    )
    parts = [looks]
    left_out = [minutes(look.minutes) for look in curve.looks if not look.used]
    if left_out:
        parts.append(f"Left out of the curve: the look at {', '.join(left_out)}.")
    if curve.plateau is not None:
        parts.append(f"The lift ends by itself near level {curve.plateau.value:.1f}.")
    if curve.needs_level is not None:
        parts.append(f"{need_words(curve)}.")
    if curve.limit is not None:
        parts.append(f"The time limit is {minutes(curve.limit)}.")
    return " ".join(part[0].upper() + part[1:] for part in parts)


def _need_label(curve: LiftCurve, frame: _Frame) -> str:
    label = need_words(curve)
    fits = len(label) * _LETTER < frame.right - frame.left
    return label if fits or curve.needs_level is None else f"needed: {level_at_least(curve.needs_level)}"


def _title(curve: LiftCurve) -> str:
    return f"Lift curve{'' if curve.zone == 'overall' else ' of the ' + curve.zone}: level over time"


def _frame(curve: LiftCurve, width: int, height: int, named: bool, top: float) -> _Frame:
    levels = [look.level + side * COVERAGE * look.level_sd for look in curve.looks for side in (-1, 0, 1)]
    levels += [level for p in _drawable(curve.points) for level in (p.low, p.high) if abs(level) < 20.0]
    if curve.needs_level is not None:
        levels += [curve.needs_level + 0.4]
    lowest, highest = max(1.0, math.floor(min(levels))), min(top, math.ceil(max(levels)))
    highest = min(top, max(highest, lowest + _LEAST_LEVELS))
    lowest = max(1.0, min(lowest, highest - _LEAST_LEVELS))
    times = [look.minutes for look in curve.looks] + [p.minutes for p in curve.points]
    if curve.limit is not None:
        times.append(curve.limit)
    last = max(max(times) * 1.04, 10.0)
    return _Frame(
        left=132.0 if named else 44.0,
        right=width - 14.0,
        top=26.0,
        bottom=height - 48.0,
        last_minute=last,
        # Half a rung of air below and above, so that no mark sits on the frame.
        lowest=lowest - 0.3,
        highest=highest + 0.3,
    )


def _drawable(points: Iterable[CurvePoint]) -> list[CurvePoint]:
    return [p for p in points if not any(map(math.isnan, (p.minutes, p.level, p.low, p.high)))]


def _mark(look: Look, frame: _Frame) -> _Mark:
    half = COVERAGE * look.level_sd
    return _Mark(
        frame.x(look.minutes),
        frame.y(look.level),
        frame.y(look.level + half),
        frame.y(look.level - half),
        hex_colour(look.lab),
        look.used,
    )


def _bar(frame: _Frame, ladder: Ladder) -> list[tuple[float, float, str]]:
    """Return the ladder as fields from bottom to top: upper edge, height, colour."""
    count = round((frame.highest - frame.lowest) / _BAR_STEP)
    step = (frame.highest - frame.lowest) / count
    fields = []
    for i in range(count):
        low = frame.lowest + i * step
        y_high, y_low = frame.y(low + step), frame.y(low)
        lightness, a, b = (float(v) for v in ladder.lab_at(low + step / 2))
        fields.append((y_high, y_low - y_high, hex_colour((lightness, a, b))))
    return fields


def _ticks(frame: _Frame) -> list[float]:
    room = max(2, int((frame.right - frame.left) / 55.0))
    step = next((s for s in _TICK_STEPS if frame.last_minute / s <= room), _TICK_STEPS[-1])
    return [float(minute) for minute in range(0, math.floor(frame.last_minute) + 1, step)]


def _path(places: list[tuple[float, float]]) -> str:
    if len(places) < 2:
        return ""
    return "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in places)
