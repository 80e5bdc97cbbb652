"""Outlooks, mixes and the shelf as text for a terminal: the verdict first, the formula next, numbers last."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console
from rich.table import Table
from rich.text import Text

from strandgauge.colour.cielab import Lab
from strandgauge.colour.names import colour_word
from strandgauge.colour.srgb import hex_colour
from strandgauge.dye.formula import FormulaPart
from strandgauge.dye.mix import Mixed
from strandgauge.dye.palette import Dye
from strandgauge.dye.targets import Target
from strandgauge.hair.levels import level_at_least
from strandgauge.judge.outlook import Outlook, ZoneOutlook
from strandgauge.reading.model import COVERAGE

_COLOURS = ("truecolor", "256")


def verdict_headline(outlook: Outlook) -> str:
    """Return the verdict on the whole in one line."""
    worst = max(outlook.zones, key=lambda zone: zone.delta_e00)
    alike = len({zone.saying for zone in outlook.zones}) == 1
    where = "" if alike or worst.name == "overall" else f" ({worst.name})"
    name = outlook.target.name
    return (
        f"{name[:1].upper()}{name[1:]} {worst.saying}{where}"
        if worst.verdict != "out of reach"
        else (f"{name[:1].upper()}{name[1:]} is {worst.saying}{where}")
    )


def chance_line(outlook: Outlook) -> str:
    """Say how likely the shade reads true, and when a good verdict rests on an unsure reading."""
    chance = f"Chance of reading true: {100 * outlook.probability_true:.0f} %"
    if outlook.verdict == "true" and outlook.probability_true < 0.5:
        return f"{chance}; the reading is not sure enough to promise it."
    return f"{chance}."


def needs_line(outlook: Outlook) -> str:
    """Say what it would take."""
    if outlook.needs_level is None:
        return "It reads true at no level of lift on this hair's path."
    needs, now = level_at_least(outlook.needs_level), f"this hair is at {outlook.base_level:.1f}"
    if outlook.verdict == "true":
        return f"It reads true from level {needs}; {now}."
    return f"It reads true from level {needs} ({outlook.needs_undertone}); {now}."


def formula_text(parts: Iterable[FormulaPart]) -> str:
    """Write a formula, such as 'violet 2.4 g, pink 1.1 g, clear 56.5 g'."""
    return ", ".join(f"{part.dye} {part.grams:g} g" for part in parts)


def mix_line(zone: ZoneOutlook) -> str:
    """Say what to mix for a zone, or that there is nothing worth mixing."""
    if zone.verdict == "out of reach":
        return "none comes near"
    undyed = all(abs(a - b) < 0.05 for a, b in zip(zone.predicted_lab, zone.base_lab, strict=True))
    return "no dye brings it nearer" if undyed else formula_text(zone.formula)


def print_outlook(outlook: Outlook, console: Console | None = None) -> None:
    """Print an outlook."""
    console = console or Console(highlight=False)
    console.print(
        Text.assemble(
            *_swatch(console, outlook.target.lab, 4),
            (verdict_headline(outlook), "bold"),
        )
    )
    console.print(Text(chance_line(outlook)))
    console.print()
    for zone in outlook.zones:
        console.print(
            Text.assemble(
                *_swatch(console, zone.base_lab),
                *_swatch(console, zone.predicted_lab),
                (f"{zone.name:<8}", "bold"),
                f" {colour_word(zone.base_lab)} → {colour_word(zone.predicted_lab)}: {zone.saying} ",
                f"(ΔE00 {zone.delta_e00:.1f}, chance {100 * zone.probability_true:.0f}\u00a0%)",
            )
        )
        if zone.pretone is not None:
            console.print(Text(f"  first    {formula_text(zone.pretone.formula)}; rinse, dry, then"))
        console.print(Text(f"  mix      {mix_line(zone)}"))
        if zone.verdict in ("close", "turns"):
            console.print(
                Text(f"  (mixed as for level 10 it would read {zone.unadjusted_saying} here)", style="dim")
            )
    console.print()
    console.print(Text(needs_line(outlook)))
    console.print(
        Text.assemble(
            "Best by level: ",
            *(
                part
                for step in outlook.strip
                for part in (
                    *_swatch(console, step.predicted_lab, 3),
                    f"{step.level:.0f}{'*' if round(outlook.base_level) == step.level else ''} "
                    f"{colour_word(step.predicted_lab)} ({step.delta_e00:.1f})  ",
                )
            ),
        )
    )
    if outlook.verdict != "true":
        names = ", ".join(one.name for one in outlook.instead)
        console.print(
            Text(f"Reads true today instead: {names}." if names else "No other shade here reads true today.")
        )
    if outlook.evening is not None:
        console.print(Text(f"Root to ends: {outlook.evening.saying}."))
        for name, parts in outlook.evening.formulas:
            console.print(Text(f"  {name:<8} {formula_text(parts)}"))
    shadow = outlook.shadow
    console.print(
        Text.assemble(
            f"Shadow root at level {shadow.level:.1f}: {formula_text(shadow.formula)} gives ",
            *_swatch(console, shadow.predicted_lab, 3),
            f"{colour_word(shadow.predicted_lab)}.",
        )
    )
    console.print()
    for caution in outlook.cautions:
        line = Table.grid(padding=(0, 1, 0, 0))
        line.add_row(Text("!", style="bold"), Text(caution))
        console.print(line)


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
    return "{:.0f} {:.0f} {:.0f}".format(*lab)
