"""One photo of a batch, read or refused, as a plain frozen record: a row of the table, a card of the gallery."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated

from annotated_types import Ge

from strandgauge.codes.bounds import Count, Level, Share
from strandgauge.errors import Told
from strandgauge.judge.outlook import Verdict
from strandgauge.lift.advice import Advice
from strandgauge.reading.model import Reading


@dataclass(frozen=True, slots=True)
class WantedShade:
    """What the wanted shade would become on this strand."""

    target: str
    target_hex: str
    predicted_hex: str
    verdict: Verdict
    saying: str
    needs_level: Level | None
    chance_true: Share | None = None
    """Chance that it reads true; None in rows of earlier versions."""
    advice: tuple[Advice, ...] = ()
    """What to do with each zone, most pressing first, as `strandgauge reach` says it; none in earlier rows."""


@dataclass(frozen=True, slots=True)
class Second:
    """The other photo of a turned pair, in the row of the first."""

    file: str
    digest: str
    taken: datetime | None
    """From the manifest; None where the photo's own time counts."""


@dataclass(frozen=True, slots=True)
class Record:
    """One photo, or a turned pair read as one: exactly one of ``reading`` and ``refusal`` is there."""

    file: str
    """Path below the batch's folder, with forward slashes."""
    digest: str
    """SHA-256 of the file's bytes, hexadecimal; empty where it could not be read."""
    reading: Reading | None = None
    refusal: Told | None = None
    """Why the photo gave no reading."""
    wanted: WantedShade | None = None
    client: str | None = None
    """Alias of the client or student, from the manifest."""
    group: str | None = None
    """Class or visit, from the manifest."""
    taken: datetime | None = None
    """When, from the manifest or the photo's EXIF."""
    strip: bytes | None = None
    """The strand in true colour, a small JPEG."""
    card_angle_deg: float | None = None
    """Direction of the card's long side in the picture, clockwise from the right."""
    second: Second | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """How a photo was to be read: whether an earlier row still answers the question."""

    wet: bool
    target: str | None
    client: str | None
    group: str | None
    taken: datetime | None
    """From the manifest; None where the photo's own time counts."""


@dataclass(frozen=True, slots=True)
class Summary:
    """What became of a batch."""

    out: Path
    photos: Count
    """Photos there should be rows of: those found, files of the manifest that are not there, unreadable folders."""
    read: Count
    refused: Count
    refused_because: Mapping[str, Annotated[int, Ge(1)]]
    """How many for each code, most frequent first."""
    not_reached: Count
    """Photos that a run stopped early has not come to."""
    from_before: Count
    """Rows taken over from an earlier run."""
    duplicates: Count
    """Photos with the same content as another, each read by itself."""
    pairs: Count
    """Turned pairs: two photos each, read as one, in one row."""
    other_files: Count
    """Files that are no photos and were left alone."""
    files: tuple[str, ...]
    """What was written into the result folder."""
    notes: tuple[str, ...]
