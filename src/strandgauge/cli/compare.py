"""``strandgauge compare``: what changed between two looks at a strand, or more."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.options import (
    CardOption,
    JsonOption,
    LadderOption,
    ProfileOption,
    load_card_for,
    load_ladder_for,
)
from strandgauge.cli.outcome import Session

if TYPE_CHECKING:
    from strandgauge.card.model import CardDefinition
    from strandgauge.hair.levels import Ladder
    from strandgauge.reading.model import Reading


def compare(
    context: typer.Context,
    before: Annotated[
        Path, typer.Argument(metavar="BEFORE", help="A photo of the strand, or a saved reading.")
    ],
    after: Annotated[
        list[Path], typer.Argument(metavar="AFTER...", help="One or more later ones of the same strand.")
    ],
    json: JsonOption = None,
    page: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also write one sheet to look at or print, an HTML file."),
    ] = None,
    title: Annotated[str, typer.Option(metavar="TEXT", help="Heading of the sheet.")] = "",
    group: Annotated[
        str, typer.Option("--class", metavar="NAME", help="The class, named on the sheet.")
    ] = "",
    student: Annotated[str, typer.Option(metavar="NAME", help="The student, named on the sheet.")] = "",
    date: Annotated[str, typer.Option(metavar="DATE", help="The day, as it is to stand on the sheet.")] = "",
    at: Annotated[
        str | None,
        typer.Option(metavar="MIN,MIN,...", help="Minutes of each photo since the lightener went on."),
    ] = None,
    card: CardOption = None,
    profile: ProfileOption = None,
    ladder: LadderOption = None,
    wet: Annotated[
        bool,
        typer.Option("--wet", help="The strand is wet in the photos: state the dry estimate, less sure."),
    ] = False,
) -> None:
    """Say what changed between photos of a strand: levels gained, colour, warmth, evenness."""
    session: Session = context.obj
    files = [before, *after]
    minutes: tuple[float, ...] = ()
    if at is not None:
        from strandgauge.lift.times import parse_minutes

        minutes = tuple(parse_minutes(at, len(files)))
    from strandgauge.change.compare import compare as put_side_by_side

    definition, rungs = load_card_for(card, profile), load_ladder_for(ladder)
    names = _names(files)
    seen = [
        _read(file, name, definition, rungs, wet, strip=page is not None)
        for file, name in zip(files, names, strict=True)
    ]
    change = put_side_by_side([reading for reading, _ in seen])
    if page is not None:
        from strandgauge.files.write import write_whole
        from strandgauge.show.pages.compare import compare_page
        from strandgauge.show.pages.head import Head

        strips = {reading.photo: strip for reading, strip in seen if strip is not None}
        write_whole(page, compare_page(change, strips, Head(title, group, student, date, minutes)).encode())
    from strandgauge.show.terminal.change import print_change

    session.show(change, print_change)


def _names(files: list[Path]) -> list[str | None]:
    """Return for each file None where its own name tells it apart, else its path, numbered where it comes twice."""
    names: list[str | None] = []
    for place, file in enumerate(files):
        alike = [other for other in files if other.name == file.name]
        if len(alike) == 1:
            names.append(None)
            continue
        again = sum(other == file for other in files[:place])
        names.append(f"{file} ({again + 1})" if again else str(file))
    return names


def _read(
    file: Path, name: str | None, card: CardDefinition, ladder: Ladder, wet: bool, *, strip: bool
) -> tuple[Reading, bytes | None]:
    """Return the reading of a photo or of a saved one, and a photo's strip where it is wanted."""
    picture = None
    if file.suffix.lower() == ".json":
        from strandgauge.reading.model import Reading
        from strandgauge.show.json import load

        reading = load(Reading, file)
    else:
        from strandgauge.reading.pipeline import measure_photo

        measurement = measure_photo(file, card=card, ladder=ladder, wet=wet)
        reading = measurement.reading
        if strip:
            from strandgauge.show.picture.strip import strip_jpeg

            picture = strip_jpeg(measurement)
    return (reading if name is None else replace(reading, photo=name)), picture
