"""A change between readings as a plain dictionary, ready for JSON."""

from __future__ import annotations

from typing import Any

from strandgauge.change import Change, ColourChange, Part, Quantity, StainChange, Step, ZoneChange
from strandgauge.reading import Stain
from strandgauge.report.json import reading_document

Document = dict[str, Any]

_DECIMALS = 3


def change_document(change: Change) -> Document:
    """Return a change as ``strandgauge.change/1``."""
    return {
        "schema": "strandgauge.change/1",
        "ladder": change.ladder,
        "readings": [reading_document(reading) for reading in change.readings],
        "since_first": [_step(step) for step in change.since_first],
        "since_previous": [_step(step) for step in change.since_previous],
        "notes": [{"code": note.code, "message": note.message} for note in change.notes],
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
        "before": _short(quantity.before),
        "after": _short(quantity.after),
        "change": _short(quantity.change),
        "sd": _short(quantity.sd),
        "low": _short(quantity.low),
        "high": _short(quantity.high),
        "measurable": quantity.measurable,
        "verdict": quantity.verdict,
    }


def _colour(colour: ColourChange) -> Document:
    return {
        "delta_e00": _short(colour.delta_e00),
        "low": _short(colour.low),
        "high": _short(colour.high),
        "from_noise": _short(colour.from_noise),
        "chi_square": _short(colour.chi_square),
        "verdict": colour.verdict,
        "lightness": _part(colour.lightness),
        "chroma": _part(colour.chroma),
        "hue": _part(colour.hue),
        "rotation": _short(colour.rotation),
    }


def _part(part: Part) -> Document:
    return {
        "value": _short(part.value),
        "sd": _short(part.sd),
        "low": _short(part.low),
        "high": _short(part.high),
        "verdict": part.verdict,
    }


def _stain(change: StainChange | None) -> Document | None:
    if change is None:
        return None
    return {
        "before": _one_stain(change.before),
        "after": _one_stain(change.after),
        "strength": _quantity(change.strength),
    }


def _one_stain(stain: Stain | None) -> Document | None:
    if stain is None:
        return None
    return {"hue": stain.hue, "hue_deg": _short(stain.hue_deg), "strength": _short(stain.strength)}


def _short(value: float) -> float:
    return round(float(value), _DECIMALS)
