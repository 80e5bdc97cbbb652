"""``strandgauge compare``: what changed between two looks at a strand, or more."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from strandgauge.cli.looks import source, strip_of
from strandgauge.cli.options import (
    CsvOption,
    JsonOption,
    ReadingKit,
    SeparatorOption,
    WetOption,
    tell_dry,
    write_readings,
)
from strandgauge.cli.outcome import Session


def compare(
    session: Session,
    open_kit: ReadingKit,
    before: Path,
    after: list[Path],
    json: JsonOption = None,
    csv: CsvOption = None,
    separator: SeparatorOption = "comma",
    page: Path | None = None,
    title: str = "",
    group: Annotated[str, typer.Option("--class")] = "",
    student: str = "",
    date: str = "",
    at: str | None = None,
    wet: WetOption = None,
) -> None:
    """Say what changed between photos of a strand: levels gained, colour, warmth, evenness.

    Parameters
    ----------
    before BEFORE : A photo of the strand, or a saved reading.
    after AFTER... : One or more later ones of the same strand.
    page FILE : Also write one sheet to look at or print, an HTML file.
    title TEXT : Heading of the sheet.
    group NAME : The class, named on the sheet.
    student NAME : The student, named on the sheet.
    date DATE : The day, as it is to stand on the sheet.
    at MIN,MIN,... : Minutes of each photo since the lightener went on.
    """
    files = [before, *after]
    minutes: tuple[float, ...] = ()
    if at is not None:
        from strandgauge.lift.times import parse_minutes

        minutes = tuple(parse_minutes(at, len(files)))
    from strandgauge.change.compare import compare as put_side_by_side

    kit = open_kit()
    looks = [kit.look(source(file), wet=wet) for file in files]
    named = zip(looks, _names(files), strict=True)
    tell_dry(*(look.reading for look in looks))
    readings = [look.reading if name is None else replace(look.reading, photo=name) for look, name in named]
    change = put_side_by_side(readings)
    if page is not None:
        from strandgauge.files.write import write_whole
        from strandgauge.show.pages.compare import compare_page
        from strandgauge.show.pages.head import Head

        strips = {
            reading.photo: strip
            for look, reading in zip(looks, readings, strict=True)
            if (strip := strip_of(look)) is not None
        }
        write_whole(page, compare_page(change, strips, Head(title, group, student, date, minutes)).encode())
    if csv is not None:
        write_readings(csv, readings, separator)
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
