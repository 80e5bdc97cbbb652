"""``strandgauge read``: from photos of a strand to its reading."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.looks import source
from strandgauge.cli.options import (
    CsvOption,
    JsonOption,
    ReadingKit,
    SeparatorOption,
    WetOption,
    check_picture,
    write_readings,
)
from strandgauge.cli.outcome import Session
from strandgauge.errors import StrandgaugeError
from strandgauge.files.endings import WRITTEN_PICTURES

if TYPE_CHECKING:
    from strandgauge.codes.facts import Note
    from strandgauge.dye.targets import Target
    from strandgauge.kit import Kit
    from strandgauge.reading.model import Reading


def read(
    session: Session,
    open_kit: ReadingKit,
    photos: Annotated[
        list[Path],
        typer.Argument(metavar="PHOTO...", help="Photos of a strand on the card; - is one from a pipe."),
    ],
    json: JsonOption = None,
    csv: CsvOption = None,
    separator: SeparatorOption = "comma",
    picture: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Also write a picture to show a client: the strand, and its level on the ladder. A PNG or JPEG "
            "file; with several photos, a folder.",
        ),
    ] = None,
    target: Annotated[
        str | None,
        typer.Option(
            metavar="SHADE",
            help="The wanted shade, shown beside the strand in the picture; what would settle whether the hair is "
            "light enough for it is told, where that is open.",
        ),
    ] = None,
    technical: Annotated[
        bool, typer.Option("--technical", help="Show the whole card, all numbers and notes in the picture.")
    ] = False,
    wet: WetOption = None,
    together: Annotated[
        bool,
        typer.Option(
            "--together",
            help="All photos show one strand, the card turned or the strand re-laid between: one reading.",
        ),
    ] = False,
) -> int:
    """Read level, evenness, undertone and warmth of a strand from a photo beside the card."""
    single = together or len(photos) == 1
    session.several = not single
    for photo in photos:
        if photo.is_dir():
            raise typer.BadParameter(
                f"'{photo}' is a folder. Read all of it with: strandgauge batch {photo} --out results"
            )
    if single:
        check_picture(picture)
    elif picture is not None and picture.suffix.lower() in WRITTEN_PICTURES:
        raise typer.BadParameter(f"With several photos, name a folder, not '{picture}'.")
    if picture is None and (target is not None or technical):
        raise typer.BadParameter(
            "--target and --technical say how the picture looks: name one with --picture."
        )
    from strandgauge.files.write import make_folder
    from strandgauge.show.terminal.reading import print_reading

    if picture is not None and not single:
        make_folder(picture)
    kit = open_kit()
    pictures = _Pictures(None if target is None else kit.target(target), technical)
    worst, readings = 0, []
    for some in [photos] if together else [[photo] for photo in photos]:
        file = picture
        if picture is not None and not single:
            file = picture / f"{some[0].stem}-reading.png"
        try:
            readings.append(reading := _read(some, kit, wet, file, pictures))
            session.show(reading, print_reading, reading, None, _surer(reading, pictures.wish, kit))
        except StrandgaugeError as error:
            if single:
                raise
            worst = max(worst, session.tell(error))
    if csv is not None:
        write_readings(csv, readings, separator)
    return worst


@dataclass(frozen=True, slots=True)
class _Pictures:
    """How the pictures of readings look."""

    wish: Target | None
    technical: bool


def _read(photos: list[Path], kit: Kit, wet: bool | None, picture: Path | None, how: _Pictures) -> Reading:
    look = kit.look(*(source(photo) for photo in photos), wet=wet)
    if picture is not None:
        if not look.measured:
            raise typer.BadParameter(f"'{photos[0]}' is a saved reading: a picture is made of the photo.")
        from strandgauge.show.picture.reading import write_picture

        first, ladder = look.measured[0], kit.ladder
        write_picture(picture, first, look.reading, ladder=ladder, wish=how.wish, technical=how.technical)
    return look.reading


def _surer(reading: Reading, wish: Target | None, kit: Kit) -> Note | None:
    """Return what would settle whether the hair is light enough for the wanted shade, where that is open."""
    if wish is None:
        return None
    from strandgauge.judge.outlook import Settings, base_zones

    try:
        return kit.reach(base_zones(reading), wish, Settings(pretone=False, instead=False)).surer
    except StrandgaugeError:  # no dye makes it of this hair; the reading stands
        return None
