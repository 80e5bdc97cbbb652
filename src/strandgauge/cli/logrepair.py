"""The parts of ``strandgauge log`` that mend: damage, wrong names, doubles, and what was taken out by mistake."""

from __future__ import annotations

import typer

from strandgauge.cli.logoptions import ClientArgument, LogbookOption, client_called, opened
from strandgauge.words import say


def check(context: typer.Context, set_aside: bool = False, logbook: LogbookOption = None) -> int:
    """Check the whole logbook for damage, every check in it too.

    Parameters
    ----------
    set_aside : Put what is damaged into the bin, so that the rest goes on.
    """
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
            what = {"client": found.client.alias, "when": when, "strand": found.strand.name, "damage": damage}
            print(say("log.damaged", check=one.id, **what))
            if set_aside:
                number = book.put_in_bin("check", one.id, "damaged")
                print(f"  {say('log.set-aside', number=number)}")
        if not damaged:
            print(say("log.no-damage", path=book.path))
        elif not set_aside:
            print(say("log.rest-whole"))
    return 1 if damaged else 0


def rename(context: typer.Context, client: ClientArgument, alias: str, logbook: LogbookOption = None) -> None:
    """Give a client another alias.

    Parameters
    ----------
    alias NEW : The new alias.
    """
    with opened(context, logbook) as book:
        renamed = book.rename_client(client_called(book, client).id, alias)
    print(say("log.renamed", alias=renamed.alias))


def merge(context: typer.Context, client: ClientArgument, into: str, logbook: LogbookOption = None) -> None:
    """Make one client of two who are the same person.

    Parameters
    ----------
    into INTO : The client who gets all visits.
    """
    with opened(context, logbook) as book:
        number = book.merge("client", client_called(book, client).id, client_called(book, into).id)
    print(say("log.merged", number=number))


def bin(context: typer.Context, logbook: LogbookOption = None) -> None:
    """List what was taken out and can be put back."""
    with opened(context, logbook) as book:
        binned = book.bin()
    for one in binned:
        kind, why = say(f"kind.{one.kind}"), say(f"taken-out.{one.why}")
        print(f"{one.id}  {kind} {one.entry_id}: {one.name} ({why} {one.at.astimezone():%H:%M})")
    if not binned:
        print(say("log.bin-empty"))


def restore(context: typer.Context, number: int, logbook: LogbookOption = None) -> None:
    """Put back what was taken out.

    Parameters
    ----------
    number NUMBER : As 'strandgauge log bin' lists it.
    """
    with opened(context, logbook) as book:
        kind, _ = book.put_back(number)
    print(say("log.restored", kind=kind))
