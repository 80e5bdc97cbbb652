"""The parts of ``strandgauge log`` that mend: damage, wrong names, doubles, and what was taken out by mistake."""

from __future__ import annotations

from typing import Annotated

import typer

from strandgauge.cli.logoptions import ClientArgument, LogbookOption, client_called, opened


def check(
    context: typer.Context,
    set_aside: Annotated[
        bool, typer.Option("--set-aside", help="Put what is damaged into the bin, so that the rest goes on.")
    ] = False,
    logbook: LogbookOption = None,
) -> int:
    """Check the whole logbook for damage, every check in it too."""
    from strandgauge.show.export import looks_of
    from strandgauge.show.json.logbook import damage_of

    with opened(context, logbook) as book:
        book.verify()
        damaged = 0
        for found in looks_of(book, book.clients()):
            one, when = found.check, f"{found.visit.started:%Y-%m-%d}"
            if (damage := damage_of(one)) is None:
                continue
            damaged += 1
            print(f"Check {one.id} ({found.client.alias}, {when}, {found.strand.name}): {damage}.")
            if set_aside:
                print(f"  set aside; 'strandgauge log restore {book.put_in_bin('check', one.id, 'damaged')}'")
        if not damaged:
            print(f"No damage found in {book.path}.")
        elif not set_aside:
            print("The rest is whole. --set-aside takes what is damaged out of the way.")
    return 1 if damaged else 0


def rename(
    context: typer.Context,
    client: ClientArgument,
    alias: Annotated[str, typer.Argument(metavar="NEW", help="The new alias.")],
    logbook: LogbookOption = None,
) -> None:
    """Give a client another alias."""
    with opened(context, logbook) as book:
        print(f"Now called {book.rename_client(client_called(book, client).id, alias).alias}.")


def merge(
    context: typer.Context,
    client: ClientArgument,
    into: Annotated[str, typer.Argument(metavar="INTO", help="The client who gets all visits.")],
    logbook: LogbookOption = None,
) -> None:
    """Make one client of two who are the same person."""
    with opened(context, logbook) as book:
        number = book.merge("client", client_called(book, client).id, client_called(book, into).id)
    print(f"Merged. 'strandgauge log restore {number}' undoes it within the hour.")


def bin(context: typer.Context, logbook: LogbookOption = None) -> None:
    """List what was taken out and can be put back."""
    with opened(context, logbook) as book:
        binned = book.bin()
    for one in binned:
        print(f"{one.id}  {one.kind} {one.entry_id}: {one.name} ({one.why} {one.at.astimezone():%H:%M})")
    if not binned:
        print("Nothing is in the bin.")


def restore(
    context: typer.Context,
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="As 'strandgauge log bin' lists it.")],
    logbook: LogbookOption = None,
) -> None:
    """Put back what was taken out."""
    with opened(context, logbook) as book:
        kind, _ = book.put_back(number)
    print(f"The {kind} is back.")
