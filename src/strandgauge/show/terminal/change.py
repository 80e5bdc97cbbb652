"""A change between readings as text for a terminal: the answer in the first line, numbers below it."""

from __future__ import annotations

from rich.console import Console

from strandgauge.change.compare import Change, Part, Quantity
from strandgauge.show.terminal.console import NARROW, Printer
from strandgauge.words import change as words
from strandgauge.words import figure, say
from strandgauge.words import reading as readingwords
from strandgauge.words.change import ShownStep, shown


def print_change(change: Change, console: Console | None = None) -> None:
    """Print a change: each later reading against the first, then from one to the next."""
    out = Printer(console)
    for place, step in enumerate(change.since_first):
        if place:
            out.line()
        _print_step(shown(change, step), out)
    if len(change.readings) > 2:
        out.line()
        out.aside(say("change.one-to-next"))
        for step in change.since_previous:
            one = shown(change, step)
            out.line(f"{one.names}: {'  ·  '.join(words.headline(one))}")
    out.notes(change.notes)
    out.line()
    out.aside(f"{say('change.ladder', ladder=change.ladder)} {say('change.one-in-twenty')}")
    out.aside(readingwords.caution())


def _print_step(one: ShownStep, out: Printer) -> None:
    out.aside(one.names)
    out.headline(words.headline(one))
    for sentence in words.laggards(one.step):
        out.line(sentence)
    out.line()
    _print_zones(one, out)
    if out.width < NARROW + 24:
        return
    zones = (*one.step.zones, one.step.overall)
    out.line()
    out.table(
        ("", "delta_e00", "lightness-part", "chroma-part", "hue-part"),
        [
            (
                readingwords.zone_name(zone.name),
                words.difference(zone),
                *(_marked(part) for part in (zone.colour.lightness, zone.colour.chroma, zone.colour.hue)),
            )
            for zone in zones
        ],
        "dim",
    )
    out.line()
    out.table(
        ("", "warmth", "yellowness-gained"),
        [
            (readingwords.zone_name(zone.name), _marked(zone.chroma), _marked(zone.yellowness_e313, 0))
            for zone in zones
        ],
        "dim",
    )
    out.aside(say("change.brackets"))


def _print_zones(one: ShownStep, out: Printer) -> None:
    rows = [
        (
            before.name,
            before.lab,
            f"{was} {before.tone}",
            after.lab,
            f"{now} {after.tone}",
            gained,
            words.verdict(zone.depth),
        )
        for zone, before, after in one.zones
        for was, now, gained in [words.depths(zone)]
    ]
    even, (was, now) = one.step.evenness, one.evenness_words
    out.table(
        ("", "#4", "~before", "#4", "~now", "gained", "~"),
        [
            *rows,
            (
                say("column.evenness"),
                "",
                f"{figure(even.before, '.1f')} {was}",
                "",
                f"{figure(even.after, '.1f')} {now}",
                words.signed(even),
                words.verdict(even),
            ),
        ],
    )


def _marked(number: Part | Quantity, decimals: int = 1) -> str:
    text = words.signed(number, decimals)
    return f"({text})" if not number.measurable else text
