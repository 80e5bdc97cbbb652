"""The lift curve as an inline picture: levels up, minutes across, in the page's own ink.

Plain SVG from a template. The colours are custom properties of ``style.css`` with fallbacks, so the same picture
is readable in light, in dark, in print, and in a page that has no such style. Nothing in it needs an id or a
style attribute: several may stand in one page, under any content policy.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from strandgauge.colour.srgb import hex_colour
from strandgauge.hair.levels import Ladder, load_ladder
from strandgauge.hair.warmth import undertone
from strandgauge.lift.curve import CurvePoint, LiftCurve, Look
from strandgauge.reading.model import COVERAGE
from strandgauge.show.pages.render import minutes, render
from strandgauge.words import figure, named, say, sentence
from strandgauge.words.colour import shade_name
from strandgauge.words.reading import at_least

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
class Label:
    """Words in the picture, at their base line."""

    x: float
    y: float
    text: str
    anchor: str = "start"
    colour: str = "ink"
    """Name of a custom property."""

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom, about."""
        width = _LETTER * len(self.text)
        left = self.x - {"start": 0.0, "middle": width / 2, "end": width}[self.anchor]
        return left, self.y - 12.0, left + width, self.y + 4.0


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
    ours = shown.name == curve.ladder
    frame = _frame(curve, width, height, ours, shown.lightest)
    past = [point for point in _drawable(curve.points) if point.minutes <= curve.looks[-1].minutes]
    ahead = [point for point in _drawable(curve.points) if point.minutes > curve.looks[-1].minutes]
    band = past + ahead
    return render(
        "chart.svg.j2",
        width=width,
        height=height,
        frame=frame,
        title=say("chart.title", zone=curve.zone),
        description=describe(curve),
        axis=say("chart.since-start") if curve.from_start else say("chart.since-first"),
        rungs=[
            _Rung(
                frame.y(level), level, named("colour", undertone(shown.lab_at(level), shown)) if ours else ""
            )
            for level in range(math.ceil(frame.lowest), math.floor(frame.highest) + 1)
        ],
        bar=_bar(frame, shown) if ours else [],
        ticks=[(frame.x(minute), figure(minute, "g")) for minute in _ticks(frame)],
        band=_path([(frame.x(p.minutes), frame.y(p.high)) for p in band])
        + "".join(f" L{frame.x(p.minutes):.1f} {frame.y(p.low):.1f}" for p in reversed(band))
        if len(band) > 1
        else "",
        past=_path([(frame.x(p.minutes), frame.y(p.level)) for p in past]),
        ahead=_path([(frame.x(p.minutes), frame.y(p.level)) for p in past[-1:] + ahead]),
        # Those left out lie below the others.
        marks=[_mark(look, frame) for look in sorted(curve.looks, key=lambda look: look.used)],
        need=None if curve.needs_level is None else frame.y(curve.needs_level),
        limit=None if curve.limit is None else frame.x(curve.limit),
        labels=_labels(curve, frame, [(frame.x(p.minutes), frame.y(p.level)) for p in band]),
    )


def need_words(curve: LiftCurve) -> str:
    """Name the needed level, such as 'pastel pink needs 9.0'; empty where none is needed."""
    if curve.needs_level is None:
        return ""
    level = at_least(curve.needs_level)
    if curve.target:
        return say("chart.needs", shade=shade_name(curve.target), level=level)
    return say("chart.wanted", level=level)


def describe(curve: LiftCurve) -> str:
    """Say in words what the chart shows, for those who do not see it."""
    first, last = curve.looks[0], curve.looks[-1]
    looks = (
        say("chart.one-look", time=minutes(last.minutes), level=last.level)
        if len(curve.looks) == 1
        else say(
            "chart.looks",
            count=len(curve.looks),
            low=first.level,
            start=minutes(first.minutes),
            high=last.level,
            end=minutes(last.minutes),
        )
    )
    parts = [looks]
    left_out = [minutes(look.minutes) for look in curve.looks if not look.used]
    if left_out:
        parts.append(say("chart.left-out", times=", ".join(left_out)))
    if curve.plateau is not None:
        parts.append(say("chart.plateau", level=curve.plateau.value))
    if curve.needs_level is not None:
        parts.append(f"{need_words(curve)}.")
    if curve.limit is not None:
        parts.append(say("chart.limit", time=minutes(curve.limit)))
    return " ".join(sentence(part) for part in parts)


