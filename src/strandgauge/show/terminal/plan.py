"""A plan as text for a terminal: the first thing, the steps in order, the fading."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from strandgauge.judge.plan import Plan
from strandgauge.words import plan as words
from strandgauge.words import said, say

MOST_CAUTIONS = 2


def print_plan(plan: Plan, console: Console | None = None) -> None:
    """Print a plan."""
    console = console or Console(highlight=False)
    console.print(Text(words.headline(plan), style="bold"))
    console.print()
    told = False
    for number, step in enumerate(plan.steps, start=1):
        row = Table.grid(padding=(0, 1, 0, 0))
        lines = [Text(words.step_line(step), style="bold")]
        if mix := words.mix_of_step(step):
            if not told:
                lines.append(Text(say("outlook.generic-shelf"), style="dim"))
                told = True
            lines.append(Text(mix))
        lines += [Text(line, style="dim") for line in words.watch_lines(step)]
        row.add_row(Text(f"{number}."), Text("\n").join(lines))
        console.print(row)
    if plan.fade:
        console.print()
        console.print(Text(say("plan.fading", line=words.fading(plan.fade))))
        if refresh := words.refresh_line(plan):
            console.print(Text(refresh))
        console.print(Text(words.uptake_line(plan), style="dim"))
    console.print()
    for caution in plan.outlook.cautions[:MOST_CAUTIONS]:
        line = Table.grid(padding=(0, 1, 0, 0))
        line.add_row(Text("!", style="bold"), Text(said(caution)))
        console.print(line)
