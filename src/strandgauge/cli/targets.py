"""``strandgauge targets``: the wanted shades that have a name."""

from __future__ import annotations

import typer

from strandgauge.cli.hair import TargetsOption
from strandgauge.cli.jsonlines import JsonLines
from strandgauge.cli.options import JsonOption
from strandgauge.cli.outcome import Session


def targets(context: typer.Context, json: JsonOption = None, targets: TargetsOption = None) -> None:
    """List the shades that can be asked for by name."""
    session: Session = context.obj
    if json is not None:
        session.json = JsonLines(json, several=False)
    from strandgauge.dye.targets import load_targets

    shades = load_targets(extra=targets or ())
    if session.json is not None:
        from strandgauge.show.json import document_of
        from strandgauge.show.json.shapes import TargetsList

        session.json.write(document_of(TargetsList(shades)))
    if session.json is None or not session.json.to_standard_output:
        from strandgauge.show.terminal.outlook import print_targets

        print_targets(shades)
