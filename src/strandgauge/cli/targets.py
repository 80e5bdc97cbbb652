"""``strandgauge targets``: the wanted shades that have a name."""

from __future__ import annotations

import typer

from strandgauge.cli.hair import TargetsOption
from strandgauge.cli.options import JsonOption
from strandgauge.cli.outcome import Session


def targets(context: typer.Context, json: JsonOption = None, targets: TargetsOption = None) -> None:
    """List the shades that can be asked for by name."""
    session: Session = context.obj
    from strandgauge.dye.targets import load_targets

    shades = load_targets(extra=targets or ())
    from strandgauge.show.json.shapes import TargetsList
    from strandgauge.show.terminal.outlook import print_targets

    session.show(TargetsList(shades), print_targets, shades)
