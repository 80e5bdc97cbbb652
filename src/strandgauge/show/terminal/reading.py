"""Readings and card checks as text for a terminal: the answer in the first line, numbers below it.

Swatches are drawn where the terminal can show exact colours; the words stand beside them in any case.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console

from strandgauge.codes.facts import Note
from strandgauge.reading.model import CardCheck, PatchCheck, Reading
from strandgauge.show.terminal.console import NARROW, Printer
from strandgauge.words import check as checks
from strandgauge.words import reading as words
from strandgauge.words import said, say


def print_reading(reading: Reading, console: Console | None = None, surer: Note | None = None) -> None:
    """Print a reading, and what would settle whether the hair is light enough for a shade, where that is open."""
    out = Printer(console)
    zones = words.zones(reading)
    out.aside(reading.photo)
    swatch = out.swatch(reading.overall.lab, 4)
    out.headline(words.headline(reading), swatch, " " if swatch else "")
    out.line()
    out.table(
        ("#6", "", "level", "~undertone", "~shares"),
        [(zone.lab, zone.name, zone.interval, zone.tone, zone.shares) for zone in zones],
    )
    if out.width >= NARROW:
        out.line()
        heads = ("", ">lightness", ">a", ">b", ">chroma", ">hue", ">yellowness")
        out.table(heads, [(zone.name, *zone.numbers) for zone in zones], "dim")
    for meaning in words.stain_meanings(reading):
        out.line()
        out.line(meaning)
    if surer is not None:
        out.line()
        out.line(said(surer))
    out.notes(reading.notes)
    out.line()
    out.aside(words.provenance(reading), words.caution())


def print_check(check: CardCheck, console: Console | None = None, *, full: bool = False) -> None:
    """Print a card check: what is wrong and what to do about it first; `full` adds the patches one by one."""
    out = Printer(console)
    out.aside(check.photo)
    out.line(checks.verdict(check), style="bold")
    for found in (*check.problems, *check.cautions):
        out.notes([found])
        out.aside(checks.mending(found))
    out.line()
    for line in checks.summary(check):
        out.line(line)
    if check.patches and full:
        out.line()
        _print_patches(check.patches, out)
    elif check.patches:
        out.aside(say("check.full"))


def _print_patches(patches: Sequence[PatchCheck], out: Printer) -> None:
    """Lay the patches out in as many columns as fit: id, ΔE00 fitted, ΔE00 left out."""
    name = max(3, *(len(patch.id) for patch in patches)) + 1
    columns = max(1, min(6, out.width // (name + 16)))
    rows = -(-len(patches) // columns)
    cells = [f"{'':<{name}}{say('column.fit'):>4}{say('column.left-out'):>9}"] * columns
    out.table([""] * columns, [cells], "dim")
    cells = [f"{p.id:<{name}}{p.delta_e00:4.1f}{p.delta_e00_leave_one_out:9.1f}" for p in patches]
    cells += [""] * (rows * columns - len(cells))
    out.table([""] * columns, [cells[row::rows] for row in range(rows)])
