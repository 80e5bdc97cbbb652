"""``strandgauge follow``: the lift curve of one strand, and whether to go on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.hair import DyesOption, TargetsOption
from strandgauge.cli.options import (
    CardOption,
    JsonOption,
    LadderOption,
    ProfileOption,
    load_card_for,
    load_ladder_for,
    load_shelf,
    photos_in,
)
from strandgauge.cli.outcome import Session
from strandgauge.errors import StrandgaugeError

if TYPE_CHECKING:
    from strandgauge.card.model import CardDefinition
    from strandgauge.hair.levels import Ladder
    from strandgauge.judge.outlook import Outlook
    from strandgauge.lift.times import LookTimes
    from strandgauge.reading.model import Reading


class StretchChoice(StrEnum):
    """What a few wet hairs did when they were stretched."""

    springs_back = "springs back"
    slow = "slow"
    gummy = "gummy"


class ZoneChoice(StrEnum):
    """The part of the strand to follow."""

    overall = "overall"
    root = "root"
    mids = "mids"
    ends = "ends"


@dataclass(frozen=True, slots=True)
class _Seen:
    """One photo or saved reading that could be read."""

    place: int
    """Among all that were named."""
    name: str
    reading: Reading
    taken: datetime | None
    strip: bytes | None


def follow(
    context: typer.Context,
    photos: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[PHOTO...]", help="Photos of one strand, or their saved readings."),
    ] = None,
    folder: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Take all photos of this folder.")
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(metavar="MIN,MIN,...", help="Minutes of each photo since the lightener went on."),
    ] = None,
    start: Annotated[
        str | None,
        typer.Option(metavar="HH:MM", help="When the lightener went on, by the clock of the photos."),
    ] = None,
    limit: Annotated[
        float | None,
        typer.Option(
            metavar="MINUTES", help="The lightener maker's time limit, counted from when it went on."
        ),
    ] = None,
    target: Annotated[
        str | None,
        typer.Option(metavar="SHADE", help="The wanted shade: a name, #rrggbb or L,a,b."),
    ] = None,
    level: Annotated[
        float | None,
        typer.Option(metavar="LEVEL", min=1.0, max=14.0, help="The level to come to, instead of a shade."),
    ] = None,
    zone: Annotated[ZoneChoice, typer.Option(help="The part of the strand to follow.")] = ZoneChoice.overall,
    stretch: Annotated[
        StretchChoice | None, typer.Option(help="What a few wet hairs did when stretched just now.")
    ] = None,
    wet: Annotated[
        bool,
        typer.Option("--wet", help="The strand is wet in the photos: state the dry estimate, less sure."),
    ] = False,
    json: JsonOption = None,
    page: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write a page to look at or print, an HTML file.")
    ] = None,
    dyes: DyesOption = None,
    targets: TargetsOption = None,
    card: CardOption = None,
    profile: ProfileOption = None,
    ladder: LadderOption = None,
) -> None:
    """Follow one strand while it lifts: how fast, how long still, and when to stop."""
    session: Session = context.obj
    files = _files(photos or [], folder)
    _check_options(files, at, start, target, level)
    from strandgauge.judge.follow import follow as follow_lift
    from strandgauge.judge.follow import needs_of

    rungs = load_ladder_for(ladder)
    seen = _read_all(session, files, load_card_for(card, profile), rungs, wet, strips=page is not None)
    times = _times(seen, len(files), at, start)
    last = max(zip(times.minutes, seen, strict=True), key=lambda pair: pair[0])[1]
    outlook = None if target is None else _outlook(last.reading, target, rungs, dyes, targets)
    curve = follow_lift(
        [one.reading for one in seen],
        times.minutes,
        zone=zone.value,
        target=None if outlook is None else outlook.target.name,
        needs_level=level if outlook is None else outlook.level_to_come_to,
        needs=None if outlook is None else needs_of(outlook),
        stretch=None if stretch is None else stretch.value,
        reads_true_now=() if outlook is None else [shade.name for shade in outlook.instead],
        limit=limit,
        ladder=rungs,
        from_start=times.from_start,
    )
    if page is not None:
        from strandgauge.files.write import write_whole
        from strandgauge.show.pages.follow import follow_page

        strips = {one.name: one.strip for one in seen if one.strip is not None}
        write_whole(page, follow_page(curve, [one.reading for one in seen], strips).encode())
    from strandgauge.show.terminal.follow import print_curve

    session.show(curve, print_curve)


def _files(photos: list[Path], folder: Path | None) -> list[Path]:
    if folder is None:
        if not photos:
            raise typer.BadParameter("Name the photos of one strand, or a --folder of them.")
        return photos
    if photos:
        raise typer.BadParameter("Name photos or a --folder, not both.")
    return photos_in(folder)


def _check_options(
    files: list[Path], at: str | None, start: str | None, target: str | None, level: float | None
) -> None:
    from strandgauge.lift.times import parse_minutes

    if at is not None:
        if start is not None:
            raise typer.BadParameter("Give --at or --start, not both.")
        parse_minutes(at, len(files))
    if target is not None and level is not None:
        raise typer.BadParameter("Give a --target or a --level, not both.")


def _read_all(
    session: Session, files: list[Path], card: CardDefinition, ladder: Ladder, wet: bool, *, strips: bool
) -> list[_Seen]:
    """Read what can be read; a photo that is refused is told of and left out.

    Raises
    ------
    StrandgaugeError : nothing could be read; that of the last photo.
    """
    seen: list[_Seen] = []
    refused: StrandgaugeError | None = None
    for place, file in enumerate(files):
        try:
            seen.append(_read_one(place, file, card, ladder, wet, strips=strips))
        except StrandgaugeError as error:
            refused = error
            if len(files) > 1:
                session.tell_aside(error)
    if not seen:
        assert refused is not None, "there is at least one file"
        raise refused
    return seen


def _read_one(
    place: int, file: Path, card: CardDefinition, ladder: Ladder, wet: bool, *, strips: bool
) -> _Seen:
    if file.suffix.lower() == ".json":
        from strandgauge.reading.model import Reading
        from strandgauge.show.json import load

        saved = load(Reading, file)
        return _Seen(place, file.name, saved, saved.taken, None)
    from strandgauge.reading.pipeline import measure_photo

    measurement = measure_photo(file, card=card, ladder=ladder, wet=wet)
    strip = None
    if strips:
        from strandgauge.show.picture.strip import strip_jpeg

        strip = strip_jpeg(measurement)
    return _Seen(place, file.name, measurement.reading, measurement.card.photo.taken_at, strip)


def _times(seen: list[_Seen], count: int, at: str | None, start: str | None) -> LookTimes:
    from strandgauge.lift.times import LookTimes, look_times, parse_minutes

    if at is not None:
        minutes = parse_minutes(at, count)
        return LookTimes(tuple(minutes[one.place] for one in seen), from_start=True)
    return look_times([one.name for one in seen], [one.taken for one in seen], start)


def _outlook(
    reading: Reading, target: str, ladder: Ladder, dyes: list[Path] | None, targets: list[Path] | None
) -> Outlook:
    from strandgauge.dye.targets import find_target, load_targets
    from strandgauge.judge.outlook import Settings, base_zones
    from strandgauge.judge.reach import reach

    shelf, shades = load_shelf(dyes), load_targets(extra=targets or ())
    wanted = find_target(target, shades)
    return reach(base_zones(reading), wanted, shelf, shades, ladder, Settings(pretone=False))
