"""What is shown of one photo of a batch, and the ranking of a class."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import PurePosixPath

from strandgauge.change.classroom import ranks
from strandgauge.colour.srgb import hex_colour
from strandgauge.hair.warmth import warmth_left
from strandgauge.reading.evenness import evenness
from strandgauge.reading.model import Reading
from strandgauge.sheet.record import Record
from strandgauge.words import reading as words
from strandgauge.words import say


@dataclass(frozen=True, slots=True)
class Card:
    """One photo as its card shows it."""

    number: int
    folder: str
    name: str
    record: Record
    level: str
    evenness: str
    evenness_detail: str
    level_range: float
    undertone: str
    warmth: str
    warmth_size: float
    stains: tuple[str, ...]
    time: str
    time_rank: float | None

    @property
    def reading(self) -> Reading | None:
        """The reading, where there is one."""
        return self.record.reading

    @property
    def problem(self) -> str:
        """Why there is no reading; empty where there is one."""
        return "" if self.record.refusal is None else self.record.refusal.message

    @property
    def zones(self) -> list[tuple[str, str, str]]:
        """Name, colour and level of root, mids and ends."""
        zones = () if self.reading is None else self.reading.zones
        return [(words.zone_name(zone.name), hex_colour(zone.lab), f"{zone.level:.1f}") for zone in zones]

    @property
    def picture_words(self) -> str:
        """What the strip shows, for those who do not see it."""
        return f"The strand, root end on the left: level {self.level}, {self.evenness}" + (
            f", {self.undertone}" if self.undertone else ""
        )


@dataclass(frozen=True, slots=True)
class Ranked:
    """A student of a class."""

    rank: str
    student: str
    row: Card
    """The latest reading; where there is none, the latest photo."""
    first: Card
    """The earliest reading; the latest, where there is one alone."""
    photos: int


@dataclass(frozen=True, slots=True)
class ClassSheet:
    """A class, most even strand first, those without a reading last."""

    name: str
    lines: tuple[Ranked, ...]


def make_card(number: int, record: Record) -> Card:
    """Put a record into words; ``number`` tells cards apart."""
    place = PurePosixPath(record.file)
    reading = record.reading
    overall = reading.overall if reading is not None else None
    even = evenness(reading) if reading is not None else None
    hidden = reading is not None and all(zone.stain for zone in reading.zones)
    warmth = (
        "hidden" if hidden else warmth_left(overall.chroma, overall.hue_deg) if overall is not None else ""
    )
    return Card(
        number=number,
        folder="" if str(place.parent) == "." else f"{place.parent}/",
        name=place.name
        if record.second is None
        else f"{place.name} + {PurePosixPath(record.second.file).name}",
        record=record,
        level=words.level_interval(reading.overall) if reading is not None else "",
        evenness=words.evenness_word(even) if even is not None else "",
        evenness_detail=words.stands_out(even) if even is not None else "",
        level_range=even.level_range if even is not None else 0.0,
        undertone=words.undertone(reading.overall) if reading is not None and not hidden else "",
        warmth=say(f"warmth.{warmth}") if warmth else "",
        warmth_size=reading.overall.chroma if reading is not None and warmth != "none" else 0.0,
        stains=words.stains(reading) if reading is not None else (),
        time=_time(record.taken),
        time_rank=_seconds(record.taken),
    )


def class_sheet(name: str, cards: Iterable[Card]) -> ClassSheet:
    """Rank a class by evenness; a student's latest reading counts, and what only noise tells apart shares a rank.

    Students are told apart by their alias; a photo without one stands for itself.
    """
    students: dict[str, list[Card]] = {}
    for card in cards:
        students.setdefault(card.record.client or card.name, []).append(card)
    counted = {student: _in_time(theirs) for student, theirs in students.items()}
    read = [(student, looks) for student, looks in counted.items() if looks[-1].reading is not None]
    places = ranks([looks[-1].reading for _, looks in read if looks[-1].reading is not None])
    lines = [
        Ranked(str(place), student, looks[-1], looks[0], len(students[student]))
        for place, (student, looks) in zip(places, read, strict=True)
    ]
    lines.sort(key=lambda line: (int(line.rank), line.row.level_range, line.student.casefold()))
    lines += [
        Ranked("–", student, looks[-1], looks[0], len(students[student]))
        for student, looks in counted.items()
        if looks[-1].reading is None
    ]
    return ClassSheet(name, tuple(lines))


def _in_time(cards: list[Card]) -> list[Card]:
    """Return the readings, where there is none the photos, in order of time; as listed where no time is known."""
    read = [card for card in cards if card.reading is not None] or cards
    return sorted(read, key=lambda card: card.time_rank or 0.0)


def when(card: Card) -> tuple[bool, float]:
    """Return what sorts photos by time, those without one last."""
    return card.time_rank is None, card.time_rank or 0.0


def _time(taken: datetime | None) -> str:
    return taken.strftime("%Y-%m-%d %H:%M") if taken is not None else ""


def _seconds(taken: datetime | None) -> float | None:
    """Return seconds since 1970; cameras write any year, with which `datetime.timestamp` would fail."""
    if taken is None:
        return None
    return (taken - datetime(1970, 1, 1, tzinfo=UTC if taken.tzinfo is not None else None)).total_seconds()
