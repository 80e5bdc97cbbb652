"""``strandgauge learn``: teach the tool your own card, levels and dyes; list, choose and remove them."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from strandgauge.cli.learncard import card
from strandgauge.cli.learndye import dye
from strandgauge.cli.learnlevels import levels
from strandgauge.cli.options import JsonOption, misuse
from strandgauge.cli.outcome import Session
from strandgauge.codes.catalogue import say

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="What it was called.")]
KindOption = Annotated[
    Literal["levels", "card", "dye"] | None, typer.Option(help="What it is, where several have the name.")
]


def learn(session: Session) -> None:
    """Teach the tool your own print of the card, your own levels, your own dyes."""
    list_learned(session)


def list_learned(session: Session, json: JsonOption = None) -> None:
    """List what was learned, and what of it is in use."""
    from strandgauge.learn.kept import home, saved
    from strandgauge.show.json.learned import LearnedList
    from strandgauge.show.terminal.learned import print_learned

    session.show(LearnedList(str(home()), saved()), print_learned)


def use(
    context: typer.Context,
    name: Annotated[str | None, typer.Argument()] = None,
    kind: KindOption = None,
    shipped: bool = False,
) -> None:
    """Use a ladder or a card from now on, in every reading that names no other.

    Parameters
    ----------
    name [NAME] : What it was called.
    shipped : Go back to the ladder and the card that ship with strandgauge.
    """
    from strandgauge.learn.kept import find, put_in_use, use_shipped

    if shipped == (name is not None):
        raise misuse("name-or-shipped")
    if name is None:
        use_shipped(("levels", "card") if kind is None else (kind,))
        print(say("learned.shipped-again"))
        return
    found = find(name, kind)
    if found.kind == "dye":
        print(say("learned.is-dye", name=found.name))
        return
    put_in_use(found)
    print(say("learned.from-now-on", name=found.name, kind=found.kind))


def remove(context: typer.Context, name: NameArgument, kind: KindOption = None) -> None:
    """Remove something learned."""
    from strandgauge.learn.kept import find, remove

    found = find(name, kind)
    remove(found)
    print(say("learned.removed", name=found.name, kind=found.kind))
    if found.in_use and found.kind != "dye":
        print(say("learned.shipped-again"))


PARTS = {
    "levels": levels,
    "card": card,
    "dye": dye,
    "list": list_learned,
    "use": use,
    "remove": remove,
}
