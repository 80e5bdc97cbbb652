"""A lift curve as text for a terminal: the answer first, a small chart, the looks, the stop signs."""

from __future__ import annotations

from rich.console import Console

from strandgauge.lift.curve import LiftCurve
from strandgauge.show.terminal.console import NARROW, Printer
from strandgauge.words import figure, say
from strandgauge.words import lift as words

_CHART_ROWS = 11
_CHART_COLUMNS = 52


def print_curve(curve: LiftCurve, console: Console | None = None) -> None:
    """Print a lift curve."""
    out = Printer(console)
    out.line(words.headline(curve), style="bold")
    for sentence in words.sentences(curve):
        out.line(sentence, f" {say('lift.with-limit')}" if sentence == words.look_up_limit() else "")
    if curve.points and out.width >= NARROW + 6:
        out.line()
        for line in chart_lines(curve):
            out.line(line)
    out.line()
    out.table(
        (">minute", "level", "", "photo"),
        [
            (
                f"{look.minutes:.0f}",
                words.look_level(look),
                "" if look.used else say("column.left-out"),
                look.photo,
            )
            for look in curve.looks
        ],
    )
    out.line()
    first, *others = words.stop_signs()
    out.line(first, style="bold")
    for sign in others:
        out.line(sign)
    if not curve.from_start:
        out.line(say("lift.from-first-look"))
    out.aside(say("lift.levels-of", ladder=curve.ladder, zone=curve.zone))


def chart_lines(curve: LiftCurve) -> list[str]:
    """Return the curve as lines of text: looks ●, left-out looks ×, curve ·, band ░, needed level ─."""
    first, last = curve.points[0].minutes, curve.points[-1].minutes
    seen = [look.level for look in curve.looks]
    goal = [] if curve.needs_level is None else [curve.needs_level]
    low = min(*seen, *goal, *(point.low for point in curve.points))
    high = max(*seen, *goal, *(point.high for point in curve.points))
    step = max((high - low) / (_CHART_ROWS - 1), 0.1)
    grid = [[" "] * _CHART_COLUMNS for _ in range(_CHART_ROWS)]

    def row(level: float) -> int:
        return min(max(round((high - level) / step), 0), _CHART_ROWS - 1)

    def column(minutes: float) -> int:
        return round((minutes - first) / max(last - first, 1e-9) * (_CHART_COLUMNS - 1))

    for x in range(_CHART_COLUMNS):
        when = first + (last - first) * x / (_CHART_COLUMNS - 1)
        point = min(curve.points, key=lambda one: abs(one.minutes - when))
        for y in range(row(point.high), row(point.low) + 1):
            grid[y][x] = "░"
        if curve.needs_level is not None:
            grid[row(curve.needs_level)][x] = "─"
        grid[row(point.level)][x] = "·"
    for look in curve.looks:
        grid[row(look.level)][column(look.minutes)] = "●" if look.used else "×"
    lines = [f"{figure(high - step * y, '5.1f')} {''.join(cells)}" for y, cells in enumerate(grid)]
    ends = say("page.minutes", minutes=round(first)).ljust(_CHART_COLUMNS - 7)
    ends += say("page.minutes", minutes=round(last)).rjust(7)
    return [say("column.level"), *lines, f"      {ends}"]
