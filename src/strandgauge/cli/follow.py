"""``strandgauge follow``: the lift curve of one strand, and whether to go on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.looks import Look, look_at
from strandgauge.cli.options import (
    CardOption,
    DyesOption,
    JsonOption,
    LadderOption,
    ProfileOption,
    StretchChoice,
    TargetsOption,
    ZoneChoice,
    photos_in,
)
from strandgauge.cli.outcome import Session
from strandgauge.errors import StrandgaugeError

if TYPE_CHECKING:
    from strandgauge.kit import Kit
    from strandgauge.lift.times import LookTimes


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
    from strandgauge.judge.outlook import Settings, base_zones
    from strandgauge.kit import load

    kit = load(card=card, profile=profile, ladder=ladder, dyes=dyes, targets=targets)
    wish = None if target is None else kit.target(target)
    placed = _looks(session, files, kit, wet)
    seen = [look for _, look in placed]
    times = _times(placed, len(files), at, start)
    last = max(zip(times.minutes, seen, strict=True), key=lambda pair: pair[0])[1]
    outlook = None
    if wish is not None:
        outlook = kit.reach(base_zones(last.reading), wish, Settings(pretone=False))
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
        ladder=kit.ladder,
        from_start=times.from_start,
    )
    if page is not None:
        from strandgauge.files.write import write_whole
        from strandgauge.show.pages.follow import follow_page

        strips = {one.name: strip for one in seen if (strip := one.strip()) is not None}
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


def _looks(session: Session, files: list[Path], kit: Kit, wet: bool) -> list[tuple[int, Look]]:
    """Return what can be read, with its place among the files; a photo that is refused is told and left out.

    Raises
    ------
    StrandgaugeError : nothing could be read; that of the last photo.
    """
    seen: list[tuple[int, Look]] = []
    for place, file in enumerate(files):
        try:
            seen.append((place, look_at(file, kit, wet=wet)))
        except StrandgaugeError as error:
            if not seen and place == len(files) - 1:
                raise
            session.tell_aside(error)
    return seen


def _times(placed: list[tuple[int, Look]], count: int, at: str | None, start: str | None) -> LookTimes:
    from strandgauge.lift.times import LookTimes, look_times, parse_minutes

    if at is not None:
        minutes = parse_minutes(at, count)
        return LookTimes(tuple(minutes[place] for place, _ in placed), from_start=True)
    return look_times([look.name for _, look in placed], [look.taken for _, look in placed], start)
