"""Turned pairs of a folder: which photos may be one look, and which of those that are one go together.

What is cheap to know is looked at first, from the rows: time, client, direction of the card. Whether two photos do
show one strand, `one.read_pair` finds out from their pixels.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime

from strandgauge.batches.store import Row
from strandgauge.batches.task import Task
from strandgauge.reading.together import SOON, are_turned
from strandgauge.sheet.record import Record

Place = tuple[datetime, str, float, str]
"""When a photo was taken, its file, the direction of its card, the card."""


def likely_pairs(records: Iterable[Record], tasks: Mapping[str, Task]) -> list[Task]:
    """Return two photos each that may be a turned pair, those that are nearest in time first."""
    places = sorted(_places(records, tasks))
    found = []
    for number, (at, file, angle, card) in enumerate(places):
        for later, other, other_angle, other_card in places[number + 1 :]:
            if later - at > SOON:
                break
            first, second = tasks[file], tasks[other]
            if card == other_card and are_turned(angle, other_angle) and _alike(first, second):
                found.append((later - at, file, other, replace(first, known=None, second=second)))
    return [task for *_, task in sorted(found, key=lambda one: one[:3])]


def _places(records: Iterable[Record], tasks: Mapping[str, Task]) -> Iterator[Place]:
    for record in records:
        task = tasks.get(record.file)
        if task is None or not task.pair or record.second is not None or record.reading is None:
            continue
        if record.taken is not None and record.card_angle_deg is not None:
            yield record.taken, record.file, record.card_angle_deg, record.reading.card


def _alike(one: Task, other: Task) -> bool:
    """Return whether both were to be read in the same way, as one client's."""
    return replace(one.asked, taken=None) == replace(other.asked, taken=None)


def apart(pairs: Iterable[Row], likely: Iterable[Task]) -> Iterator[Row]:
    """Yield the pairs that stand, no photo in two of them: those first that are nearest in time."""
    rows = {(row.file, row.second.file): row for row in pairs if row.second is not None}
    taken: set[str] = set()
    for task in likely:
        files = (task.file, task.second.file if task.second is not None else "")
        if files in rows and taken.isdisjoint(files):
            taken.update(files)
            yield rows[files]
