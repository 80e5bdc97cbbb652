"""Writes a card as TOML that :func:`strandgauge.card.definition.load_card` reads back as the same card."""

from __future__ import annotations

from typing import Any

from strandgauge.card.model import CardDefinition, Marker, Patch
from strandgauge.files.toml import toml_text

SCHEMA = "strandgauge.card/1"


def card_toml(card: CardDefinition, head: str = "") -> str:
    """Return a card as TOML, its colours for D65; ``head`` stands above as a comment."""
    window, scale = card.window, card.scale
    data: dict[str, Any] = {
        "schema": SCHEMA,
        "card": {
            "name": card.name,
            "version": card.version,
            "size": card.size,
            "illuminant": "D65",
            "observer": "2",
            "paper": card.paper,
            "ink": card.ink,
        },
        "window": window and {"box": window.box, "root_end": window.root_end},
        "markers": {"dictionary": card.dictionary, "reserved_ids": card.reserved_ids},
        "marker": [_marker(marker, card.dictionary) for marker in card.markers],
        "patch": [_patch(patch) for patch in card.patches],
        "scale": scale and {"at": scale.at, "length": scale.length},
        "text": [
            {
                "at": text.at,
                "size": text.size,
                "text": text.text,
                "align": text.align,
                "bold": text.bold,
                "tone": text.tone,
            }
            for text in card.texts
        ]
        or None,
        "arrow": [{"from": one.start, "to": one.end, "width": one.width} for one in card.arrows] or None,
    }
    return toml_text(data, head)


def _marker(marker: Marker, dictionary: str) -> dict[str, Any]:
    own = marker.dictionary if marker.dictionary != dictionary else None
    return {"id": marker.id, "dictionary": own, "corners": marker.corners}


def _patch(patch: Patch) -> dict[str, Any]:
    return {
        "id": patch.id,
        "box": patch.box,
        "lab": patch.lab,
        "name": patch.name,
        "label": patch.label or None,
    }
