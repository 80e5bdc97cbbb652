"""What is shown of one photo of a batch, and the ranking of a class."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import PurePosixPath

from strandgauge.change.classroom import ranks
from strandgauge.reading.model import Reading
from strandgauge.sheet.record import Record
from strandgauge.words import say
from strandgauge.words.reading import InShort, in_short


@dataclass(frozen=True)
class Card:
    """One photo as its card shows it."""

    number: int
    """Tells cards apart."""
    record: Record

    @cached_property
    def shown(self) -> InShort | None:
        """The reading in words, where there is one."""
        return None if self.record.reading is None else in_short(self.record.reading)

    @property
    def reading(self) -> Reading | None:
        """The reading, where there is one."""
        return self.record.reading

    @property
    def problem(self) -> str:
        """Why there is no reading; empty where there is one."""
        return "" if self.record.refusal is None else self.record.refusal.message

    @property
    def folder(self) -> str:
        """Where the photo lies, with a slash behind it; empty for the batch's own folder."""
        parent = str(PurePosixPath(self.record.file).parent)
        return "" if parent == "." else f"{parent}/"

    @property
    def name(self) -> str:
        """The photo's name, or those of two that are one reading."""
        files = [self.record.file, *([] if self.record.second is None else [self.record.second.file])]
        return " + ".join(PurePosixPath(file).name for file in files)

    @property
    def time(self) -> str:
        """When it was taken; empty where that is not known."""
        return "" if self.record.taken is None else self.record.taken.strftime("%Y-%m-%d %H:%M")

    @property
    def time_rank(self) -> float | None:
        """Seconds since 1970; cameras write any year, with which `datetime.timestamp` would fail."""
        taken = self.record.taken
        if taken is None:
            return None
        return (
            taken - datetime(1970, 1, 1, tzinfo=UTC if taken.tzinfo is not None else None)
        ).total_seconds()

    @property
    def picture_words(self) -> str:
        """What the strip shows, for those who do not see it."""
        if self.shown is None:
            return say("card.strip-refused")
        parts = (self.shown.evenness, self.shown.undertone)
        return say("card.strip", depth=self.shown.depth, colour=", ".join(filter(None, parts)))


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
    ranked = dict(zip((student for student, _ in read), places, strict=True))
    lines = [
        Ranked(str(ranked.get(student, "–")), student, looks[-1], looks[0], len(students[student]))
        for student, looks in counted.items()
    ]

    def order(line: Ranked) -> tuple[float, float, str]:
        shown = line.row.shown
        if shown is None:
            return math.inf, 0.0, ""
        return int(line.rank), shown.level_range, line.student.casefold()

    return ClassSheet(name, tuple(sorted(lines, key=order)))


def _in_time(cards: list[Card]) -> list[Card]:
    """Return the readings, where there is none the photos, in order of time; as listed where no time is known."""
    read = [card for card in cards if card.reading is not None] or cards
    return sorted(read, key=lambda card: card.time_rank or 0.0)


def when(card: Card) -> tuple[bool, float]:
    """Return what sorts photos by time, those without one last."""
    return card.time_rank is None, card.time_rank or 0.0
