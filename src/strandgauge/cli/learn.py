"""``strandgauge learn``: teach the tool your own card, levels and dyes; list, choose and remove them."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from strandgauge.cli.learncard import card
from strandgauge.cli.learndye import dye
from strandgauge.cli.learnlevels import levels
from strandgauge.cli.options import JsonOption
from strandgauge.cli.outcome import Session

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
        raise typer.BadParameter("Give the NAME of something learned, or --shipped.")
    if name is None:
        use_shipped(("levels", "card") if kind is None else (kind,))
        print("What ships with strandgauge is used again.")
        return
    found = find(name, kind)
    if found.kind == "dye":
        print(f"'{found.name}' is a dye: all dyes you taught are on the shelf already.")
        return
    put_in_use(found)
    print(f"'{found.name}' is used from now on: {_WHAT[found.kind]}.")


def remove(context: typer.Context, name: NameArgument, kind: KindOption = None) -> None:
    """Remove something learned."""
    from strandgauge.learn.kept import find, remove

    found = find(name, kind)
    remove(found)
    again = " What ships with strandgauge is used again." if found.in_use and found.kind != "dye" else ""
    print(f"'{found.name}' ({found.kind}) is removed.{again}")


_WHAT = {
    "levels": "every reading without --ladder states its levels, and names it",
    "card": "every reading without --card corrects by your print's own colours, and names it",
}

PARTS = {
    "levels": levels,
    "card": card,
    "dye": dye,
    "list": list_learned,
    "use": use,
    "remove": remove,
}
