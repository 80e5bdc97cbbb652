"""What was learned as text for a terminal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from strandgauge.reading.model import COVERAGE
from strandgauge.show.json.learned import LearnedList
from strandgauge.show.terminal.console import Printer
from strandgauge.words import figure, say

if TYPE_CHECKING:
    from strandgauge.learn.levels import LearnedLadder
    from strandgauge.learn.prints import LearnedPrint

_WORST = 6


def print_levels(learned: LearnedLadder, console: Console | None = None) -> None:
    """Print a learned ladder beside the one it was held against."""
    out = Printer(console)
    shift = learned.mean_shift
    way = "same" if abs(shift) < 0.05 else "lighter" if shift > 0 else "darker"
    out.line(say("learned.levels", way=way, shift=abs(shift), apart=learned.mean_delta_e00), style="bold")
    out.line()
    out.table(
        (">level", ">lightness", ">a", ">b", ">lightness-half", ">on-ours", ">delta_e00", "~"),
        [
            (
                str(rung.level),
                *(figure(value, ".1f") for value in rung.lab),
                "" if rung.lab_sd is None else figure(COVERAGE * rung.lab_sd[0], ".1f"),
                figure(rung.level_there, ".1f"),
                figure(rung.delta_e00, ".1f"),
                say("learned.photos", photos=rung.photos)
                if rung.origin == "measured"
                else say(f"origin.{rung.origin}"),
            )
            for rung in learned.rungs
        ],
    )
    out.line()
    out.aside(say("learned.against", against=learned.against))
    for lower, upper, rise, noise in learned.unsure_steps:
        out.line(say("learned.unsure", lower=lower, upper=upper, rise=rise, noise=noise))


def print_learned_print(learned: LearnedPrint, console: Console | None = None) -> None:
    """Print how well a print's colours were learned."""
    out = Printer(console)
    out.line(say("learned.print", apart=learned.from_nominal, error=learned.error), style="bold")
    worst = sorted(learned.patches, key=lambda patch: -patch.error)[:_WORST]
    out.line(
        say(
            "learned.worst",
            patches=", ".join(f"{patch.id} ± {figure(patch.error, '.1f')}" for patch in worst),
        )
    )
    if len(learned.photos) == 1:
        out.line(say("learned.one-photo"))
    out.aside(say("learned.beside", chart=learned.trusted, left_out=learned.trusted_left_out))


def print_learned(everything: LearnedList, console: Console | None = None) -> None:
    """Print the list of what was learned."""
    out = Printer(console)
    if not everything.learned:
        out.line(say("learned.nothing"))
        out.aside(say("learned.folder", folder=everything.folder))
        return
    states = [
        say("learned.on-shelf") if one.kind == "dye" else say("learned.in-use") if one.in_use else ""
        for one in everything.learned
    ]
    rows = zip(everything.learned, states, strict=True)
    out.table(("~", "~name", "~"), [(say(f"kind.{one.kind}"), one.name, state) for one, state in rows])
    out.aside(say("learned.in", folder=everything.folder))


def print_kept(name: str, file: Path, option: str | None, used: bool) -> None:
    """Say where something learned is now, and how it is used.

    Parameters
    ----------
    option : how a file that the user named is given to other commands; None where it went into the user's folder.
    """
    if option is not None:
        print(say("learned.use-file", option=option))
    else:
        print(say("learned.kept-used", file=file) if used else say("learned.kept", file=file, name=name))
