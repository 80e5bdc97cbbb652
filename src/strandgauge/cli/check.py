"""``strandgauge check``: whether card and light in photos are fit for a reading."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from strandgauge.cli.looks import source
from strandgauge.cli.options import CardKit, JsonOption, pictures_of
from strandgauge.cli.outcome import Session
from strandgauge.errors import StrandgaugeError, exit_code_of

if TYPE_CHECKING:
    from strandgauge.kit import Kit


def check(
    session: Session,
    open_kit: CardKit,
    photos: list[Path],
    json: JsonOption = None,
    picture: Path | None = None,
    full: bool = False,
) -> int:
    """Judge card and light alone: could a reading from these photos be trusted?

    Parameters
    ----------
    photos PHOTO... : Photos of the card; no strand is needed.
    picture FILE : Also write a picture of where the card was measured, and what is wrong there. A PNG or JPEG file;
        with several photos, a folder.
    full : List every patch.
    """
    session.several = len(photos) > 1
    looks = pictures_of(photos, picture, "check", single=not session.several)
    kit = open_kit()
    worst = 0
    for photo, file in looks:
        try:
            worst = max(worst, _check(session, kit, photo, file, full))
        except StrandgaugeError as error:
            if not session.several:
                raise
            worst = max(worst, session.tell(error))
    return worst


def _check(session: Session, kit: Kit, photo: Path, picture: Path | None, full: bool) -> int:
    from strandgauge.reading.cardcheck import card_check
    from strandgauge.reading.pipeline import open_card
    from strandgauge.show.terminal.reading import print_check

    found = open_card(source(photo), kit.card)
    result = card_check(found)
    if picture is not None:
        from strandgauge.show.picture.canvas import save
        from strandgauge.show.picture.check import draw_check

        save(picture, draw_check(found, result))
    session.show(result, partial(print_check, full=full))
    return 0 if result.trusted else exit_code_of(result.problems[0].code)
