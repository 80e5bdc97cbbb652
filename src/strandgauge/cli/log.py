"""``strandgauge log``: what is in the logbook, taken out of it as files, and deleted from it."""

from __future__ import annotations

import difflib
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.jsonlines import JsonLines
from strandgauge.cli.options import JsonOption, forbid_overwriting
from strandgauge.cli.outcome import Session
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


def log(context: typer.Context, logbook: LogbookOption = None, json: JsonOption = None) -> None:
    """List the clients of the logbook; show, export, copy or delete what is in it."""
    session: Session = context.obj
    if json is not None:
        session.json = JsonLines(json, several=False)
    with _opened(context, logbook) as book:
        summaries, path = book.client_summaries(), str(book.path)
    if session.json is not None:
        from strandgauge.report.logbookjson import clients_document

        session.json.write(clients_document(path, summaries))
    if session.json is None or not session.json.to_standard_output:
        from strandgauge.report.logbookterminal import print_clients

        print_clients(summaries, path)


def show(
    context: typer.Context, client: ClientArgument, logbook: LogbookOption = None, json: JsonOption = None
) -> None:
    """Show a client's visits, strands and checks."""
    session: Session = context.obj
    if json is not None:
        session.json = JsonLines(json, several=False)
    with _opened(context, logbook) as book:
        who = _client_called(book, client)
        if session.json is not None:
            from strandgauge.report.logbookjson import client_document

            session.json.write(client_document(book, who))
        if session.json is None or not session.json.to_standard_output:
            from strandgauge.report.logbookterminal import print_client

            print_client(book, who)


def export(
    context: typer.Context,
    client: Annotated[
        str | None, typer.Argument(metavar="CLIENT", help="The client's alias; everybody when left out.")
    ] = None,
    csv: Annotated[
        Path | None, typer.Option(metavar="FILE|-", help="A table for a spreadsheet, a check a line.")
    ] = None,
    jsonl: Annotated[
        Path | None, typer.Option(metavar="FILE|-", help="Everything for programs, a check a line.")
    ] = None,
    pictures: Annotated[
        bool, typer.Option("--pictures", help="Put thumbnails and kept photos into --jsonl, as base64.")
    ] = False,
    logbook: LogbookOption = None,
) -> None:
    """Write checks to a file, for a spreadsheet or for programs."""
    if csv is None and jsonl is None:
        raise typer.BadParameter("Name a file with --csv or --jsonl.")
    if pictures and jsonl is None:
        raise typer.BadParameter("--pictures goes with --jsonl.")
    from strandgauge.report.logbookexport import checks_of, csv_lines, json_lines

    with _opened(context, logbook) as book:
        forbid_overwriting([book.path], csv, jsonl)
        clients = book.clients() if client is None else (_client_called(book, client),)
        if csv is not None:
            _write(csv, csv_lines(checks_of(book, clients)))
        if jsonl is not None:
            _write(jsonl, json_lines(book, checks_of(book, clients), pictures=pictures))


def delete(
    context: typer.Context,
    client: ClientArgument,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    logbook: LogbookOption = None,
    json: JsonOption = None,
) -> None:
    """Delete a client with everything of theirs, for good."""
    session: Session = context.obj
    if json is not None:
        session.json = JsonLines(json, several=False)
    from strandgauge.report.logbookterminal import counts, print_deletion

    with _opened(context, logbook) as book:
        who = _client_called(book, client)
        there = next(one for one in book.client_summaries() if one.client.id == who.id)
        question = f"Delete {who.alias}, with {counts(there.visits, there.checks)}, for good?"
        if not yes and not typer.confirm(question, err=True):
            print("Nothing was deleted.", file=sys.stderr)
            raise typer.Abort
        deletion = book.delete_client(who.id)
    if session.json is not None:
        from strandgauge.report.logbookjson import deletion_document

        session.json.write(deletion_document(who, deletion))
    if session.json is None or not session.json.to_standard_output:
        print_deletion(who, deletion)


def backup(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file that is not there yet.")],
    logbook: LogbookOption = None,
) -> None:
    """Write a copy of the logbook, whole even while others write in it."""
    with _opened(context, logbook) as book:
        book.back_up(file)


def check(context: typer.Context, logbook: LogbookOption = None) -> None:
    """Check the whole logbook for damage."""
    with _opened(context, logbook) as book:
        book.verify()
        print(f"No damage found in {book.path}.")


PARTS = {
    "show": show,
    "export": export,
    "delete": delete,
    "backup": backup,
    "check": check,
}
"""Commands of this command."""


def _opened(context: typer.Context, logbook: Path | None) -> Logbook:
    """Open the logbook that an option names, before or behind the name of the part."""
    from strandgauge.logbook.book import open_logbook

    before = context.parent.params.get("logbook") if context.parent is not None else None
    named = logbook or before
    if named is not None and not named.exists():  # a slip of the finger would make an empty one
        raise typer.BadParameter(f"There is no logbook '{named}'.")
    return open_logbook(named)


def _client_called(logbook: Logbook, alias: str) -> Client:
    client = logbook.find_client(alias)
    if client is not None:
        return client
    near = difflib.get_close_matches(alias, [one.alias for one in logbook.clients()], n=1)
    raise UnknownEntryError(
        f"The logbook has no client called '{alias}'.",
        remedy=f"Did you mean '{near[0]}'? See 'strandgauge log'." if near else None,
    )


def _write(target: Path, pieces: Iterable[bytes]) -> None:
    if str(target) == "-":
        for piece in pieces:
            sys.stdout.buffer.write(piece)
        sys.stdout.buffer.flush()
        return
    from strandgauge.report.files import write_parts

    write_parts(target, pieces)
