"""What the parts of ``strandgauge log`` share: which logbook, which client."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.options import misuse
from strandgauge.errors import UnknownEntryError

if TYPE_CHECKING:
    from strandgauge.logbook.book import Logbook
    from strandgauge.logbook.records import Client

LogbookOption = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE",
        help="The logbook's file, if it is another than your own one or the one that STRANDGAUGE_LOGBOOK names.",
        show_default=False,
    ),
]
ClientArgument = Annotated[str, typer.Argument(metavar="CLIENT", help="The client's alias.")]


def opened(context: typer.Context, logbook: Path | None, *, new: bool = False) -> Logbook:
    """Open the logbook that an option names, before or behind the name of the part.

    Parameters
    ----------
    new : whether a file that is not there may be made.
    """
    from strandgauge.logbook.book import open_logbook

    before = context.parent.params.get("logbook") if context.parent is not None else None
    named = logbook or before
    if named is not None and not new and not named.exists():  # a slip of the finger would make an empty one
        raise misuse("no-logbook", logbook=named)
    return open_logbook(named)


def client_called(logbook: Logbook, alias: str) -> Client:
    """Return the client of an alias.

    Raises
    ------
    UnknownEntryError : there is none; the remedy names one that is spelled much like it.
    """
    client = logbook.find_client(alias)
    if client is not None:
        return client
    import difflib

    near = difflib.get_close_matches(alias, [one.alias for one in logbook.clients()], n=1)
    if near:
        raise UnknownEntryError(fault="near-client", alias=alias, near=near[0])
    raise UnknownEntryError(fault="no-client", alias=alias)
