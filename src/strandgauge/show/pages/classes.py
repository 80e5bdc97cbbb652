"""One sheet of a class to print: each student's strand before and after, by evenness; who has reached the goal."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from strandgauge.change.classroom import reached
from strandgauge.change.compare import compare
from strandgauge.files.write import write_whole
from strandgauge.sheet.record import Record
from strandgauge.show.pages.cards import Card, Ranked, class_sheet
from strandgauge.show.pages.head import Head
from strandgauge.show.pages.render import minutes as time_words
from strandgauge.show.pages.render import render
from strandgauge.words import change as changewords
from strandgauge.words import say

FOLDER = "classes"
_DAY_MINUTES = 24 * 60


@dataclass(frozen=True, slots=True)
class Student:
    """One student as the sheet shows them."""

    line: Ranked
    looks: tuple[tuple[Card, str], ...]
    """The first and the latest look, or the one there is, each with the time between them where it is known."""
    gained: str


def sheet_addresses(classes: Iterable[str]) -> dict[str, str]:
    """Return for each class where its sheet lies below the result folder; no two are alike in any system."""
    found: dict[str, str] = {}
    for name in classes:
        stem = re.sub(r"[^\w-]+", "-", name).strip("-")[:60] or "class"
        taken = {address.casefold() for address in found.values()}
        tries = (f"{FOLDER}/{stem}{'' if n == 1 else f'-{n}'}.html" for n in range(1, len(found) + 2))
        found[name] = next(one for one in tries if one.casefold() not in taken)
    return found


def write_class_sheets(
    folder: Path,
    classes: Mapping[str, Iterable[Record]],
    *,
    title: str,
    goal: float | None,
    minutes: Mapping[str, float] | None = None,
) -> dict[str, str]:
    """Write the sheet of each class and return their addresses; sheets of classes that are no more are removed.

    Parameters
    ----------
    folder : the result folder.
    classes : of each class its photos, with their strips; one class at a time is held in memory.
    title : heading of the sheets.
    goal : the level to come to, where the class has one.
    minutes : since the lightener went on, by photo; where there are none, the time between photos is told.

    Raises
    ------
    CannotWriteError : no permission, no space.
    """
    addresses = sheet_addresses(classes)
    for old in (folder / FOLDER).glob("*.html"):
        if f"{FOLDER}/{old.name}" not in addresses.values():
            old.unlink(missing_ok=True)
    for name, records in classes.items():
        (folder / FOLDER).mkdir(exist_ok=True)
        page = class_page(name, records, title=title, goal=goal, minutes=minutes or {})
        write_whole(folder / addresses[name], page.encode())
    return addresses


def class_page(
    name: str,
    records: Iterable[Record],
    *,
    title: str,
    goal: float | None = None,
    minutes: Mapping[str, float] | None = None,
) -> str:
    """Return the sheet of one class."""
    cards = [Card(number, record) for number, record in enumerate(records, start=1)]
    sheet = class_sheet(name, cards)
    read = [line for line in sheet.lines if line.row.reading is not None]
    days = sorted({card.time[:10] for card in cards if card.time})
    return render(
        "classes.html.j2",
        head=Head(title, name, "", " – ".join(dict.fromkeys(days[:1] + days[-1:]))),
        students=[_student(line, minutes or {}) for line in read],
        refused=[line for line in sheet.lines if line.row.reading is None],
        reached=[] if goal is None else list(_reached(read, goal)),
        columns=_columns(len(read), any(line.first is not line.row for line in read)),
    )


def _columns(strands: int, twice: bool) -> int:
    """Return the fewest columns in which the wall fits 188 mm by 205 mm; the template has the sizes."""
    for columns in range(2, 6):
        width = (188.0 - 4.0 * (columns - 1)) / columns
        look, words = width / 3 + 5.0, 22.0 - 2.0 * columns
        if math.ceil(strands / columns) * ((2 if twice else 1) * look + words) <= 205.0:
            return columns
    return 6


def _student(line: Ranked, minutes: Mapping[str, float]) -> Student:
    first, last = line.first, line.row
    if first is last or first.reading is None or last.reading is None:
        return Student(line, ((last, _when(last, None, minutes)),), "")
    level = compare([first.reading, last.reading]).since_first[-1].overall.level
    looks = ((first, _when(first, None, minutes)), (last, _when(last, first, minutes)))
    return Student(line, looks, changewords.levels_gained(level))


def _when(card: Card, before: Card | None, minutes: Mapping[str, float]) -> str:
    """Say when a look was taken: minutes of the process, or how long after the look before it."""
    if card.record.file in minutes:
        return time_words(minutes[card.record.file])
    if before is None or before.time_rank is None or card.time_rank is None:
        return ""
    passed = (card.time_rank - before.time_rank) / 60.0
    return say("class.later", time=time_words(passed)) if passed < _DAY_MINUTES else card.time[:10]


def _reached(lines: Iterable[Ranked], goal: float) -> Iterator[tuple[str, list[str]]]:
    """Yield what may be said of a goal, and of whom."""
    told: dict[str, list[str]] = {"reached": [], "perhaps": [], "not-yet": []}
    for line in lines:
        assert line.row.reading is not None, "only those that were read"
        told[reached(line.row.reading, goal)].append(line.student)
    names = (say("class.reached", goal=goal), say("class.perhaps"), say("class.not-yet"))
    yield from zip(names, told.values(), strict=True)
