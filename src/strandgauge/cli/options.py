"""Options that several commands share, and what they mean."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.codes.catalogue import said, say
from strandgauge.files.endings import PHOTO_ENDINGS, WRITTEN_PICTURES
from strandgauge.files.write import make_folder
from strandgauge.show.cells import Separator

if TYPE_CHECKING:
    from strandgauge.card.model import CardDefinition
    from strandgauge.kit import Kit
    from strandgauge.reading.model import Reading


class ZoneChoice(StrEnum):
    """One zone of a reading, or the strand as a whole."""

    overall = "overall"
    root = "root"
    mids = "mids"
    ends = "ends"


SeparatorOption = Annotated[
    Separator,
    typer.Option(help="Between the cells of CSV; semicolon for spreadsheets that write 8,2 for 8.2."),
]
CsvOption = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Also write the readings as a table for a spreadsheet."),
]
WetOption = Annotated[
    bool | None,
    typer.Option(
        "--wet/--dry",
        help="Whether the strand is wet in the photos: then the dry estimate is stated, less sure.",
        show_default=False,
    ),
]
CardOption = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="The card's definition, if it is another than the one shipped."),
]
ProfileOption = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Colours measured on your own print, as CGATS text."),
]
JsonOption = Annotated[
    str | None,
    typer.Option(
        metavar="FILE|-",
        help="Also write the result as JSON to a file, or only as JSON with '-'.",
        show_default=False,
    ),
]


LadderOption = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="The ladder of levels, if it is another than the one in use."),
]


DyesOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--dyes", metavar="FILE", help="Put the dyes of this file on the shelf; may be given again."
    ),
]
TargetsOption = Annotated[
    list[Path] | None,
    typer.Option("--targets", metavar="FILE", help="Add the shades of this file; may be given again."),
]


KIT_OPTIONS = {
    "dyes": DyesOption,
    "targets": TargetsOption,
    "card": CardOption,
    "profile": ProfileOption,
    "ladder": LadderOption,
}
OpenKit = Callable[[], "Kit"]
"""Loads the kit that a command's options name; a command that takes one has those options."""
CardKit = Annotated[OpenKit, ("card", "profile")]
ReadingKit = Annotated[OpenKit, ("card", "profile", "ladder")]
ServingKit = Annotated[OpenKit, ("card", "profile", "ladder", "dyes")]
MixingKit = Annotated[OpenKit, ("dyes", "card", "profile")]
FullKit = Annotated[OpenKit, tuple(KIT_OPTIONS)]


def nominal_card(card: Path | None) -> CardDefinition:
    """Return the card that an option names, or the one that ships, as it is meant to be printed."""
    from strandgauge.card.definition import load_card
    from strandgauge.reading.pipeline import default_card

    return load_card(card) if card is not None else default_card()


def misuse(code: str, **facts: object) -> typer.BadParameter:
    """Return (not raise) the error of a wrongly used command, said by the catalogue's ``[usage]``."""
    return typer.BadParameter(say(f"usage.{code}", **facts))


def photos_in(folder: Path) -> list[Path]:
    """Return the photos that lie in a folder itself, by name; hidden ones are left out.

    Raises
    ------
    typer.BadParameter : there is no such folder, or no photo in it.
    """
    if not folder.is_dir():
        raise misuse("no-folder", folder=folder)
    found = sorted(
        one
        for one in folder.iterdir()
        if one.suffix.lower() in PHOTO_ENDINGS and not one.name.startswith(".")
    )
    if not found:
        raise misuse("no-photo", folder=folder)
    return found


def tell_dry(*readings: Reading | None) -> None:
    """Say on standard error, once, that strands were taken for dry since nobody said what they are."""
    notes = (note for one in readings if one is not None for note in one.notes)
    if (assumed := next((note for note in notes if note.code == "dry-assumed"), None)) is not None:
        print(f"strandgauge: {say('command.note')}: {said(assumed)}", file=sys.stderr)


def check_picture(picture: Path | None) -> None:
    """Refuse, before any work, a picture of a kind that is not written."""
    if picture is not None and picture.suffix.lower() not in WRITTEN_PICTURES:
        raise misuse("no-picture", endings=", ".join(WRITTEN_PICTURES), picture=picture)


def pictures_of(
    photos: list[Path], picture: Path | None, kind: str, *, single: bool
) -> list[tuple[Path, Path | None]]:
    """Return each photo with where its picture goes: the file that is named, or one in a folder for several."""
    if picture is None or single:
        check_picture(picture)
        return [(photo, picture) for photo in photos]
    if picture.suffix.lower() in WRITTEN_PICTURES:
        raise misuse("several-photos", picture=picture)
    make_folder(picture)
    return [(photo, picture / f"{photo.stem}-{kind}.png") for photo in photos]


def write_readings(file: Path, readings: Iterable[Reading], separator: Separator) -> None:
    """Write readings as the table that ``strandgauge batch`` makes of a folder.

    Raises
    ------
    CannotWriteError : no space, no permission.
    """
    from strandgauge.sheet.record import Record
    from strandgauge.show.table import Table, write_csv

    records = [Record(one.photo, "", one, taken=one.taken) for one in readings]
    write_csv(file, Table(), records, separator)
