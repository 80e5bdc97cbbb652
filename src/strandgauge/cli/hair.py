"""What the commands of the outlook share: where the hair's colour comes from, and the files on the shelf."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.looks import source
from strandgauge.cli.options import misuse

if TYPE_CHECKING:
    from strandgauge.judge.history import History
    from strandgauge.judge.outlook import BaseZone
    from strandgauge.kit import Kit

HistoryOption = Annotated[
    Path | None,
    typer.Option(
        "--history", metavar="FILE", help="What was asked of the client, a TOML file; see docs/safety.md."
    ),
]
ToldOption = Annotated[
    list[str] | None,
    typer.Option(
        "--told", metavar="KEY=VALUE", help="One fact of the history, such as henna=yes; may be given again."
    ),
]

ShelfOption = Annotated[
    str | None,
    typer.Option("--shelf", metavar="DYE,DYE,...", help="Mix from none but these dyes."),
]


def only_on_shelf(kit: Kit, names: str | None) -> Kit:
    """Return the kit with none but the dyes that an option names; all of them where it names none.

    Raises
    ------
    UnknownDyeError : a name is that of no dye.
    """
    if names is None:
        return kit
    chosen = kit.shelf.only(part.strip() for part in names.split(","))
    if not chosen.dyes:
        raise misuse("empty-shelf")
    return replace(kit, shelf=chosen)


def hair_from(text: str) -> str | bytes:
    """Return what an argument names as hair: itself, or the photo on standard input for ``-``."""
    found = source(Path(text))
    return found if isinstance(found, bytes) else text


def load_told(history: Path | None, told: list[str] | None) -> History:
    """Return what was told of the hair, in a file and by options; the options come last."""
    from strandgauge.judge.history import NOTHING_TOLD, history_told, load_history

    if history is not None and "=" in history.name and not history.exists():
        raise misuse("history-file", told=history)
    return history_told(told or (), NOTHING_TOLD if history is None else load_history(history))


def whole_of(zones: tuple[BaseZone, ...]) -> BaseZone:
    """Return the zone that stands for the hair as a whole."""
    return next((zone for zone in zones if zone.name == "overall"), zones[0])
