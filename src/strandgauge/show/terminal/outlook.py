"""Outlooks, mixes and the shelf as text for a terminal: the verdict first, the formula next, numbers last."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from strandgauge.colour.cielab import Lab
from strandgauge.dye.mix import Mixed
from strandgauge.judge.outlook import Outlook
from strandgauge.reading.model import COVERAGE
from strandgauge.show.json.shapes import DyesList, TargetsList
from strandgauge.show.terminal.console import Printer
from strandgauge.words import figure, named, say, sentence
from strandgauge.words import judge as words
from strandgauge.words.colour import colour_word, shade_name

MOST_CAUTIONS = 2
"""Cautions shown before the rest is asked for."""


def print_outlook(outlook: Outlook, console: Console | None = None, *, full: bool = False) -> None:
    """Print an outlook: what to do first, why, the formulas; the rest only where ``full``."""
    out = Printer(console)
    out.line(out.swatch(outlook.target.lab, 4), (words.first_thing(outlook), "bold"))
    for why in words.first_why(outlook):
        out.line(why)
    for one in outlook.advice[1:]:
        if one.zone == "overall" and len(outlook.zones) > 1:
            out.line(f"{sentence(words.do_words(one))}. {' '.join(words.why_sentences(one))}")
    out.line(words.verdict_headline(outlook))
    for way in words.surer(outlook.surer):
        out.line(way)
    out.line()
    _print_zones(outlook, out)
    out.line()
    out.line(words.needs_line(outlook))
    if outlook.verdict != "true":
        out.line(words.instead_line(outlook))
    if full:
        _print_rest(outlook, out)
    out.notes(outlook.cautions if full else outlook.cautions[:MOST_CAUTIONS])
    if not full:
        out.aside(say("outlook.more"))


def _print_zones(outlook: Outlook, out: Printer) -> None:
    """Print what is advised for each zone, and the formulas of those that are to be coloured as they are.

    A formula beside "lift it further" or "stop" would be taken for a thing to mix. One bowl is printed once.
    """
    zones = outlook.own_zones
    mixed = [zone for zone in zones if outlook.to_mix(zone)]
    if mixed:
        out.aside(say("outlook.generic-shelf"))
    served: set[int] = set()
    indent = " " * 9
    for zone in zones:
        name = Text(f"{say(f'zone.{zone.name}'):<8} ", "bold")
        colours = Text.assemble(
            out.swatch(zone.base_lab),
            out.swatch(zone.predicted_lab),
            f"{colour_word(zone.base_lab)} → {colour_word(zone.predicted_lab)}: "
            f"{words.saying_beside(zone, outlook.target.lab)}",
        )
        out.under(name, words.to_do(outlook, zone.name), colours)
        if zone not in mixed:
            continue
        if zone.pretone is not None:
            formula = words.formula_text(zone.pretone.formula)
            out.under(f"  {say('outlook.first-mark'):<7}", say("outlook.first", formula=formula))
        if zone.bowl not in served:
            served.add(zone.bowl)
            out.under(f"  {say('outlook.mix-mark'):<7}", words.mix_line(zone))
            alike = [one.name for one in mixed if one.bowl == zone.bowl]
            if len(alike) > 1:
                out.under(indent, say("outlook.one-bowl", zones=words.listed(alike)))
        out.under(indent, words.pieces_line(zone))


def _print_rest(outlook: Outlook, out: Printer) -> None:
    steps: list[str | Text] = []
    for step in outlook.strip:
        here = "*" if round(outlook.base_level) == step.level else ""
        word = colour_word(step.predicted_lab)
        off = figure(step.delta_e00, ".1f")
        steps += [out.swatch(step.predicted_lab, 3), f"{step.level:.0f}{here} {word} ({off})  "]
    out.line(say("outlook.by-level"), *steps)
    if outlook.evening is not None:
        out.line(say("outlook.root-to-ends", saying=words.evening_saying(outlook.evening)))
        for name, parts in outlook.evening.formulas:
            out.line(f"  {say(f'zone.{name}'):<8} {words.formula_text(parts)}")
    if (shadow := outlook.shadow) is None:
        return
    made, word = words.formula_text(shadow.formula), colour_word(shadow.predicted_lab)
    out.line(say("outlook.shadow", zone=shadow.zone, level=shadow.level, formula=made, word=word))


def print_mix(mixed: Mixed, console: Console | None = None) -> None:
    """Print what a mix makes of a base."""
    out = Printer(console)
    out.line(
        " + ".join(f"{figure(amount, 'g')} {named('dye', name)}" for name, amount in mixed.mix), style="bold"
    )
    for one in mixed.zones:
        base, becomes = (f"{colour_word(lab)} ({_lab(lab)})" for lab in (one.base_lab, one.predicted_lab))
        half = "± " + " ".join(figure(COVERAGE * sd, ".1f") for sd in one.predicted_lab_sd)
        swatches = out.swatch(one.base_lab), out.swatch(one.predicted_lab)
        out.line(*swatches, f"{words.listed([one.name]):<8} {base} → {becomes}, {half}")
    out.aside(say("shelf.strand-test"))


def print_targets(shades: TargetsList, console: Console | None = None) -> None:
    """Print the wanted shades."""
    out = Printer(console)
    for one in shades.targets:
        out.line(out.swatch(one.lab), f"{shade_name(one.name):<16} {_lab(one.lab)}")


def print_dyes(shelf: DyesList, console: Console | None = None) -> None:
    """Print the shelf: each dye one part in ten, and undiluted, on level 10 hair."""
    out = Printer(console)
    for dye in shelf.dyes:
        diluted, full = colour_word(dye.diluted_lab), colour_word(dye.undiluted_lab)
        out.line(
            out.swatch(dye.diluted_lab),
            out.swatch(dye.undiluted_lab),
            (f"{named('dye', dye.name):<12}", "bold"),
            f"{say('shelf.dye', diluted=diluted, full=full)} ",
            (", ".join(dye.ingredients) or f"{dye.source}, ± {figure(dye.lab_error, '.1f')} ΔE00", "dim"),
        )
    out.aside(say("shelf.clear", clear=named("dye", shelf.clear)))


def _lab(lab: Lab) -> str:
    return "{:z.0f},{:z.0f},{:z.0f}".format(*lab)
