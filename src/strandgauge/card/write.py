"""Writes a card as TOML that :func:`strandgauge.card.definition.load_card` reads back as the same card."""

from __future__ import annotations

import json
from collections.abc import Sequence

from strandgauge.card.model import CardDefinition

SCHEMA = "strandgauge.card/1"


def card_toml(card: CardDefinition) -> str:
    """Return a card as TOML that :func:`load_card` reads back as the same card, its colours for D65."""
    lines = [
        f'schema = "{SCHEMA}"',
        "",
        "[card]",
        f"name = {_quoted(card.name)}",
        f"version = {card.version}",
    ]
    lines += [f"size = {_listed(card.size)}", 'illuminant = "D65"', 'observer = "2"']
    lines += [f"paper = {_listed(card.paper)}"] if card.paper else []
    lines += [f"ink = {_listed(card.ink)}"] if card.ink else []
    if card.window:
        lines += ["", "[window]", f"box = {_listed(card.window.box)}", f'root_end = "{card.window.root_end}"']
    lines += ["", "[markers]", f'dictionary = "{card.dictionary}"']
    lines += [f"reserved_ids = [{card.reserved_ids[0]}, {card.reserved_ids[1]}]"] if card.reserved_ids else []
    for marker in card.markers:
        lines += ["", "[[marker]]", f"id = {marker.id}"]
        lines += [f'dictionary = "{marker.dictionary}"'] if marker.dictionary != card.dictionary else []
        lines += [f"corners = [{', '.join(_listed(corner) for corner in marker.corners)}]"]
    for patch in card.patches:
        lines += ["", "[[patch]]", f"id = {_quoted(patch.id)}", f"box = {_listed(patch.box)}"]
        lines += [f"lab = {_listed(patch.lab)}", f"name = {_quoted(patch.name)}"]
        lines += [f'label = "{patch.label}"'] if patch.label else []
    if card.scale:
        lines += ["", "[scale]", f"at = {_listed(card.scale.at)}", f"length = {card.scale.length}"]
    for text in card.texts:
        lines += ["", "[[text]]", f"at = {_listed(text.at)}", f"size = {text.size!r}"]
        lines += [
            f"text = {_quoted(text.text)}",
            f'align = "{text.align}"',
            f"bold = {str(text.bold).lower()}",
        ]
        lines += [f'tone = "{text.tone}"']
    for arrow in card.arrows:
        lines += ["", "[[arrow]]", f"from = {_listed(arrow.start)}", f"to = {_listed(arrow.end)}"]
        lines += [f"width = {arrow.width!r}"]
    return "\n".join(lines) + "\n"


def _listed(numbers: Sequence[float]) -> str:
    return f"[{', '.join(repr(float(value)) for value in numbers)}]"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
