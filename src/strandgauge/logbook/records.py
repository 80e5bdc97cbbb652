"""What the logbook holds, as plain frozen records.

Times are aware and in UTC. Ids are never given twice, so that a link to a check that was deleted cannot lead to
somebody else's.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from strandgauge.hair.stretch import Stretch

Kind = Literal["client", "visit", "strand", "check"]
"""What the logbook is made of, each belonging to one of the kind before it."""


@dataclass(frozen=True, slots=True)
class Client:
    """A person, known by an alias only; the tool has no need of a real name."""

    id: int
    alias: str
    created: datetime
    history: dict[str, Any] | None = None
    """What the consultation asked about the hair; None where it was never asked."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One time that a client came in."""

    id: int
    client_id: int
    started: datetime
    note: str


@dataclass(frozen=True, slots=True)
class Strand:
    """One strand that is followed during a visit."""

    id: int
    visit_id: int
    name: str
    target: str | None
    """The wanted shade: a name, or a colour as it was typed."""
    started: datetime | None
    """When the lightener went on; None where none did."""
    limit_minutes: float | None
    """The maker's time limit."""
    rinsed: datetime | None = None
    """When the lightener came off; None while it is on, or where none went on."""

    def minutes_at(self, at: datetime) -> float | None:
        """Return the minutes from lightener on to ``at``; None where no lightener went on."""
        return None if self.started is None else (at - self.started).total_seconds() / 60


@dataclass(frozen=True, slots=True)
class LookRecord:
    """One look at a strand."""

    id: int
    strand_id: int
    at: datetime
    wet: bool
    reading: dict[str, Any]
    """A ``strandgauge.reading/1`` document."""
    outlook: dict[str, Any] | None
    """A ``strandgauge.outlook/1`` document."""
    thumbnail: bytes | None
    """A small JPEG of the strand."""
    has_photo: bool
    """Whether the photo itself was kept."""
    stretch: Stretch | None
    note: str
    result: bool = False
    """Whether it shows the finished shade."""
    answer: dict[str, Any] | None = None
    """What was answered when it was taken, ``strandgauge.answer/1``; None in looks of earlier versions."""
    damage: str | None = None
    """What of it cannot be read back; None where all can."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that was done to a strand, kept whatever is changed later."""

    at: datetime
    what: str


@dataclass(frozen=True, slots=True)
class Binned:
    """Something that was taken out, and can be put back."""

    id: int
    at: datetime
    kind: Kind
    entry_id: int
    why: Literal["deleted", "merged", "damaged"]
    name: str
    """What it was called: alias, strand, or whose."""


@dataclass(frozen=True, slots=True)
class ClientSummary:
    """A client as a line of a list."""

    client: Client
    visits: int
    checks: int
    last_visit: datetime | None


@dataclass(frozen=True, slots=True)
class StrandSummary:
    """A strand as a line of a list, with whose it is."""

    client: Client
    visit: Visit
    strand: Strand
    checks: int
    gummy: bool
    """Whether any stretch test of this strand was answered with gummy."""
    last: LookRecord | None = None
    """The last check, without reading, outlook and picture."""
    slow: bool = False
    """Whether any stretch test was answered with slow."""


@dataclass(frozen=True, slots=True)
class Deletion:
    """What was deleted, and whether its bytes are gone from the files."""

    visits: int
    strands: int
    checks: int
    photos: int
    erased: bool
    """False where another program was reading the logbook: the entries are gone, but their bytes may remain in
    its files until :meth:`Logbook.erase` succeeds, which is tried again whenever a logbook opens or closes."""
