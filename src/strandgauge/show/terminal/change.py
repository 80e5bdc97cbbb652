"""A change between readings as text for a terminal: the answer in the first line, numbers below it."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from strandgauge.change.compare import Change, Part, Quantity
from strandgauge.colour.srgb import hex_colour
from strandgauge.reading.evenness import evenness
from strandgauge.show.terminal.reading import NARROW, plain_console, plain_table, print_notes, shows_colours
from strandgauge.words import change as comparewords
from strandgauge.words import reading as words
from strandgauge.words import say
from strandgauge.words.change import ShownStep, shown


def print_change(change: Change, console: Console | None = None) -> None:
    """Print a change: each later reading against the first, then from one to the next."""
    console = console or plain_console()
    for place, step in enumerate(change.since_first):
        if place:
            console.print()
        _print_step(shown(change, step), console)
    if len(change.readings) > 2:
        console.print()
        console.print(Text("From one to the next", style="dim"))
        for step in change.since_previous:
            one = shown(change, step)
            phrases = "  ·  ".join(comparewords.headline(one))
            console.print(Text(f"{one.before.photo} → {one.after.photo}: {phrases}"))
    print_notes(console, change.notes)
    console.print()
    console.print(
        Text(
            f"Ladder '{change.ladder}', D65, 2° observer; ± is a 95 % interval. {say('change.one-in-twenty')}",
            style="dim",
        )
    )
    console.print(Text(words.caution(), style="dim"))


def _print_step(one: ShownStep, console: Console) -> None:
    console.print(Text(f"{one.before.photo} → {one.after.photo}", style="dim"))
    first, *others = comparewords.headline(one)
    console.print(Text.assemble((first, "bold"), "".join(f"  ·  {phrase}" for phrase in others)))
    for sentence in comparewords.laggards(one.step):
        console.print(Text(sentence))
    console.print()
    console.print(_zones(one, swatches=shows_colours(console)))
    if console.width >= NARROW + 24:
        console.print()
        console.print(_colour_difference(one))
        console.print()
        console.print(_warmth(one))
        console.print(Text(say("change.brackets"), style="dim"))


def _zones(one: ShownStep, *, swatches: bool) -> Table:
    table = plain_table()
    table.add_column("", no_wrap=True)
    for heading in ("before", "now"):
        if swatches:
            table.add_column("", no_wrap=True)
        table.add_column(heading)
    table.add_column("levels gained", no_wrap=True)
    table.add_column("")
    zones = zip(
        (*one.step.zones, one.step.overall),
        (*one.before.zones, one.before.overall),
        (*one.after.zones, one.after.overall),
        strict=True,
    )
    for zone, before, after in zones:
        cells: list[Text | str] = [words.zone_name(zone.name)]
        for reading in (before, after):
            if swatches:
                cells.append(Text("    ", style=f"on {hex_colour(reading.lab)}"))
            cells.append(f"{reading.level:.1f} {words.tone(reading)}")
        table.add_row(*cells, comparewords.signed(zone.level), comparewords.verdict(zone.level))
    even = one.step.evenness
    gap = [""] if swatches else []
    was, now = (words.evenness_word(evenness(reading)) for reading in (one.before, one.after))
    table.add_row(
        "evenness",
        *gap,
        f"{even.before:.1f} {was}",
        *gap,
        f"{even.after:.1f} {now}",
        comparewords.signed(even),
        comparewords.verdict(even),
    )
    return table


def _colour_difference(one: ShownStep) -> Table:
    """Lay out CIEDE2000 and its parts; with the warmth beside them it would not fit 80 columns."""
    table = plain_table()
    for heading in ("", "ΔE00", "lightness ΔL'/SL", "chroma ΔC'/SC", "hue ΔH'/SH"):
        table.add_column(heading, no_wrap=True)
    for zone in (*one.step.zones, one.step.overall):
        parts = (zone.colour.lightness, zone.colour.chroma, zone.colour.hue)
        cells = (comparewords.difference(zone), *(_marked(part) for part in parts))
        table.add_row(words.zone_name(zone.name), *cells, style="dim")
    return table


def _warmth(one: ShownStep) -> Table:
    table = plain_table()
    for heading in ("", "warmth ΔC*ab", "Δ yellowness E313"):
        table.add_column(heading, no_wrap=True)
    for zone in (*one.step.zones, one.step.overall):
        cells = (_marked(zone.chroma), _marked(zone.yellowness_e313, 0))
        table.add_row(words.zone_name(zone.name), *cells, style="dim")
    return table


def _marked(number: Part | Quantity, decimals: int = 1) -> str:
    text = comparewords.signed(number, decimals)
    return f"({text})" if not number.measurable else text
