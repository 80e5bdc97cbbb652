"""The list that tells which photo is whose: a CSV file with one row a photo, as a spreadsheet saves it."""

from __future__ import annotations

import csv
import io
import os
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from strandgauge.dye.targets import Target, find_target
from strandgauge.errors import BadManifestError, StrandgaugeError
from strandgauge.files.names import shown_name

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
    line: int
    client: str | None
    group: str | None
    taken: datetime | None
    """Without a time zone: the local time as written."""
    wet: bool | None
    """None where the manifest leaves it to the options."""
    target: str | None
    pair: bool
    """Whether it may be read as one with another photo of its strand."""
    further: Mapping[str, str]
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
    reader = csv.reader(io.StringIO(text, newline=""), _dialect(text), strict=True)
    places: dict[str, int] = {}
    further: dict[str, int] = {}
    finder = _Finder(folder, path.parent, files)
    rows: dict[str, ManifestRow] = {}
    heads: dict[str, str] = {}
    line = 1
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                pass
            elif not places:
                places = _columns(cells, path, line)
                heads = {meaning: cells[place].strip() for meaning, place in places.items()}
                further = _further(cells, places)
            else:
                row = _row(cells, places, further, finder, targets, path, line)
                if row.file in rows:
                    raise _fault(path, line, f"'{row.file}' was in line {rows[row.file].line} already")
                rows[row.file] = row
            line = reader.line_num + 1
    except csv.Error as error:
        raise _fault(path, line, f"this is not proper CSV ({error})") from error
    if not places:
        raise _fault(path, 1, "it is empty")
    return Manifest(tuple(rows.values()), heads)


def _fault(path: Path, line: int, message: str) -> BadManifestError:
    return BadManifestError(message, where=f"{path}:{line}")


def _text_of(path: Path) -> str:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise BadManifestError("it is too large to be a list of photos", where=str(path))
        data = path.read_bytes()
    except OSError as error:
        raise BadManifestError(
            f"it cannot be read ({(error.strerror or str(error)).lower()})",
            where=str(path),
            remedy="Check its name and whether you may read it.",
        ) from error
    encoding = "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise BadManifestError(
            "it is not saved as UTF-8",
            where=f"{path}:{line}",
            remedy="Save it again from the spreadsheet as 'CSV UTF-8'.",
        ) from error


def _dialect(text: str) -> type[csv.Dialect]:
    """Take for the separator whichever of the three is most frequent in the first line that is not empty."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    bare = re.sub(r'"[^"]*"', "", first)
    separator = max(",;\t", key=bare.count)

    class Dialect(csv.excel):
        delimiter = separator

    return Dialect


def _columns(cells: Sequence[str], path: Path, line: int) -> dict[str, int]:
    places: dict[str, int] = {}
    for place, cell in enumerate(cells):
        meaning = COLUMNS.get(cell.strip().casefold())
        if meaning is None:
            continue
        if meaning in places:
            first = cells[places[meaning]].strip()
            raise _fault(path, line, f"'{first}' and '{cell.strip()}' are the same column")
        places[meaning] = place
    if "file" not in places:
        raise _fault(path, line, "no column is called 'file'")
    return places


def _further(cells: Sequence[str], places: dict[str, int]) -> dict[str, int]:
    """Return the places of columns that mean nothing here, by their heads; those without one are passed over."""
    understood = set(places.values())
    return {
        cell.strip(): place for place, cell in enumerate(cells) if cell.strip() and place not in understood
    }


def _row(
    cells: Sequence[str],
    places: dict[str, int],
    further: dict[str, int],
    finder: _Finder,
    targets: Sequence[Target],
    path: Path,
    line: int,
) -> ManifestRow:
    values = {name: cells[place].strip() if place < len(cells) else "" for name, place in places.items()}
    if not values["file"]:
        raise _fault(path, line, "no file is named")
    try:
        file, real = finder.find(values["file"])
    except ValueError as error:
        raise _fault(path, line, str(error)) from error
    target = values.get("target") or None
    if target is not None:
        try:
            target = find_target(target, targets).name
        except StrandgaugeError as error:
            raise BadManifestError(error.message, where=f"{path}:{line}", remedy=error.remedy) from error
    return ManifestRow(
        file=file,
        path=real,
        line=line,
        client=values.get("client") or None,
        group=values.get("group") or None,
        taken=_time(values.get("time", ""), path, line),
        wet=_flag("wet", values, path, line),
        target=target,
        pair=_flag("pair", values, path, line) is not False,
        further={head: cells[place].strip() if place < len(cells) else "" for head, place in further.items()},
    )


def _flag(name: str, values: Mapping[str, str], path: Path, line: int) -> bool | None:
    text = values.get(name, "")
    if not text:
        return None
    if text.casefold() in YES | NO:
        return text.casefold() in YES
    raise _fault(path, line, f"{name} is '{text}', neither yes nor no")


def _time(text: str, path: Path, line: int) -> datetime | None:
    if not text:
        return None
    try:
        # A date alone would put all photos of a day at midnight.
        if len(text) > 10:
            return datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        pass
    for form in _TIMES:
        try:
            return datetime.strptime(text, form)
        except ValueError:
            continue
    raise BadManifestError(
        f"the time '{text}' cannot be told",
        where=f"{path}:{line}",
        remedy="Write day and time as 2026-11-25 14:30.",
    )


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
        ValueError : it lies outside the batch's folder.
        """
        if "\0" in text:
            raise ValueError("the file's name holds a character that no name can")
        names = [text] if "\\" not in text else [text, text.replace("\\", "/")]
        candidates: list[str] = []
        for name in names:
            for base in self._bases:
                below = self._below(base / name)
                if below is not None and below not in candidates:
                    candidates.append(below)
        for below in candidates:
            if below in self._exact:
                return below, self._folder / below
        for below in candidates:
            alike = self._alike.get(_plain(below), [])
            if len(alike) == 1:
                return alike[0], self._folder / alike[0]
        if not candidates:
            raise ValueError(f"'{text}' lies outside the folder of photos")
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
