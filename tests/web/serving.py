"""A server in a process of its own, and one inside the test, for the tests of the server."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import psutil

SAMPLES = Path(__file__).parents[2] / "sample_images"
GOOD = SAMPLES / "uneven.jpg"
BLURRED = SAMPLES / "refuse-blur.jpg"
HOST = "http://127.0.0.1:8423"

_PROGRAM = """
import json, sys
from pathlib import Path
from strandgauge.web.app import create_app
from strandgauge.web.listen import listen
from strandgauge.web.run import run
from strandgauge.web.settings import Limits, ServerSettings
given = json.loads(sys.argv[1])
settings = ServerSettings(
    port=given["port"], logbook=Path(given["logbook"]), workers=given["workers"], limits=Limits(**given["limits"])
)
listener = listen("127.0.0.1", given["port"])
app = create_app(settings)
print("ready", flush=True)
run(app, [listener], settings.limits)
"""


@dataclass
class RunningServer:
    """A server in a process of its own."""

    process: subprocess.Popen[bytes]
    port: int

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def client(self, **options: Any) -> httpx.Client:
        return httpx.Client(base_url=self.address, timeout=120, trust_env=False, **options)

    def rss(self) -> int:
        """Resident bytes of the server's own process."""
        return psutil.Process(self.process.pid).memory_info().rss

    def worker_ids(self) -> list[int]:
        """Ids of the processes that read photos: children of the one that makes copies of itself."""
        children = psutil.Process(self.process.pid).children()
        return [worker.pid for child in children for worker in child.children()]

    def look(self, client: httpx.Client, photo: bytes | None = None, **fields: Any) -> httpx.Response:
        content = GOOD.read_bytes() if photo is None else photo
        return client.post("/api/looks", files={"photo": ("p.jpg", content, "image/jpeg")}, data=fields)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def running(folder: Path, *, workers: int = 1, **limits: float) -> Iterator[RunningServer]:
    """Start a server on loopback and stop it at the end, whatever happens."""
    port = free_port()
    given = {"port": port, "logbook": str(folder / "logbook.sqlite3"), "workers": workers, "limits": limits}
    process = subprocess.Popen(
        [sys.executable, "-c", _PROGRAM, json.dumps(given)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "TMPDIR": str(folder)},
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == b"ready\n", process.stderr.read().decode()
        yield RunningServer(process, port)
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
            try:
                process.wait(60)
            except subprocess.TimeoutExpired:
                process.kill()
        process.communicate()


class Inside:
    """Asks an application inside this process, without a network."""

    def __init__(self, app: Any, base: str = HOST) -> None:
        self.app, self.base = app, base

    def ask(self, method: str, path: str, **options: Any) -> httpx.Response:
        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False, client=("10.0.0.7", 1))
            async with httpx.AsyncClient(transport=transport, base_url=self.base) as client:
                return await client.request(method, path, **options)

        return asyncio.run(asked())

    def get(self, path: str, **options: Any) -> httpx.Response:
        return self.ask("GET", path, **options)

    def post(self, path: str, **options: Any) -> httpx.Response:
        return self.ask("POST", path, **options)

    def look(self, photo: bytes | None = None, **fields: Any) -> httpx.Response:
        content = GOOD.read_bytes() if photo is None else photo
        return self.post("/api/looks", files={"photo": ("p.jpg", content, "image/jpeg")}, data=fields)
