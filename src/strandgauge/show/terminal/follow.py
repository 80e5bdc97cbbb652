"""A lift curve as text for a terminal: the answer first, a small chart, the looks, the stop signs."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from strandgauge.lift.curve import LiftCurve, Look
from strandgauge.reading.model import COVERAGE
from strandgauge.show.terminal.reading import NARROW, plain_console
from strandgauge.words import lift as words

_CHART_ROWS = 11
_CHART_COLUMNS = 52


def print_curve(curve: LiftCurve, console: Console | None = None) -> None:
    """Print a lift curve."""
    console = console or plain_console()
    console.print(Text(words.headline(curve), style="bold"))
    for sentence in words.sentences(curve):
        hint = " Give it with --limit." if sentence == words.look_up_limit() else ""
        console.print(Text(sentence + hint))
    if curve.points and console.width >= NARROW + 6:
        console.print()
        for line in chart_lines(curve):
            console.print(Text(line))
    console.print()
    console.print(_looks(curve.looks))
    console.print()
    for place, sign in enumerate(words.stop_signs()):
        console.print(Text(sign, style="" if place else "bold"))
    if not curve.from_start:
        console.print(Text("Minutes count from the first look; --start tells when the lightener went on."))
    console.print(Text(f"Levels of the {curve.ladder}, {_zone(curve)}.", style="dim"))


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
    lines = [f"{high - step * y:5.1f} {''.join(cells)}" for y, cells in enumerate(grid)]
    ends = f"{first:.0f} min".ljust(_CHART_COLUMNS - 7) + f"{last:.0f} min".rjust(7)
    return ["level", *lines, f"      {ends}"]


def _looks(looks: tuple[Look, ...]) -> Table:
    table = Table(box=None, pad_edge=False, show_edge=False, padding=(0, 2, 0, 0))
    for name in ("minute", "level", "", "photo"):
        table.add_column(name, justify="right" if name == "minute" else "left")
    for look in looks:
        table.add_row(
            f"{look.minutes:.0f}",
            f"{look.level:.1f} ± {COVERAGE * look.level_sd:.1f}",
            "" if look.used else "left out",
            Text(look.photo),
        )
    return table


def _zone(curve: LiftCurve) -> str:
    return "strand overall" if curve.zone == "overall" else curve.zone
