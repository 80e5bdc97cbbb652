"""A plan as text for a terminal: the first thing and why, the steps in order, the fading; the rest on demand."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from strandgauge.judge.plan import Plan
from strandgauge.show.terminal.console import Printer
from strandgauge.show.terminal.outlook import MOST_CAUTIONS
from strandgauge.words import plan as words
from strandgauge.words import say
from strandgauge.words.judge import surer


def print_plan(plan: Plan, console: Console | None = None, *, full: bool = False) -> None:
    """Print a plan; what to watch at each step only where ``full``."""
    out = Printer(console)
    why = words.why_lines(plan.steps[0]) if plan.steps else ()
    first = (*why, words.end_line(plan), words.melt_line(plan), *surer(plan.outlook.surer))
    out.under("", Text(words.headline(plan), "bold"), *(line for line in first if line))
    out.line()
    told = False
    for number, step in enumerate(plan.steps, start=1):
        lines = [Text(words.step_line(step), "bold")]
        if mix := words.mix_of_step(step):
            lines += [Text(mix)] if told else [Text(say("outlook.generic-shelf"), "dim"), Text(mix)]
            told = True
        under = words.watch_lines(step) if full else words.brief_lines(step, first=number == 1)
        out.under(f"{number}. ", *lines, *(Text(line, "dim") for line in under))
    if plan.fade:
        out.line()
        out.under("", say("plan.fading", line=words.fading(plan.fade)), words.refresh_line(plan))
        if full:
            out.under("", Text(words.uptake_line(plan), "dim"))
    out.notes(plan.outlook.cautions[: None if full else MOST_CAUTIONS])
    if not full:
        out.aside(say("plan.more"))
