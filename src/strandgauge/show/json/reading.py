"""Readings, card checks and errors as plain dictionaries, ready for JSON.

The shapes are published as JSON Schemas in ``docs/schemas`` and are only ever added to.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from strandgauge.facts import Note
from strandgauge.hair.stain import Stain
from strandgauge.reading.evenness import evenness
from strandgauge.reading.model import CardCheck, Reading, ZoneReading
from strandgauge.words import reading as words
from strandgauge.words import said

Document = dict[str, Any]

_DECIMALS = 3


def reading_document(reading: Reading) -> Document:
    """Return a reading as ``strandgauge.reading/1``."""
    even = evenness(reading)
    return {
        "schema": "strandgauge.reading/1",
        "photo": reading.photo,
        "card": reading.card,
        "illuminant": "D65",
        "observer": "2",
        "ladder": reading.ladder,
        "wet": reading.wet,
        "card_fit": {
            "delta_e00_median": short(reading.card_fit.delta_e00_median),
            "delta_e00_max": short(reading.card_fit.delta_e00_max),
            "leave_one_out_mean": short(reading.card_fit.leave_one_out_mean),
            "light_unevenness_percent": short(reading.card_fit.light_unevenness_percent),
        },
        "evenness": {
            "word": words.evenness_word(even),
            "code": even.code,
            "level_range": short(even.level_range),
        },
        "overall": _zone(reading.overall),
        "zones": [_zone(zone) for zone in reading.zones],
        "notes": [note_document(note) for note in reading.notes],
    }


def check_document(check: CardCheck) -> Document:
    """Return a card check as ``strandgauge.check/1``."""
    return {
        "schema": "strandgauge.check/1",
        "photo": check.photo,
        "card": check.card,
        "trusted": check.trusted,
        "problems": [note_document(problem) for problem in check.problems],
        "light_unevenness_percent": short(check.light_unevenness_percent),
        "patches": [
            {
                "id": patch.id,
                "lab_reference": shorts(patch.lab_reference),
                "lab_corrected": shorts(patch.lab_corrected),
                "delta_e00": short(patch.delta_e00),
                "delta_e00_leave_one_out": short(patch.delta_e00_leave_one_out),
            }
            for patch in check.patches
        ],
    }


def _zone(zone: ZoneReading) -> Document:
    return {
        "name": zone.name,
        "lab": shorts(zone.lab),
        "lab_sd": shorts(zone.lab_sd),
        "lab_as_lit": shorts(zone.lab_as_lit),
        "lightness_spread": short(zone.lightness_spread),
        "level": short(zone.level),
        "level_sd": short(zone.level_sd),
        "level_shares": {level: short(share) for level, share in zone.level_shares.items()},
        "undertone": zone.undertone,
        "chroma": short(zone.chroma),
        "hue_deg": short(zone.hue_deg),
        "yellowness_e313": short(zone.yellowness_e313),
        "stain": stain_document(zone.stain),
    }


def stain_document(stain: Stain | None) -> Document | None:
    """Return a stain as part of a document; None where there is none."""
    if stain is None:
        return None
    return {"hue": stain.hue, "hue_deg": short(stain.hue_deg), "strength": short(stain.strength)}


def note_document(note: Note) -> Document:
    """Return a note as part of a document."""
    facts = {name: short(fact) if isinstance(fact, float) else fact for name, fact in note.facts}
    return {"code": note.code, "message": said(note), "severity": note.severity, "facts": facts}


def short(value: float) -> float:
    """Return a number as documents hold it."""
    # float(): numpy's own numbers are no JSON; rounding keeps a document readable, far below any uncertainty.
    return round(float(value), _DECIMALS)


def shorts(values: Iterable[float]) -> list[float]:
    """Return numbers as documents hold them."""
    return [short(value) for value in values]
