"""A plan as text for a terminal: the first thing, the steps in order, the fading."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from strandgauge.judge.plan import Plan
from strandgauge.words import plan as words
from strandgauge.words import said, say

MOST_CAUTIONS = 2


def print_plan(plan: Plan, console: Console | None = None) -> None:
    """Print a plan."""
    console = console or Console(highlight=False)
    _print_hung(console, "", Text(words.headline(plan), style="bold"))
    console.print()
    told = False
    for number, step in enumerate(plan.steps, start=1):
        lines = [Text(words.step_line(step), style="bold")]
        if mix := words.mix_of_step(step):
            if not told:
                lines.append(Text(say("outlook.generic-shelf"), style="dim"))
                told = True
            lines.append(Text(mix))
        lines += [Text(line, style="dim") for line in words.watch_lines(step)]
        _print_hung(console, f"{number}. ", *lines)
    if plan.fade:
        console.print()
        _print_hung(console, "", Text(say("plan.fading", line=words.fading(plan.fade))))
        if refresh := words.refresh_line(plan):
            _print_hung(console, "", Text(refresh))
        _print_hung(console, "", Text(words.uptake_line(plan), style="dim"))
    console.print()
    for caution in plan.outlook.cautions[:MOST_CAUTIONS]:
        _print_hung(console, "! ", Text(said(caution)))


def _print_hung(console: Console, mark: str, *lines: Text) -> None:
    """Print lines that hang from a mark, as wide as the terminal, with no blanks at their ends."""
    rows = [row for line in lines for row in line.wrap(console, max(console.width - len(mark), 1))]
    for place, row in enumerate(rows):
        row.rstrip()
        console.print(Text.assemble(mark if place == 0 else " " * len(mark), row))
