"""A running server with a logbook of its own, for tests of the phone page."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import httpx
import pytest
import uvicorn

from strandgauge.errors import StrandgaugeError
from strandgauge.judge.outlook import base_zones
from strandgauge.kit import shipped
from strandgauge.logbook.book import Logbook
from strandgauge.web import workers
from strandgauge.web.app import create_app
from strandgauge.web.service import Sent, Service
from strandgauge.web.settings import ServerSettings

SAMPLES = Path(__file__).parents[2] / "sample_images"


@cache
def _read(photos: tuple[bytes, ...], wet: bool) -> workers.Result | StrandgaugeError:
    try:
        return workers._read(workers.Job(photos, wet, None), shipped())
    except StrandgaugeError as refusal:
        return refusal


@cache
def _outlook(photos, wet, target, history):
    return shipped().reach(base_zones(_read(photos, wet).reading), target, history=history)


class ReadOnce:
    """Stands in for the processes that read photos: reads in this one, and each photo once for all tests."""

    _lock = threading.Lock()

    def run(self, job: workers.Job) -> workers.Result:
        with self._lock:
            found = _read(job.photos, job.wet)
            if isinstance(found, StrandgaugeError):
                raise found
            if job.target is None:
                return found
            return replace(found, outlook=_outlook(job.photos, job.wet, job.target, job.history))

    def close(self) -> None:
        """Nothing to close."""


@dataclass(frozen=True)
class Site:
    """Where the server is, and what is behind it."""

    address: str
    service: Service
    client: httpx.Client
    clock: Clock

    @property
    def logbook(self) -> Logbook:
        return self.service.logbook

    def strand(
        self, alias: str = "Marta", *, ago: float = 20.0, target: str | None = "copper", **more
    ) -> int:
        """Enter a strand whose lightener went on some minutes ago."""
        client = self.logbook.find_client(alias) or self.logbook.add_client(alias)
        visit = self.logbook.add_visit(client.id)
        started = self.service.now() - timedelta(minutes=ago)
        return self.logbook.add_strand(
            visit.id, "Test strand", target=target, started=started, **{"limit_minutes": 60.0, **more}
        ).id

    def look(self, strand_id: int, photo: str, ago: float = 0.0, **more) -> int:
        """Let a sample photo be read that was taken some minutes ago; return the number of the look."""
        upload = (SAMPLES / photo).read_bytes()
        return self.service.look(Sent(photo=upload, strand_id=strand_id, age=60.0 * ago, **more)).look_id


@dataclass
class Clock:
    """Tells the time, and can be moved on."""

    ahead: timedelta = timedelta(0)

    def __call__(self) -> datetime:
        return datetime.now(UTC) + self.ahead

    def pass_(self, minutes: float) -> None:
        self.ahead += timedelta(minutes=minutes)


@contextmanager
def serving(
    logbook: Path, port: int = 0, clock: Clock | None = None, *, processes: bool = False
) -> Iterator[Site]:
    """Serve a logbook; photos are read by the server's own processes only where that is asked for."""
    if not port:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
    clock = clock or Clock()
    settings = ServerSettings(port=port, logbook=logbook, workers=1)
    app = create_app(settings, workers=None if processes else ReadOnce(), now=clock)
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="warning", lifespan="on"))
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        until = time.monotonic() + 90.0
        while not server.started and time.monotonic() < until:
            time.sleep(0.02)
        assert server.started, "the server did not start"
        address = f"http://127.0.0.1:{port}"
        with httpx.Client(base_url=address, timeout=90.0) as client:
            yield Site(address, app.state.service, client, clock)
    finally:
        server.should_exit = True
        thread.join(20.0)


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Iterator[Site]:
    with serving(tmp_path_factory.mktemp("salon") / "logbook.sqlite3") as running:
        yield running
