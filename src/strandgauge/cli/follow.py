"""``strandgauge follow``: the lift curve of one strand, and whether to go on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.looks import source, strip_of
from strandgauge.cli.options import FullKit, JsonOption, WetOption, misuse, photos_in, tell_dry
from strandgauge.cli.outcome import Session
from strandgauge.errors import StrandgaugeError
from strandgauge.hair.stretch import Stretch
from strandgauge.strand.names import ZoneName

if TYPE_CHECKING:
    from strandgauge.kit import Kit
    from strandgauge.lift.times import LookTimes
    from strandgauge.reading.model import Reading


@dataclass(frozen=True, slots=True)
class _Seen:
    """One photo or saved reading that could be read; the photo's pixels are let go of."""

    place: int
    """Among all that were named."""
    name: str
    reading: Reading
    strip: bytes | None


def follow(
    session: Session,
    open_kit: FullKit,
    photos: Annotated[list[Path] | None, typer.Argument()] = None,
    folder: Path | None = None,
    at: str | None = None,
    start: str | None = None,
    limit: float | None = None,
    target: str | None = None,
    level: Annotated[float | None, typer.Option(min=1.0, max=14.0)] = None,
    zone: ZoneName = "overall",
    stretch: Stretch | None = None,
    wet: WetOption = None,
    json: JsonOption = None,
    page: Path | None = None,
) -> None:
    """Follow one strand while it lifts: how fast, how long still, and when to stop.

    Parameters
    ----------
    photos [PHOTO...] : Photos of one strand, or their saved readings.
    folder DIR : Take all photos of this folder.
    at MIN,MIN,... : Minutes of each photo since the lightener went on.
    start HH:MM : When the lightener went on, by the clock of the photos.
    limit MINUTES : The lightener maker's time limit, counted from when it went on.
    target SHADE : The wanted shade: a name, #rrggbb or L,a,b.
    level LEVEL : The level to come to, instead of a shade.
    zone : The part of the strand to follow.
    stretch : What a few wet hairs did when stretched just now.
    page FILE : Also write a page to look at or print, an HTML file.
    """
    files = _files(photos or [], folder)
    _check_options(files, at, start, target, level)

    kit = open_kit()
    if target is not None:
        kit.target(target)  # an unknown shade is told before a photo is read
    seen = _seen(session, files, kit, wet, strips=page is not None)
    times = _times(seen, len(files), at, start)
    readings = [one.reading for one in seen]
    tell_dry(*readings)
    curve = kit.follow(
        readings,
        times,
        target=target,
        level=level,
        limit=limit,
        zone=zone,
        stretch=stretch,
    )
    if page is not None:
        from strandgauge.files.write import write_whole
        from strandgauge.show.pages.follow import follow_page

        strips = {one.name: one.strip for one in seen if one.strip is not None}
        write_whole(page, follow_page(curve, readings, strips).encode())
    from strandgauge.show.terminal.follow import print_curve

    session.show(curve, print_curve)


def _files(photos: list[Path], folder: Path | None) -> list[Path]:
    if folder is None:
        if not photos:
            raise misuse("photos-or-folder")
        return photos
    if photos:
        raise misuse("photos-and-folder")
    return photos_in(folder)


def _check_options(
    files: list[Path], at: str | None, start: str | None, target: str | None, level: float | None
) -> None:
    from strandgauge.lift.times import parse_minutes

    if at is not None:
        if start is not None:
            raise misuse("at-or-start")
        parse_minutes(at, len(files))
    if target is not None and level is not None:
        raise misuse("target-or-level")


def _seen(session: Session, files: list[Path], kit: Kit, wet: bool | None, *, strips: bool) -> list[_Seen]:
    """Return what can be read; a photo that is refused is told of and left out.

    Raises
    ------
    StrandgaugeError : nothing could be read; that of the last photo.
    """
    seen: list[_Seen] = []
    for place, file in enumerate(files):
        try:
            look = kit.look(source(file), wet=wet)
            seen.append(_Seen(place, file.name, look.reading, strip_of(look) if strips else None))
        except StrandgaugeError as error:
            if not seen and place == len(files) - 1:
                raise
            session.tell_aside(error)
    return seen


def _times(seen: list[_Seen], count: int, at: str | None, start: str | None) -> LookTimes:
    from strandgauge.lift.times import LookTimes, look_times, parse_minutes

    if at is not None:
        minutes = parse_minutes(at, count)
        return LookTimes(tuple(minutes[one.place] for one in seen), from_start=True)
    return look_times([one.name for one in seen], [one.reading.taken for one in seen], start)
