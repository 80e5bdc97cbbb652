"""Runs the server until it is told to stop."""

from __future__ import annotations

import asyncio
import logging
import signal
import socket
from collections.abc import Sequence
from typing import Any

import h11
import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from strandgauge.web.security import STRICT_HEADERS
from strandgauge.web.settings import Limits

GRACE_SECONDS = 10
"""How long requests under way may take to end once the server is told to stop."""
DISCARD_SECONDS = 10.0
"""How long the rest of a body that was refused is read and thrown away, so that the refusal is still heard."""


def run(app: ASGIApp, listeners: Sequence[socket.socket], limits: Limits, *, debug: bool = False) -> None:
    """Serve until Ctrl-C or SIGTERM, then finish what is under way and return."""
    logging.getLogger("uvicorn.error").setLevel(logging.INFO if debug else logging.CRITICAL)
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            http=impatient(limits),
            ws="none",
            lifespan="on",
            log_config=None,
            access_log=False,  # addresses may carry the token, and what a salon looks at is nobody's business
            proxy_headers=False,
            server_header=False,
            limit_concurrency=limits.connections,
            timeout_keep_alive=20,
            timeout_graceful_shutdown=GRACE_SECONDS,
        )
    )
    # The server gives the signals that ended it to whoever handled them before: here to nobody.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: None)
    server.run(sockets=list(listeners))


def impatient(limits: Limits) -> type[H11Protocol]:
    """Return the HTTP protocol that hangs up on a client that does not get to the point."""

    class ImpatientProtocol(H11Protocol):
        """Closes a connection whose request's head, or whose refused body, does not end in time."""

        _clock: asyncio.TimerHandle | None = None

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            super().connection_made(transport)
            self._watch()

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            self._watch()

        def on_response_complete(self) -> None:
            super().on_response_complete()
            self._watch()

        def connection_lost(self, exc: Exception | None) -> None:
            self._rest()
            super().connection_lost(exc)

        def send_400_response(self, msg: str) -> None:
            """Answer what is no HTTP, with the strict headers too."""
            headers = [(name.encode(), value.encode()) for name, value in STRICT_HEADERS.items()]
            headers += [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
            events: list[Any] = [
                h11.Response(status_code=400, headers=headers, reason=b"Bad Request"),
                h11.Data(data=msg.encode("ascii")),
                h11.EndOfMessage(),
            ]
            for event in events:
                self.transport.write(self.conn.send(event) or b"")
            self.transport.close()

        def _watch(self) -> None:
            """Run the clock exactly while the client owes the rest of something."""
            owes_head = self.conn.their_state is h11.IDLE
            owes_refused_body = (
                self.conn.their_state is h11.SEND_BODY
                and self.cycle is not None
                and self.cycle.response_complete
            )
            if not (owes_head or owes_refused_body):
                self._rest()
            elif self._clock is None:
                seconds = limits.header_seconds if owes_head else DISCARD_SECONDS
                self._clock = self.loop.call_later(seconds, self._hang_up)

        def _rest(self) -> None:
            if self._clock is not None:
                self._clock.cancel()
                self._clock = None

        def _hang_up(self) -> None:
            self.transport.abort()

    return ImpatientProtocol
