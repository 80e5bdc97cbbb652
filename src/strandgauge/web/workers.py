"""Worker processes in which photos are read, so that a hostile one costs one error and one process.

A photo from outside is decoded nowhere else. Each worker has its own pipe to the server and a limit on memory;
the server keeps the clock: a worker that has not answered in time is killed, whatever it is doing, and replaced.
(A ready-made pool shares its pipes and locks among the workers, so that one stopped at the wrong moment would
stop them all; hence one pipe each, and no lock.)
"""

from __future__ import annotations

import io
import multiprocessing
import queue
import signal
import sys
from contextlib import suppress
from dataclasses import dataclass, field
from functools import lru_cache
from multiprocessing.connection import Connection
from multiprocessing.context import BaseContext
from threading import Lock, Thread, Timer
from typing import TYPE_CHECKING

from strandgauge.errors import PhotoTooHardError, ServerBusyError, StrandgaugeError
from strandgauge.files.threads import one_thread
from strandgauge.judge.history import NOTHING_TOLD, History
from strandgauge.web.settings import Limits

if TYPE_CHECKING:
    from strandgauge.dye.targets import Target
    from strandgauge.judge.outlook import Outlook
    from strandgauge.kit import Kit
    from strandgauge.reading.model import Reading

PICTURE_QUALITY = 85
WRITES_AT_MOST = 4_000_000
"""Bytes that a worker may write to a file: it keeps what the decoders say, and nothing else."""


@dataclass(frozen=True, slots=True)
class Job:
    """One photo to be read, or two of one strand to be read as one."""

    photos: tuple[bytes, ...] = field(repr=False)
    wet: bool
    target: Target | None
    """The wanted shade, for the outlook."""
    history: History = NOTHING_TOLD
    """What was told of the hair."""


@dataclass(frozen=True, slots=True)
class Result:
    """What became of it."""

    reading: Reading
    outlook: Outlook | None
    picture_jpeg: bytes = field(repr=False)
    strip_jpeg: bytes = field(repr=False)


class _Worker:
    """One process and the server's end of its pipe."""

    def __init__(self, context: BaseContext, kit: Kit, limits: Limits) -> None:
        self.pipe, far_end = context.Pipe()
        self.process = context.Process(  # type: ignore[attr-defined]  # every context has it
            target=_work, args=(far_end, kit, limits.worker_bytes), name="strandgauge-worker", daemon=True
        )
        self.process.start()
        far_end.close()  # so that the pipe breaks when the process ends

    def run(self, job: Job, seconds: float) -> Result | StrandgaugeError:
        """Hand over a job and wait for what comes back.

        Raises
        ------
        PhotoTooHardError : the process ended, or was ended because its time was up.
        """
        clock = Timer(seconds, self.kill)
        clock.start()
        try:
            self.pipe.send((len(job.photos), job.wet, job.target, job.history))
            for photo in job.photos:
                self.pipe.send_bytes(photo)  # as it is: pickled, a large photo would be held twice
            answer: Result | StrandgaugeError = self.pipe.recv()
        except (OSError, EOFError) as error:
            raise PhotoTooHardError(fault="died") from error
        finally:
            clock.cancel()
        return answer

    def kill(self) -> None:
        """End the process at once; a process that was stopped ends as well."""
        self.process.kill()

    def close(self) -> None:
        """End the process and leave nothing of it."""
        self.kill()
        self.process.join(2.0)
        self.pipe.close()


