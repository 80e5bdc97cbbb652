"""``strandgauge learn levels``: a ladder from photos of the user's own level swatches."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.options import CardKit, JsonOption, misuse, photos_in
from strandgauge.cli.outcome import Session
from strandgauge.codes.catalogue import say
from strandgauge.errors import CannotLearnLevelsError, StrandgaugeError

if TYPE_CHECKING:
    from strandgauge.kit import Kit
    from strandgauge.learn.levels import LearnedLadder, Swatch

_SAYS_LEVEL = r"(?i)(?:level|lvl)[ _.-]*(\d+)(?!\d)"
_IS_LEVEL = r"(?i)(\d+)[ _.-]?[a-z]?(?:[ _.-].*)?"


def levels(
    session: Session,
    open_kit: CardKit,
    photos: list[Path],
    name: Annotated[str, typer.Option()],
    level: list[int] | None = None,
    fill: bool = False,
    out: Path | None = None,
    use: bool = True,
    json: JsonOption = None,
) -> None:
    """Learn a ladder of levels from photos of your own level swatches beside the card.

    Parameters
    ----------
    photos FOLDER|PHOTO... : Photos of hair swatches on the card, one swatch each.
    name NAME : What to call the ladder; readings name it.
    level LEVEL : Level of each photo, given once for each; without it file names tell, such as level-7.jpg, 7.jpg
        or 7b.jpg.
    fill : Fill in levels that have no swatch; the file says which.
    out FILE : Write the ladder to this file, for --ladder, instead of your own folder.
    use : Use it from now on in every reading.
    """
    files = _files(photos)
    by_level = _by_level(files, level)
    from strandgauge.learn.kept import check_name, keep

    tidy = check_name(name)
    from strandgauge.hair.levels import load_ladder
    from strandgauge.learn.levels import ladder_toml, learn_ladder
    from strandgauge.reading.pipeline import card_title

    kit = replace(open_kit(), ladder=load_ladder())
    swatches = _swatches(session, by_level, kit)
    learned = learn_ladder(tidy, swatches, kit.ladder, fill=fill)
    count = sum(len(swatch.photos) for swatch in swatches)
    source = f"learned from {count} photos of own swatches on {card_title(kit.card)}"
    file, used = keep("levels", tidy, ladder_toml(learned, source), out, use=use)
    from strandgauge.show.json.learned import LearnedLevels

    session.show(LearnedLevels.of(learned, source, str(file), used), _tell, learned, file, out, used)


def _tell(learned: LearnedLadder, file: Path, out: Path | None, used: bool) -> None:
    from strandgauge.show.terminal.learned import print_kept, print_levels

    print_levels(learned)
    print_kept(learned.ladder.name, file, None if out is None else f"--ladder {out}", used)


def _files(photos: list[Path]) -> list[Path]:
    return [file for photo in photos for file in (photos_in(photo) if photo.is_dir() else [photo])]


def _by_level(files: list[Path], told: list[int] | None) -> dict[int, list[Path]]:
    """Return the photos of each level, from the options or from the files' names."""
    if told and len(told) != len(files):
        raise misuse("level-each", count=len(files))
    from strandgauge.hair.levels import MOST_LEVELS

    found: dict[int, list[Path]] = {}
    for place, file in enumerate(files):
        number = told[place] if told else level_in_name(file.stem)
        if number is None or not 1 <= number <= MOST_LEVELS:
            raise CannotLearnLevelsError(
                where=file.name,
                most=MOST_LEVELS,
                fault="name",
                tells=say("learned.no-level") if number is None else say("log.level", level=number),
            )
        found.setdefault(number, []).append(file)
    return dict(sorted(found.items()))


def level_in_name(stem: str) -> int | None:
    """Return the level that a file's name tells, such as 7 of 'level-7', '7', '7b' or '7 warm'; or None."""
    said = re.search(_SAYS_LEVEL, stem) or re.fullmatch(_IS_LEVEL, stem.strip())
    return int(said.group(1)) if said else None


def _swatches(session: Session, by_level: dict[int, list[Path]], kit: Kit) -> list[Swatch]:
    """Read the swatches; a photo that is refused is told of and left out."""
    from strandgauge.learn.levels import Swatch
    from strandgauge.reading.pipeline import reading_together

    swatches: list[Swatch] = []
    refused: StrandgaugeError | None = None
    for level, files in by_level.items():
        good = []
        for file in files:
            try:
                good.append((file, kit.measure(file)))
            except StrandgaugeError as error:
                refused = error
                session.tell_aside(error)
        if good:
            seen = reading_together([measured for _, measured in good], kit.ladder, wet=False).overall
            swatches.append(Swatch(level, seen.lab, seen.lab_sd, tuple(file.name for file, _ in good)))
    if not swatches and refused is not None:
        raise refused
    return swatches
