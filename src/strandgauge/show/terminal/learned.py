"""What was learned as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console
from rich.text import Text

from strandgauge.reading.model import COVERAGE
from strandgauge.show.terminal.reading import plain_console, plain_table

if TYPE_CHECKING:
    from strandgauge.learn.kept import Learned
    from strandgauge.learn.levels import LearnedLadder
    from strandgauge.learn.prints import LearnedPrint

_ORIGINS = {
    "measured": "",
    "between": "no swatch, between its neighbours",
    "beyond": "no swatch, shape of ours",
}
_KINDS = {"levels": "levels", "card": "card", "dye": "dye"}
_WORST = 6


def print_levels(learned: LearnedLadder, console: Console | None = None) -> None:
    """Print a learned ladder beside the one it was held against."""
    console = console or plain_console()
    shift = learned.mean_shift
    way = "lighter" if shift > 0 else "darker"
    answer = (
        f"Your swatches are the same as ours on average (ΔE00 {learned.mean_delta_e00:.1f})."
        if abs(shift) < 0.05
        else f"Your swatches are {abs(shift):.1f} of a level {way} than ours on average "
        f"(ΔE00 {learned.mean_delta_e00:.1f})."
    )
    console.print(Text(answer, style="bold"))
    console.print()
    table = plain_table()
    for heading in ("level", "L*", "a*", "b*", "± L*", "on ours", "ΔE00"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("")
    for rung in learned.rungs:
        sd = "" if rung.lab_sd is None else f"{COVERAGE * rung.lab_sd[0]:.1f}"
        photos = f"{rung.photos} photos" if rung.photos > 1 else ""
        table.add_row(
            str(rung.level),
            *(f"{value:.1f}" for value in rung.lab),
            sd,
            f"{rung.level_there:.1f}",
            f"{rung.delta_e00:.1f}",
            photos or _ORIGINS[rung.origin],
        )
    console.print(table)
    console.print()
    console.print(
        Text(f"Ours is '{learned.against}'; 'on ours' is the level that ours gives your swatch.", style="dim")
    )
    for lower, upper, rise, noise in learned.unsure_steps:
        console.print(
            Text(
                f"! Level {lower} to {upper} rises by L* {rise:.1f}, less than its noise of ± {noise:.1f}: more "
                "photos of both make it surer."
            )
        )


def print_learned_print(learned: LearnedPrint, console: Console | None = None) -> None:
    """Print how well a print's colours were learned."""
    console = console or plain_console()
    console.print(
        Text(
            f"Your print differs from the card's nominal colours by ΔE00 {learned.from_nominal:.1f}; now it is "
            f"known to ± {learned.error:.1f}.",
            style="bold",
        )
    )
    worst = sorted(learned.patches, key=lambda patch: -patch.error)[:_WORST]
    console.print(
        Text("Least sure: " + ", ".join(f"{patch.id} ± {patch.error:.1f}" for patch in worst) + ".")
    )
    if len(learned.photos) == 1:
        console.print(
            Text(
                "! From one photo. A second one with the chart on the other side of the print makes it surer."
            )
        )
    console.print(
        Text(
            f"Beside '{learned.trusted}', whose own patches come back to ΔE00 {learned.trusted_left_out:.1f} when "
            "left out of the fit.",
            style="dim",
        )
    )


def print_learned(folder: str, everything: Sequence[Learned], console: Console | None = None) -> None:
    """Print the list of what was learned."""
    console = console or plain_console()
    if not everything:
        console.print(Text("Nothing was learned yet. See 'strandgauge learn --help'."))
        console.print(Text(f"Your folder for it: {folder}", style="dim"))
        return
    table = plain_table()
    for heading in ("", "name", ""):
        table.add_column(heading)
    for one in everything:
        state = "on the shelf" if one.kind == "dye" else "in use" if one.in_use else ""
        table.add_row(_KINDS[one.kind], Text(one.name), state)
    console.print(table)
    console.print(Text(f"In {folder}", style="dim"))


def print_kept(name: str, file: Path, option: str | None, used: bool) -> None:
    """Say where something learned is now, and how it is used.

    Parameters
    ----------
    option : how a file that the user named is given to other commands; None where it went into the user's folder.
    """
    if option is not None:
        print(f"Use it with {option}.")
    elif used:
        print(f"Saved as {file}, and in use from now on. 'strandgauge learn use --shipped' goes back.")
    else:
        print(f"Saved as {file}. Use it: strandgauge learn use '{name}'")
