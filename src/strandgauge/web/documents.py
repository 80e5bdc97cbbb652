"""What the JSON API answers: the documents of the command line, and the small records around them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from strandgauge.logbook.records import LookRecord, Strand, Stretch
from strandgauge.show.json import Document, document_of
from strandgauge.show.json.serialiser import shape
from strandgauge.web.bodies import LARGEST_ID
from strandgauge.web.service import Answer

Id = Annotated[int, Field(ge=1, le=LARGEST_ID)]


class _Given(BaseModel):
    """What a client sends: nothing but what is named, each of its own kind."""

    model_config = ConfigDict(extra="forbid", strict=True)


class _Told(BaseModel):
    """What the server answers."""

    model_config = ConfigDict(from_attributes=True)


class NewClient(_Given):
    """A client to be entered."""

    alias: str = Field(min_length=1, max_length=80, description="Never a real name.")


Started = Annotated[AwareDatetime, Field(strict=False, ge=datetime(2000, 1, 1, tzinfo=UTC))]
"""When lightener went on; an earlier one is a clock that was never set."""


class NewVisit(_Given):
    """A visit to be entered; it begins now."""

    note: str = Field(default="", max_length=4000)


class NewStrand(_Given):
    """A strand to be entered."""

    name: str = Field(min_length=1, max_length=80)
    target: str | None = Field(default=None, max_length=200, description="A shade's name, #rrggbb or L,a,b.")
    started: Started | None = Field(
        default=None, description="When the lightener went on, with its time zone."
    )
    limit_minutes: float | None = Field(
        default=None, gt=0, le=24 * 60, allow_inf_nan=False, description="The maker's time limit."
    )


class StrandChange(_Given):
    """What is to change in a strand; what is left out stays, null takes it away."""

    target: str | None = Field(default=None, max_length=200)
    started: Started | None = None
    limit_minutes: float | None = Field(default=None, gt=0, le=24 * 60, allow_inf_nan=False)


class StretchAnswer(_Given):
    """What a few wet hairs did when they were stretched."""

    answer: Stretch


class ToldClient(_Told):
    """A client."""

    id: int
    alias: str
    created: datetime


class ToldVisit(_Told):
    """A visit."""

    id: int
    client_id: int
    started: datetime
    note: str


class ToldStrand(_Told):
    """A strand."""

    id: int
    visit_id: int
    name: str
    target: str | None
    started: datetime | None
    limit_minutes: float | None


class ToldLook(_Told):
    """One look at a strand, in a list."""

    id: int
    at: datetime
    minutes: float | None
    wet: bool
    level: float | None
    stretch: Stretch | None
    note: str
    photo_kept: bool


class ToldStrandWithLooks(ToldStrand):
    """A strand, and the looks at it so far."""

    stop_reason: str | None
    checks: list[ToldLook]


class Clients(BaseModel):
    """All clients."""

    clients: list[ToldClient]


class Visits(BaseModel):
    """A client's visits."""

    visits: list[ToldVisit]


class Strands(BaseModel):
    """A visit's strands."""

    strands: list[ToldStrand]


class Deleted(_Told):
    """What was deleted."""

    visits: int
    strands: int
    checks: int
    photos: int
    erased: bool = Field(description="False where another program was reading: the last bytes go later.")


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


shape(Look, schema="strandgauge.look/1", title="A look at a strand")


def look_document(answer: Answer) -> Document:
    """Return a look as ``strandgauge.look/1``."""
    stored = answer.look_id is not None
    look = Look(
        key=answer.key,
        check=answer.look_id,
        strand=answer.strand_id,
        at=answer.at.astimezone(UTC).replace(microsecond=0),
        wet=answer.wet,
        stretch=answer.stretch,
        note=answer.note,
        stop_reason=answer.stop_reason,
        reading=document_of(answer.reading),
        outlook=None if answer.outlook is None else document_of(answer.outlook),
        curve=None if answer.curve is None else document_of(answer.curve),
        picture=f"/api/looks/{answer.look_id}/picture" if stored else f"/api/quick/{answer.key}/picture",
    )
    return document_of(look)


def told_look(check: LookRecord, strand: Strand) -> ToldLook:
    """Return a stored look as a line of a list."""
    minutes = strand.minutes_at(check.at)
    overall = check.reading.get("overall")
    level = overall.get("level") if isinstance(overall, dict) else None
    return ToldLook(
        id=check.id,
        at=check.at,
        minutes=None if minutes is None else round(minutes, 2),
        wet=check.wet,
        level=level if isinstance(level, int | float) else None,
        stretch=check.stretch,
        note=check.note,
        photo_kept=check.has_photo,
    )
