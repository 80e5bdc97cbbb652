"""The rows of a batch on disk: appended line by line, found again after a kill, put in order at the end.

``readings.jsonl`` is the truth. While a batch runs its lines stand in the order in which photos were done;
:meth:`Store.finish` puts them in the order of the files' names, so that the result does not depend on who was
quick. In memory there is only where each line lies.
"""

from __future__ import annotations

import json
import os
import re
import time
import unicodedata
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import IO

from strandgauge.errors import StrandgaugeError
from strandgauge.files.write import UNFINISHED, cannot_write, replacing, write_whole
from strandgauge.sheet.record import Asked, Record, Second
from strandgauge.show.json import filled
from strandgauge.show.json.batch import record_from_document, row_document

ROWS = "readings.jsonl"
STRIPS = "strips"
_OWN_STRIP = re.compile(r".*-[0-9a-f]{8}\.jpg", re.DOTALL)
_MOST_OF_A_NAME = 50
SYNC_ROWS = 32
SYNC_SECONDS = 2.0
"""After so many rows or seconds the disk is waited for: what a power cut may cost."""


@dataclass(frozen=True, slots=True)
class Row:
    """A record ready to be stored."""

    file: str
    digest: str
    client: str | None
    refused: str | None
    """Code of the refusal; None for a reading."""
    line: bytes
    strip: bytes | None
    second: Second | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """Where a row lies, and what the batch must know of it while it runs."""

    start: int
    length: int
    digest: str
    client: str | None
    refused: str | None
    asked: Asked | None
    """How its photo was asked to be read; kept only of rows found at the start."""
    second: Second | None = None

    def of(self, file: str) -> tuple[str, Asked | None]:
        """Return the digest of one of the row's photos, and how it was asked to be read."""
        if self.second is None or file != self.second.file:
            return self.digest, self.asked
        return self.second.digest, self.asked and replace(self.asked, taken=self.second.taken)


def row_of(record: Record, asked: Asked) -> Row:
    """Return a record as a row."""
    strip = strip_name(record.file, record.digest) if record.strip is not None else None
    line = json.dumps(row_document(record, asked, strip), allow_nan=False).encode("ascii") + b"\n"
    return filled(Row, record, refused=record.refusal and record.refusal.code, line=line)


def strip_name(file: str, digest: str) -> str:
    """Return the place of a photo's strip below the result folder, named after it and told apart by content."""
    plain = re.sub(r"\W+", "-", unicodedata.normalize("NFC", file.rpartition(".")[0] or file)).strip("-")
    return f"{STRIPS}/{plain[-_MOST_OF_A_NAME:] or 'strip'}-{digest[:8]}.jpg"


def stored_records(folder: Path) -> Iterator[Record]:
    """Yield the records of a batch that has ended, in the order of their files' names, without their strips.

    Raises
    ------
    BadReadingError : a row is damaged.
    OSError : they cannot be read.
    """
    with (folder / ROWS).open("rb") as rows:
        for line in rows:
            yield record_from_document(json.loads(line), ROWS)[0]


