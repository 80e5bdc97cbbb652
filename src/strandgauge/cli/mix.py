"""``strandgauge mix``: what a mix makes of a base."""

from __future__ import annotations

from typing import Annotated

import typer

from strandgauge.cli.hair import hair_from
from strandgauge.cli.options import JsonOption, MixingKit, WetOption, tell_dry
from strandgauge.cli.outcome import Session


def mix(
    session: Session,
    open_kit: MixingKit,
    base: Annotated[str, typer.Option()],
    dye: Annotated[list[str], typer.Option()],
    json: JsonOption = None,
    wet: WetOption = None,
) -> None:
    """Predict the colour that a mix of dyes gives on this hair.

    Parameters
    ----------
    base HAIR : A photo, a saved reading's JSON, or L,a,b.
    dye NAME=PARTS : One part of the mix, such as violet=1 or clear=9; give each.
    """
    from strandgauge.dye.mix import parse_mix

    kit, parts = open_kit(), parse_mix(dye)
    parts.shares(kit.shelf)  # an unknown dye is told before a photo is read
    zones, look = kit.hair(hair_from(base), wet=wet)
    tell_dry(look.reading if look else None)
    mixed = kit.mix(zones, parts)
    from strandgauge.show.terminal.outlook import print_mix

    session.show(mixed, print_mix)
