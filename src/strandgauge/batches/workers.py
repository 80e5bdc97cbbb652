"""Where photos are read: processes of this machine, or a Dask cluster that runs already; one loop for both.

Nothing heavy is imported at the top: a worker sets its libraries to one thread before it loads them.
"""

from __future__ import annotations

import os
import pickle
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Protocol

from strandgauge.errors import StrandgaugeError, WorkersUnavailableError
from strandgauge.files.threads import one_thread

if TYPE_CHECKING:
    from strandgauge.batches.store import Row
    from strandgauge.batches.task import Task
    from strandgauge.kit import Kit

LOOK_UP_SECONDS = 0.2
"""How often the loop looks whether it should stop, while no photo is done."""
START_SECONDS = 120.0

_kit: Kit | None = None


class Died(Exception):  # noqa: N818 - not an error to be shown, but a word between pool and loop
    """The process that had a photo in hand ended."""


class Pool(Protocol):
    """Something that reads photos elsewhere."""

    in_flight: int
    """How many photos it may hold at a time: enough that no worker waits, few enough that memory stays flat."""

    def submit(self, task: Task) -> Future[Row | None]:
        """Hand over a photo. The answer is None where the photo is still what it was known to be."""

    def close(self) -> None:
        """Let the workers go once they are idle."""

    def kill(self) -> None:
        """End the workers whatever they are at."""


def usable_cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


# --- in the worker --------------------------------------------------------------------------------------


def work(task: Task, kit: Kit, content: bytes | None = None, second: bytes | None = None) -> Row | None:
    """Read one photo into a row; None where it still has the digest that it was known by.

    Of two that are thought to be a turned pair: the row of both, or None where they are none.
    """
    from strandgauge.batches.one import read_one, read_pair, unforeseen
    from strandgauge.batches.store import row_of

    if task.second is not None:
        both = None if content is None or second is None else (content, second)
        pair = read_pair(task, kit, both)
        return None if pair is None else row_of(pair, task.asked)
    if task.known is not None and _digest_of(task, content) == task.known:
        return None
    record = read_one(task, kit, content)
    try:
        return row_of(record, task.asked)
    except ValueError as error:  # a number that is none, which JSON does not hold
        return row_of(unforeseen(task, record.digest, error), task.asked)


def _digest_of(task: Task, content: bytes | None) -> str | None:
    import hashlib

    from strandgauge.photo.open import read_bytes

    try:
        return hashlib.sha256(read_bytes(task.path) if content is None else content).hexdigest()
    except (StrandgaugeError, MemoryError):
        return None  # reading it anew tells what is wrong


def _begin(kit: bytes) -> None:
    """Set a new worker up: one thread, deaf to Ctrl-C, gone when its parent is."""
    global _kit
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides what Ctrl-C means
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    threading.Thread(target=_leave_with_parent, daemon=True).start()
    one_thread()
    import warnings

    import cv2

    from strandgauge.learn.language import choose

    warnings.simplefilter("ignore")
    cv2.setNumThreads(1)
    choose()
    _kit = pickle.loads(kit)


def _leave_with_parent() -> None:
    from multiprocessing import parent_process

    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _work(task: Task) -> Row | None:
    if _kit is None:
        raise RuntimeError("the worker was not set up")
    return work(task, _kit)


def _ready() -> bool:
    return True


# --- processes of this machine --------------------------------------------------------------------------


class Processes:
    """Worker processes of this machine.

    They are started afresh, not forked: a fork would copy whatever threads and locks the caller has.

    Raises
    ------
    WorkersUnavailableError : they cannot be started.
    """

    def __init__(self, kit: Kit, jobs: int) -> None:
        from multiprocessing import active_children, get_context

        self.in_flight = 2 * jobs
        self._not_ours = set(active_children())
        self._pool = ProcessPoolExecutor(
            jobs, get_context("spawn"), initializer=_begin, initargs=(pickle.dumps(kit),)
        )
        try:
            with _deaf_to_interrupt():
                first = [self._pool.submit(_ready) for _ in range(jobs)]
            for one in first:
                one.result(START_SECONDS)
        except (BrokenExecutor, TimeoutError, OSError) as error:
            self.close()
            raise WorkersUnavailableError(fault="processes") from error
        except BaseException:
            self.close()
            raise

    def submit(self, task: Task) -> Future[Row | None]:
        """Hand over a photo."""
        try:
            with _deaf_to_interrupt():
                return self._pool.submit(_work, task)
        except BrokenExecutor as error:
            broken: Future[Row | None] = Future()
            broken.set_exception(error)
            return broken

    def close(self) -> None:
        """Let the workers go once they are idle."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def kill(self) -> None:
        """End the workers whatever they are at."""
        from multiprocessing import active_children

        for process in set(active_children()) - self._not_ours:
            process.kill()


@contextmanager
def _deaf_to_interrupt() -> Iterator[None]:
    """Let a process that starts here start deaf to Ctrl-C, which would interrupt it half set up."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


# --- a cluster ------------------------------------------------------------------------------------------


