"""Rows on disk: nothing torn, nothing twice, nothing lost."""

from __future__ import annotations

import errno
import json
import subprocess
import sys
from dataclasses import replace

import pytest

from readings import reading
from refused import refused
from strandgauge.batches.store import ROWS, Store, row_of, strip_name
from strandgauge.errors import BatchFolderError, CannotWriteError, Told
from strandgauge.files.held import held
from strandgauge.files.write import replacing
from strandgauge.sheet.record import Asked, Record

ASKED = Asked(wet=False, target=None, client=None, group=None, taken=None)


def record(file: str, digest: str = "ab" * 32, **changes) -> Record:
    return Record(
        **(
            {
                "file": file,
                "digest": digest,
                "reading": replace(reading(), photo=file),
                "refusal": None,
                "wanted": None,
                "client": None,
                "group": None,
                "taken": None,
                "strip": b"jpeg",
            }
            | changes
        )
    )


def add(store: Store, *files: str) -> None:
    for file in files:
        store.add(row_of(record(file), ASKED))


def names(folder) -> list[str]:
    return [json.loads(line)["file"] for line in (folder / ROWS).read_bytes().splitlines()]


def test_rows_come_back_as_the_records_they_were(tmp_path):
    refusal = Told("blur", "The picture is blurred.", "Hold still.")
    refused = record("b", digest="", reading=None, refusal=refusal, strip=None)
    with Store(tmp_path) as store:
        for one in (refused, record("a")):
            store.add(row_of(one, ASKED))
        store.finish()
        assert list(store.records(strips=True)) == [record("a"), refused]
        assert list(store.records()) == [record("a", strip=None), refused]


def test_finish_puts_rows_in_order_each_file_once_the_last_one_counts(tmp_path):
    with Store(tmp_path) as store:
        add(store, "c", "a", "b")
        store.add(row_of(record("a", digest="cd" * 32), ASKED))
        store.finish()
        add(store, "aa")  # and it can be added to after that
    assert names(tmp_path) == ["a", "b", "c", "aa"]
    with Store(tmp_path) as store:
        assert store.entries["a"].digest == "cd" * 32
        store.finish()
    assert names(tmp_path) == ["a", "aa", "b", "c"]


@pytest.mark.parametrize("left", [1, 40, 10_000])
def test_a_torn_last_line_is_cut_off_and_the_rest_kept(tmp_path, left):
    with Store(tmp_path) as store:
        add(store, "a", "b", "c")
    path = tmp_path / ROWS
    whole = path.read_bytes()
    length = len(whole) // 3
    path.write_bytes(whole[: 2 * length + min(left, length - 1)])
    with Store(tmp_path) as store:
        assert list(store.entries) == ["a", "b"]
        add(store, "d")
        assert [one.file for one in store.records()] == ["a", "b", "d"]
    assert names(tmp_path) == ["a", "b", "d"]


@pytest.mark.parametrize(
    "line",
    [
        b"{}\n",
        b"\n",
        b"\xff\xfe\n",
        b"[1, 2]\n",
        json.dumps({"schema": "strandgauge.batch-row/2"}).encode() + b"\n",
    ],
)
def test_a_line_that_makes_no_sense_is_dropped_and_counted(tmp_path, line):
    with Store(tmp_path) as store:
        add(store, "a", "b")
    path = tmp_path / ROWS
    first, second = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(first + line + second)
    with Store(tmp_path) as store:
        assert store.damaged == 1
        assert [one.file for one in store.records()] == ["a", "b"]
        store.finish()
    assert names(tmp_path) == ["a", "b"]


def test_a_digest_that_would_lead_out_of_the_folder_is_no_digest(tmp_path):
    with Store(tmp_path) as store:
        add(store, "a")
    path = tmp_path / ROWS
    path.write_bytes(path.read_bytes().replace(b"ab" * 32, b"../../../etc/passwd"))
    with Store(tmp_path) as store:
        assert (store.entries, store.damaged) == ({}, 1)


def test_a_strip_that_is_missing_or_empty_is_noticed(tmp_path):
    with Store(tmp_path) as store:
        add(store, "a")
        strip = tmp_path / strip_name("a", "ab" * 32)
        assert store.has_strip("a")
        strip.write_bytes(b"")
        assert not store.has_strip("a")
        strip.unlink()
        assert not store.has_strip("a")


FILL = """
import resource, sys
from pathlib import Path
sys.path[:0] = {path!r}
from test_batch_store import add
from strandgauge.batches.store import Store
from strandgauge.errors import CannotWriteError
store = Store(Path({folder!r}))
resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))
count = 0
try:
    while True:
        add(store, f"{{count:03}}.jpg")
        count += 1
except CannotWriteError:
    print(count)
"""


def test_a_row_for_which_there_is_no_room_leaves_those_before_it_whole(tmp_path):
    with Store(tmp_path / "..") as probe:
        add(probe, "000.jpg")
        length = probe.entries["000.jpg"].length
    program = FILL.format(path=sys.path, folder=str(tmp_path), limit=3 * length + length // 2)
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    assert done.stdout.split() == ["3"], done.stderr
    assert names(tmp_path) == ["000.jpg", "001.jpg", "002.jpg"]  # the half of the fourth was taken back


def test_what_cannot_be_put_in_order_stays_as_it_was(tmp_path, monkeypatch):
    with Store(tmp_path) as store:
        add(store, "b", "a")
        full = OSError(errno.ENOSPC, "No space left on device")
        monkeypatch.setattr("os.fsync", lambda _: (_ for _ in ()).throw(full))
        with refused(CannotWriteError, "system", reason="no space left on device"):
            store.finish()
        monkeypatch.undo()
        assert names(tmp_path) == ["b", "a"]
        assert not list(tmp_path.glob(".*.part"))
        store.finish()
    assert names(tmp_path) == ["a", "b"]


def test_a_file_that_fails_half_way_leaves_the_old_one(tmp_path):
    (tmp_path / "t.csv").write_bytes(b"old")

    def fail() -> None:
        with replacing(tmp_path / "t.csv") as file:
            file.write(b"new, but")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert [path.name for path in tmp_path.iterdir()] == ["t.csv"]
    assert (tmp_path / "t.csv").read_bytes() == b"old"


def test_a_folder_is_held_by_one_process_and_let_go_when_it_ends(tmp_path):
    hold = (
        "import sys, time; from pathlib import Path; from strandgauge.files.held import held\n"
        "with held(Path(sys.argv[1])):\n    print('held', flush=True); time.sleep(60)\n"
    )
    other = subprocess.Popen([sys.executable, "-c", hold, str(tmp_path)], stdout=subprocess.PIPE)
    assert other.stdout.readline() == b"held\n"
    with refused(BatchFolderError, "in-use"), held(tmp_path):
        pass
    other.kill()
    other.communicate()
    with held(tmp_path):
        pass
