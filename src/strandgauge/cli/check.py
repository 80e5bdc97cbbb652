"""``strandgauge check``: whether card and light in a photo are fit for a reading."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from strandgauge.cli.looks import source
from strandgauge.cli.options import CardOption, JsonOption, ProfileOption
from strandgauge.cli.outcome import Session
from strandgauge.errors import exit_code_of


def check(
    context: typer.Context,
    photo: Annotated[Path, typer.Argument(metavar="PHOTO", help="A photo of the card; no strand is needed.")],
    json: JsonOption = None,
    card: CardOption = None,
    profile: ProfileOption = None,
) -> int:
    """Judge card and light alone: could a reading from this photo be trusted?"""
    from strandgauge.kit import load

    session: Session = context.obj
    result = load(card=card, profile=profile).check(source(photo))
    from strandgauge.show.terminal.reading import print_check

    session.show(result, print_check)
    return 0 if result.trusted else exit_code_of(result.problems[0].code)
