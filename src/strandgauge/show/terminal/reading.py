"""Readings and card checks as text for a terminal: the answer in the first line, numbers below it.

Swatches are drawn where the terminal can show exact colours; the words stand beside them in any case.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Sequence
from typing import IO, cast

from rich.console import Console
from rich.table import Table
from rich.text import Text

from strandgauge.codes.facts import Note
from strandgauge.colour.cielab import Lab
from strandgauge.colour.srgb import hex_colour
from strandgauge.reading.model import CardCheck, PatchCheck, Reading
from strandgauge.words import reading as words
from strandgauge.words import said

UNBROKEN = 1000
"""Columns where nothing is cut or broken."""
NARROW = 56
"""Columns below which the numbers are left to the JSON and only the words are shown."""
_SWATCH_WIDTH = 6


def print_reading(reading: Reading, console: Console | None = None) -> None:
    """Print a reading."""
    console = console or plain_console()
    swatches = shows_colours(console)
    console.print(Text(reading.photo, style="dim"))
    console.print(_headline(reading, swatches))
    console.print()
    console.print(_zones(reading, swatches))
    if console.width >= NARROW:
        console.print()
        console.print(_numbers(reading))
    for meaning in words.stain_meanings(reading):
        console.print()
        console.print(Text(meaning))
    print_notes(console, reading.notes)
    console.print()
    console.print(Text(_provenance(reading), style="dim"))
    console.print(Text(words.caution(), style="dim"))


def print_check(check: CardCheck, console: Console | None = None) -> None:
    """Print a card check."""
    console = console or plain_console()
    verdict = "A reading can be trusted" if check.trusted else "A reading cannot be trusted"
    console.print(Text(check.photo, style="dim"))
    console.print(Text(f"{verdict}.", style="bold"))
    print_notes(console, check.problems)
    console.print()
    console.print(Text(f"Card found: {check.card}. Light uneven by {check.light_unevenness_percent:.0f} %."))
    if not check.patches:
        return
    fitted = sorted(patch.delta_e00 for patch in check.patches)
    left_out = [patch.delta_e00_leave_one_out for patch in check.patches]
    console.print(
        Text(
            f"Patches after correction, ΔE00: median {fitted[len(fitted) // 2]:.1f}, "
            f"largest {fitted[-1]:.1f}; "
            f"each left out of its own fit, mean {sum(left_out) / len(left_out):.1f}."
        )
    )
    console.print()
    console.print(_patch_grid(check.patches, console))


def plain_console() -> Console:
    """Return the console that results are printed to.

    What goes into a pipe or a file is not broken into lines and not padded: whoever reads it may break it as they
    like. ``COLUMNS`` sets a width all the same.
    """
    if sys.stdout.isatty():
        return _Console(highlight=False)
    width = None if "COLUMNS" in os.environ else UNBROKEN
    return _Console(highlight=False, width=width, file=cast(IO[str], _Unpadded()))


class _Unpadded:
    """Standard output without blanks at the end of a line."""

    encoding = property(lambda self: sys.stdout.encoding)

    def write(self, text: str) -> int:
        return sys.stdout.write(re.sub(r" +(?=\n)", "", text))

    def flush(self) -> None:
        sys.stdout.flush()

    def isatty(self) -> bool:
        return False


class _Console(Console):
    """A console that tells when nobody listens any more, instead of leaving by itself."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def shows_colours(console: Console) -> bool:
    """Tell whether swatches come out as the colours they are."""
    # With 16 colours a swatch would show another colour than was read.
    return console.is_terminal and not console.no_color and console.color_system in ("truecolor", "256")


def _swatch(lab: Lab, width: int = _SWATCH_WIDTH) -> Text:
    return Text(" " * width, style=f"on {hex_colour(lab)}")


def _headline(reading: Reading, swatches: bool) -> Text:
    first, *others = words.headline(reading)
    swatch: list[Text | str] = [_swatch(reading.overall.lab, 4), "  "] if swatches else []
    return Text.assemble(*swatch, (first, "bold"), "".join(f"  ·  {phrase}" for phrase in others))


def _zones(reading: Reading, swatches: bool) -> Table:
    """Lay out what the zones are in words."""
    table = plain_table()
    if swatches:
        table.add_column("", no_wrap=True)
    table.add_column("", no_wrap=True)
    table.add_column("level", no_wrap=True)
    table.add_column("undertone")
    table.add_column("share of levels")
    for zone in (*reading.zones, reading.overall):
        cells: list[Text | str] = [_swatch(zone.lab)] if swatches else []
        cells += [
            words.zone_name(zone.name),
            words.level_interval(zone),
            words.tone(zone),
            words.shares(zone),
        ]
        table.add_row(*cells)
    return table


def _numbers(reading: Reading) -> Table:
    """Lay out what the zones are in standard terms."""
    table = plain_table()
    table.add_column("", no_wrap=True)
    for heading in ("L*", "a*", "b*", "C*ab", "hue", "yellowness"):
        table.add_column(heading, justify="right", no_wrap=True)
    for zone in (*reading.zones, reading.overall):
        table.add_row(
            words.zone_name(zone.name),
            *(f"{value:.1f}" for value in zone.lab),
            f"{zone.chroma:.1f}",
            f"{zone.hue_deg:.0f}°",
            f"{zone.yellowness_e313:.0f}",
            style="dim",
        )
    return table


def plain_table() -> Table:
    """Return a table without lines, as all results are laid out."""
    return Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")


def print_notes(console: Console, notes: Sequence[Note]) -> None:
    """Print notes, each behind a mark of its own; nothing where there are none."""
    if notes:
        console.print()
    for note in notes:
        line = Table.grid(padding=(0, 1, 0, 0))
        line.add_row(Text("!", style="bold"), Text(said(note)))
        console.print(line)


def _provenance(reading: Reading) -> str:
    fit = reading.card_fit
    sentences = [
        f"{reading.card}, ladder '{reading.ladder}', D65, 2° observer; ± is a 95 % interval.",
        f"Card reproduced to ΔE00 {fit.delta_e00_median:.1f} (median; patches left out of their own "
        f"fit, mean {fit.leave_one_out_mean:.1f}), light uneven by {fit.light_unevenness_percent:.0f} %.",
    ]
    if reading.wet:
        sentences.append("Wet hair: the dry estimate is stated.")
    return " ".join(sentences)


def _patch_grid(patches: Sequence[PatchCheck], console: Console) -> Table:
    """Lay the patches out in as many columns as fit: id, ΔE00 fitted, ΔE00 left out."""
    name = max(3, *(len(patch.id) for patch in patches)) + 1
    columns = max(1, min(6, console.width // (name + 16)))
    rows = -(-len(patches) // columns)
    table = plain_table()
    for _ in range(columns):
        table.add_column(f"{'':<{name}}{'fit':>4}{'left out':>9}", no_wrap=True)
    cells = [f"{p.id:<{name}}{p.delta_e00:4.1f}{p.delta_e00_leave_one_out:9.1f}" for p in patches]
    for row in range(rows):
        table.add_row(*cells[row::rows])
    return table
