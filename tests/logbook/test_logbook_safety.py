"""Nothing acknowledged is lost: many writers, kills, a full disk, locks, and files that are not for us."""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from logbookdata import NOON

from refused import refused
from strandgauge.errors import LogbookNotWrittenError, UnusableLogbookError
from strandgauge.logbook import connect
from strandgauge.logbook.book import open_logbook

START = """
import json, os, sys
from datetime import UTC, datetime
from pathlib import Path
from strandgauge.logbook.book import open_logbook
NOON = datetime(2024, 5, 14, 12, 0, tzinfo=UTC)
path, document = Path(sys.argv[1]), json.loads(sys.argv[2])
"""


def _start(program: str, path: Path, document: dict, *more: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", START + program, str(path), json.dumps(document), *more]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def _contents(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir()}


# --- many at once ---------------------------------------------------------------------------------------


def test_threads_share_one_logbook(logbook, strand, document):
    def write(number: int) -> int:
        check = logbook.add_look(
            strand.id, NOON, False, document, note=f"note {number}", photo=b"%d" % number
        )
        assert logbook.look(check.id).note == f"note {number}"
        return check.id

    with ThreadPoolExecutor(16) as pool:
        ids = list(pool.map(write, range(80)))
    assert len(set(ids)) == 80
    assert {check.note for check in logbook.looks(strand.id)} == {f"note {n}" for n in range(80)}
    assert [logbook.photo(look_id) for look_id in ids] == [b"%d" % number for number in range(80)]


def test_processes_and_threads_that_write_at_once_lose_nothing(path, document):
    # Each makes the file if it is the first, enters a client of its own and one that all want, then its checks.
    program = """
from concurrent.futures import ThreadPoolExecutor
from strandgauge.errors import BadEntryError
sys.stdin.readline()
with open_logbook(path) as logbook:
    try:
        logbook.add_client("everybody's")
    except BadEntryError:
        pass
    visit = logbook.add_visit(logbook.add_client(sys.argv[3]).id)
    strand = logbook.add_strand(visit.id, "crown")
    def write(number):
        check = logbook.add_look(strand.id, NOON, False, document, note=f"{sys.argv[3]} {number}")
        return logbook.set_stretch(check.id, "slow").id
    with ThreadPoolExecutor(4) as pool:
        print(json.dumps(list(pool.map(write, range(25)))))
"""
    command = [sys.executable, "-c", START + program, str(path), json.dumps(document)]
    writers = [
        subprocess.Popen([*command, name], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for name in ("first", "second", "third")
    ]
    for writer in writers:  # all are up by now, so that they make the file at the same moment
        writer.stdin.write("go\n")
        writer.stdin.flush()
    outputs = [writer.communicate(timeout=60)[0] for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0, 0]
    ids = [look_id for output in outputs for look_id in json.loads(output)]
    assert len(set(ids)) == 75
    with open_logbook(path) as logbook:
        logbook.verify()
        assert [client.alias for client in logbook.clients()] == ["everybody's", "first", "second", "third"]
        notes = {logbook.look(look_id).note for look_id in ids}
        assert notes == {f"{name} {n}" for name in ("first", "second", "third") for n in range(25)}
        assert all(logbook.look(look_id).stretch == "slow" for look_id in ids)


def test_who_waits_too_long_is_told_and_nothing_is_lost(path, strand, document):
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with open_logbook(path, wait=0.2) as impatient:
        assert impatient.strand(strand.id) == strand  # readers need not wait
        with refused(LogbookNotWrittenError, "busy"):
            impatient.add_look(strand.id, NOON, False, document)
        other.execute("ROLLBACK")
        check = impatient.add_look(strand.id, NOON, False, document)
        assert impatient.looks(strand.id) == (check,)
    other.close()


def test_who_waits_long_enough_gets_through(path, strand, document):
    other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    other.execute("BEGIN IMMEDIATE")
    release = threading.Timer(0.3, other.execute, ["COMMIT"])
    release.start()
    with open_logbook(path, wait=20) as patient:
        assert patient.add_look(strand.id, NOON, False, document).strand_id == strand.id
    release.join()
    other.close()


# --- killed ---------------------------------------------------------------------------------------------


def test_kill_9_in_mid_write_loses_nothing_that_was_acknowledged(path, document):
    program = """
logbook = open_logbook(path)
round = sys.argv[3]
visit = logbook.add_visit(logbook.add_client("client " + round).id)
strand = logbook.add_strand(visit.id, "crown")
number = 0
while True:
    number += 1
    note = f"{round} {number}"
    check = logbook.add_look(strand.id, NOON, True, document, note=note, photo=note.encode() * 3000)
    print("added", check.id, note, flush=True)
    if number % 5 == 0:  # taken out and put back: a kill between leaves it in the bin, whole
        logbook.put_back(logbook.put_in_bin("check", check.id))
    if number % 4 == 0:
        logbook.delete("check", check.id)
        print("deleted", check.id, flush=True)
"""
    chance = random.Random(20240514)
    added: dict[int, str] = {}
    deleted: set[int] = set()
    unsure: set[int] = set()
    """Added last before a kill: perhaps deleted already, but that was not told any more."""
    for number in range(8):
        told, enough = [], chance.randint(2, 30)
        with _start(program, path, document, str(number)) as process:
            for line in process.stdout:  # to the end of what it told before the kill
                if line.endswith("\n"):  # and was not cut short
                    told.append(line.rstrip("\n").split(" ", 2))
                if len(told) == enough:
                    time.sleep(chance.uniform(0, 0.01))  # so that the kill meets any part of the next write
                    process.kill()
            assert (process.wait(timeout=60), process.stderr.read()) == (-signal.SIGKILL, "")
        added |= {int(line[1]): line[2] for line in told if line[0] == "added"}
        deleted |= {int(line[1]) for line in told if line[0] == "deleted"}
        unsure |= {int(line[1]) for line in told[-1:]}
        with open_logbook(path) as logbook:
            logbook.verify()
            for look_id in added.keys() - deleted - unsure:
                assert logbook.look(look_id).note == added[look_id]
                assert logbook.photo(look_id) == added[look_id].encode() * 3000
            strands = [summary.strand.id for summary in logbook.recent_strands(99)]
            ids = {check.id for strand_id in strands for check in logbook.looks(strand_id)}
            assert not deleted & ids
            assert all(logbook.photo(look_id) for look_id in ids)  # a check and its photo: both or none
    assert len(added) > 40
    assert len(deleted) > 8


# --- full, not permitted --------------------------------------------------------------------------------


def test_a_full_disk_is_told_and_leaves_nothing_half_written(path, logbook, strand, document):
    # SQLite's own limit of pages raises the same error as a disk without room (SQLITE_FULL).
    limit = 60
    logbook._connection.execute(f"PRAGMA max_page_count = {limit}")
    kept = []

    def fill() -> None:
        for number in range(limit):
            kept.append(logbook.add_look(strand.id, NOON, False, document, photo=b"%06d" % number * 3000))

    with refused(LogbookNotWrittenError, "full"):
        fill()
    assert len(kept) > 2
    assert logbook.looks(strand.id) == tuple(kept)
    logbook.verify()
    logbook._connection.execute("PRAGMA max_page_count = 100000")
    kept.append(logbook.add_look(strand.id, NOON, False, document))
    assert logbook.looks(strand.id) == tuple(kept)


def test_a_file_that_may_not_grow_is_told_and_leaves_nothing_half_written(path, document):
    # The system's own limit, reached in the middle of a write to the log.
    program = """
import resource
from strandgauge.errors import LogbookNotWrittenError
with open_logbook(path) as logbook:
    strand = logbook.add_strand(logbook.add_visit(logbook.add_client("x").id).id, "crown")
    resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, resource.RLIM_INFINITY))
    kept = []
    try:
        while True:
            kept.append(logbook.add_look(strand.id, NOON, False, document, photo=b"p" * 25_000).id)
    except LogbookNotWrittenError as error:
        failed = str(error)
    assert [check.id for check in logbook.looks(strand.id)] == kept, "lost or half written"
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    kept.append(logbook.add_look(strand.id, NOON, False, document, photo=b"p").id)
    print(json.dumps(kept))
"""
    process = _start(program, path, document)
    output, errors = process.communicate(timeout=60)
    assert (process.returncode, errors) == (0, "")
    kept = json.loads(output)
    assert len(kept) > 3
    with open_logbook(path) as logbook:
        logbook.verify()
        assert [check.id for check in logbook.looks(1)] == kept
        assert all(logbook.photo(look_id) for look_id in kept)


@pytest.mark.parametrize("locked", ["new", "old"])
def test_a_folder_that_may_not_be_written_is_told(document, locked):
    # In the system's own temporary folder: pytest's is closed to the unprivileged user that root becomes here.
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "logbook.sqlite3"
        if locked == "old":
            open_logbook(path).close()
            path.chmod(0o444)
        Path(folder).chmod(0o555)
        program = """
import tomllib  # the words of an error need it, and who may read nothing can import nothing
from strandgauge.errors import LogbookNotWrittenError
LogbookNotWrittenError("").remedy
if os.geteuid() == 0:
    os.setuid(65534)
try:
    with open_logbook(path) as logbook:
        logbook.add_client("x")
except LogbookNotWrittenError as error:
    print(dict(error.facts)["fault"])
"""
        output, errors = _start(program, path, document).communicate(timeout=60)
        Path(folder).chmod(0o755)
        assert errors == ""
        assert output.split() == ["unopened" if locked == "new" else "not-allowed"]


# --- files that are not for us --------------------------------------------------------------------------


def _newer(path: Path) -> None:
    open_logbook(path).close()
    database = sqlite3.connect(path)
    database.execute("CREATE TABLE tomorrow (id)")
    database.execute("PRAGMA user_version = 99")
    database.commit()
    database.close()


def _newer_in_the_log(path: Path) -> None:
    """Leave the newer version in the log only, as a killed newer program would."""
    open_logbook(path).close()
    program = (
        "import os, sqlite3, sys; database = sqlite3.connect(sys.argv[1])\n"
        "database.execute('PRAGMA user_version = 99'); database.commit(); os._exit(0)"
    )
    subprocess.run([sys.executable, "-c", program, os.fspath(path)], check=True)
    assert path.with_name(path.name + "-wal").stat().st_size > 0


def _somebody_elses(path: Path) -> None:
    path.parent.mkdir()
    database = sqlite3.connect(path)
    database.executescript(
        "PRAGMA journal_mode = WAL; CREATE TABLE recipes (id); INSERT INTO recipes VALUES (1)"
    )
    database.close()


def _text(path: Path) -> None:
    path.parent.mkdir()
    path.write_text("client,level\nAna,8\n" * 400)


def _folder(path: Path) -> None:
    path.mkdir(parents=True)


@pytest.mark.parametrize(
    ("make", "fault"),
    [
        (_newer, "newer"),
        (_newer_in_the_log, "newer"),
        (_somebody_elses, "not-ours"),
        (_text, "not-ours"),
        (_folder, "not-ours"),
    ],
)
def test_what_is_not_for_us_is_left_as_it_is(path, make, fault):
    make(path)
    before = _contents(path.parent) if path.is_file() else {}
    with refused(UnusableLogbookError, fault) as caught:
        open_logbook(path)
    assert caught.value.where == str(path)
    if before:
        after = _contents(path.parent)
        # The log's index (-shm) holds no content; SQLite writes it in order to read the log.
        for content in (before, after):
            content.pop(f"{path.name}-shm", None)
        assert after == before


def test_an_empty_file_becomes_a_logbook(path):
    path.parent.mkdir()
    path.touch()
    with open_logbook(path) as logbook:
        assert logbook.add_client("x").id == 1


@pytest.mark.parametrize("damage", ["overwritten", "cut short", "lacks a table"])
def test_damage_is_told(path, document, damage):
    with open_logbook(path) as logbook:
        strand = logbook.add_strand(logbook.add_visit(logbook.add_client("x").id).id, "crown")
        for _ in range(30):
            logbook.add_look(strand.id, NOON, False, document)
    size = path.stat().st_size
    if damage == "lacks a table":
        database = sqlite3.connect(path)
        database.execute("DROP TABLE erasures")
        database.close()
    elif damage == "cut short":
        os.truncate(path, size // 2)
    else:
        with path.open("r+b") as file:
            file.seek(size // 3)
            file.write(random.Random(1).randbytes(size // 3))
    with refused(UnusableLogbookError, "damaged"):
        open_logbook(path)


def test_damage_in_a_large_logbook_is_found_by_verifying(path, document, monkeypatch):
    monkeypatch.setattr(connect, "CHECKED_BYTES", 0)
    with open_logbook(path) as logbook:
        logbook.add_client("x")
    database = sqlite3.connect(path)
    sql = "SELECT rootpage FROM sqlite_schema WHERE name = 'checks_of_strand'"
    ((page,),) = database.execute(sql).fetchall()
    database.close()
    with path.open("r+b") as file:  # the root page of an index, which no list of clients touches
        file.seek(4096 * (page - 1))
        file.write(b"\x05" * 4096)
    with open_logbook(path) as logbook:
        assert len(logbook.clients()) == 1
        with refused(UnusableLogbookError, "damaged"):
            logbook.verify()
