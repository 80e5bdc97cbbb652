"""What is deleted leaves no byte in the files of the logbook."""

from __future__ import annotations

import os
import random
import re
import signal
import sqlite3
import subprocess
import sys
from datetime import timedelta

import pytest
from logbookdata import NOON

from strandgauge.logbook import core, rewrite
from strandgauge.logbook.book import open_logbook

MARKS = re.compile(rb"(alias|visit|strand|target|note|thumb|photo|edited)-gone")


@pytest.fixture(params=["small", "large"])
def _of_either_size(request, monkeypatch):
    """Erase as in a small logbook, which is rebuilt as a whole, and as in a large one."""
    monkeypatch.setattr(rewrite, "WHOLE_BYTES", 10**9 if request.param == "small" else 0)


def _picture(kind: str, blocks: int) -> bytes:
    """Return bytes that name their owner in every stretch of 16."""
    return f"\xff{kind:<14}\x00".encode("latin-1") * blocks


def _fill(logbook, document, word: str, photo: bool = True):
    client = logbook.add_client(f"alias-{word}")
    visit = logbook.add_visit(client.id, f"visit-{word}")
    strand = logbook.add_strand(visit.id, f"strand-{word}", f"target-{word}", NOON, 45)
    for minutes in (5, 15):
        check = logbook.add_look(
            strand.id,
            NOON + timedelta(minutes=minutes),
            False,
            {**document, "photo": f"photo-{word}.jpg"},
            thumbnail=_picture(f"thumb-{word}", 700),
            photo=_picture(f"photo-{word}", 20_000) if photo else None,
            note=f"note-{word}",
        )
    logbook.set_note(check.id, f"edited-{word} " + "for long " * 300)
    logbook.rename_client(client.id, f"alias-{word} renamed")
    return client


@pytest.mark.usefixtures("_of_either_size")
def test_no_byte_of_a_deleted_client_is_left(path, logbook, document, all_bytes):
    client = _fill(logbook, document, "gone")
    kept = _fill(logbook, document, "kept")
    assert {m.decode() for m in MARKS.findall(all_bytes())} >= {"alias", "visit", "note", "thumb", "photo"}
    with open_logbook(path) as other:  # another program has the logbook open, and has just read from it
        assert len(other.clients()) == 2
        deletion = logbook.delete("client", client.id)
        assert (deletion.visits, deletion.strands, deletion.checks, deletion.photos) == (1, 1, 2, 2)
        assert deletion.erased
        assert MARKS.search(all_bytes()) is None
        assert other.clients() == (logbook.client(kept.id),)
        assert b"photo-kept" in other.photo(
            other.looks(other.strands(other.visits(kept.id)[0].id)[0].id)[0].id
        )
    logbook.verify()


@pytest.mark.usefixtures("_of_either_size")
@pytest.mark.parametrize("seed", [68, 91])
def test_entries_that_were_moved_about_leave_no_copy(logbook, all_bytes, seed):
    # Clients come and go, so that SQLite splits and joins pages. With secure_delete and an emptied log alone, each
    # of these runs left one or more deleted marks behind (SQLite 3.40).
    chance = random.Random(seed)
    logbook._connection.execute("PRAGMA synchronous = OFF")  # for speed
    living: dict[int, str] = {}
    gone: set[str] = set()
    for number in range(200):
        if living and chance.random() >= 0.6:
            client_id = chance.choice(list(living))
            gone.add(living.pop(client_id))
            assert logbook.delete("client", client_id).erased
            continue
        mark = f"M{number:05d}M"
        client = logbook.add_client(f"{mark} " + mark * chance.randint(0, 8))
        living[client.id] = mark
        for _ in range(chance.randint(0, 2)):
            visit = logbook.add_visit(client.id, mark * chance.randint(0, 60))
            strand = logbook.add_strand(visit.id, mark, mark)
            for _ in range(chance.randint(0, 3)):
                filler = mark * chance.choice([1, 20, 200, 600, 1500])
                logbook.add_look(
                    strand.id,
                    NOON,
                    False,
                    {"schema": "strandgauge.reading/1", "overall": {"level": 8.1}, "filler": filler},
                    thumbnail=mark.encode() * chance.randint(1, 3000) if chance.random() < 0.7 else None,
                    photo=mark.encode() * chance.randint(1, 9000) if chance.random() < 0.5 else None,
                    note=mark,
                )
    found = {mark.decode() for mark in re.findall(rb"M\d{5}M", all_bytes())}
    assert found == set(living.values())
    assert len(gone) > 50
    logbook.verify()


@pytest.mark.usefixtures("_of_either_size")
@pytest.mark.parametrize("part", ["visit", "strand", "check"])
def test_a_part_is_deleted_as_thoroughly(logbook, document, all_bytes, part):
    client = logbook.add_client("stays")
    visit = logbook.add_visit(client.id, "visit-gone" if part == "visit" else "")
    strand = logbook.add_strand(visit.id, "strand-kept" if part == "check" else "strand-gone")
    check = logbook.add_look(
        strand.id, NOON, False, document, note="note-gone", photo=_picture("photo-gone", 900)
    )
    assert MARKS.search(all_bytes())
    entry = {"visit": visit, "strand": strand, "check": check}[part]
    deletion = logbook.delete(part, entry.id)
    assert (deletion.checks, deletion.photos) == (1, 1)
    assert (deletion.visits, deletion.strands) == (int(part == "visit"), int(part != "check"))
    assert MARKS.search(all_bytes()) is None
    assert logbook.clients() == (client,)


def test_a_reader_delays_the_erasure_and_that_is_told(path, document, all_bytes, monkeypatch):
    monkeypatch.setattr(core, "ERASE_WAIT_SECONDS", 0.1)
    with open_logbook(path) as logbook:
        client = _fill(logbook, document, "gone")
        reader = sqlite3.connect(path, isolation_level=None)
        reader.execute("BEGIN")
        assert reader.execute("SELECT count(*) FROM clients").fetchone() == (1,)
        assert not logbook.delete("client", client.id).erased
        assert logbook.clients() == ()
        assert MARKS.search(all_bytes())  # the reader still sees the old state, so it must be there
        reader.close()
    assert MARKS.search(all_bytes()) is None


def test_a_deletion_killed_before_its_erasure_is_finished_at_the_next_opening(path, document, all_bytes):
    with open_logbook(path) as logbook:
        client = _fill(logbook, document, "gone")
    program = (
        "import os, signal, sys; from pathlib import Path\n"
        "from strandgauge.logbook.book import Logbook, open_logbook\n"
        "logbook = open_logbook(Path(sys.argv[1]))\n"
        "Logbook.erase = lambda self: os.kill(os.getpid(), signal.SIGKILL)\n"
        f"logbook.delete('client', {client.id})\n"
    )
    killed = subprocess.run([sys.executable, "-c", program, os.fspath(path)], timeout=60)
    assert killed.returncode == -signal.SIGKILL
    assert MARKS.search(all_bytes())
    with open_logbook(path) as logbook:
        assert logbook.clients() == ()
        assert MARKS.search(all_bytes()) is None
