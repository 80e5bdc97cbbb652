"""A strand that is watched: half-written files, a camera unplugged, a restart, the clock."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest

from strandgauge import kit
from strandgauge.cli.app import run
from strandgauge.errors import UnreadableFileError
from strandgauge.watch.arrive import Arrived, Camera, Film, Folder, source_of
from strandgauge.watch.strand import Plan, WatchedStrand
from strandgauge.words import say
from strandphoto import jpeg, strand_photo

STARTED = datetime(2026, 3, 14, 10, 0)
SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.fixture(scope="module")
def photo(card, sheet) -> bytes:
    return jpeg(strand_photo(card, sheet))


def names(source) -> list[str]:
    return [one.name for one in source.arrived()]


def test_a_file_is_taken_once_it_has_stopped_growing_and_again_when_it_changes(tmp_path):
    source = Folder(tmp_path)
    file = tmp_path / "a.jpg"
    (tmp_path / "notes.txt").write_text("no photo")
    (tmp_path / ".hidden.jpg").write_bytes(b"x")
    (tmp_path / "empty.jpg").touch()
    file.write_bytes(b"half")
    assert names(source) == []
    file.write_bytes(b"half and more")
    assert names(source) == []
    assert names(source) == ["a.jpg"]
    assert names(source) == []
    file.write_bytes(b"all of the photo")
    assert names(source) == []
    assert names(source) == ["a.jpg"]


def test_what_was_read_before_a_restart_is_not_read_again(tmp_path):
    (tmp_path / "old.jpg").write_bytes(b"x")
    (tmp_path / "new.jpg").write_bytes(b"x")
    source = Folder(tmp_path, {"old.jpg"})
    assert [names(source) for _ in range(3)] == [[], ["new.jpg"], []]


def test_a_folder_that_is_gone_is_waited_for(tmp_path):
    source = Folder(tmp_path / "later")
    assert names(source) == []
    assert source.note == say("arrive.no-folder", folder=tmp_path / "later")
    (tmp_path / "later").mkdir()
    assert names(source) == []
    assert source.note == ""


class FakeCamera:
    """A camera that gives pictures as long as it is plugged in."""

    plugged, opened = True, 0

    def __init__(self, address):
        type(self).opened += 1
        self.address = address

    def read(self):
        return (True, np.full((4, 4, 3), 90, np.uint8)) if self.plugged else (False, None)

    def release(self):
        pass


def test_a_camera_that_is_unplugged_is_found_again():
    now = [0.0]
    camera = Camera("0", 10.0, open_camera=FakeCamera, clock=lambda: now[0])
    counts = []
    for moment, plugged in (
        (0, True),
        (5, True),
        (10, True),
        (20, False),
        (21, True),
        (22.5, True),
        (30, True),
    ):
        now[0], FakeCamera.plugged = float(moment), plugged
        counts.append((len(names(camera)), bool(camera.note)))
    assert counts == [(1, False), (0, False), (1, False), (0, True), (0, True), (1, False), (0, False)]
    assert FakeCamera.opened == 2


def test_a_film_is_looked_at_every_so_many_seconds_and_ends(tmp_path):
    file = tmp_path / "film.avi"
    writer = cv2.VideoWriter(str(file), cv2.VideoWriter_fourcc(*"MJPG"), 5.0, (64, 48))
    for number in range(50):  # 10 seconds
        writer.write(np.full((48, 64, 3), 5 * number, np.uint8))
    writer.release()
    film, taken = Film(file, 4.0), []
    while not film.over:
        taken += [one.taken for one in film.arrived()]
    assert [(one - taken[0]).total_seconds() for one in taken] == [0, 4, 8]


def test_what_is_no_source_is_told(tmp_path):
    (tmp_path / "x.txt").write_text("no film")
    for text in (str(tmp_path / "none"), str(tmp_path / "x.txt")):
        with pytest.raises(UnreadableFileError):
            source_of(text, 1.0, ())
    assert isinstance(source_of("rtsp://10.0.0.1/strand", 1.0, ()), Camera)


def test_a_strand_goes_on_after_a_restart_and_the_clock_ends_it(tmp_path, photo):
    page, plan = tmp_path / "curve.html", Plan(start="10:00", limit=30.0)
    tools = kit.shipped()
    strand = WatchedStrand(tools, plan, page)
    assert strand.now(STARTED) is None
    for minutes in (5, 12):
        strand.add(Arrived(f"{minutes}.jpg", photo, STARTED + timedelta(minutes=minutes)))
    with (tmp_path / "curve.jsonl").open("ab") as file:
        file.write(b'{"schema": "strandgauge.reading/1", "photo": "torn')
    again = WatchedStrand(tools, plan, page)
    assert [one.photo for one in again.readings] == ["5.jpg", "12.jpg"]
    curve, answer = again.now(STARTED + timedelta(minutes=13))
    assert [look.minutes for look in curve.looks] == [5, 12]
    assert answer.code is None
    again.write_page(curve, answer)
    running = page.read_text()
    assert '<meta http-equiv="refresh"' in running
    curve, answer = again.now(STARTED + timedelta(minutes=30))
    assert (answer.kind, answer.code, answer.urgent) == ("stop", "time-is-up", True)
    again.write_page(curve, answer)
    assert say("moment-word.time-is-up") in page.read_text()
    assert say("moment-word.time-is-up") not in running
    again.add(Arrived("20.jpg", photo, STARTED + timedelta(minutes=20)))
    assert len(WatchedStrand(tools, plan, page).readings) == 3


def test_a_turned_pair_is_one_look_also_after_a_restart(tmp_path):
    first, second = ((SAMPLES / f"turned-{one}.jpg").read_bytes() for one in "ab")
    page, tools = tmp_path / "curve.html", kit.shipped()
    strand = WatchedStrand(tools, Plan(), page)

    def arrive(name: str, content: bytes, seconds: int) -> list[str]:
        strand.add(Arrived(name, content, STARTED + timedelta(seconds=seconds)))
        return [one.photo for one in strand.readings]

    assert arrive("a.jpg", first, 0) == ["a.jpg"]
    assert arrive("late.jpg", second, 121) == ["a.jpg", "late.jpg"]  # lightener has gone on working
    assert arrive("again.jpg", second, 130) == ["a.jpg", "late.jpg", "again.jpg"]  # the card lies as before
    assert arrive("b.jpg", first, 200) == ["a.jpg", "late.jpg", "again.jpg + b.jpg"]
    pair = strand.readings[-1]
    assert (pair.photos, pair.turned_share) == (2, 1.0)
    assert pair.taken == STARTED + timedelta(seconds=130)
    assert pair.overall.level_sd < strand.readings[0].overall.level_sd
    again = WatchedStrand(tools, Plan(), page)
    assert [(one.photo, one.photos) for one in again.readings] == [
        (one.photo, one.photos) for one in strand.readings
    ]
    assert again.photos == {"a.jpg", "late.jpg", "again.jpg", "b.jpg"}
    assert arrive("b.jpg", first, 400) == [
        "a.jpg",
        "late.jpg",
        "again.jpg",
        "b.jpg",
    ]  # another photo of that name


def test_the_command_takes_what_is_there_and_tells_what_it_leaves_out(tmp_path, photo, capsys):
    folder = tmp_path / "synced"
    folder.mkdir()
    (folder / "1005.jpg").write_bytes(photo)
    (folder / "1006.jpg").write_bytes(photo[:4000])
    (folder / "1007.jpg").write_bytes(photo)
    command = ["watch", str(folder), "--page", str(tmp_path / "c.html"), "--once"]
    assert run(command) == 0
    told = capsys.readouterr()
    assert f"1005.jpg: {say('reading.level', interval='…').split('…')[0]}" in told.out
    torn, copy = told.err.splitlines()
    assert torn.startswith(f"strandgauge: {say('command.left-out')}: 1006.jpg: ")
    assert copy.startswith(f"strandgauge: {say('command.left-out')}: 1007.jpg: ")
    assert say("refusal.same-photo", photos="1005.jpg + 1007.jpg") in copy
    assert (tmp_path / "c.html").exists()
    assert run([*command, "--limit", "30"]) == 2
