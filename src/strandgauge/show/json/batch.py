"""The rows of a batch and its summary as plain dictionaries, and the way back from a row to its record."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from strandgauge.errors import BadReadingError, StrandgaugeError, Told
from strandgauge.files.names import shown_name
from strandgauge.judge.outlook import VERDICTS
from strandgauge.sheet.record import Asked, Record, WantedShade
from strandgauge.show.json.error import error_document
from strandgauge.show.json.reading import Document, reading_document
from strandgauge.show.json.savedreading import reading_from_document

if TYPE_CHECKING:
    from strandgauge.sheet.record import Summary

ROW_SCHEMA = "strandgauge.batch-row/1"
TimeSource = Literal["manifest", "photo"]
_DIGEST = re.compile(r"[0-9a-f]{64}|")


def row_document(record: Record, asked: Asked, strip: str | None) -> Document:
    """Return a record as ``strandgauge.batch-row/1``; ``strip`` is the strip's path beside the row's file."""
    source: TimeSource | None = None
    if record.taken is not None:
        source = "manifest" if asked.taken is not None else "photo"
    refusal, wanted = record.refusal, record.wanted
    return {
        "schema": ROW_SCHEMA,
        "file": record.file,
        "digest": record.digest,
        "wet": asked.wet,
        "target": asked.target,
        "client": record.client,
        "group": record.group,
        "taken": None if record.taken is None else record.taken.isoformat(),
        "taken_from": source,
        "strip": strip,
        "reading": None if record.reading is None else reading_document(record.reading),
        "error": None if refusal is None else error_document(replace(refusal, where=record.file)),
        "wanted": None
        if wanted is None
        else {
            "target": wanted.target,
            "target_hex": wanted.target_hex,
            "predicted_hex": wanted.predicted_hex,
            "verdict": wanted.verdict,
            "saying": wanted.saying,
            "needs_level": wanted.needs_level,
        },
    }


def record_from_document(document: object, where: str, strip: bytes | None = None) -> tuple[Record, Asked]:
    """Return the record that a row holds, and how its photo was asked to be read.

    Raises
    ------
    BadReadingError : it is no such row, or a value is missing.
    """
    try:
        return _record(document, where, strip)
    except StrandgaugeError:
        raise
    except (KeyError, TypeError, ValueError) as error:
        raise BadReadingError(f"it is no row of a batch ({error})", where=where) from error


def _record(document: object, where: str, strip: bytes | None) -> tuple[Record, Asked]:
    if not isinstance(document, Mapping) or document["schema"] != ROW_SCHEMA:
        raise ValueError(f"its schema is not {ROW_SCHEMA}")
    row, error, wish = document, document["error"], document["wanted"]
    reading = None if row["reading"] is None else reading_from_document(row["reading"], where)
    if (reading is None) == (error is None):
        raise ValueError("it holds not exactly one of a reading and an error")
    if not _DIGEST.fullmatch(_text(row["digest"])):  # it names a file
        raise ValueError("its digest is none")
    taken = None if row["taken"] is None else datetime.fromisoformat(row["taken"])
    client, group = _text_or_none(row["client"]), _text_or_none(row["group"])
    record = Record(
        file=_text(row["file"]),
        digest=_text(row["digest"]),
        reading=reading,
        refusal=None
        if error is None
        else Told(_text(error["code"]), _text(error["message"]), _text(error["remedy"])),
        wanted=None if wish is None else _wanted(wish),
        client=client,
        group=group,
        taken=taken,
        strip=strip,
    )
    stated = taken if row["taken_from"] == "manifest" else None
    return record, Asked(row["wet"] is True, _text_or_none(row["target"]), client, group, stated)


def _wanted(wish: Mapping[str, object]) -> WantedShade:
    verdict, needs = wish["verdict"], wish["needs_level"]
    if verdict not in VERDICTS or not (needs is None or isinstance(needs, int | float)):
        raise ValueError("its outlook is none")
    return WantedShade(
        target=_text(wish["target"]),
        target_hex=_text(wish["target_hex"]),
        predicted_hex=_text(wish["predicted_hex"]),
        verdict=verdict,
        saying=_text(wish["saying"]),
        needs_level=None if needs is None else float(needs),
    )


def summary_document(summary: Summary) -> Document:
    """Return what became of a batch as ``strandgauge.batch-summary/1``."""
    return {
        "schema": "strandgauge.batch-summary/1",
        "out": shown_name(summary.out),
        "photos": summary.photos,
        "read": summary.read,
        "refused": summary.refused,
        "refused_because": dict(summary.refused_because),
        "not_reached": summary.not_reached,
        "from_before": summary.from_before,
        "duplicates": summary.duplicates,
        "other_files": summary.other_files,
        "files": list(summary.files),
        "notes": list(summary.notes),
    }


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError("a text is missing")
    return value


def _text_or_none(value: object) -> str | None:
    return None if value is None else _text(value)
