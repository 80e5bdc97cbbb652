"""A logbook of its own for each test, and documents to fill it with."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from logbookdata import NOON

import readings
from strandgauge.logbook.book import Logbook, open_logbook
from strandgauge.logbook.records import Strand
from strandgauge.show.json import document_of


@pytest.fixture(scope="session")
def document() -> dict:
    return document_of(readings.reading())


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "book" / "logbook.sqlite3"


@pytest.fixture
def logbook(path: Path) -> Iterator[Logbook]:
    with open_logbook(path) as opened:
        yield opened


@pytest.fixture
def strand(logbook: Logbook) -> Strand:
    visit = logbook.add_visit(logbook.add_client("north window").id)
    return logbook.add_strand(visit.id, "left crown", "rose", NOON, 45)


@pytest.fixture
def all_bytes(path: Path) -> Callable[[], bytes]:
    """Return a function that reads all files of the logbook.

    By another process: a file closed in this one would drop the locks that SQLite holds on it.
    """

    def read() -> bytes:
        files = sorted(path.parent.iterdir())
        return subprocess.run(["cat", *files], capture_output=True, check=True).stdout

    return read
