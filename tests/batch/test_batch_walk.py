"""Which files are photos, and what a name becomes."""

from __future__ import annotations

import os
from pathlib import Path, PurePosixPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from strandgauge.batches.walk import find_photos
from strandgauge.errors import UnreadableFileError
from strandgauge.files.names import shown_name
from strandgauge.words import say

JPEG_START = b"\xff\xd8\xff\xe0" + bytes(20)


def place(folder: Path, *names: str, content: bytes = JPEG_START) -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)


def files(folder: Path, results: Path | None = None) -> list[str]:
    return [photo.file for photo in find_photos(folder, results).photos]


def test_photos_are_told_by_ending_or_first_bytes(tmp_path):
    place(tmp_path, "b.JPG", "a/x y.heic", "a/é.png", "no-ending", "c.txt")
    place(tmp_path, "d.txt", "e", "empty", content=b"hello")
    place(tmp_path, ".hidden.jpg", ".thumbnails/t.jpg", "._b.JPG")
    place(tmp_path, "named-only.tif", content=b"")
    walk = find_photos(tmp_path)
    found = ["a/x y.heic", "a/é.png", "b.JPG", "c.txt", "named-only.tif", "no-ending"]
    assert [photo.file for photo in walk.photos] == found
    assert all(photo.path.is_file() for photo in walk.photos)
    assert walk.others == 3


def test_results_are_not_photos_whether_of_this_batch_or_another(tmp_path):
    place(tmp_path, "a.jpg", "out/strips/s.jpg", "old/strips/s.jpg", "old/readings.jsonl", "old/batch.json")
    walk = find_photos(tmp_path, tmp_path / "out")
    assert [photo.file for photo in walk.photos] == ["a.jpg"]
    assert walk.notes == (f"old: {say('batch.holds-results')}",)


def test_links_are_followed_once_and_circles_end(tmp_path):
    place(tmp_path, "photos/real/a.jpg", "elsewhere/b.jpg", "single.jpg")
    photos = tmp_path / "photos"
    (photos / "real" / "circle").symlink_to(photos)
    (photos / "a-link-to-real").symlink_to(photos / "real")  # sorts before what it leads to
    (photos / "other").symlink_to(tmp_path / "elsewhere")
    (tmp_path / "elsewhere" / "back").symlink_to(tmp_path / "elsewhere")
    (photos / "linked.jpg").symlink_to(tmp_path / "single.jpg")
    (photos / "dangling.jpg").symlink_to(tmp_path / "nothing.jpg")
    (photos / "itself.jpg").symlink_to(photos / "itself.jpg")
    walk = find_photos(photos)
    assert [photo.file for photo in walk.photos] == [
        "dangling.jpg",
        "itself.jpg",
        "linked.jpg",
        "other/b.jpg",
        "real/a.jpg",
    ]
    assert [note.split(":")[0] for note in walk.notes] == ["a-link-to-real", "other/back", "real/circle"]


def test_a_pipe_named_like_a_photo_does_not_hold_the_walk_up(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    os.mkfifo(tmp_path / "pipe")
    assert files(tmp_path) == ["pipe.jpg"]


def test_a_folder_that_cannot_be_listed_is_told_and_the_rest_is_walked(tmp_path, monkeypatch):
    place(tmp_path, "a.jpg", "closed/b.jpg", "open/c.jpg")
    scandir = os.scandir

    def refusing(path):
        if Path(path).name == "closed":
            raise PermissionError(13, "Permission denied")
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refusing)
    walk = find_photos(tmp_path)
    assert [photo.file for photo in walk.photos] == ["a.jpg", "open/c.jpg"]
    assert [folder.file for folder in walk.unreadable] == ["closed/"]


@pytest.mark.parametrize("name", ["missing", "a.jpg"])
def test_what_is_no_folder_is_refused(tmp_path, name):
    place(tmp_path, "a.jpg")
    with pytest.raises(UnreadableFileError):
        find_photos(tmp_path / name)


def test_an_empty_folder_holds_no_photos(tmp_path):
    assert find_photos(tmp_path).photos == ()


@pytest.mark.skipif(os.name == "nt", reason="names are bytes only on POSIX systems")
def test_names_that_are_no_unicode_are_shown_and_still_open(tmp_path):
    raw = os.fsencode(tmp_path) + b"/caf\xe9.jpg"
    with open(raw, "wb") as file:
        file.write(JPEG_START)
    place(tmp_path, "caf\\xe9.jpg")  # this is how the other is shown
    walk = find_photos(tmp_path)
    assert [photo.file for photo in walk.photos] == ["caf\\\\xe9.jpg", "caf\\xe9.jpg"]
    assert {photo.path.read_bytes() for photo in walk.photos} == {JPEG_START}


BYTES = st.binary(min_size=1, max_size=12).filter(lambda name: b"/" not in name and b"\0" not in name)
NASTY = st.lists(st.sampled_from([b"\\", b"x", b"e9", b"\xe9", b"\xc3\xa9", b"a"]), min_size=1).map(b"".join)


@given(st.lists(BYTES | NASTY, unique=True, max_size=30))
def test_different_names_stay_different_and_become_text(names):
    shown = [shown_name(PurePosixPath(os.fsdecode(name))) for name in names if name not in (b".", b"..")]
    assert len(set(shown)) == len(shown)
    for one in shown:
        one.encode("utf-8")  # any program can read it