class Store:
    """Rows of one result folder, open for appending; use it as a context manager.

    Raises
    ------
    CannotWriteError : the folder cannot be written to.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.entries: dict[str, Entry] = {}
        self.first_of: dict[str, str] = {}
        """Of each photo that is the second of a pair, the first, whose row is that of both."""
        self.damaged = 0
        """Lines found at the start that could not be understood, and were dropped."""
        self._unsynced = 0
        self._synced_at = time.monotonic()
        try:
            (folder / STRIPS).mkdir(exist_ok=True)
            for unfinished in (*folder.glob(UNFINISHED), *(folder / STRIPS).glob(UNFINISHED)):
                unfinished.unlink()
            self._file: IO[bytes] = (folder / ROWS).open("a+b", buffering=0)
        except OSError as error:
            raise cannot_write(folder, error) from error
        self._end = self._find_rows()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def _find_rows(self) -> int:
        """Note every whole line, and cut off one that was being written when a run was killed."""
        end = 0
        self._file.seek(0)
        with (self.folder / ROWS).open("rb") as lines:
            for line in lines:
                if not line.endswith(b"\n"):
                    break
                try:
                    record, asked = record_from_document(json.loads(line), ROWS)
                except (ValueError, StrandgaugeError):
                    self.damaged += 1
                else:
                    code = None if record.refusal is None else record.refusal.code
                    entry = Entry(end, len(line), record.digest, record.client, code, asked, record.second)
                    self._place(record.file, entry)
                end += len(line)
        try:
            self._file.truncate(end)
        except OSError as error:
            raise cannot_write(self.folder / ROWS, error) from error
        return end

    def _place(self, file: str, entry: Entry) -> None:
        """Let a row take the place of every earlier one that holds one of its photos."""
        files = {file} if entry.second is None else {file, entry.second.file}
        self.drop(files | {self.first_of[one] for one in files if one in self.first_of})
        self.entries[file] = entry
        if entry.second is not None:
            self.first_of[entry.second.file] = file

    def holding(self, file: str) -> Entry | None:
        """Return the row that a photo was read into, alone or as the second of a pair."""
        return self.entries.get(self.first_of.get(file, file))

    def has_strip(self, file: str) -> bool:
        """Tell whether a reading's strip is there."""
        try:
            return (self.folder / strip_name(file, self.entries[file].digest)).stat().st_size > 0
        except OSError:
            return False

    def add(self, row: Row) -> None:
        """Write a row: its strip first, then its line.

        Raises
        ------
        CannotWriteError : no space; what was stored before stays as it was.
        """
        if row.strip is not None:
            write_whole(self.folder / strip_name(row.file, row.digest), row.strip)
        try:
            # In append mode every write goes to the end; unbuffered, a line is one call where the disk has room.
            written = 0
            while written < len(row.line):
                written += self._file.write(row.line[written:]) or 0
        except OSError as error:
            self._cut_off()
            raise cannot_write(self.folder / ROWS, error) from error
        except BaseException:
            self._cut_off()
            raise
        entry = Entry(self._end, len(row.line), row.digest, row.client, row.refused, None, row.second)
        self._place(row.file, entry)
        self._end += len(row.line)
        self._unsynced += 1
        if self._unsynced >= SYNC_ROWS or time.monotonic() - self._synced_at > SYNC_SECONDS:
            self.sync()

    def _cut_off(self) -> None:
        with suppress(OSError):  # else the next run cuts the torn line off
            self._file.truncate(self._end)

    def sync(self) -> None:
        """Wait until all rows are on the disk.

        Raises
        ------
        CannotWriteError : they cannot be written.
        """
        try:
            os.fsync(self._file.fileno())
        except OSError as error:
            raise cannot_write(self.folder / ROWS, error) from error
        self._unsynced, self._synced_at = 0, time.monotonic()

    def drop(self, files: set[str]) -> None:
        """Forget rows; `finish` takes them out of the file."""
        for file in files:
            entry = self.entries.pop(file, None)
            if entry is not None and entry.second is not None:
                self.first_of.pop(entry.second.file)

    def finish(self) -> None:
        """Put the rows in the order of their files' names, each file once, and clear away strips of no row.

        Raises
        ------
        CannotWriteError : no space; the rows stay as they are, whole but not in order.
        """
        self.sync()
        moved: dict[str, Entry] = {}
        at = 0
        self._file.close()
        try:
            # The old file is closed before the new one takes its place, as some systems demand.
            with (
                replacing(self.folder / ROWS, on_disk=True) as ordered,
                (self.folder / ROWS).open("rb") as rows,
            ):
                for file in sorted(self.entries):
                    entry = self.entries[file]
                    rows.seek(entry.start)
                    ordered.write(rows.read(entry.length))
                    moved[file] = replace(entry, start=at)
                    at += entry.length
            self.entries, self._end = moved, at
        finally:
            self._file = (self.folder / ROWS).open("a+b", buffering=0)
        wanted = {strip_name(file, one.digest) for file, one in moved.items() if one.refused is None}
        for strip in (self.folder / STRIPS).glob("*.jpg"):
            if f"{STRIPS}/{strip.name}" not in wanted and _OWN_STRIP.fullmatch(strip.name):
                with suppress(OSError):
                    strip.unlink()

    def records(self, files: list[str] | None = None, *, strips: bool = False) -> Iterator[Record]:
        """Yield the records of some files, or of all in the order of their names, one at a time."""
        with (self.folder / ROWS).open("rb") as rows:
            for file in sorted(self.entries) if files is None else files:
                entry = self.entries[file]
                rows.seek(entry.start)
                document = json.loads(rows.read(entry.length))
                strip = self._strip(file, entry.digest) if strips and entry.refused is None else None
                yield record_from_document(document, ROWS, strip)[0]

    def _strip(self, file: str, digest: str) -> bytes | None:
        try:
            return (self.folder / strip_name(file, digest)).read_bytes()
        except OSError:
            return None
