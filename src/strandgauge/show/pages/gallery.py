"""The gallery of a batch: one page with a card for each photo, class sheets and lift curves, to sort and to filter.

Written as the records come and never held as a whole: the cards go to a spool on disk while the few numbers that
class sheets and counts need are kept, then the page is put together from both. The page has all of its content
without script; the script only adds sorting and filtering, which work on ``data-`` attributes of the cards.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import IO, get_args

from markupsafe import Markup

from strandgauge.colour.names import colour_word
from strandgauge.colour.srgb import lab_from_hex
from strandgauge.files.write import cannot_write, write_parts
from strandgauge.hair.levels import Ladder
from strandgauge.hair.warmth import WarmthCode, warmth_left
from strandgauge.judge.outlook import VERDICTS
from strandgauge.lift.curve import LiftCurve
from strandgauge.reading.evenness import EvennessCode, evenness
from strandgauge.reading.model import Reading
from strandgauge.sheet.record import Record, WantedShade
from strandgauge.show.pages.charts import lift_chart
from strandgauge.show.pages.render import environment, minutes
from strandgauge.words import reading as words
from strandgauge.words import say

_VERDICT_ICONS = dict(zip(VERDICTS, ("yes", "yes", "near", "turn", "no"), strict=True))
_CHUNK = 1 << 16
_WARMTH = (*get_args(WarmthCode), "hidden")
"""Codes of warmth; the last where old dye hides it."""


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
    wished_word: str
    becomes_word: str
    icon: str
    verdict_rank: int | None
    time: str
    time_rank: float | None

    @property
    def reading(self) -> Reading | None:
        """The reading, where there is one."""
        return self.record.reading

    @property
    def picture_words(self) -> str:
        """What the strip shows, for those who do not see it."""
        return f"The strand, root end on the left: level {self.level}, {self.evenness}" + (
            f", {self.undertone}" if self.undertone else ""
        )


@dataclass(frozen=True, slots=True)
class Row:
    """What is kept of a photo once its card is written."""

    number: int
    name: str
    client: str | None
    group: str | None
    time: str
    time_rank: float | None
    level: str
    evenness: str
    level_range: float
    problem: str
    """Why there is no reading; empty where there is one."""


@dataclass(frozen=True, slots=True)
class Ranked:
    """A line of a class sheet."""

    rank: str
    student: str
    row: Row
    photos: int


@dataclass(frozen=True, slots=True)
class ClassSheet:
    """A class, most even strand first, those without a reading last."""

    name: str
    lines: tuple[Ranked, ...]


@dataclass(frozen=True, slots=True)
class ClientSheet:
    """A client's looks in order of time, and the lift curve through them."""

    name: str
    rows: tuple[Row, ...]
    curve: LiftCurve
    saying: str
    roomy: Markup
    narrow: Markup


@dataclass(slots=True)
class _Kept:
    """The little that is kept of all photos."""

    refused: int = 0
    total: int = 0
    evenness: Counter[str] = field(default_factory=Counter)
    warmth: Counter[str] = field(default_factory=Counter)
    verdicts: Counter[str] = field(default_factory=Counter)
    groups: dict[str, list[Row]] = field(default_factory=dict)
    clients: dict[str, list[Row]] = field(default_factory=dict)

    def add(self, card: Card) -> None:
        record = card.record
        self.total += 1
        if record.reading is None:
            self.refused += 1
        else:
            self.evenness[card.evenness] += 1
            self.warmth[card.warmth] += 1
            if record.wanted is not None:
                self.verdicts[record.wanted.verdict] += 1
        row = Row(
            card.number,
            card.name,
            record.client,
            record.group,
            card.time,
            card.time_rank,
            card.level,
            card.evenness,
            card.level_range,
            record.refusal.message if record.refusal is not None else "",
        )
        if record.group:
            self.groups.setdefault(record.group, []).append(row)
        if record.client:
            self.clients.setdefault(record.client, []).append(row)


def write_gallery(
    path: Path,
    records: Iterable[Record],
    *,
    title: str,
    target: str | None,
    ladder: Ladder,
    curves: Mapping[str, LiftCurve],
) -> None:
    """Write the gallery of a batch, whole or not at all.

    Parameters
    ----------
    path : the page to write.
    records : the photos in the order in which they are listed; taken one at a time, once.
    title : the page's heading, such as the folder's name.
    target : name of the wanted shade.
    ladder : that of the readings.
    curves : of each client's name the lift curve.

    Raises
    ------
    CannotWriteError : no such folder, no permission, no space, or a folder of that name.
    """
    try:
        spool = tempfile.TemporaryFile("w+", encoding="utf-8", newline="", dir=path.parent)  # noqa: SIM115
    except OSError as error:
        raise cannot_write(path, error) from error
    with spool:
        kept = _spool_cards(records, spool, path)
        page = environment().get_template("gallery.html.j2")
        spool.seek(0)
        parts = page.generate(
            title=title,
            target=target,
            ladder=ladder.name,
            kept=kept,
            cards=_chunks(spool),
            sheets=[class_sheet(name, rows) for name, rows in kept.groups.items()],
            clients=_client_sheets(kept.clients, curves, ladder),
            clients_number=len(curves),
            others=_without_curve(kept.clients, curves),
            evenness_words=[
                word for code in get_args(EvennessCode) if kept.evenness[word := say(f"evenness.{code}")]
            ],
            warmth_words=[word for code in _WARMTH if kept.warmth[word := say(f"warmth.{code}")]],
            verdict_words=[word for word in VERDICTS if kept.verdicts[word]],
        )
        write_parts(path, (part.encode("utf-8") for part in parts))


