"""Turned pairs of a folder: two photos of one look become one row, and no others do."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

import pytest
from batchhelp import contents, lines, table

import strandgauge
from strandgauge.batches.one import read_pair
from strandgauge.batches.pairs import apart, likely_pairs
from strandgauge.batches.store import Row, Store
from strandgauge.batches.task import Task
from strandgauge.kit import shipped
from strandgauge.sheet.record import Record, Second

SAMPLES = Path(__file__).parents[2] / "sample_images"
AT = datetime(2026, 3, 1, 10, 0)


@pytest.fixture
def folder(tmp_path, here):
    photos = tmp_path / "photos"
    photos.mkdir()
    for name in ("turned-a.jpg", "turned-b.jpg", "uneven.jpg"):
        shutil.copy(SAMPLES / name, photos)
    return photos


def test_a_turned_pair_is_one_row_read_as_one(folder, tmp_path, valid):
    out = tmp_path / "out"
    summary = strandgauge.batch(folder, out)
    assert (summary.photos, summary.read, summary.pairs, summary.not_reached) == (3, 3, 1, 0)
    pair, alone = lines(out)
    valid(pair)
    assert (pair["file"], pair["second"]["file"]) == ("turned-a.jpg", "turned-b.jpg")
    assert (alone["file"], alone["second"]) == ("uneven.jpg", None)
    together = shipped().look(folder / "turned-a.jpg", folder / "turned-b.jpg").reading
    assert pair["reading"]["photo"] == "turned-a.jpg + turned-b.jpg"
    assert pair["reading"]["overall"]["level"] == round(together.overall.level, 3)
    first, second = table(out)
    assert (first["file"], first["turned_with"]) == ("turned-a.jpg", "turned-b.jpg")
    assert second["turned_with"] == ""
    assert "turned-a.jpg + turned-b.jpg" in (out / "gallery.html").read_text()
    assert len(list((out / "strips").iterdir())) == 2


def test_pairs_are_taken_up_again_and_broken_up_where_they_are_none_any_more(folder, tmp_path):
    out, listed = tmp_path / "out", tmp_path / "list.csv"
    (folder / "uneven.jpg").unlink()
    strandgauge.batch(folder, out)
    before = contents(out)
    again = strandgauge.batch(folder, out, resume=True)
    assert (again.from_before, again.pairs) == (2, 1)
    assert contents(out) == before
    assert strandgauge.batch(folder, out, resume=True, pairs=False).pairs == 0
    assert [row["file"] for row in lines(out)] == ["turned-a.jpg", "turned-b.jpg"]
    listed.write_text("file,pair\nturned-b.jpg,no\n")
    alone = strandgauge.batch(folder, out, resume=True, manifest=listed)
    assert (alone.from_before, alone.pairs) == (2, 0)
    strandgauge.batch(folder, out, resume=True)
    assert contents(out) == before
    shutil.copy(SAMPLES / "uneven.jpg", folder / "turned-b.jpg")  # the same name, another photo
    changed = strandgauge.batch(folder, out, resume=True)
    assert (changed.pairs, changed.read, changed.from_before) == (0, 2, 0)
    assert [row["second"] for row in lines(out)] == [None] * 2


def record(file: str, seconds: float = 0.0, angle: float | None = 0.0, **changes) -> Record:
    taken = AT + timedelta(seconds=seconds)
    reading = read_once()
    return replace(
        Record(file, file * 32, reading, None, None, None, None, taken, None, card_angle_deg=angle), **changes
    )


@cache
def read_once():
    return shipped().look(SAMPLES / "uneven.jpg").reading


def likely(*records: Record, **tasks: Task) -> list[tuple[str, str]]:
    asked = {one.file: Task(one.file, Path(one.file), False, None) for one in records} | tasks
    return [(task.file, task.second.file) for task in likely_pairs(records, asked)]


def test_only_photos_of_the_same_minutes_client_and_card_are_looked_at():
    a, b = record("a"), record("b", 40, 180.0)
    assert likely(a, b) == likely(b, a) == [("a", "b")]
    assert likely(a, record("b", 120, 180.0)) == [("a", "b")]
    assert likely(a, record("b", 121, 180.0)) == []
    assert likely(a, record("b", 40, 20.0)) == []
    assert likely(a, record("b", 40, None)) == []
    assert likely(a, replace(b, taken=None)) == []
    assert likely(a, replace(b, second=Second("c", "", None))) == []
    assert likely(a, replace(b, reading=replace(b.reading, card="another"))) == []
    assert likely(a, b, b=Task("b", Path("b"), False, None, client="Ada")) == []
    assert likely(a, b, b=Task("b", Path("b"), True, None)) == []
    assert likely(a, b, b=Task("b", Path("b"), False, None, pair=False)) == []
    assert likely(a, b, b=Task("b", Path("b"), False, None, taken=AT)) == [("a", "b")]


def test_a_photo_goes_with_the_one_that_is_nearest_in_time():
    records = record("a"), record("b", 50, 180.0), record("c", 90, 0.0), record("d", 100, 180.0)
    tasks = {one.file: Task(one.file, Path(one.file), False, None) for one in records}
    found = likely_pairs(records, tasks)
    assert [(t.file, t.second.file) for t in found] == [("c", "d"), ("b", "c"), ("a", "b"), ("a", "d")]
    rows = [Row(t.file, "", None, None, b"", None, Second(t.second.file, "", None)) for t in found]
    assert [row.file for row in apart(rows, found)] == ["c", "a"]
    assert [row.file for row in apart(rows[1:], found)] == ["b", "a"]


def test_what_is_no_pair_stays_two_rows():
    one, other = (Task(name, SAMPLES / name, False, None) for name in ("turned-a.jpg", "uneven.jpg"))
    times = {"taken": AT}
    kit = shipped()
    assert read_pair(replace(one, second=replace(other, **times), **times), kit) is None
    assert read_pair(replace(one, second=replace(one, file="copy.jpg")), kit) is None
    assert read_pair(replace(one, second=replace(one, path=SAMPLES / "gone.jpg")), kit) is None


def test_a_later_row_takes_the_place_of_those_that_hold_its_photos(tmp_path):
    def row(file, second=None):
        return Row(file, "0" * 64, None, None, b"{}\n", None, second and Second(second, "1" * 64, None))

    with Store(tmp_path) as store:
        for one in (row("a"), row("b"), row("a", "b")):
            store.add(one)
        assert (list(store.entries), store.holding("b")) == (["a"], store.entries["a"])
        assert store.holding("b").of("b")[0] == "1" * 64
        store.add(row("b"))
        assert (list(store.entries), store.holding("a")) == (["b"], None)
        store.add(row("c", "b"))
        store.add(row("c"))
        assert (list(store.entries), store.holding("b")) == (["c"], None)
