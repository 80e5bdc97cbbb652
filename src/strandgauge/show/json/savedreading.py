"""Reads back a reading that was saved as JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import cast, get_args

from strandgauge.colour.cielab import Lab
from strandgauge.errors import BadReadingError
from strandgauge.facts import Fact, Note, Severity
from strandgauge.hair.levels import MOST_LEVELS
from strandgauge.hair.stain import Stain
from strandgauge.judge.outlook import BaseZone, base_zones
from strandgauge.reading.model import CardFit, Reading, ZoneReading
from strandgauge.strand.names import ZoneName

SCHEMA = "strandgauge.reading/1"
_ZONES: tuple[ZoneName, ...] = ("root", "mids", "ends")


def load_saved_zones(path: Path) -> tuple[BaseZone, ...]:
    """Return root, mids, ends and overall of a saved reading.

    Raises
    ------
    BadReadingError : the file cannot be read, is not JSON, of another schema, or lacks a colour.
    """
    reading = load_saved_reading(path)
    return base_zones(reading)


def load_saved_reading(path: Path) -> Reading:
    """Return a reading from the file that ``strandgauge read --json`` wrote.

    Raises
    ------
    BadReadingError : the file cannot be read, is not JSON, of another schema, or lacks a value.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise BadReadingError(
            f"it cannot be read ({(error.strerror or '').lower()})", where=str(path)
        ) from error
    except (UnicodeDecodeError, ValueError) as error:
        raise BadReadingError("it is not a single JSON document", where=str(path)) from error
    return reading_from_document(document, str(path))


def reading_from_document(document: object, where: str) -> Reading:
    """Return the reading that a ``strandgauge.reading/1`` document holds; ``where`` names it in errors.

    Raises
    ------
    BadReadingError : it is of another schema, or a value is missing or impossible.
    """
    if not isinstance(document, Mapping):
        raise BadReadingError("it is not a JSON object", where=where)
    schema = document.get("schema")
    if schema is None:
        raise BadReadingError(f"it does not say its schema, which should be '{SCHEMA}'", where=where)
    if schema != SCHEMA:
        raise BadReadingError(f"its schema is {schema!r}, not {SCHEMA!r}", where=where)
    top = _Object(document, "it", where)
    rows = document.get("zones")
    if not isinstance(rows, list) or len(rows) != len(_ZONES):
        raise BadReadingError("it does not hold the zones root, mids and ends", where=where)
    root, mids, ends = (
        _zone(_Object(row, f"its zone '{name}'", where), name) for row, name in zip(rows, _ZONES, strict=True)
    )
    return Reading(
        photo=top.text("photo"),
        card=top.text("card"),
        card_fit=_card_fit(top.part("card_fit")),
        overall=_zone(top.part("overall"), "overall"),
        zones=(root, mids, ends),
        notes=tuple(_note(note) for note in top.parts("notes")),
        ladder=top.text("ladder"),
        wet=top.flag("wet"),
    )


class _Object:
    """A JSON object that names itself in errors."""

    def __init__(self, content: object, name: str, where: str) -> None:
        if not isinstance(content, Mapping):
            raise BadReadingError(f"{name} is not a JSON object", where=where)
        self._content, self._name, self._where = content, name, where

    def refuse(self, key: str, what: str) -> BadReadingError:
        return BadReadingError(f"'{key}' of {self._name} is not {what}", where=self._where)

    def text(self, key: str) -> str:
        value = self._content.get(key)
        if not isinstance(value, str):
            raise self.refuse(key, "text")
        return value

    def flag(self, key: str) -> bool:
        value = self._content.get(key)
        if not isinstance(value, bool):
            raise self.refuse(key, "true or false")
        return value

    def number(self, key: str, low: float = -math.inf, high: float = math.inf) -> float:
        value = self._content.get(key)
        if not _is_number(value) or not low <= float(value) <= high:  # type: ignore[arg-type]
            raise self.refuse(key, "a number" if math.isinf(low) else f"a number from {low:g} to {high:g}")
        return float(value)  # type: ignore[arg-type]

    def lab(self, key: str, low: float = -math.inf) -> Lab:
        value = self._content.get(key)
        if (
            not isinstance(value, list)
            or len(value) != 3
            or not all(_is_number(v) and v >= low for v in value)
        ):
            raise self.refuse(key, "three numbers")
        first, second, third = (float(v) for v in value)
        return first, second, third

    def shares(self, key: str) -> dict[str, float]:
        value = self._content.get(key)
        if not isinstance(value, Mapping) or not all(_is_number(share) for share in value.values()):
            raise self.refuse(key, "shares by level")
        return {str(level): float(share) for level, share in value.items()}

    def facts(self, key: str) -> tuple[tuple[str, Fact], ...]:
        value = self._content.get(key)
        if not isinstance(value, Mapping) or not all(
            isinstance(fact, str | int | float) for fact in value.values()
        ):
            raise self.refuse(key, "facts by name")
        return tuple((str(name), fact) for name, fact in value.items())

    def has(self, key: str) -> bool:
        return key in self._content

    def part(self, key: str) -> _Object:
        return _Object(self._content.get(key), f"'{key}'", self._where)

    def optional_part(self, key: str) -> _Object | None:
        return None if self._content.get(key) is None else self.part(key)

    def parts(self, key: str) -> list[_Object]:
        value = self._content.get(key)
        if not isinstance(value, list):
            raise self.refuse(key, "a list")
        return [_Object(item, f"an item of '{key}'", self._where) for item in value]


def _zone(zone: _Object, name: ZoneName) -> ZoneReading:
    if zone.text("name") != name:
        raise zone.refuse("name", f"'{name}'")
    stain = zone.optional_part("stain")
    return ZoneReading(
        name=name,
        lab=zone.lab("lab"),
        lab_sd=zone.lab("lab_sd", low=0.0),
        lab_as_lit=zone.lab("lab_as_lit"),
        lightness_spread=zone.number("lightness_spread", low=0.0),
        level=zone.number("level", 1.0, float(MOST_LEVELS)),
        level_sd=zone.number("level_sd", 0.0),
        level_shares=zone.shares("level_shares"),
        undertone=zone.text("undertone"),
        chroma=zone.number("chroma", 0.0),
        hue_deg=zone.number("hue_deg", 0.0, 360.0),
        yellowness_e313=zone.number("yellowness_e313"),
        stain=None
        if stain is None
        else Stain(stain.text("hue"), stain.number("hue_deg"), stain.number("strength", 0.0)),
    )


def _note(note: _Object) -> Note:
    """Return a note with its facts; one saved without them keeps the sentence that it was saved with."""
    if not note.has("facts"):
        return Note(note.text("code"), "note", (("said", note.text("message")),))
    severity = note.text("severity")
    if severity not in get_args(Severity):
        raise note.refuse("severity", "a weight of a note")
    return Note(note.text("code"), cast("Severity", severity), note.facts("facts"))


def _card_fit(fit: _Object) -> CardFit:
    return CardFit(
        fit.number("delta_e00_median", 0.0),
        fit.number("delta_e00_max", 0.0),
        fit.number("leave_one_out_mean", 0.0),
        fit.number("light_unevenness_percent", 0.0),
    )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
