"""Which files below a folder are photos: by their name's ending or their first bytes, in one fixed order.

Hidden files and folders (a dot before the name) and folders that hold a batch's results are left out. Links
are followed; a folder reached on several ways is walked once, first on the way that uses no link, so that
links in a circle end.
"""

from __future__ import annotations

import os
import stat
from collections import deque
from dataclasses import dataclass
from pathlib import Path

from strandgauge.errors import StrandgaugeError, UnreadableFileError
from strandgauge.files.endings import OTHER_PICTURES, PHOTO_ENDINGS
from strandgauge.files.names import shown_name
from strandgauge.photo.formats import recognise
from strandgauge.words import say

PICTURE_ENDINGS = PHOTO_ENDINGS | OTHER_PICTURES
"""A file of such a name gets a row, even where it turns out to be nothing that can be read."""
RESULT_MARK = "batch.json"
"""A folder with this file and ``readings.jsonl`` holds results, not photos."""


@dataclass(frozen=True, slots=True)
class Found:
    """One photo, or something that should have been looked into and could not be."""

    file: str
    """Path below the folder, as text; ends in a slash where it is a folder that could not be listed."""
    path: Path


@dataclass(frozen=True, slots=True)
class Walk:
    """What lies below a folder."""

    photos: tuple[Found, ...]
    """In the order of their names."""
    unreadable: tuple[Found, ...]
    """Folders that could not be listed."""
    others: int
    """Files that are no photos and were left alone."""
    notes: tuple[str, ...]
    """What else was left out, and why."""


def find_photos(folder: Path, results: Path | None = None) -> Walk:
    """Find every photo below ``folder``, but nothing below ``results``.

    Raises
    ------
    UnreadableFileError : there is no such folder, or it cannot be listed at all.
    """
    try:
        start = _identity(folder.stat())
        if not folder.is_dir():
            raise UnreadableFileError(where=str(folder), fault="no-folder")
        os.scandir(folder).close()
    except OSError as error:
        raise UnreadableFileError(
            where=str(folder), fault="folder", reason=(error.strerror or str(error)).lower()
        ) from error
    photos: list[Found] = []
    unreadable: list[Found] = []
    notes: list[str] = []
    others = 0
    seen = {start}
    own = _identity(results.stat()) if results is not None and results.exists() else None
    real, linked = deque([(Path(), folder)]), deque[tuple[Path, Path]]()
    while real or linked:
        by_link = not real
        relative, path = linked.popleft() if by_link else real.popleft()
        try:
            if by_link:
                identity = _identity(path.stat())
                if identity in seen:
                    notes.append(f"{shown_name(relative)}: {say('batch.walked')}")
                    continue
                seen.add(identity)
            with os.scandir(path) as listing:
                entries = sorted(listing, key=lambda entry: os.fsencode(entry.name))
        except OSError:
            unreadable.append(Found(f"{shown_name(relative)}/", path))
            continue
        if relative.parts and {RESULT_MARK, "readings.jsonl"} <= {entry.name for entry in entries}:
            if own is None or _identity(path.stat()) != own:
                notes.append(f"{shown_name(relative)}: {say('batch.holds-results')}")
            continue
        for entry in entries:
            if entry.name.startswith("."):
                continue
            below, here = relative / entry.name, path / entry.name
            match _kind(entry):
                case "folder":
                    identity = _identity(here.stat())
                    if identity not in seen and identity != own:
                        seen.add(identity)
                        real.append((below, here))
                case "linked folder":
                    linked.append((below, here))
                case "photo":
                    photos.append(Found(shown_name(below), here))
                case _:
                    others += 1
    return Walk(
        tuple(sorted(photos, key=lambda one: one.file)),
        tuple(sorted(unreadable, key=lambda one: one.file)),
        others,
        tuple(sorted(notes)),
    )


def _kind(entry: os.DirEntry[str]) -> str:
    """Tell a folder, a linked folder, a photo and anything else apart."""
    named = os.path.splitext(entry.name)[1].lower() in PICTURE_ENDINGS
    try:
        if entry.is_dir():
            return "linked folder" if entry.is_symlink() else "folder"
        regular = stat.S_ISREG(entry.stat().st_mode)
        if named:
            return "photo"  # a pipe or a link into nothing too: its row tells what it is
        return "photo" if regular and _starts_like_a_picture(entry.path) else "other"
    except OSError:
        return "photo" if named else "other"


def _starts_like_a_picture(path: str) -> bool:
    with open(path, "rb") as file:
        start = file.read(256)
    try:
        recognise(start)
    except StrandgaugeError:
        return False
    return True


def _identity(status: os.stat_result) -> tuple[int, int]:
    return status.st_dev, status.st_ino
