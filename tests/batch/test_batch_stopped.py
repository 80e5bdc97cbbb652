"""Batches that are stopped: by a kill, by Ctrl-C, by a full disk, by another batch; and taken up again."""

from __future__ import annotations

import errno
import os
import resource
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
import pytest
from batchhelp import Here, batch, contents, copies, lines, table

import strandgauge
from strandgauge.batches import run
from strandgauge.cli import app
from strandgauge.sheet.record import Summary
from strandgauge.words import say

COUNT = 14


@pytest.fixture(scope="module")
def photos(tmp_path_factory, strands) -> Path:
    return copies(tmp_path_factory.mktemp("stopped") / "photos", strands, COUNT)


@pytest.fixture(scope="module")
def undisturbed(photos, tmp_path_factory) -> dict[str, bytes]:
    out = tmp_path_factory.mktemp("undisturbed") / "out"
    read_here(photos, out)
    return contents(out)


@contextmanager
def reading_here() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "Processes", Here)
        yield


def read_here(photos: Path, out: Path, **options) -> Summary:
    with reading_here():
        return strandgauge.batch(photos, out, **options)


def when_rows(process, out: Path, count: int) -> None:
    """Wait until so many rows are written."""
    for _ in range(6000):
        rows = out / "readings.jsonl"
        if rows.exists() and rows.read_bytes().count(b"\n") >= count:
            return
        assert process.poll() is None, process.stderr.read()
        time.sleep(0.005)
    raise AssertionError("the batch did not come to write")


def test_after_a_kill_it_goes_on_to_the_same_files(photos, undisturbed, tmp_path, capsys):
    out = tmp_path / "out"
    for rows in (2, 6):
        process = batch(photos, "--out", out, "--jobs", "2", *(["--resume"] if rows > 2 else []))
        when_rows(process, out, rows)
        workers = psutil.Process(process.pid).children()
        process.kill()
        process.communicate()
        _, alive = psutil.wait_procs(workers, timeout=60)
        assert alive == []
        assert rows <= (out / "readings.jsonl").read_bytes().count(b"\n") < COUNT
        assert not (out / "readings.csv").exists()
    with reading_here():
        assert app.run(["batch", str(photos), "--out", str(out), "--resume"]) == 3
    told = capsys.readouterr()
    assert say("batch.from-before", count="…").rpartition("…")[2] in told.out
    assert told.err == ""
    assert contents(out) == undisturbed


def test_control_c_leaves_valid_files_and_it_goes_on_from_there(photos, undisturbed, tmp_path):
    out = tmp_path / "out"
    process = batch(photos, "--out", out, "--jobs", "2", start_new_session=True)
    when_rows(process, out, 5)
    # As a terminal does: to the workers as well.
    os.killpg(process.pid, signal.SIGINT)
    told, complaints = process.communicate(timeout=60)
    assert process.returncode == 130
    assert complaints == f"strandgauge: {say('command.stopped')}\n".encode()
    rows = lines(out)
    assert 5 <= len(rows) < COUNT
    assert say("batch.not-reached", count=COUNT - len(rows)).encode() in told
    assert [row["file"] for row in rows] == [cell["file"] for cell in table(out)]
    assert (out / "gallery.html").read_text().rstrip().endswith("</html>")
    assert read_here(photos, out, resume=True).from_before == len(rows)
    assert contents(out) == undisturbed


def test_a_full_disk_is_told_and_leaves_valid_files(photos, undisturbed, tmp_path, capsys):
    out = tmp_path / "out"
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    limit = len(undisturbed["readings.jsonl"]) // 2  # no file may grow beyond that
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, before[1]))
    try:
        with reading_here():
            assert app.run(["batch", str(photos), "--out", str(out)]) == 60
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    complaints = capsys.readouterr().err
    assert complaints.count("\n") == 1
    reason = os.strerror(errno.EFBIG).lower()
    assert say("refusal.cannot-write", fault="system", reason=reason) in complaints
    rows = lines(out)
    assert 3 < len(rows) < COUNT
    assert not list(out.rglob(".*.part"))
    if (out / "readings.csv").exists():
        assert [cell["file"] for cell in table(out)] == [row["file"] for row in rows]
    assert read_here(photos, out, resume=True).from_before == len(rows)
    assert contents(out) == undisturbed


def test_two_batches_at_once_do_not_share_a_folder(photos, undisturbed, tmp_path, capsys):
    out = tmp_path / "out"
    codes = []

    def begin_another(progress) -> None:
        if progress.done == 1:
            codes.append(app.run(["batch", str(photos), "--out", str(out), "--resume"]))

    with reading_here():
        run.run_batch(photos, out, progress=begin_another)
    assert codes == [73]
    assert say("refusal.batch-folder", fault="in-use") in capsys.readouterr().err
    assert contents(out) == undisturbed  # and the first did not notice
