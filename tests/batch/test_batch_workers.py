"""Workers: processes that die cost one row, a cluster gives the same, and none outlives its parent."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import warnings
from dataclasses import replace
from pathlib import Path

import psutil
import pytest
from batchhelp import contents

import strandgauge
from refused import refused
from strandgauge.batches import one
from strandgauge.batches.task import Task
from strandgauge.batches.workers import Cluster, Processes, read_all, work
from strandgauge.errors import WorkersUnavailableError
from strandgauge.words import say

SAMPLES = Path(__file__).parents[2] / "sample_images"


class Poison:
    """Kills the process that unpickles it, as a fault in a decoder or the system out of memory would."""

    def __reduce__(self):
        return signal.raise_signal, (signal.SIGKILL,)


def never() -> bool:
    return False


@pytest.fixture
def tasks(tmp_path, strands) -> list[Task]:
    made = []
    for number in range(6):
        path = tmp_path / f"{number}.jpg"
        path.write_bytes(strands[number % 3])
        made.append(Task(path.name, path, wet=False, target=None))
    return made


def test_a_worker_that_dies_costs_the_one_photo_that_killed_it(kit, tasks):
    tasks[2] = replace(tasks[2], path=Poison())
    done = [row for _, row in read_all(lambda: Processes(kit, 2), iter(tasks), never)]
    assert sorted(row.file for row in done) == [task.file for task in tasks]
    assert {row.file: row.refused for row in done if row.refused} == {"2.jpg": "worker-died"}
    expected = {task.file: work(task, kit).line for task in tasks if task.file != "2.jpg"}
    assert {row.file: row.line for row in done if not row.refused} == expected


def test_a_worker_killed_in_the_middle_costs_nothing(kit, tasks):
    done = []
    for _, row in read_all(lambda: Processes(kit, 2), iter(tasks), never):
        done.append(row)
        if len(done) == 1:
            workers = psutil.Process().children()
            max(workers, key=lambda worker: worker.memory_info().rss).kill()
    assert {row.file: row.line for row in done} == {task.file: work(task, kit).line for task in tasks}


def test_no_photo_is_given_out_once_the_word_is_to_stop(kit, tasks):
    done = []
    for task, _ in read_all(lambda: Processes(kit, 1), iter(tasks), lambda: len(done) >= 2):
        done.append(task.file)
    assert 2 <= len(done) <= 4  # what was in hand is finished


def test_a_known_photo_is_not_read_again_unless_it_changed(kit, tasks):
    digest = work(tasks[0], kit).digest
    assert work(replace(tasks[0], known=digest), kit) is None
    assert work(replace(tasks[0], known=digest), kit, tasks[0].path.read_bytes()) is None
    assert work(replace(tasks[1], known=digest), kit).digest not in ("", digest)
    tasks[0].path.unlink()
    assert work(replace(tasks[0], known=digest), kit).refused == "unreadable-file"


@pytest.mark.usefixtures("worded")
def test_a_reading_that_json_cannot_hold_is_a_row_that_says_so(kit, tasks, monkeypatch):
    read_one = one.read_one

    def with_a_number_that_is_none(*arguments):
        record = read_one(*arguments)
        overall = replace(record.reading.overall, chroma=float("nan"))
        return replace(record, reading=replace(record.reading, overall=overall))

    monkeypatch.setattr(one, "read_one", with_a_number_that_is_none)
    row = work(tasks[0], kit)
    assert (row.refused, row.strip) == ("internal-error", None)
    assert json.loads(row.line)["error"]["message"].endswith("(ValueError).")


def test_a_script_without_a_main_guard_is_told_what_it_lacks(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(
        "import strandgauge, sys\nfrom pathlib import Path\n"
        "strandgauge.batch(Path(sys.argv[1]), Path(sys.argv[2]), jobs=1)\n"
    )
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "x.jpg").touch()
    command = [sys.executable, str(script), str(tmp_path / "photos"), str(tmp_path / "out")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    told = say("refusal.workers-unavailable", fault="processes")
    assert "__main__" in done.stderr.splitlines()[-1] or told in done.stderr
    assert done.returncode == 1


def test_workers_use_one_thread_and_leave_with_their_parent(tmp_path, strands):
    """Read one photo, look at the worker's threads, then kill the parent."""
    (tmp_path / "x.jpg").write_bytes(strands[0])
    program = f"""
import sys, time
from pathlib import Path
from strandgauge.batches.task import Task
from strandgauge.kit import Kit
from strandgauge.batches.workers import Processes
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.reading.pipeline import default_card
if __name__ == "__main__":
    pool = Processes(Kit(default_card(), load_ladder(), load_shelf(), load_targets()), 1)
    print(pool.submit(Task("x.jpg", Path({str(tmp_path / "x.jpg")!r}), False, "rose")).result().refused, flush=True)
    time.sleep(60)
"""
    parent = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True)
    assert parent.stdout.readline() == "None\n"
    children = psutil.Process(parent.pid).children()
    worker = max(children, key=lambda child: child.memory_info().rss)
    # Its own, the one that waits for the parent, and none of a numeric library.
    assert worker.num_threads() <= 3
    parent.kill()
    parent.communicate()
    _, alive = psutil.wait_procs(children, timeout=60)
    assert alive == []


@pytest.fixture(scope="module")
def cluster():
    distributed = pytest.importorskip("distributed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
        ) as running:
            yield running


def test_a_cluster_gives_the_same_rows(kit, tasks, cluster, tmp_path):
    digest = work(tasks[1], kit).digest
    tasks[1] = replace(tasks[1], known=digest)
    tasks.append(Task("missing.jpg", tmp_path / "missing.jpg", wet=False, target=None))
    address = cluster.scheduler_address
    done = {task.file: row for task, row in read_all(lambda: Cluster(kit, address), iter(tasks), never)}
    assert done.pop("1.jpg") is None
    assert done["missing.jpg"].refused == "unreadable-file"
    assert {file: row.line for file, row in done.items()} == {
        task.file: work(task, kit).line for task in tasks if task.file != "1.jpg"
    }
    assert json.loads(done["0.jpg"].line)["reading"]["photo"] == "0.jpg"


def test_a_batch_on_a_cluster_gives_the_same_bytes(photos, tmp_path, cluster, here):
    strandgauge.batch(photos, tmp_path / "here")
    strandgauge.batch(photos, tmp_path / "cluster", cluster=cluster.scheduler_address)
    assert contents(tmp_path / "cluster") == contents(tmp_path / "here")


def test_a_cluster_that_is_not_there_is_told(kit):
    pytest.importorskip("distributed")
    with refused(WorkersUnavailableError, "no-answer", address="tcp://127.0.0.1:9"):
        Cluster(kit, "tcp://127.0.0.1:9", seconds=0.5)


def test_a_missing_package_is_told(kit, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with refused(WorkersUnavailableError, "no-package"):
        Cluster(kit, "tcp://127.0.0.1:9")
