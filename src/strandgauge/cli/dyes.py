"""``strandgauge dyes``: the dyes on the shelf."""

from __future__ import annotations

from strandgauge.cli.options import DyesOption, JsonOption
from strandgauge.cli.outcome import Session

DILUTED = 0.1


def dyes(session: Session, json: JsonOption = None, dyes: DyesOption = None) -> None:
    """List the dyes on the shelf, as they look on level 10 hair."""
    import numpy as np

    from strandgauge.colour.cielab import as_lab
    from strandgauge.hair.levels import load_ladder
    from strandgauge.hair.pigment import solve_base
    from strandgauge.kit import load

    shelf, palest = load(dyes=dyes).shelf, solve_base(load_ladder().lab_at(10.0))
    held = float(shelf.held(np.array([DILUTED]))[0])
    shown = []
    for dye in shelf.dyes:
        shown.append((dye, as_lab(palest.dyed(held * dye.curve)), as_lab(palest.dyed(dye.curve))))
    from strandgauge.show.json.shapes import dyes_list
    from strandgauge.show.terminal.outlook import print_dyes

    session.show(dyes_list(shelf, shown), print_dyes)
