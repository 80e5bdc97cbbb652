"""The logbook as JSON documents."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from types import SimpleNamespace
from typing import Annotated, Any, TypeVar

from annotated_types import Ge

from strandgauge.codes.bounds import Count
from strandgauge.errors import StrandgaugeError
from strandgauge.hair.stretch import Stretch
from strandgauge.judge.outlook import Outlook, Verdict
from strandgauge.logbook.book import Logbook
from strandgauge.logbook.records import (
    Client,
    ClientSummary,
    Deletion,
    Event,
    LookRecord,
    Strand,
    Visit,
)
from strandgauge.reading.model import Reading
from strandgauge.show.json.serialiser import Document, document_of, filled, record_of, shape

R = TypeVar("R", bound="LoggedLook")
Id = Annotated[int, Ge(1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClientLine(Client):
    """A client as a line of a list."""

    visits: Count
    checks: Count
    last_visit: datetime | None


@dataclass(frozen=True, slots=True)
class LogList:
    """The clients of a logbook."""

    logbook: str
    """Its file."""
    clients: tuple[ClientLine, ...]


@dataclass(frozen=True, slots=True)
class LoggedLook:
    """One look at a strand."""

    id: Id
    at: datetime
    minutes: float | None
    """Since the lightener went on."""
    wet: bool
    stretch: Stretch | None
    note: str
    photo_kept: bool
    result: bool
    """Whether it shows the finished shade."""
    damage: str | None
    """What of it cannot be read back."""


@dataclass(frozen=True, slots=True)
class LookInShort(LoggedLook):
    """One look at a strand, with the reading in short."""

    level: float | None
    level_sd: float | None
    target: str | None
    verdict: Verdict | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandWithLooks(Strand):
    """A strand and the looks at it."""

    rinsed: datetime | None
    """When the lightener came off."""
    events: tuple[Event, ...]
    checks: tuple[LookInShort, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitWithStrands(Visit):
    """A visit and its strands."""

    strands: tuple[StrandWithLooks, ...]


@dataclass(frozen=True, slots=True)
class LogClient:
    """A client with visits, strands and checks, readings in short."""

    client: Client
    history: dict[str, Any] | None
    """What the consultation asked about the hair."""
    visits: tuple[VisitWithStrands, ...]


@dataclass(frozen=True, slots=True)
class Pictures:
    """Pictures as base64; null where there is none."""

    thumbnail: str | None
    photo: str | None


@dataclass(frozen=True, slots=True)
class LogCheck:
    """One check with all there is to it."""

    client: Client
    visit: Visit
    strand: Strand
    check: LoggedLook
    reading: dict[str, Any]
    """As in reading-1.json."""
    outlook: dict[str, Any] | None
    """As in outlook-1.json."""
    answer: dict[str, Any] | None
    """What was answered when it was taken, strandgauge.answer/1."""
    pictures: Pictures | None = None
    """Pictures as base64, where they were asked for."""


@dataclass(frozen=True, slots=True)
class LogDeletion:
    """What was deleted; the alias is not repeated."""

    client: Id
    visits: Count
    strands: Count
    checks: Count
    photos: Count
    erased: bool
    """False where another program was reading the logbook: the last bytes go later."""


_ALIAS = {"minLength": 1, "maxLength": 80}
shape(Client, hidden="history", more={"properties": {"id": {"minimum": 1}, "alias": _ALIAS}})
shape(Visit, hidden="client_id", more={"properties": {"id": {"minimum": 1}}})
shape(Strand, hidden="visit_id", more={"properties": {"id": {"minimum": 1}, "name": _ALIAS}})
shape(LoggedLook, decimals={"minutes": 2})
shape(LogList, schema="strandgauge.log-list/1", title="The clients of a logbook")
shape(LogClient, schema="strandgauge.log-client/1", title="A client's visits, strands and checks")
shape(
    LogCheck,
    schema="strandgauge.log-check/1",
    title="One check with all there is to it",
    more={
        "properties": {
            "reading": {
                "required": ["schema"],
                "properties": {"schema": {"const": "strandgauge.reading/1"}},
            },
            "outlook": {
                "anyOf": [
                    {
                        "type": "object",
                        "required": ["schema"],
                        "properties": {"schema": {"const": "strandgauge.outlook/1"}},
                    },
                    {"type": "null"},
                ]
            },
        }
    },
)
shape(LogDeletion, schema="strandgauge.log-deletion/1", title="What was deleted from a logbook")


def clients_document(path: str, summaries: Iterable[ClientSummary]) -> Document:
    """Return the list of clients as ``strandgauge.log-list/1``."""
    lines = (filled(ClientLine, one.client, one) for one in summaries)
    return document_of(LogList(path, tuple(lines)))


def client_document(logbook: Logbook, client: Client) -> Document:
    """Return a client with visits, strands and checks as ``strandgauge.log-client/1``, readings in short."""

    def with_checks(strand: Strand) -> StrandWithLooks:
        checks = tuple(looked(LookInShort, check, strand) for check in logbook.looks(strand.id))
        return filled(StrandWithLooks, strand, events=logbook.events(strand.id), checks=checks)

    visits = (
        filled(VisitWithStrands, visit, strands=tuple(map(with_checks, logbook.strands(visit.id))))
        for visit in logbook.visits(client.id)
    )
    return document_of(LogClient(client, client.history, tuple(visits)))


def logged_document(
    client: Client,
    visit: Visit,
    strand: Strand,
    check: LookRecord,
    pictures: Mapping[str, bytes | None] | None,
) -> Document:
    """Return one check with all there is to it as ``strandgauge.log-check/1``.

    Parameters
    ----------
    pictures : by name, to be put in as base64; None leaves them out.
    """
    logged = looked(LoggedLook, check, strand)
    document = document_of(filled(LogCheck, check, client=client, visit=visit, strand=strand, check=logged))
    del document["pictures"]
    if pictures is not None:
        document["pictures"] = {
            name: None if content is None else base64.b64encode(content).decode("ascii")
            for name, content in pictures.items()
        }
    return document


def deletion_document(client: Client, deletion: Deletion) -> Document:
    """Return what was deleted as ``strandgauge.log-deletion/1``."""
    return document_of(filled(LogDeletion, deletion, client=client.id))


def looked(kind: type[R], check: LookRecord, strand: Strand) -> R:
    """Return a check as a document holds it, with what it says of the reading where there is room for that."""
    overall, outlook = check.reading.get("overall") or {}, check.outlook or {}
    more: dict[str, object] = {
        "minutes": strand.minutes_at(check.at),
        "photo_kept": check.has_photo,
        "level": overall.get("level"),
        "level_sd": overall.get("level_sd"),
        "target": outlook.get("target", {}).get("name"),
        "verdict": outlook.get("verdict"),
    }
    return filled(kind, check, SimpleNamespace(**more))


def damage_of(check: LookRecord) -> str | None:
    """Say what of a check cannot be read back; None where all can."""
    if check.damage is not None:
        return check.damage
    try:
        record_of(Reading, check.reading, f"check {check.id}")
        if check.outlook is not None:
            record_of(Outlook, check.outlook, f"check {check.id}")
    except StrandgaugeError as error:
        return error.message.rstrip(".")
    return None
