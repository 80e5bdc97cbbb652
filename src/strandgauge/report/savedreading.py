"""Reads back a reading that was saved as JSON, as far as an outlook needs it."""

from __future__ import annotations

import json
import math
from pathlib import Path

from strandgauge.dye.outlook import BaseZone
from strandgauge.errors import BadReadingError
from strandgauge.reading import Lab

SCHEMA = "strandgauge.reading/1"


def load_saved_zones(path: Path) -> tuple[BaseZone, ...]:
    """Return root, mids, ends and overall of a saved reading.

    Raises
    ------
    BadReadingError : the file cannot be read, is not JSON, of another schema, or lacks a colour.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise BadReadingError(
            f"it cannot be read ({(error.strerror or '').lower()})", where=str(path)
        ) from error
    except (UnicodeDecodeError, ValueError) as error:
        raise BadReadingError("it is not a single JSON document", where=str(path)) from error
    schema = document.get("schema") if isinstance(document, dict) else None
    if schema != SCHEMA:
        raise BadReadingError(f"its schema is {schema!r}, not {SCHEMA!r}", where=str(path))
    zones = document.get("zones")
    if not isinstance(zones, list):
        raise BadReadingError("it holds no zones", where=str(path))
    return tuple(_zone(zone, path) for zone in [*zones, document.get("overall")])


def _zone(zone: object, path: Path) -> BaseZone:
    if not isinstance(zone, dict) or not isinstance(zone.get("name"), str):
        raise BadReadingError("a zone in it has no name", where=str(path))
    return BaseZone(zone["name"], _lab(zone, "lab", path), _lab(zone, "lab_sd", path))


def _lab(zone: dict[str, object], key: str, path: Path) -> Lab:
    value = zone.get(key)
    if (
        not isinstance(value, list)
        or len(value) != 3
        or not all(isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v) for v in value)
        or (key == "lab_sd" and min(value) < 0)
    ):
        raise BadReadingError(f"'{key}' of its zone '{zone['name']}' is not three numbers", where=str(path))
    first, second, third = (float(v) for v in value)
    return first, second, third
