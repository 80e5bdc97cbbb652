"""``strandgauge dyes``: the dyes on the shelf."""

from __future__ import annotations

import typer

from strandgauge.cli.hair import DyesOption
from strandgauge.cli.jsonlines import JsonLines
from strandgauge.cli.options import JsonOption, load_shelf
from strandgauge.cli.outcome import Session

DILUTED = 0.1


def dyes(context: typer.Context, json: JsonOption = None, dyes: DyesOption = None) -> None:
    """List the dyes on the shelf, as they look on level 10 hair."""
    session: Session = context.obj
    if json is not None:
        session.json = JsonLines(json, several=False)
    from strandgauge.colour.cielab import as_lab
    from strandgauge.hair.levels import load_ladder
    from strandgauge.hair.pigment import solve_base

    shelf, palest = load_shelf(dyes), solve_base(load_ladder().lab[-1])
    shown = []
    for dye in shelf.dyes:
        shown.append((dye, as_lab(palest.dyed(DILUTED * dye.curve)), as_lab(palest.dyed(dye.curve))))
    if session.json is not None:
        from strandgauge.show.json import document_of
        from strandgauge.show.json.shapes import dyes_list

        session.json.write(document_of(dyes_list(shelf, shown)))
    if session.json is None or not session.json.to_standard_output:
        from strandgauge.show.terminal.outlook import print_dyes

        print_dyes(shown, shelf.clear)