def make_card(number: int, record: Record) -> Card:
    """Put a record into words; ``number`` tells cards apart."""
    place = PurePosixPath(record.file)
    reading, wanted = record.reading, record.wanted
    overall = reading.overall if reading is not None else None
    even = evenness(reading) if reading is not None else None
    hidden = reading is not None and all(zone.stain for zone in reading.zones)
    warmth = (
        "hidden" if hidden else warmth_left(overall.chroma, overall.hue_deg) if overall is not None else ""
    )
    return Card(
        number=number,
        folder="" if str(place.parent) == "." else f"{place.parent}/",
        name=place.name,
        record=record,
        level=words.level_interval(reading.overall) if reading is not None else "",
        evenness=words.evenness_word(even) if even is not None else "",
        evenness_detail=words.stands_out(even) if even is not None else "",
        level_range=even.level_range if even is not None else 0.0,
        undertone=reading.overall.undertone if reading is not None and not hidden else "",
        warmth=say(f"warmth.{warmth}") if warmth else "",
        warmth_size=reading.overall.chroma if reading is not None and warmth != "none" else 0.0,
        stains=words.stains(reading) if reading is not None else (),
        wished_word=_hex_word(wanted.target_hex) if wanted is not None else "",
        becomes_word=_hex_word(wanted.predicted_hex) if wanted is not None else "",
        icon=_VERDICT_ICONS[wanted.verdict] if wanted is not None else "",
        verdict_rank=_rank(wanted),
        time=_time(record.taken),
        time_rank=_seconds(record.taken),
    )


def class_sheet(name: str, rows: Iterable[Row]) -> ClassSheet:
    """Rank a class by evenness; a student's latest reading counts, and equal ranges share a rank.

    Students are told apart by their alias; a photo without one stands for itself.
    """
    students: dict[str, list[Row]] = {}
    for row in rows:
        students.setdefault(row.client or row.name, []).append(row)
    counted = {student: _latest(theirs) for student, theirs in students.items()}
    read = sorted(
        ((student, row) for student, row in counted.items() if not row.problem),
        key=lambda pair: (round(pair[1].level_range, 1), pair[0].casefold()),
    )
    lines: list[Ranked] = []
    for place, (student, row) in enumerate(read, start=1):
        tied = lines and round(lines[-1].row.level_range, 1) == round(row.level_range, 1)
        lines.append(Ranked(lines[-1].rank if tied else str(place), student, row, len(students[student])))
    lines += [
        Ranked("–", student, row, len(students[student])) for student, row in counted.items() if row.problem
    ]
    return ClassSheet(name, tuple(lines))


def _latest(rows: list[Row]) -> Row:
    """Return the latest reading; where there is none, the latest photo."""
    read = [row for row in rows if not row.problem] or rows
    # The order of the records decides where no time is known.
    return max(enumerate(read), key=lambda pair: (pair[1].time_rank or 0.0, pair[0]))[1]


def _client_sheets(
    clients: Mapping[str, list[Row]], curves: Mapping[str, LiftCurve], ladder: Ladder
) -> Iterator[ClientSheet]:
    for name, curve in curves.items():
        yield ClientSheet(
            name,
            tuple(sorted(clients.get(name, []), key=_when)),
            curve,
            saying(curve),
            Markup(lift_chart(curve, width=640, height=320, ladder=ladder)),
            Markup(lift_chart(curve, width=340, height=290, ladder=ladder)),
        )


_AT_THE_END = {
    "first look": "",
    "lifting": "still lifting",
    "slowing": "slowing down",
    "stalled": "hardly lifting any more",
    "light enough": "light enough for what was wished",
    "time is up": "at the time limit",
}


def saying(curve: LiftCurve) -> str:
    """Say in one sentence how a lift went. A batch is looked at afterwards: what to do next is for its own time."""
    first, last = curve.looks[0], curve.looks[-1]
    gone = f"From level {first.level:.1f} to {last.level:.1f} in {minutes(last.minutes - first.minutes)}"
    return f"{gone}; {_AT_THE_END[curve.state]} at the last look." if len(curve.looks) > 1 else f"{gone}."


def _without_curve(clients: Mapping[str, list[Row]], curves: Mapping[str, LiftCurve]) -> list[Row]:
    """Return the photos of clients that no class sheet and no curve shows, client by client."""
    return [
        row
        for name, rows in clients.items()
        if name not in curves
        for row in sorted(rows, key=_when)
        if row.group is None
    ]


def _when(row: Row) -> tuple[bool, float]:
    return row.time_rank is None, row.time_rank or 0.0


def _spool_cards(records: Iterable[Record], spool: IO[str], path: Path) -> _Kept:
    kept = _Kept()
    template = environment().get_template("gallerycard.html.j2")
    for number, record in enumerate(records, start=1):
        card = make_card(number, record)
        kept.add(card)
        html = template.render(card=card)
        try:
            spool.write(html)
        except OSError as error:
            raise cannot_write(path, error) from error
    return kept


def _chunks(spool: IO[str]) -> Iterator[Markup]:
    while chunk := spool.read(_CHUNK):
        yield Markup(chunk)


def _hex_word(hex_colour: str) -> str:
    """Return the word for ``#rrggbb``."""
    return colour_word(lab_from_hex(hex_colour))


def _rank(wanted: WantedShade | None) -> int | None:
    return VERDICTS.index(wanted.verdict) if wanted is not None else None


def _time(taken: datetime | None) -> str:
    return taken.strftime("%Y-%m-%d %H:%M") if taken is not None else ""


def _seconds(taken: datetime | None) -> float | None:
    """Return seconds since 1970; cameras write any year, with which `datetime.timestamp` would fail."""
    if taken is None:
        return None
    return (taken - datetime(1970, 1, 1, tzinfo=UTC if taken.tzinfo is not None else None)).total_seconds()
