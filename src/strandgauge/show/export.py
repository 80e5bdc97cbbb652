"""The checks of the logbook, one a line: as a table for a spreadsheet, or as JSON for programs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime

from strandgauge.logbook.book import Logbook
from strandgauge.logbook.records import CheckRecord, Client, Strand, Visit
from strandgauge.reading.model import COVERAGE
from strandgauge.show import cells
from strandgauge.show.cells import Cell
from strandgauge.show.json.logbook import check_document, client_document

Entry = tuple[Client, Visit, Strand, CheckRecord]

COLUMNS = (
    "client",
    "visit_utc",
    "visit_note",
    "strand",
    "target",
    "lightener_on_utc",
    "limit_minutes",
    "check",
    "time_utc",
    "minutes",
    "wet",
    "level",
    "level_95",
    "evenness",
    "undertone",
    "L",
    "a",
    "b",
    "root_level",
    "mids_level",
    "ends_level",
    "stain",
    "wanted",
    "verdict",
    "chance_true",
    "stretch",
    "note",
    "photo_kept",
)
"""Heads of the table; ``level_95`` is the half-width of the level's 95 % interval."""


def checks_of(logbook: Logbook, clients: Iterable[Client]) -> Iterator[Entry]:
    """Yield the checks of clients, with whose they are, in order of visit, strand and time."""
    for client in clients:
        for visit in reversed(logbook.visits(client.id)):
            for strand in logbook.strands(visit.id):
                for check in logbook.checks(strand.id):
                    yield client, visit, strand, check


def csv_lines(entries: Iterable[Entry]) -> Iterator[bytes]:
    """Yield a table as CSV, line by line; see :mod:`strandgauge.show.cells`."""
    return cells.csv_lines(COLUMNS, (_row(*entry) for entry in entries))


def json_lines(logbook: Logbook, clients: Sequence[Client], *, pictures: bool) -> Iterator[bytes]:
    """Yield everything of clients, one JSON document a line.

    First each client as ``strandgauge.log-client/1``, also one without any check; then each check in full as
    ``strandgauge.log-check/1``.

    Parameters
    ----------
    logbook : where the clients are.
    clients : in order.
    pictures : whether thumbnails and photos that were kept are put in, as base64.
    """
    for client in clients:
        yield _line(client_document(logbook, client))
    for client, visit, strand, check in checks_of(logbook, clients):
        shown: Mapping[str, bytes | None] | None = None
        if pictures:
            shown = {"thumbnail": check.thumbnail, "photo": logbook.photo(check.id)}
        yield _line(check_document(client, visit, strand, check, shown))


def _row(client: Client, visit: Visit, strand: Strand, check: CheckRecord) -> list[Cell]:
    reading, outlook = check.reading, check.outlook or {}
    overall = reading.get("overall") or {}
    lab = overall.get("lab") or (None, None, None)
    zones = {zone.get("name"): zone.get("level") for zone in reading.get("zones", ())}
    minutes, spread = strand.minutes_at(check.at), overall.get("level_sd")
    return [
        client.alias,
        _time(visit.started),
        visit.note,
        strand.name,
        strand.target,
        _time(strand.started),
        strand.limit_minutes,
        check.id,
        _time(check.at),
        None if minutes is None else round(minutes, 2),
        "yes" if check.wet else "no",
        overall.get("level"),
        None if spread is None else round(COVERAGE * spread, 2),
        reading.get("evenness", {}).get("word"),
        overall.get("undertone"),
        *lab,
        zones.get("root"),
        zones.get("mids"),
        zones.get("ends"),
        (overall.get("stain") or {}).get("hue"),
        outlook.get("target", {}).get("name"),
        outlook.get("verdict"),
        outlook.get("probability_true"),
        check.stretch,
        check.note,
        "yes" if check.has_photo else "no",
    ]


def _line(document: Mapping[str, object]) -> bytes:
    return json.dumps(document, allow_nan=False).encode("ascii") + b"\n"


def _time(time: datetime | None) -> str | None:
    # The form that spreadsheets take for a time; they know no time zones.
    return None if time is None else time.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S")
