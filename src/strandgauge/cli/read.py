"""``strandgauge read``: from photos of a strand to its reading."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from strandgauge.cli.looks import source
from strandgauge.cli.options import (
    CsvOption,
    JsonOption,
    ReadingKit,
    SeparatorOption,
    WetOption,
    misuse,
    pictures_of,
    write_readings,
)
from strandgauge.cli.outcome import Session
from strandgauge.errors import StrandgaugeError

if TYPE_CHECKING:
    from strandgauge.codes.facts import Note
    from strandgauge.dye.targets import Target
    from strandgauge.kit import Kit
    from strandgauge.reading.model import Reading


def read(
    session: Session,
    open_kit: ReadingKit,
    photos: list[Path],
    json: JsonOption = None,
    csv: CsvOption = None,
    separator: SeparatorOption = "comma",
    picture: Path | None = None,
    target: str | None = None,
    technical: bool = False,
    wet: WetOption = None,
    together: bool = False,
) -> int:
    """Read level, evenness, undertone and warmth of a strand from a photo beside the card.

    Parameters
    ----------
    photos PHOTO... : Photos of a strand on the card; - is one from a pipe.
    picture FILE : Also write a picture to show a client: the strand, and its level on the ladder. A PNG or JPEG
        file; with several photos, a folder.
    target SHADE : The wanted shade, shown beside the strand in the picture; what would settle whether the hair is
        light enough for it is told, where that is open.
    technical : Show the whole card, all numbers and notes in the picture.
    together : All photos show one strand, the card turned or the strand re-laid between: one reading.
    """
    single = together or len(photos) == 1
    session.several = not single
    for photo in photos:
        if photo.is_dir():
            raise misuse("folder", folder=photo)
    if picture is None and (target is not None or technical):
        raise misuse("needs-picture")
    looks = pictures_of(photos, picture, "reading", single=single)
    from strandgauge.show.terminal.reading import print_reading

    kit = open_kit()
    pictures = _Pictures(None if target is None else kit.target(target), technical)
    worst, readings = 0, []
    for some, file in [(photos, picture)] if together else [([photo], file) for photo, file in looks]:
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
            raise misuse("saved-reading", file=photos[0])
        from strandgauge.show.picture.canvas import save
        from strandgauge.show.picture.reading import draw_picture
        from strandgauge.show.picture.technical import draw_technical

        first, reading = look.measured[0], look.reading
        if how.technical:
            save(picture, draw_technical(first, reading))
        else:
            save(picture, draw_picture(first, reading, ladder=kit.ladder, wish=how.wish))
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