class WorkerPool:
    """A few long-lived worker processes.

    Parameters
    ----------
    count : processes.
    kit : what they work with.
    limits : their memory, their time, and how long a job waits for one of them.
    """

    def __init__(self, count: int, kit: Kit, limits: Limits) -> None:
        self._count, self._kit, self._limits = count, kit, limits
        self._idle: queue.SimpleQueue[_Worker] = queue.SimpleQueue()
        self._all: set[_Worker] = set()
        self._lock = Lock()
        self._closed = False

    def start(self) -> None:
        """Start the processes in the background; jobs wait for them."""
        Thread(target=self._start, name="strandgauge-start", daemon=True).start()

    def _start(self) -> None:
        context = _context()
        for _ in range(self._count):
            self._add(context)

    def _add(self, context: BaseContext) -> None:
        worker = _Worker(context, self._kit, self._limits)
        with self._lock:
            if not self._closed:
                self._all.add(worker)
                self._idle.put(worker)
                return
        worker.close()

    def run(self, job: Job) -> Result:
        """Have a photo read.

        Raises
        ------
        StrandgaugeError : the photo is refused.
        PhotoTooHardError : reading it took more time or memory than it may.
        ServerBusyError : no worker came free in time.
        """
        worker = self._take()
        try:
            answer = worker.run(job, self._limits.look_seconds)
        except BaseException:
            self._replace(worker)
            raise
        self._idle.put(worker)
        if isinstance(answer, StrandgaugeError):
            raise answer
        return answer

    def _take(self) -> _Worker:
        """Wait for a worker that is alive; one that died while it was idle costs nobody an error."""
        for _ in range(self._count + 1):
            try:
                worker = self._idle.get(timeout=self._limits.wait_seconds + self._limits.look_seconds)
            except queue.Empty:
                break
            if worker.process.is_alive():
                return worker
            self._replace(worker)
        raise ServerBusyError(fault="workers")

    def _replace(self, worker: _Worker) -> None:
        with self._lock:
            self._all.discard(worker)
        worker.close()
        if not self._closed:
            self._add(_context())

    def close(self) -> None:
        """End all processes; jobs under way end in an error."""
        with self._lock:
            self._closed = True
            workers, self._all = self._all, set()
        for worker in workers:
            worker.close()


@lru_cache(maxsize=1)
def _context() -> BaseContext:
    """Return how processes are started: copies of one that has everything imported, where the system can."""
    one_thread()
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["strandgauge.web.warm"])
    return context


# --- in the worker --------------------------------------------------------------------------------------


def _work(pipe: Connection, kit: Kit, memory: int) -> None:
    """Read photos until the server goes away."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's; it ends its workers itself
    from strandgauge.learn.language import choose
    from strandgauge.web import warm

    choose()
    warm.up()
    _limit(memory)
    while True:
        try:
            count, wet, target, history = pipe.recv()
            job = Job(tuple(pipe.recv_bytes() for _ in range(count)), wet, target, history)
        except (EOFError, OSError):
            return
        answer: Result | StrandgaugeError
        try:
            answer = _read(job, kit)
        except StrandgaugeError as error:
            answer = error
        except MemoryError:
            answer = PhotoTooHardError(fault="memory")
        except Exception as error:
            # Whatever it is, it came from this one photo; the server has to go on.
            answer = PhotoTooHardError(fault="unforeseen", error=type(error).__name__)
        with suppress(BrokenPipeError):
            pipe.send(answer)


def _limit(memory: int) -> None:
    """Bound what this process may take, where the system can."""
    if sys.platform == "win32":
        return
    import resource

    for what, most in (
        (resource.RLIMIT_AS, memory),
        (resource.RLIMIT_FSIZE, WRITES_AT_MOST),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(what)
        bound = most if hard == resource.RLIM_INFINITY else min(most, hard)
        with suppress(ValueError, OSError):  # some systems know a limit by name only
            resource.setrlimit(what, (bound, bound))


def _read(job: Job, kit: Kit) -> Result:
    """Read a photo: reading, outlook and both pictures."""
    from strandgauge.judge.outlook import base_zones
    from strandgauge.show.picture.reading import draw_picture
    from strandgauge.show.picture.strip import strip_jpeg

    look = kit.look(*job.photos, wet=job.wet)
    measurement, reading = look.measured[0], look.reading
    picture = io.BytesIO()
    draw_picture(measurement, reading).save(picture, "JPEG", quality=PICTURE_QUALITY)
    outlook = None
    if job.target is not None:
        outlook = kit.reach(base_zones(reading), job.target, history=job.history)
    return Result(reading, outlook, picture.getvalue(), strip_jpeg(measurement))
