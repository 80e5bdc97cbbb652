"""Options that several commands share, and what they mean."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from strandgauge.card.model import CardDefinition

CardOption = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="The card's definition, if it is another than the one shipped."),
]
ProfileOption = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Colours measured on your own print, as CGATS text."),
]
JsonOption = Annotated[
    str | None,
    typer.Option(
        metavar="FILE|-",
        help="Also write the result as JSON to a file, or only as JSON with '-'.",
        show_default=False,
    ),
]


def load_card_for(card: Path | None, profile: Path | None) -> CardDefinition:
    """Return the card that the options name, with the print profile's colours if one is named."""
    from strandgauge.card.definition import load_card
    from strandgauge.pipeline import default_card

    definition = load_card(card) if card is not None else default_card()
    if profile is None:
        return definition
    from strandgauge.card.profile import apply_profile, read_profile

    return apply_profile(definition, read_profile(profile))


def forbid_overwriting(photos: Iterable[Path], *targets: Path | str | None) -> None:
    """Refuse to write a result over a photo that is being read."""
    for target in targets:
        if target is None or target == "-":
            continue
        for photo in photos:
            if Path(target).exists() and photo.exists() and Path(target).samefile(photo):
                raise typer.BadParameter(f"'{target}' is the photo itself, which would be lost.")