class Cluster:
    """An existing Dask cluster. Photos are sent as bytes, so that it needs no view of this machine's disk.

    Raises
    ------
    WorkersUnavailableError : the package is missing, nobody answers, or the workers lack this very version.
    """

    def __init__(self, kit: Kit, address: str, *, seconds: float = 10.0) -> None:
        from importlib import import_module

        try:
            distributed: Any = import_module("distributed")
        except ImportError as error:
            raise WorkersUnavailableError(fault="no-package") from error
        try:
            self._client = distributed.Client(address, timeout=seconds, set_as_default=False)
        except Exception as error:  # an address can be wrong in many ways, each with its own exception
            raise WorkersUnavailableError(fault="no-answer", address=address) from error
        self._own: Kit = kit
        try:
            self._check(address)
            self._kit = self._client.scatter(kit, broadcast=True, hash=False)
            self._pool = self._client.get_executor(pure=False)
        except BaseException:
            self._client.close()
            raise

    def _check(self, address: str) -> None:
        from strandgauge.files.version import __version__

        cores: dict[str, int] = self._client.ncores()
        if not cores:
            raise WorkersUnavailableError(fault="no-workers", address=address)
        self.in_flight = 2 * sum(cores.values())
        try:
            answers: dict[str, str] = self._client.run(version_here)
        except Exception as error:  # whatever a worker without this package raises
            raise WorkersUnavailableError(fault="not-installed", version=__version__) from error
        others = sorted({version for version in answers.values() if version != __version__})
        if others:
            raise WorkersUnavailableError(
                fault="other-version", others=", ".join(others), version=__version__
            )

    def submit(self, task: Task) -> Future[Row | None]:
        """Send a photo."""
        from strandgauge.photo.open import read_bytes

        try:
            content = None if task.trouble is not None else read_bytes(task.path)
            second = None if task.second is None else read_bytes(task.second.path)
        except StrandgaugeError:
            content = second = None
        known = task.known is not None and _digest_of(task, content) == task.known
        if content is None or known:  # there is nothing to send: the row says why, or is there already
            done: Future[Row | None] = Future()
            done.set_result(None if known else work(task, self._own))
            return done
        sent: Future[Row | None] = self._pool.submit(work, task, self._kit, content, second)
        return sent

    def close(self) -> None:
        """Leave the cluster as it was."""
        self._pool.shutdown(wait=False)
        self._client.close()

    def kill(self) -> None:
        """Leave the cluster as it was; closing takes back what it has not begun."""


def version_here() -> str:
    """Return the version that a cluster's worker has, and bring its libraries to one thread each."""
    import cv2

    from strandgauge.files.version import __version__

    cv2.setNumThreads(1)
    return __version__


# --- the loop -------------------------------------------------------------------------------------------


def read_all(
    start: Callable[[], Pool], tasks: Iterator[Task], stopped: Callable[[], bool]
) -> Iterator[tuple[Task, Row | None]]:
    """Yield each photo's row as it is done; None for one that is still what it was known to be.

    When a worker process dies, every photo that was in hand is tried again alone, in new processes; the one
    that is alone when they die once more gets a row that says so. ``stopped`` ends the giving out of photos:
    those in hand are still finished.

    Raises
    ------
    WorkersUnavailableError : no workers can be started, or a cluster is lost.
    """
    pool = start()
    running: dict[Future[Row | None], Task] = {}
    suspects: deque[Task] = deque()
    lost: list[Task] = []
    alone = False

    def settled(futures: Iterable[Future[Row | None]]) -> Iterator[tuple[Task, Row | None]]:
        for future in futures:
            task = running.pop(future)
            try:
                row = _row_from(future, task)
            except Died:
                lost.append(task)
            else:
                yield task, row

    try:
        while True:
            if not running:
                if stopped():
                    return
                alone = bool(suspects)
                if alone:
                    suspect = suspects.popleft()
                    running[pool.submit(suspect)] = suspect
            while not alone and not stopped() and len(running) < pool.in_flight:
                if (one := next(tasks, None)) is None:
                    break
                running[pool.submit(one)] = one
            if not running:
                return
            done, _ = wait(running, timeout=LOOK_UP_SECONDS, return_when=FIRST_COMPLETED)
            yield from settled(done)
            if not lost:
                continue
            # Whatever else was in hand is lost with them, unless it was done already.
            wait(running, timeout=START_SECONDS)
            yield from settled(list(running))
            if alone:
                yield lost[0], _dead_row(lost[0])
            else:
                suspects.extend(sorted(lost, key=lambda one: one.file))
            lost.clear()
            pool.close()
            if not stopped():
                pool = start()
    except BaseException:
        pool.kill()
        raise
    finally:
        pool.close()


def _row_from(future: Future[Row | None], task: Task) -> Row | None:
    """Return what a pool made of a photo.

    Raises
    ------
    Died : the process that had it ended.
    WorkersUnavailableError : a cluster is lost.
    """
    try:
        return future.result(timeout=0)
    except (BrokenExecutor, TimeoutError) as error:
        raise Died from error
    except Exception as error:
        if type(error).__name__ == "KilledWorker":  # the cluster has tried it on several workers
            return _dead_row(task)
        raise WorkersUnavailableError(fault="lost", error=type(error).__name__) from error


def _dead_row(task: Task) -> Row:
    from strandgauge.batches.one import died
    from strandgauge.batches.store import row_of

    return row_of(died(task), task.asked)
