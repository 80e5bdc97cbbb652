"""``strandgauge read``: from photos of a strand to its reading."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.jsonlines import JsonLines
from strandgauge.cli.options import (
    CardOption,
    JsonOption,
    LadderOption,
    ProfileOption,
    forbid_overwriting,
    load_card_for,
    load_ladder_for,
)
from strandgauge.cli.outcome import Session
from strandgauge.errors import StrandgaugeError

if TYPE_CHECKING:
    from strandgauge.card.model import CardDefinition
    from strandgauge.dye.targets import Target
    from strandgauge.hair.levels import Ladder
    from strandgauge.reading.model import Reading

PICTURE_ENDINGS = (".png", ".jpg", ".jpeg")


def read(
    context: typer.Context,
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos of a strand on the card.")],
    json: JsonOption = None,
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
        typer.Option(metavar="SHADE", help="The wanted shade, shown beside the strand in the picture."),
    ] = None,
    technical: Annotated[
        bool, typer.Option("--technical", help="Show the whole card, all numbers and notes in the picture.")
    ] = False,
    card: CardOption = None,
    profile: ProfileOption = None,
    ladder: LadderOption = None,
    wet: Annotated[
        bool, typer.Option("--wet", help="The strand is wet: state the dry estimate, less sure.")
    ] = False,
    together: Annotated[
        bool,
        typer.Option(
            "--together",
            help="All photos show one strand, the card turned or the strand re-laid between: one reading.",
        ),
    ] = False,
) -> int:
    """Read level, evenness, undertone and warmth of a strand from a photo beside the card."""
    session: Session = context.obj
    single = together or len(photos) == 1
    _check_picture(picture, single)
    if picture is None and (target is not None or technical):
        raise typer.BadParameter(
            "--target and --technical say how the picture looks: name one with --picture."
        )
    forbid_overwriting(photos, json, picture)
    if json is not None:
        session.json = JsonLines(json, several=not single)
    definition, rungs = load_card_for(card, profile), load_ladder_for(ladder)
    wish = _wish(target)
    if together:
        return _read_one(session, photos, definition, rungs, wet, picture, wish, technical)
    worst = 0
    for photo in photos:
        try:
            file = picture / f"{photo.stem}-reading.png" if picture and not single else picture
            code = _read_one(session, [photo], definition, rungs, wet, file, wish, technical)
        except StrandgaugeError as error:
            code = session.tell(error)
        worst = max(worst, code)
    return worst


def _read_one(
    session: Session,
    photos: list[Path],
    card: CardDefinition,
    ladder: Ladder,
    wet: bool,
    picture: Path | None,
    wish: Target | None,
    technical: bool,
) -> int:
    from strandgauge.reading.pipeline import measure_photo, read_photo, read_together, reading_together

    if picture is None:
        reading = (
            read_together(photos, card=card, ladder=ladder, wet=wet)
            if len(photos) > 1
            else read_photo(photos[0], card=card, ladder=ladder, wet=wet)
        )
    else:
        from strandgauge.show.picture.reading import write_picture

        measured = [measure_photo(photo, card=card, ladder=ladder, wet=wet) for photo in photos]
        reading = reading_together(measured, ladder, wet)
        write_picture(picture, measured[0], reading, ladder=ladder, wish=wish, technical=technical)
    _show(session, reading)
    return 0


def _show(session: Session, reading: Reading) -> None:
    from strandgauge.show.json import document_of

    if session.json is not None:
        session.json.write(document_of(reading))
    if session.json is None or not session.json.to_standard_output:
        from strandgauge.show.terminal.reading import print_reading

        print_reading(reading)


def _wish(target: str | None) -> Target | None:
    if target is None:
        return None
    from strandgauge.dye.targets import find_target, load_targets

    return find_target(target, load_targets())


def _check_picture(picture: Path | None, single: bool) -> None:
    """Refuse, before any work, a picture that could not be written."""
    if picture is None:
        return
    if not single:
        if not picture.is_dir():
            raise typer.BadParameter(f"With several photos, name a folder that exists, not '{picture}'.")
    elif picture.suffix.lower() not in PICTURE_ENDINGS:
        raise typer.BadParameter(f"Name a file ending in {', '.join(PICTURE_ENDINGS)}, not '{picture}'.")
