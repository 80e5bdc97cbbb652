"""Outlooks, mixes and the shelf as text for a terminal: the verdict first, the formula next, numbers last."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console
from rich.table import Table
from rich.text import Text

from strandgauge.colour.cielab import Lab
from strandgauge.colour.names import colour_word
from strandgauge.colour.srgb import hex_colour
from strandgauge.dye.mix import Mixed
from strandgauge.dye.shelf import Dye
from strandgauge.dye.targets import Target
from strandgauge.judge.outlook import Outlook
from strandgauge.reading.model import COVERAGE
from strandgauge.words import judge as words
from strandgauge.words import said, say
from strandgauge.words import sentence as sentence_of

_COLOURS = ("truecolor", "256")
MOST_CAUTIONS = 2
"""Cautions shown before the rest is asked for."""


def print_outlook(outlook: Outlook, console: Console | None = None, *, full: bool = False) -> None:
    """Print an outlook: what to do first, why, the formulas; the rest only where ``full``."""
    console = console or Console(highlight=False)
    swatch = _swatch(console, outlook.target.lab, 4)
    console.print(Text.assemble(*swatch, (words.first_thing(outlook), "bold")))
    for sentence in words.first_why(outlook):
        console.print(Text(sentence))
    for one in outlook.advice[1:]:
        if one.zone == "overall" and len(outlook.zones) > 1:
            console.print(Text(f"{sentence_of(words.do_words(one))}. {' '.join(words.why_sentences(one))}"))
    console.print(Text(f"{words.verdict_headline(outlook)} {words.chance_line(outlook)}"))
    console.print()
    _print_zones(outlook, console)
    console.print()
    console.print(Text(words.needs_line(outlook)))
    if outlook.verdict != "true":
        names = ", ".join(one.name for one in outlook.instead)
        console.print(Text(say("outlook.instead", shades=names) if names else say("outlook.instead-none")))
    shown = outlook.cautions if full else outlook.cautions[:MOST_CAUTIONS]
    if full:
        _print_rest(outlook, console)
    console.print()
    for caution in shown:
        line = Table.grid(padding=(0, 1, 0, 0))
        line.add_row(Text("!", style="bold"), Text(said(caution)))
        console.print(line)
    if not full:
        console.print(Text(say("outlook.more"), style="dim"))


def _print_zones(outlook: Outlook, console: Console) -> None:
    """Print what is advised for each zone, and the formulas of those that are to be coloured as they are.

    A formula beside "lift it further" or "stop" would be taken for a thing to mix. One bowl is printed once.
    """
    zones = [zone for zone in outlook.zones if zone.name != "overall"] or list(outlook.zones)
    mixed = [zone for zone in zones if words.to_be_mixed(outlook, zone)]
    if mixed:
        console.print(Text(say("outlook.generic-shelf"), style="dim"))
    served: set[int] = set()
    for zone in zones:
        name = f"{say(f'zone.{zone.name}'):<8}"
        colours = (
            *_swatch(console, zone.base_lab),
            *_swatch(console, zone.predicted_lab),
            f"{colour_word(zone.base_lab)} → {colour_word(zone.predicted_lab)}: "
            f"{words.saying_beside(zone, outlook.target.lab)}",
        )
        _print_under(console, (name, "bold"), words.to_do(outlook, zone.name) or Text.assemble(*colours))
        if words.to_do(outlook, zone.name):
            _print_under(console, (" " * len(name), ""), Text.assemble(*colours))
        if zone not in mixed:
            continue
        if zone.pretone is not None:
            first = say("outlook.first", formula=words.formula_text(zone.pretone.formula))
            _print_under(console, ("  first ", ""), first)
        if zone.bowl not in served:
            served.add(zone.bowl)
            _print_under(console, ("  mix   ", ""), words.mix_line(zone))
            alike = [one.name for one in mixed if one.bowl == zone.bowl]
            if len(alike) > 1:
                _print_under(console, (" " * 8, ""), say("outlook.one-bowl", zones=words.listed(alike)))
        if pieces := words.pieces_line(zone):
            _print_under(console, (" " * 8, ""), pieces)


def _print_under(console: Console, head: tuple[str, str], text: str | Text) -> None:
    """Print a line that goes on under its own beginning where it is too long."""
    row = Table.grid(padding=(0, 1, 0, 0))
    row.add_column(no_wrap=True)
    row.add_row(Text(*head), text if isinstance(text, Text) else Text(text))
    console.print(row)


def _print_rest(outlook: Outlook, console: Console) -> None:
    steps = [
        part
        for step in outlook.strip
        for part in (
            *_swatch(console, step.predicted_lab, 3),
            f"{step.level:.0f}{'*' if round(outlook.base_level) == step.level else ''} "
            f"{colour_word(step.predicted_lab)} ({step.delta_e00:.1f})  ",
        )
    ]
    console.print(Text.assemble("Best by level (ΔE00; * this hair): ", *steps))
    if outlook.evening is not None:
        console.print(Text(f"Root to ends: {words.evening_saying(outlook.evening)}."))
        for name, parts in outlook.evening.formulas:
            console.print(Text(f"  {name:<8} {words.formula_text(parts)}"))
    shadow = outlook.shadow
    made = words.formula_text(shadow.formula)
    word = colour_word(shadow.predicted_lab)
    console.print(Text(say("outlook.shadow", zone=shadow.zone, level=shadow.level, formula=made, word=word)))


def print_mix(mixed: Mixed, console: Console | None = None) -> None:
    """Print what a mix makes of a base."""
    console = console or Console(highlight=False)
    console.print(Text(" + ".join(f"{amount:g} {name}" for name, amount in mixed.mix), style="bold"))
    for one in mixed.zones:
        console.print(
            Text.assemble(
                *_swatch(console, one.base_lab),
                *_swatch(console, one.predicted_lab),
                f"{one.name:<8} {colour_word(one.base_lab)} ({_lab(one.base_lab)}) → "
                f"{colour_word(one.predicted_lab)} ({_lab(one.predicted_lab)}), "
                "± {:.1f} {:.1f} {:.1f}".format(*(COVERAGE * sd for sd in one.predicted_lab_sd)),
            )
        )
    console.print(
        Text("± is a 95 % interval of L*, a*, b*. Strand test before it goes on the head.", style="dim")
    )


def print_targets(targets: Iterable[Target], console: Console | None = None) -> None:
    """Print the wanted shades."""
    console = console or Console(highlight=False)
    for one in targets:
        console.print(Text.assemble(*_swatch(console, one.lab), f"{one.name:<16} {_lab(one.lab)}"))


def print_dyes(
    shown: Iterable[tuple[Dye, tuple[float, float, float], tuple[float, float, float]]],
    clear: str,
    console: Console | None = None,
) -> None:
    """Print the shelf: each dye one part in ten, and undiluted, on level 10 hair."""
    console = console or Console(highlight=False)
    for dye, diluted, full in shown:
        console.print(
            Text.assemble(
                *_swatch(console, diluted),
                *_swatch(console, full),
                (f"{dye.name:<12}", "bold"),
                f"1 in 10: {colour_word(diluted)}, undiluted: {colour_word(full)}. ",
                (", ".join(dye.ingredients) or f"{dye.source}, ± {dye.lab_error:.1f} ΔE00", "dim"),
            )
        )
    console.print(Text(f"{clear}: dilutes, adds no colour. Colours as on level 10 hair.", style="dim"))


def _swatch(console: Console, lab: Lab, width: int = 5) -> list[Text | str]:
    if not (console.is_terminal and not console.no_color and console.color_system in _COLOURS):
        return []
    return [Text(" " * width, style=f"on {hex_colour(lab)}"), " "]


def _lab(lab: Lab) -> str:
    return "{:z.0f},{:z.0f},{:z.0f}".format(*lab)
