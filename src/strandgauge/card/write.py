"""Writes a card as TOML that :func:`strandgauge.card.definition.load_card` reads back as the same card."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from strandgauge.card.form import SCHEMA, UNKNOWN
from strandgauge.card.model import CardDefinition
from strandgauge.files.toml import toml_text


def card_toml(card: CardDefinition, head: str = "") -> str:
    """Return a card as TOML, its colours for D65; ``head`` stands above as a comment."""
    named = {"name": card.name, "version": card.version, "size": card.size}
    paper = UNKNOWN if card.even_paper and card.paper is None else card.paper
    data: dict[str, Any] = {
        "schema": SCHEMA,
        "card": {**named, "illuminant": "D65", "observer": "2", "paper": paper, "ink": card.ink},
        "window": card.window and asdict(card.window),
        "markers": {"dictionary": card.dictionary, "reserved_ids": card.reserved_ids},
        "marker": [
            {**asdict(one), "dictionary": None if one.dictionary == card.dictionary else one.dictionary}
            for one in card.markers
        ],
        "patch": [asdict(patch) for patch in card.patches],
        "scale": card.scale and asdict(card.scale),
        "exclude": [{"box": box} for box in card.excluded],
        "text": [asdict(text) for text in card.texts],
        "arrow": [{"from": one.start, "to": one.end, "width": one.width} for one in card.arrows],
    }
    return toml_text({key: value for key, value in data.items() if value != []}, head)
