"""``strandgauge log``: what is in the logbook, entered, taken out of it as files, and deleted from it."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from strandgauge.cli.logadd import add
from strandgauge.cli.logoptions import ClientArgument, LogbookOption, client_called, opened
from strandgauge.cli.logrepair import bin, check, merge, rename, restore
from strandgauge.cli.options import JsonOption, misuse
from strandgauge.cli.outcome import Session, refuse_overwriting


def log(
    context: typer.Context, session: Session, logbook: LogbookOption = None, json: JsonOption = None
) -> None:
    """List the clients of the logbook; show, add, export, copy or delete what is in it."""
    with opened(context, logbook) as book:
        summaries, path = book.client_summaries(), str(book.path)
    from strandgauge.show.json.logbook import clients_document
    from strandgauge.show.terminal.logbook import print_clients

    session.show(clients_document(path, summaries), print_clients, summaries, path)


def show(
    context: typer.Context,
    session: Session,
    client: ClientArgument,
    logbook: LogbookOption = None,
    json: JsonOption = None,
) -> None:
    """Show a client's visits, strands and checks."""
    with opened(context, logbook) as book:
        who = client_called(book, client)
        from strandgauge.show.json.logbook import client_document
        from strandgauge.show.terminal.logbook import print_client

        session.show(client_document(book, who), print_client, book, who)


def export(
    context: typer.Context,
    client: Annotated[str | None, typer.Argument()] = None,
    csv: Path | None = None,
    jsonl: Path | None = None,
    pictures: bool = False,
    logbook: LogbookOption = None,
) -> None:
    """Write checks to a file, for a spreadsheet or for programs.

    Parameters
    ----------
    client CLIENT : The client's alias; everybody when left out.
    csv FILE|- : A table for a spreadsheet, a check a line.
    jsonl FILE|- : Everything for programs, a check a line.
    pictures : Put thumbnails and kept photos into --jsonl, as base64.
    """
    if csv is None and jsonl is None:
        raise misuse("csv-or-jsonl")
    if pictures and jsonl is None:
        raise misuse("pictures-with-jsonl")
    from strandgauge.show.cells import csv_lines
    from strandgauge.show.export import COLUMNS, json_lines, looks_of

    with opened(context, logbook) as book:
        refuse_overwriting([book.path], [file for file in (csv, jsonl) if file is not None])
        clients = book.clients() if client is None else (client_called(book, client),)
        if csv is not None:
            _write(csv, csv_lines(COLUMNS, looks_of(book, clients)))
        if jsonl is not None:
            _write(jsonl, json_lines(book, clients, pictures=pictures))


def delete(
    context: typer.Context,
    session: Session,
    client: ClientArgument,
    yes: bool = False,
    logbook: LogbookOption = None,
    json: JsonOption = None,
) -> None:
    """Delete a client with everything of theirs, for good.

    Parameters
    ----------
    yes : Do not ask.
    """
    from strandgauge.show.terminal.logbook import counts, print_deletion
    from strandgauge.words import say

    with opened(context, logbook) as book:
        who = client_called(book, client)
        there = next(one for one in book.client_summaries() if one.client.id == who.id)
        question = say("log.delete", client=who.alias, counts=counts(there.visits, there.checks))
        if not yes and not typer.confirm(question, err=True):
            print(say("log.not-deleted"), file=sys.stderr)
            raise typer.Abort
        deletion = book.delete("client", who.id)
    from strandgauge.show.json.logbook import deletion_document

    session.show(deletion_document(who, deletion), print_deletion, who, deletion)


def backup(context: typer.Context, file: Path, logbook: LogbookOption = None) -> None:
    """Write a copy of the logbook, whole even while others write in it.

    Parameters
    ----------
    file FILE : A file that is not there yet.
    """
    with opened(context, logbook) as book:
        book.back_up(file)


PARTS = {
    "show": show,
    "add": add,
    "export": export,
    "delete": delete,
    "backup": backup,
    "check": check,
    "rename": rename,
    "merge": merge,
    "bin": bin,
    "restore": restore,
}
"""Commands of this command."""


def _write(target: Path, pieces: Iterable[bytes]) -> None:
    if str(target) == "-":
        for piece in pieces:
            sys.stdout.buffer.write(piece)
        sys.stdout.buffer.flush()
        return
    from strandgauge.files.write import write_parts

    write_parts(target, pieces)
