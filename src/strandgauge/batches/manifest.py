"""The list that tells which photo is whose: a CSV file with one row a photo, as a spreadsheet saves it."""

from __future__ import annotations

import csv
import io
import os
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from strandgauge.dye.targets import Target, find_target
from strandgauge.errors import BadManifestError, StrandgaugeError
from strandgauge.files.names import shown_name
from strandgauge.files.read import read_file

COLUMNS = {
    "file": "file",
    "photo": "file",
    "client": "client",
    "student": "client",
    "group": "group",
    "class": "group",
    "visit": "group",
    "time": "time",
    "taken": "time",
    "wet": "wet",
    "target": "target",
    "pair": "pair",
}
"""Accepted headers, in any case, and what each means; other columns are handed on to the table."""
YES = frozenset({"yes", "y", "true", "1", "x", "wet"})
NO = frozenset({"no", "n", "false", "0", "dry"})
_TIMES = ("%d.%m.%Y %H:%M", "%d.%m.%Y %H:%M:%S", "%Y:%m:%d %H:%M:%S", "%Y/%m/%d %H:%M", "%Y/%m/%d %H:%M:%S")
"""Besides ISO 8601; all say plainly which number is the day."""
MOST_BYTES = 50_000_000


@dataclass(frozen=True, slots=True)
class ManifestRow:
    """What the manifest says of one photo."""

    file: str
    """Its name in the results: below the batch's folder, with forward slashes."""
    path: Path
    line: int = 0
    client: str | None = None
    group: str | None = None
    taken: datetime | None = None
    """Without a time zone: the local time as written."""
    wet: bool | None = None
    """None where the manifest leaves it to the options."""
    target: str | None = None
    pair: bool = True
    """Whether it may be read as one with another photo of its strand."""
    further: Mapping[str, str] = field(default_factory=dict)
    """Cells of columns that mean nothing here, by their heads."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """The list that tells which photo is whose."""

    rows: tuple[ManifestRow, ...] = ()
    heads: Mapping[str, str] = field(default_factory=dict)
    """Its own heads of the columns that are understood, by what they mean."""


def read_manifest(path: Path, folder: Path, files: Iterable[str], targets: Sequence[Target]) -> Manifest:
    """Read a manifest.

    Parameters
    ----------
    path : a CSV file with comma, semicolon or tab between its columns.
    folder : the batch's folder.
    files : names of the photos that were found below the folder.
    targets : shades with a name.

    Returns
    -------
    Manifest : with rows also of files that are not there.

    Raises
    ------
    BadManifestError : it cannot be read; the line at fault is named.
    """
    text = _text_of(path)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text), strict=True)
    finder = _Finder(folder, path.parent, files)
    rows: dict[str, ManifestRow] = {}
    columns: _Columns | None = None
    line = 1
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if not any(cells):
                pass
            elif columns is None:
                columns = _columns(cells)
            else:
                found = _row(columns, cells, line, finder, targets)
                if found.file in rows:
                    raise BadManifestError(f"'{found.file}' was in line {rows[found.file].line} already")
                rows[found.file] = found
            line = reader.line_num + 1
        if columns is None:
            line = 1
            raise BadManifestError("it is empty")
    except csv.Error as error:
        raise BadManifestError(f"this is not proper CSV ({error})", where=f"{path}:{line}") from error
    except BadManifestError as error:
        error.place = f"{path}:{line}"
        raise
    return Manifest(tuple(rows.values()), columns.heads)


def _text_of(path: Path) -> str:
    data = read_file(path, BadManifestError, "manifest", MOST_BYTES)
    encoding = "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise BadManifestError(where=f"{path}:{line}", fault="encoding") from error


def _separator(text: str) -> str:
    """Return whichever of the three is most frequent in the first line that is not empty."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    return max(",;\t", key=re.sub(r'"[^"]*"', "", first).count)


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where the columns are: of those that are understood by meaning, of the others by their heads."""

    places: Mapping[str, int]
    heads: Mapping[str, str]
    further: Mapping[str, int]


def _columns(cells: Sequence[str]) -> _Columns:
    places: dict[str, int] = {}
    further: dict[str, int] = {}
    for place, cell in enumerate(cells):
        meaning = COLUMNS.get(cell.casefold())
        if meaning is None:
            further |= {cell: place} if cell else {}
        elif meaning in places:
            raise BadManifestError(f"'{cells[places[meaning]]}' and '{cell}' are the same column")
        else:
            places[meaning] = place
    if "file" not in places:
        raise BadManifestError("no column is called 'file'")
    return _Columns(places, {meaning: cells[place] for meaning, place in places.items()}, further)


def _row(
    columns: _Columns, cells: Sequence[str], line: int, finder: _Finder, targets: Sequence[Target]
) -> ManifestRow:
    def at(place: int | None) -> str:
        return "" if place is None or place >= len(cells) else cells[place]

    values = {meaning: at(columns.places.get(meaning)) for meaning in COLUMNS.values()}
    if not values["file"]:
        raise BadManifestError("no file is named")
    file, real = finder.find(values["file"])
    try:
        target = find_target(values["target"], targets).name if values["target"] else None
    except StrandgaugeError as error:
        raise BadManifestError(error.message, remedy=error.remedy) from error
    return ManifestRow(
        file=file,
        path=real,
        line=line,
        client=values["client"] or None,
        group=values["group"] or None,
        taken=_time(values["time"]),
        wet=_flag("wet", values),
        target=target,
        pair=_flag("pair", values) is not False,
        further={head: at(place) for head, place in columns.further.items()},
    )


def _flag(name: str, values: Mapping[str, str]) -> bool | None:
    text = values[name]
    if not text:
        return None
    if text.casefold() in YES | NO:
        return text.casefold() in YES
    raise BadManifestError(f"{name} is '{text}', neither yes nor no")


def _time(text: str) -> datetime | None:
    if not text:
        return None
    # A date alone would put all photos of a day at midnight.
    if len(text) > 10:
        with suppress(ValueError):
            return datetime.fromisoformat(text).replace(tzinfo=None)
    for form in _TIMES:
        with suppress(ValueError):
            return datetime.strptime(text, form)
    raise BadManifestError(fault="time", text=text)


class _Finder:
    """Finds the photo that a cell names: below the batch's folder, or beside the manifest."""

    def __init__(self, folder: Path, beside: Path, files: Iterable[str]) -> None:
        self._folder = folder
        self._bases = (folder, beside)
        self._exact = {file: file for file in files}
        self._alike: dict[str, list[str]] = {}
        for file in self._exact:
            self._alike.setdefault(_plain(file), []).append(file)

    def find(self, text: str) -> tuple[str, Path]:
        """Return a photo's name in the results and its path; of one that is not there, where it should be.

        Raises
        ------
        BadManifestError : it lies outside the batch's folder.
        """
        if "\0" in text:
            raise BadManifestError("the file's name holds a character that no name can")
        names = dict.fromkeys((text, text.replace("\\", "/")))
        places = (self._below(base / name) for name in names for base in self._bases)
        candidates = list(dict.fromkeys(below for below in places if below is not None))
        for below in candidates:
            if below in self._exact:
                return below, self._folder / below
        for below in candidates:
            alike = self._alike.get(_plain(below), [])
            if len(alike) == 1:
                return alike[0], self._folder / alike[0]
        if not candidates:
            raise BadManifestError(f"'{text}' lies outside the folder of photos")
        return candidates[0], self._folder / candidates[0]

    def _below(self, path: Path) -> str | None:
        """Return the name below the folder, links left as they are; None where it lies elsewhere."""
        whole = Path(os.path.abspath(path))
        for folder in (Path(os.path.abspath(self._folder)), self._folder.resolve()):
            if whole.is_relative_to(folder) and whole != folder:
                return shown_name(whole.relative_to(folder))
        return None


def _plain(name: str) -> str:
    return unicodedata.normalize("NFC", name).casefold()
