"""What is printed on a card for people: lines of text, arrows and the millimetre scale."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, cast, get_args

from strandgauge.card import values
from strandgauge.card.model import Align, Arrow, Point, Scale, Text, Tone
from strandgauge.card.values import Fault
from strandgauge.files.toml import KeyPath

Table = dict[str, Any]

TEXT_KEYS = ["at", "size", "text", "align", "bold", "tone"]
ARROW_KEYS = ["from", "to", "width"]


def text(table: Table, path: KeyPath) -> Text:
    """Return one [[text]] table."""
    values.check_keys(table, TEXT_KEYS, " in [[text]]", path)
    bold = table.get("bold", False)
    if not isinstance(bold, bool):
        raise Fault((*path, "bold"), f"'bold' must be true or false, not {values.shown(bold)}.")
    return Text(
        at=values.point(values.required(table, "at", path), (*path, "at")),
        size=values.number(values.required(table, "size", path), (*path, "size"), 0.5, 100.0),
        text=values.text(values.required(table, "text", path), (*path, "text")),
        align=cast("Align", values.choice(table.get("align", "left"), (*path, "align"), get_args(Align))),
        bold=bold,
        tone=cast("Tone", values.choice(table.get("tone", "ink"), (*path, "tone"), get_args(Tone))),
    )


def arrow(table: Table, path: KeyPath) -> Arrow:
    """Return one [[arrow]] table."""
    values.check_keys(table, ARROW_KEYS, " in [[arrow]]", path)
    start = values.point(values.required(table, "from", path), (*path, "from"))
    end = values.point(values.required(table, "to", path), (*path, "to"))
    if start == end:
        raise Fault((*path, "to"), "an arrow must have a length.")
    return Arrow(start, end, values.number(table.get("width", 0.5), (*path, "width"), 0.05, 20.0))


def scale(table: Table, path: KeyPath) -> Scale:
    """Return the [scale] table."""
    at = values.point(values.required(table, "at", path), (*path, "at"))
    return Scale(at, values.whole(table.get("length", 100), (*path, "length"), 10, 1000))


def moved_text(item: Text, shift: Point) -> Text:
    """Return a text moved by `shift`."""
    return replace(item, at=_moved(item.at, shift))


def moved_arrow(item: Arrow, shift: Point) -> Arrow:
    """Return an arrow moved by `shift`."""
    return replace(item, start=_moved(item.start, shift), end=_moved(item.end, shift))


def moved_scale(item: Scale, shift: Point) -> Scale:
    """Return a scale moved by `shift`."""
    return replace(item, at=_moved(item.at, shift))


def _moved(point: Point, shift: Point) -> Point:
    return point[0] + shift[0], point[1] + shift[1]
