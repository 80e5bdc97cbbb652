"""What may stand in the logbook: aliases, names, notes, times and documents put in order, or refused."""

from __future__ import annotations

import json
import math
import re
import unicodedata
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from strandgauge.errors import BadEntryError
from strandgauge.files.limits import LONGEST_LIMIT, LONGEST_NAME, LONGEST_NOTE, LONGEST_TARGET
from strandgauge.hair.stretch import STRETCH_ANSWERS

LOST = datetime(1970, 1, 1, tzinfo=UTC)
"""Stands for a time that cannot be read back: so long ago that no clock which starts there lets anything go on."""

_JOINED = re.compile(r"(?<=[^\w\s])\u200d(?=[^\w\s])")
"""What joins two pictographs into one; unseen, and yet part of what is seen. Between letters it is refused."""
READING_SCHEMA = "strandgauge.reading/1"
OUTLOOK_SCHEMA = "strandgauge.outlook/1"


def name_of(text: str, what: str, longest: int = LONGEST_NAME) -> str:
    """Return a name of one line: trimmed, runs of blanks made one, letters composed (Unicode NFC).

    Raises
    ------
    BadEntryError : empty, too long, or with characters that cannot be seen.
    """
    name = unicodedata.normalize("NFC", " ".join(text.split()))
    if not name:
        raise BadEntryError(fault="empty", what=what)
    if len(name) > longest:
        raise BadEntryError(fault="too-long", what=what, longest=longest)
    if not _JOINED.sub("", name).isprintable():
        raise BadEntryError(fault="unseen", what=what)
    return name


def key_of(alias: str) -> str:
    """Return an alias as it is compared with others: without regard to case or to how letters are coded."""
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", alias).casefold())


def lookup_key(alias: str) -> str:
    """Return the key under which an alias that somebody typed would be found, if it is there."""
    return key_of(" ".join(alias.split()))


def note_of(text: str) -> str:
    """Return a note: any lines of visible text, trimmed, line ends as ``\\n``; may be empty.

    Raises
    ------
    BadEntryError : too long, or with control characters.
    """
    note = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n").strip())
    if len(note) > LONGEST_NOTE:
        raise BadEntryError(fault="long-note", longest=LONGEST_NOTE)
    # Notes may hold pictographs, which are joined by invisible characters (category Cf); those are let pass.
    if any(c not in "\n\t" and unicodedata.category(c) in ("Cc", "Cs", "Cn", "Co") for c in note):
        raise BadEntryError(fault="control")
    return note


def target_of(text: str | None) -> str | None:
    """Return a wanted shade as it was named; None for none.

    Raises
    ------
    BadEntryError : empty, too long, or with characters that cannot be seen.
    """
    return None if text is None else name_of(text, "wanted-shade", LONGEST_TARGET)


def minutes_of(limit: float | None) -> float | None:
    """Return a time limit in minutes; None for none.

    Raises
    ------
    BadEntryError : no number, not above zero, or more than a day.
    """
    if limit is None:
        return None
    if not (math.isfinite(limit) and 0 < limit <= LONGEST_LIMIT):
        raise BadEntryError(fault="limit", longest=LONGEST_LIMIT)
    return float(limit)


def stretch_of(answer: str | None) -> str | None:
    """Return the answer of a stretch test; None for none.

    Raises
    ------
    BadEntryError : none of the three answers.
    """
    if answer is not None and answer not in STRETCH_ANSWERS:
        raise BadEntryError(fault="stretch", answers=", ".join(STRETCH_ANSWERS))
    return answer


def stored_time(time: datetime) -> str:
    """Return a time as it is stored: UTC, of fixed width, so that text sorts as time does.

    Raises
    ------
    BadEntryError : without a time zone, or at the edge of the calendar.
    """
    if time.tzinfo is None or time.utcoffset() is None:
        raise BadEntryError(fault="no-zone")
    try:
        utc = time.astimezone(UTC)
    except OverflowError as error:
        raise BadEntryError(fault="calendar") from error
    return utc.replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def time_from(stored: str) -> datetime:
    """Return a stored time; `LOST` where the file was damaged and it is none."""
    try:
        return datetime.fromisoformat(stored).astimezone(UTC)
    except (TypeError, ValueError, OverflowError):
        return LOST


def document_from(stored: str | None, what: str) -> dict[str, Any] | None:
    """Return a stored document.

    Raises
    ------
    ValueError : it is damaged; the message says which of them.
    """
    if stored is None:
        return None
    try:
        document = json.loads(stored)
    except (TypeError, ValueError) as error:
        raise ValueError(f"the {what} is no JSON") from error
    if not isinstance(document, dict):
        raise ValueError(f"the {what} is no document")
    return document


def request_of(text: str | None) -> str | None:
    """Return the number that a phone gave to what it sends; None for none.

    Raises
    ------
    BadEntryError : not 8 to 64 letters, digits and hyphens.
    """
    if text is None or re.fullmatch(r"[A-Za-z0-9-]{8,64}", text):
        return text
    raise BadEntryError(fault="request")


def stored_reading(reading: Mapping[str, Any]) -> str:
    """Return a reading document as JSON text.

    Raises
    ------
    BadEntryError : of another schema, without a level, or with a number that JSON has not.
    """
    overall = reading.get("overall")
    level = overall.get("level") if isinstance(overall, Mapping) else None
    if reading.get("schema") != READING_SCHEMA or not isinstance(level, int | float):
        raise BadEntryError(fault="no-reading", schema=READING_SCHEMA)
    return _json(reading, "reading")


def stored_outlook(outlook: Mapping[str, Any] | None) -> str | None:
    """Return an outlook document as JSON text; None for none.

    Raises
    ------
    BadEntryError : of another schema, without a verdict, or with a number that JSON has not.
    """
    if outlook is None:
        return None
    if outlook.get("schema") != OUTLOOK_SCHEMA or not isinstance(outlook.get("verdict"), str):
        raise BadEntryError(fault="no-outlook", schema=OUTLOOK_SCHEMA)
    return _json(outlook, "outlook")


def stored_document(document: Mapping[str, Any] | None, what: str) -> str | None:
    """Return a document as JSON text; None for none.

    Raises
    ------
    BadEntryError : it holds a number that JSON has not.
    """
    return None if document is None else _json(document, what)


def _json(document: Mapping[str, Any], what: str) -> str:
    try:
        return json.dumps(document, allow_nan=False, separators=(",", ":"))
    except ValueError as error:
        raise BadEntryError(fault="no-number", what=what) from error
