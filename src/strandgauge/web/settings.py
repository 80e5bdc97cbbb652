"""What a running server is set to; every limit in one place."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strandgauge.kit import Kit

DEFAULT_PORT = 8423
MB = 1_000_000


@dataclass(frozen=True, slots=True)
class Limits:
    """How much of everything one client may ask for."""

    upload_bytes: int = 40 * MB
    """Of one request that carries a photo."""
    form_bytes: int = 64_000
    """Of one request that carries none."""
    body_seconds: float = 30.0
    """Time within which a request's body must have arrived."""
    header_seconds: float = 10.0
    """Time within which a request's head must have arrived."""
    uploads_at_once: int = 8
    """Photos that are received or read at one time; this bounds memory."""
    uploads_waiting: int = 64
    """Further uploads whose bodies wait unread; beyond, the answer is 503."""
    wait_seconds: float = 10.0
    """How long an upload waits for its turn before the answer is 503."""
    look_seconds: float = 20.0
    """Time within which a worker must have read a photo."""
    worker_bytes: int = 2_000 * MB
    """Address space of one worker process."""
    requests_per_second: float = 20.0
    """Refill of one client's allowance of requests."""
    requests_burst: int = 400
    uploads_per_second: float = 2.0
    """Refill of one client's allowance of uploads."""
    uploads_burst: int = 60
    codes_per_second: float = 1.0 / 6.0
    """Refill of the tries that all phones together have at the typed code: with eight digits, guessing for a whole
    day finds it once in seven thousand days."""
    codes_burst: int = 10
    connections: int = 512


@dataclass(frozen=True, slots=True)
class ServerSettings:
    """What ``strandgauge serve`` was asked for."""

    port: int = DEFAULT_PORT
    addresses: tuple[str, ...] = ("127.0.0.1",)
    """Addresses that are listened on; the Host header must name one of them, or ``names``."""
    names: tuple[str, ...] = ("localhost",)
    """Names by which the server may be called besides its addresses."""
    token: str | None = None
    """What a phone must show once; None on loopback, where none is asked for."""
    code: str | None = None
    """What may be typed on a phone instead: eight digits; None where nothing may."""
    session: str | None = field(default=None, repr=False)
    """What a phone that was let in keeps; made anew when None."""
    logbook: Path | None = None
    """The logbook's file; the one in the user's data folder when None."""
    kit: Kit | None = field(default=None, repr=False)
    """Card, ladder, dyes and shades of this salon; those that ship when None."""
    workers: int = field(default_factory=lambda: max(1, os.cpu_count() or 1))
    limits: Limits = field(default_factory=Limits)
