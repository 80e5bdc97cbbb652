"""strandgauge: read how far a hair strand has lifted, what warmth is left and how even it is.

The names in ``__all__`` are the public Python interface, shown in docs/python.md. They are loaded when the first
is used, so that ``import strandgauge`` loads nothing heavy.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from strandgauge.files.version import __version__ as __version__

if TYPE_CHECKING:
    from strandgauge._front import (
        CardCheck,
        Change,
        LiftCurve,
        Mixed,
        Outlook,
        Reading,
        Zone,
        batch,
        check,
        compare,
        follow,
        load_kit,
        mix,
        reach,
        read,
        targets,
    )
    from strandgauge.errors import StrandgaugeError

__all__ = [
    "CardCheck",
    "Change",
    "LiftCurve",
    "Mixed",
    "Outlook",
    "Reading",
    "StrandgaugeError",
    "Zone",
    "batch",
    "check",
    "compare",
    "follow",
    "load_kit",
    "mix",
    "reach",
    "read",
    "targets",
]


def __getattr__(name: str) -> object:
    """Load a public name when it is first used."""
    if name not in __all__:
        raise AttributeError(f"module 'strandgauge' has no attribute '{name}'")
    from importlib import import_module

    home = import_module(f"strandgauge.{'errors' if name == 'StrandgaugeError' else '_front'}")
    return getattr(home, name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
