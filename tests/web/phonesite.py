"""A running server with a logbook of its own, for tests of the phone page."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest
import uvicorn

from strandgauge.logbook.book import Logbook
from strandgauge.web.app import create_app
from strandgauge.web.service import Service
from strandgauge.web.settings import ServerSettings

SAMPLES = Path(__file__).parents[2] / "sample_images"


@dataclass(frozen=True)
class Site:
    """Where the server is, and what is behind it."""

    address: str
    service: Service
    client: httpx.Client

    @property
    def logbook(self) -> Logbook:
        return self.service.logbook

    def strand(
        self, alias: str = "Marta", *, ago: float = 20.0, target: str | None = "copper", **more
    ) -> int:
        """Enter a strand whose lightener went on some minutes ago."""
        client = self.logbook.find_client(alias) or self.logbook.add_client(alias)
        visit = self.logbook.add_visit(client.id)
        started = datetime.now(UTC) - timedelta(minutes=ago)
        return self.logbook.add_strand(
            visit.id, "Test strand", target=target, started=started, **{"limit_minutes": 60.0, **more}
        ).id

    def look(self, strand_id: int, photo: str, **more) -> int:
        """Let a sample photo be read; return the number of the look."""
        upload = (SAMPLES / photo).read_bytes()
        return self.service.look(upload, strand_id=strand_id, **more).check_id

    def let_pass(self, strand_id: int, minutes: float) -> None:
        """Let some minutes go by for a strand: its lightener and its looks lie that much further back."""
        back = timedelta(minutes=minutes)
        started = self.logbook.strand(strand_id).started
        self.logbook.update_strand(strand_id, started=started and started - back)
        for check in self.logbook.checks(strand_id):
            self.logbook.delete_check(check.id)
            self.logbook.add_check(
                strand_id,
                check.at - back,
                check.wet,
                check.reading,
                outlook=check.outlook,
                thumbnail=check.thumbnail,
            )
        self.service.forget()


@contextmanager
def serving(logbook: Path) -> Iterator[Site]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    app = create_app(ServerSettings(port=port, logbook=logbook, workers=1))
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="warning", lifespan="on"))
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        until = time.monotonic() + 20.0
        while not server.started and time.monotonic() < until:
            time.sleep(0.02)
        assert server.started, "the server did not start"
        address = f"http://127.0.0.1:{port}"
        with httpx.Client(base_url=address, timeout=20.0) as client:
            yield Site(address, app.state.service, client)
    finally:
        server.should_exit = True
        thread.join(20.0)


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Iterator[Site]:
    with serving(tmp_path_factory.mktemp("salon") / "logbook.sqlite3") as running:
        yield running