def _labels(curve: LiftCurve, frame: _Frame, line: list[tuple[float, float]]) -> list[Label]:
    """Name the lines and the looks left out, each where it covers no look, no other name and little line."""
    placed: list[Label] = []
    marks = [_mark(look, frame) for look in curve.looks]
    taken = [(m.x - 11, min(m.y_high, m.y - 10) - 1, m.x + 11, max(m.y_low, m.y + 10) + 1) for m in marks]
    drawn = [(x - 2, y - 2, x + 2, y + 2) for x, y in line]

    def place(
        text: str, places: list[tuple[float, float, str]], colour: str = "ink", *, needed: bool = True
    ) -> None:
        def harm(label: Label) -> float:
            left, top, right, bottom = label.box
            outside = max(frame.left - left, 0) + max(right - frame.right, 0) + max(frame.top - top, 0)
            outside += max(bottom - frame.bottom, 0)
            return (
                1000.0 * sum(_overlap(label.box, box) > 0 for box in (*taken, *(one.box for one in placed)))
                + 100.0 * outside
                + sum(_overlap(label.box, box) > 0 for box in drawn)
            )

        best = min((Label(x, y, text, anchor, colour) for x, y, anchor in places), key=harm)
        if harm(best) < 1000.0 or needed:
            placed.append(best)

    x_middle = (frame.left + frame.right) / 2
    if curve.needs_level is not None:
        y = frame.y(curve.needs_level)
        ends = ((frame.left + 8, "start"), (x_middle, "middle"), (frame.right - 24, "end"))
        place(
            _need_label(curve, frame),
            [(x, y + dy, end) for dy in (-7, 18, -27, 38) for x, end in ends],
            "accent",
        )
    if curve.limit is not None:
        x = frame.x(curve.limit)
        sides = [(x - 8, "end"), (x + 8, "start")]
        if x < x_middle:
            sides.reverse()
        rows = (frame.bottom - 9, frame.top + 14, (frame.top + frame.bottom) / 2)
        place(
            say("chart.limit-mark", time=minutes(curve.limit)),
            [(x, y, end) for x, end in sides for y in rows],
            "stop",
        )
    for mark in marks:
        if not mark.used:
            place(say("column.left-out"), _around(mark))
    if marks[-1].used and not curve.dyed:
        place(say("chart.now", level=curve.level_now.value), _around(marks[-1]))
    if line and line[-1][0] > marks[-1].x + 20:
        x, y = line[-1]
        places = [(x - 6, y + dy, "end") for dy in (20, -12, 40, -32)]
        place(
            say("chart.forecast"),
            places + [((x + marks[-1].x) / 2, y + dy, "middle") for dy in (30, -24)],
            needed=False,
        )
    return placed


def _around(mark: _Mark) -> list[tuple[float, float, str]]:
    """Return places for words beside a look, best first."""
    below, above = max(mark.y_low, mark.y + 10) + 18, min(mark.y_high, mark.y - 10) - 8
    beside = [(mark.x + 14, "start"), (mark.x - 14, "end")]
    return [
        *((mark.x, y, "middle") for y in (below, above)),
        *((x, y, end) for y in (mark.y + 5, below, above, below + 18, above - 18) for x, end in beside),
    ]


def _overlap(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> float:
    """Return the area that two boxes (left, top, right, bottom) share."""
    width = min(one[2], other[2]) - max(one[0], other[0])
    height = min(one[3], other[3]) - max(one[1], other[1])
    return max(width, 0.0) * max(height, 0.0)


def _need_label(curve: LiftCurve, frame: _Frame) -> str:
    label = need_words(curve)
    if len(label) * _LETTER < frame.right - frame.left or curve.needs_level is None:
        return label
    return say("chart.needed", level=at_least(curve.needs_level))


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
