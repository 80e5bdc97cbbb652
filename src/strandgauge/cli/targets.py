"""``strandgauge targets``: the wanted shades that have a name."""

from __future__ import annotations

from strandgauge.cli.options import JsonOption, TargetsOption
from strandgauge.cli.outcome import Session


def targets(session: Session, json: JsonOption = None, targets: TargetsOption = None) -> None:
    """List the shades that can be asked for by name."""
    from strandgauge.kit import load

    shades = load(targets=targets).targets
    from strandgauge.show.json.shapes import TargetsList
    from strandgauge.show.terminal.outlook import print_targets

    session.show(TargetsList(shades), print_targets)
