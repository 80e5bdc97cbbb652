"""Readings, card checks and errors as plain dictionaries, ready for JSON.

The shapes are published as JSON Schemas in ``docs/schemas`` and are only ever added to.
"""

from __future__ import annotations

from typing import Any

from strandgauge.reading import CardCheck, Note, Reading, Stain, ZoneReading
from strandgauge.report import words

Document = dict[str, Any]

_DECIMALS = 3


def reading_document(reading: Reading) -> Document:
    """Return a reading as ``strandgauge.reading/1``."""
    even = words.evenness(reading)
    return {
        "schema": "strandgauge.reading/1",
        "photo": reading.photo,
        "card": reading.card,
        "illuminant": "D65",
        "observer": "2",
        "ladder": reading.ladder,
        "wet": reading.wet,
        "card_fit": {
            "delta_e00_median": _short(reading.card_fit.delta_e00_median),
            "delta_e00_max": _short(reading.card_fit.delta_e00_max),
            "leave_one_out_mean": _short(reading.card_fit.leave_one_out_mean),
            "light_unevenness_percent": _short(reading.card_fit.light_unevenness_percent),
        },
        "evenness": {"word": even.word, "level_range": _short(even.level_range)},
        "overall": _zone(reading.overall),
        "zones": [_zone(zone) for zone in reading.zones],
        "notes": [_note(note) for note in reading.notes],
    }


def check_document(check: CardCheck) -> Document:
    """Return a card check as ``strandgauge.check/1``."""
    return {
        "schema": "strandgauge.check/1",
        "photo": check.photo,
        "card": check.card,
        "trusted": check.trusted,
        "problems": [_note(problem) for problem in check.problems],
        "light_unevenness_percent": _short(check.light_unevenness_percent),
        "patches": [
            {
                "id": patch.id,
                "lab_reference": _shorts(patch.lab_reference),
                "lab_corrected": _shorts(patch.lab_corrected),
                "delta_e00": _short(patch.delta_e00),
                "delta_e00_leave_one_out": _short(patch.delta_e00_leave_one_out),
            }
            for patch in check.patches
        ],
    }


def error_document(code: str, message: str, remedy: str, where: str | None = None) -> Document:
    """Return an error as ``strandgauge.error/1``."""
    return {
        "schema": "strandgauge.error/1",
        "code": code,
        "message": message,
        "remedy": remedy,
        "where": where,
    }


def _zone(zone: ZoneReading) -> Document:
    return {
        "name": zone.name,
        "lab": _shorts(zone.lab),
        "lab_sd": _shorts(zone.lab_sd),
        "lab_as_lit": _shorts(zone.lab_as_lit),
        "lightness_spread": _short(zone.lightness_spread),
        "level": _short(zone.level),
        "level_sd": _short(zone.level_sd),
        "level_shares": {level: _short(share) for level, share in zone.level_shares.items()},
        "undertone": zone.undertone,
        "chroma": _short(zone.chroma),
        "hue_deg": _short(zone.hue_deg),
        "yellowness_e313": _short(zone.yellowness_e313),
        "stain": _stain(zone.stain),
    }


def _stain(stain: Stain | None) -> Document | None:
    if stain is None:
        return None
    return {"hue": stain.hue, "hue_deg": _short(stain.hue_deg), "strength": _short(stain.strength)}


def _note(note: Note) -> Document:
    return {"code": note.code, "message": note.message}


def _short(value: float) -> float:
    # float(): numpy's own numbers are no JSON; rounding keeps a document readable, far below any uncertainty.
    return round(float(value), _DECIMALS)


def _shorts(values: tuple[float, ...]) -> list[float]:
    return [_short(value) for value in values]
