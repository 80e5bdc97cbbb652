"""A plan as text for a terminal: the first thing, the steps in order, the fading."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from strandgauge.judge.plan import Plan
from strandgauge.show.terminal.console import Printer
from strandgauge.show.terminal.outlook import MOST_CAUTIONS
from strandgauge.words import plan as words
from strandgauge.words import say
from strandgauge.words.judge import surer


def print_plan(plan: Plan, console: Console | None = None) -> None:
    """Print a plan."""
    out = Printer(console)
    out.under("", Text(words.headline(plan), "bold"), *surer(plan.outlook.surer))
    out.line()
    told = False
    for number, step in enumerate(plan.steps, start=1):
        lines = [Text(words.step_line(step), "bold")]
        if mix := words.mix_of_step(step):
            lines += [Text(mix)] if told else [Text(say("outlook.generic-shelf"), "dim"), Text(mix)]
            told = True
        out.under(f"{number}. ", *lines, *(Text(line, "dim") for line in words.watch_lines(step)))
    if plan.fade:
        out.line()
        out.under("", say("plan.fading", line=words.fading(plan.fade)), words.refresh_line(plan))
        out.under("", Text(words.uptake_line(plan), "dim"))
    out.notes(plan.outlook.cautions[:MOST_CAUTIONS])
