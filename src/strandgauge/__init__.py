"""strandgauge: read how far a hair strand has lifted, what warmth is left and how even it is.

The names below are the public Python interface. Each is imported when it is first used, so that
``import strandgauge`` loads nothing heavy.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strandgauge.batch.run import run_batch
    from strandgauge.card.definition import load_card
    from strandgauge.change.compare import Change, compare
    from strandgauge.dye.mix import Mix, predict
    from strandgauge.dye.palette import load_palette
    from strandgauge.dye.targets import Target, find_target, load_targets
    from strandgauge.errors import StrandgaugeError
    from strandgauge.hair.levels import load_ladder
    from strandgauge.judge.follow import follow
    from strandgauge.judge.outlook import BaseZone, Outlook, Settings
    from strandgauge.judge.reach import reach
    from strandgauge.lift.curve import LiftCurve
    from strandgauge.reading.model import Reading
    from strandgauge.reading.pipeline import check_photo, measure_photo, read_photo, read_together

from strandgauge.files.version import __version__ as __version__

__all__ = [
    "BaseZone",
    "Change",
    "LiftCurve",
    "Mix",
    "Outlook",
    "Reading",
    "Settings",
    "StrandgaugeError",
    "Target",
    "check_photo",
    "compare",
    "find_target",
    "follow",
    "load_card",
    "load_ladder",
    "load_palette",
    "load_targets",
    "measure_photo",
    "predict",
    "reach",
    "read_photo",
    "read_together",
    "run_batch",
]

_HOMES = {
    "BaseZone": "judge.outlook",
    "Change": "change.compare",
    "LiftCurve": "lift.curve",
    "Mix": "dye.mix",
    "Outlook": "judge.outlook",
    "Reading": "reading.model",
    "Settings": "judge.outlook",
    "StrandgaugeError": "errors",
    "Target": "dye.targets",
    "check_photo": "reading.pipeline",
    "compare": "change.compare",
    "find_target": "dye.targets",
    "follow": "judge.follow",
    "load_card": "card.definition",
    "load_ladder": "hair.levels",
    "load_palette": "dye.palette",
    "load_targets": "dye.targets",
    "measure_photo": "reading.pipeline",
    "predict": "dye.mix",
    "reach": "judge.reach",
    "read_photo": "reading.pipeline",
    "read_together": "reading.pipeline",
    "run_batch": "batch.run",
}


def __getattr__(name: str) -> object:
    """Import a public name from the module that defines it, when it is first used."""
    if name not in _HOMES:
        raise AttributeError(f"module 'strandgauge' has no attribute '{name}'")
    from importlib import import_module

    value: object = getattr(import_module(f"strandgauge.{_HOMES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
