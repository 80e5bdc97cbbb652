"""A change between readings as a plain dictionary, ready for JSON."""

from __future__ import annotations

from typing import Any

from strandgauge.change.compare import Change, ColourChange, Part, Quantity, StainChange, Step, ZoneChange
from strandgauge.show.json.reading import note_document, reading_document, short, stain_document
from strandgauge.words import say

Document = dict[str, Any]


def change_document(change: Change) -> Document:
    """Return a change as ``strandgauge.change/1``."""
    return {
        "schema": "strandgauge.change/1",
        "ladder": change.ladder,
        "readings": [reading_document(reading) for reading in change.readings],
        "since_first": [_step(step) for step in change.since_first],
        "since_previous": [_step(step) for step in change.since_previous],
        "notes": [note_document(note) for note in change.notes],
    }


def _step(step: Step) -> Document:
    return {
        "before": step.before,
        "after": step.after,
        "evenness": _quantity(step.evenness),
        "overall": _zone(step.overall),
        "zones": [_zone(zone) for zone in step.zones],
    }


def _zone(zone: ZoneChange) -> Document:
    return {
        "name": zone.name,
        "level": _quantity(zone.level),
        "colour": _colour(zone.colour),
        "chroma": _quantity(zone.chroma),
        "yellowness_e313": _quantity(zone.yellowness_e313),
        "stain": _stain(zone.stain),
    }


def _quantity(quantity: Quantity) -> Document:
    return {
        "before": short(quantity.before),
        "after": short(quantity.after),
        "change": short(quantity.change),
        "sd": short(quantity.sd),
        "low": short(quantity.low),
        "high": short(quantity.high),
        "measurable": quantity.measurable,
        "verdict": say(f"verdict.{quantity.verdict}"),
        "code": quantity.verdict,
    }


def _colour(colour: ColourChange) -> Document:
    return {
        "delta_e00": short(colour.delta_e00),
        "low": short(colour.low),
        "high": short(colour.high),
        "from_noise": short(colour.from_noise),
        "chi_square": short(colour.chi_square),
        "verdict": say(f"verdict.{colour.verdict}"),
        "code": colour.verdict,
        "lightness": _part(colour.lightness),
        "chroma": _part(colour.chroma),
        "hue": _part(colour.hue),
        "rotation": short(colour.rotation),
    }


def _part(part: Part) -> Document:
    return {
        "value": short(part.value),
        "sd": short(part.sd),
        "low": short(part.low),
        "high": short(part.high),
        "verdict": say(f"verdict.{part.verdict}"),
        "code": part.verdict,
    }


def _stain(change: StainChange | None) -> Document | None:
    if change is None:
        return None
    return {
        "before": stain_document(change.before),
        "after": stain_document(change.after),
        "strength": _quantity(change.strength),
    }
