"""What the JSON API answers: the documents of the command line, and the small records around them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from strandgauge.hair.stretch import Stretch
from strandgauge.logbook.records import Strand, Visit
from strandgauge.show.json import Document, document_of, filled
from strandgauge.show.json.logbook import LookInShort
from strandgauge.show.json.serialiser import shape
from strandgauge.web.service import Answer


class _Given(BaseModel):
    """What a client sends: nothing but what is named, each of its own kind."""

    model_config = ConfigDict(extra="forbid", strict=True)


class NewClient(_Given):
    """A client to be entered."""

    alias: str = Field(min_length=1, max_length=80, description="Never a real name.")


Started = Annotated[AwareDatetime, Field(strict=False, ge=datetime(2000, 1, 1, tzinfo=UTC))]
"""When lightener went on; an earlier one is a clock that was never set."""


class NewVisit(_Given):
    """A visit to be entered; it begins now."""

    note: str = Field(default="", max_length=4000)


class StrandChange(_Given):
    """What is to change in a strand; what is left out stays, null takes it away."""

    target: str | None = Field(default=None, max_length=200, description="A shade's name, #rrggbb or L,a,b.")
    started: Started | None = Field(
        default=None, description="When the lightener went on, with its time zone."
    )
    limit_minutes: float | None = Field(
        default=None, gt=0, le=24 * 60, allow_inf_nan=False, description="The maker's time limit."
    )


class NewStrand(StrandChange):
    """A strand to be entered."""

    name: str = Field(min_length=1, max_length=80)


class StretchAnswer(_Given):
    """What a few wet hairs did when they were stretched."""

    answer: Stretch


class ToldClient(BaseModel):
    """A client; what the consultation asked is not told."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    alias: str
    created: datetime


class Clients(BaseModel):
    """All clients."""

    clients: list[ToldClient]


@dataclass(frozen=True, slots=True)
class Visits:
    """A client's visits."""

    visits: tuple[Visit, ...]


@dataclass(frozen=True, slots=True)
class Strands:
    """A visit's strands."""

    strands: tuple[Strand, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowedStrand(Strand):
    """A strand, and the looks at it so far."""

    stop_reason: str | None
    checks: tuple[LookInShort, ...]


class Health(BaseModel):
    """Whether the server is well."""

    status: Literal["ok"] = "ok"
    version: str


@dataclass(frozen=True, slots=True)
class Look:
    """What the server answers to a photo: the reading, the outlook for the wanted shade, the strand so far."""

    key: str
    """Name of this look while the server remembers it; empty once it is only in the logbook."""
    check: int | None
    """Its number in the logbook; null for a quick look, which is not stored."""
    strand: int | None
    at: datetime
    """UTC."""
    wet: bool
    stretch: Stretch | None
    """The stylist's own answer to the stretch test."""
    note: str
    stop_reason: str | None
    """Why to stop, whatever colour and curve say; null where nothing speaks for it."""
    reading: dict[str, Any]
    """As in reading-1.json."""
    outlook: dict[str, Any] | None
    """As in outlook-1.json, for the wanted shade; null where none was named."""
    curve: dict[str, Any] | None
    """As in lift-curve-1.json, of the strand so far; null where it is not known when its lightener went on."""
    picture: str
    """Where the annotated picture is, on this server."""


shape(FollowedStrand)
shape(Look, schema="strandgauge.look/1", title="A look at a strand")


def look_document(answer: Answer) -> Document:
    """Return a look as ``strandgauge.look/1``."""
    stored = answer.look_id is not None
    look = filled(
        Look,
        answer,
        check=answer.look_id,
        strand=answer.strand_id,
        at=answer.at.astimezone(UTC).replace(microsecond=0),
        reading=document_of(answer.reading),
        outlook=None if answer.outlook is None else document_of(answer.outlook),
        curve=None if answer.curve is None else document_of(answer.curve),
        picture=f"/api/looks/{answer.look_id}/picture" if stored else f"/api/quick/{answer.key}/picture",
    )
    return document_of(look)
