"""``strandgauge serve``: the phone page, on this computer or in the salon's own network."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.options import ServingKit
from strandgauge.cli.outcome import Session
from strandgauge.codes.catalogue import say
from strandgauge.web.settings import DEFAULT_PORT

if TYPE_CHECKING:
    from strandgauge.web.settings import ServerSettings


def serve(
    session: Session,
    open_kit: ServingKit,
    port: Annotated[int, typer.Option(min=1, max=65535)] = DEFAULT_PORT,
    lan: bool = False,
    address: str | None = None,
    new_key: bool = False,
    qr: bool = True,
    logbook: Path | None = None,
) -> None:
    """Serve the phone page: take a photo at the chair, and the answer is there.

    Parameters
    ----------
    port : Where to listen.
    lan : Let phones in the same network in, by a code that is shown here.
    address ADDRESS : With --lan: this address of the computer, where it has several.
    new_key : Let no phone in that was let in before.
    qr : Show the address as a code to scan.
    logbook FILE : The logbook to use, instead of the one in your data folder.
    """
    from strandgauge.logbook.connect import default_path
    from strandgauge.web.keys import new_code, new_token, session_key
    from strandgauge.web.listen import LOOPBACK, listen, local_address
    from strandgauge.web.settings import ServerSettings
    from strandgauge.web.workers import WorkerPool

    kit = open_kit()
    kit.card.strand_window()
    addresses = (local_address(address), LOOPBACK) if lan else (LOOPBACK,)
    listeners = [listen(address, port) for address in addresses]
    keys = (logbook or default_path()).with_name("phones.json")
    settings = ServerSettings(
        port=port,
        addresses=addresses,
        token=new_token() if lan else None,
        code=new_code() if lan else None,
        session=session_key(keys, anew=new_key) if lan else None,
        logbook=logbook,
        kit=kit,
    )
    # The workers make ready while the rest is loaded and the phone is brought to the code.
    workers = WorkerPool(settings.workers, kit, settings.limits)
    workers.start()
    try:
        from strandgauge.logbook.book import open_logbook

        with open_logbook(settings.logbook) as book:
            _announce(settings, show_code=qr)
            from strandgauge.web.app import create_app
            from strandgauge.web.run import run

            app = create_app(settings, logbook=book, workers=workers)
            run(app, listeners, settings.limits, debug=session.debug)
    finally:
        workers.close()
    print(say("command.stopped"), flush=True)


def _announce(settings: ServerSettings, *, show_code: bool) -> None:
    """Say where the page is, at once: connections wait until it is there."""
    address = f"http://{settings.addresses[0]}:{settings.port}/"
    if settings.token is None:
        print(say("serving.here", address=address))
    else:
        code = settings.code or ""
        print(say("serving.at", address=f"{address}?token={settings.token}"))
        if show_code:
            _show_code(f"{address}?token={settings.token}")
        print(say("serving.code", address=address, code=f"{code[:4]} {code[4:]}"))
        print(say("serving.air"))
    print(say("serving.stays"), flush=True)


def _show_code(address: str) -> None:
    """Draw a QR code, where the terminal has the characters for it."""
    import io

    import segno

    drawing = io.StringIO()
    segno.make(address, error="l", micro=False).terminal(out=drawing, compact=True)
    try:
        drawing.getvalue().encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return
    print(drawing.getvalue())
