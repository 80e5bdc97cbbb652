"""The checks of the logbook, one a line: as a table for a spreadsheet, or as JSON for programs."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from strandgauge.logbook.book import Logbook
from strandgauge.logbook.records import Client, LookRecord, Strand, Visit
from strandgauge.reading.model import COVERAGE
from strandgauge.show.cells import Cell, Column, of
from strandgauge.show.json.logbook import client_document, logged_document


@dataclass(frozen=True, slots=True)
class Entry:
    """A check, with whose it is."""

    client: Client
    visit: Visit
    strand: Strand
    check: LookRecord


def looks_of(logbook: Logbook, clients: Iterable[Client]) -> Iterator[Entry]:
    """Yield the checks of clients, with whose they are, in order of visit, strand and time."""
    for client in clients:
        for visit in reversed(logbook.visits(client.id)):
            for strand in logbook.strands(visit.id):
                for check in logbook.looks(strand.id):
                    yield Entry(client, visit, strand, check)


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
    for one in looks_of(logbook, clients):
        shown: Mapping[str, bytes | None] | None = None
        if pictures:
            shown = {"thumbnail": one.check.thumbnail, "photo": logbook.photo(one.check.id)}
        yield _line(logged_document(one.client, one.visit, one.strand, one.check, shown))


def _minutes(entry: Entry) -> float | None:
    minutes = entry.strand.minutes_at(entry.check.at)
    return None if minutes is None else round(minutes, 2)


def _zone_level(name: str) -> Callable[[Entry], Cell]:
    def level(entry: Entry) -> Cell:
        zones = entry.check.reading.get("zones", ())
        return next((zone.get("level") for zone in reversed(zones) if zone.get("name") == name), None)

    return level


def _time(time: datetime) -> datetime:
    return time.astimezone(UTC).replace(tzinfo=None)  # spreadsheets know no time zones


COLUMNS = (
    Column("client", "text", of("client.alias")),
    Column("visit_utc", "time", of("visit.started", _time)),
    Column("visit_note", "text", of("visit.note")),
    Column("strand", "text", of("strand.name")),
    Column("target", "text", of("strand.target")),
    Column("lightener_on_utc", "time", of("strand.started", _time)),
    Column("limit_minutes", "number", of("strand.limit_minutes")),
    Column("check", "number", of("check.id")),
    Column("time_utc", "time", of("check.at", _time)),
    Column("minutes", "number", _minutes),
    Column("wet", "flag", of("check.wet")),
    Column("level", "number", of("check.reading.overall.level")),
    Column("level_95", "number", of("check.reading.overall.level_sd", lambda sd: round(COVERAGE * sd, 2))),
    Column("evenness", "text", of("check.reading.evenness.word")),
    Column("undertone", "text", of("check.reading.overall.undertone")),
    Column("L", "number", of("check.reading.overall.lab.0")),
    Column("a", "number", of("check.reading.overall.lab.1")),
    Column("b", "number", of("check.reading.overall.lab.2")),
    *(Column(f"{zone}_level", "number", _zone_level(zone)) for zone in ("root", "mids", "ends")),
    Column("stain", "text", of("check.reading.overall.stain.hue")),
    Column("wanted", "text", of("check.outlook.target.name")),
    Column("verdict", "text", of("check.outlook.verdict")),
    Column("chance_true", "number", of("check.outlook.probability_true")),
    Column("stretch", "text", of("check.stretch")),
    Column("note", "text", of("check.note")),
    Column("photo_kept", "flag", of("check.has_photo")),
)
"""Columns of the table; ``level_95`` is the half-width of the level's 95 % interval."""


def _line(document: Mapping[str, object]) -> bytes:
    return json.dumps(document, allow_nan=False).encode("ascii") + b"\n"
