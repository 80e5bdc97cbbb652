"""The rows of a batch as ``strandgauge.batch-row/1``, and the way back from a row to its record."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal

from strandgauge.codes.bounds import Text
from strandgauge.errors import Told
from strandgauge.files.names import shown_name
from strandgauge.reading.model import Reading
from strandgauge.sheet.record import Asked, Record, Second, Summary, WantedShade
from strandgauge.show.json.serialiser import document_of, filled, record_of, shape

_DIGEST = "^([0-9a-f]{64})?$"
_LOCAL_TIME = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d{6})?$"
_HEX = {"pattern": "^#[0-9a-f]{6}$"}


@dataclass(frozen=True, slots=True)
class BatchRow:
    """One photo of a batch; exactly one of ``reading`` and ``error`` is there."""

    file: Text
    """Path below the batch's folder, with forward slashes. A byte that is no UTF-8 is written \\xNN. Ends in a slash
    for a folder that could not be looked into."""
    digest: str
    """SHA-256 of the file's bytes; empty where they could not be read."""
    wet: bool
    """Whether it was to be read as wet."""
    target: str | None
    """The shade that was wanted."""
    client: str | None
    """Alias of the client or student, from the manifest."""
    group: str | None
    """Class or visit, from the manifest."""
    taken: datetime | None
    """Local time, without a time zone."""
    taken_from: Literal["manifest", "photo"] | None
    strip: str | None
    """Path of the strand's picture beside this file."""
    reading: Reading | None
    error: Told | None
    """Besides the codes of docs/errors.md: internal-error, out-of-memory, worker-died."""
    wanted: WantedShade | None
    card_angle_deg: float | None = None
    """Direction of the card's long side in the picture, clockwise from the right."""
    second: Second | None = None
    """The photo of the same strand, the card turned end for end, that was read as one with this; it has no row."""

    def __post_init__(self) -> None:
        if (self.reading is None) == (self.error is None):
            raise ValueError("it holds not exactly one of a reading and an error")
        digests = (self.digest, "" if self.second is None else self.second.digest)
        if not all(re.fullmatch(_DIGEST, digest) for digest in digests):  # the first names a file
            raise ValueError("its digest is none")


shape(
    BatchRow,
    schema="strandgauge.batch-row/1",
    title="One photo of a batch",
    more={
        "properties": {
            "digest": {"pattern": _DIGEST},
            "taken": {"anyOf": [{"type": "string", "pattern": _LOCAL_TIME}, {"type": "null"}]},
        },
        "oneOf": [
            {"properties": {"reading": {"type": "object"}, "error": {"type": "null"}}},
            {"properties": {"reading": {"type": "null"}, "error": {"type": "object"}}},
        ],
    },
)
shape(WantedShade, more={"properties": {"target_hex": _HEX, "predicted_hex": _HEX}})


shape(
    Summary,
    schema="strandgauge.batch-summary/1",
    title="What became of a batch",
    added={"out": (str, lambda summary: shown_name(summary.out))},
)


def row_document(record: Record, asked: Asked, strip: str | None) -> dict[str, Any]:
    """Return a record as ``strandgauge.batch-row/1``; ``strip`` is the strip's path beside the row's file."""
    refusal = record.refusal
    source: Literal["manifest", "photo"] = "manifest" if asked.taken is not None else "photo"
    row = filled(
        BatchRow,
        record,
        asked,
        taken_from=None if record.taken is None else source,
        strip=strip,
        error=None if refusal is None else replace(refusal, where=record.file),
    )
    return document_of(row)


def record_from_document(document: object, where: str, strip: bytes | None = None) -> tuple[Record, Asked]:
    """Return the record that a row holds, and how its photo was asked to be read.

    Raises
    ------
    BadReadingError : it is no such row, or a value is missing.
    """
    row = record_of(BatchRow, document, where)
    error = row.error
    refusal = None if error is None else replace(error, where=None)
    record = filled(Record, row, refusal=refusal, strip=strip)
    stated = row.taken if row.taken_from == "manifest" else None
    return record, Asked(row.wet, row.target, row.client, row.group, stated)
