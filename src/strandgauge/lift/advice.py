"""One thing to do and why, as codes: what is advised before, while and after lightener is on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from strandgauge.codes.facts import Fact

Do = Literal[
    "lift",
    "rinse",
    "look-again",
    "deposit",
    "clarify",
    "remove-dye",
    "wait",
    "fill",
    "neutralise",
    "tone",
    "dye",
    "melt-root",
    "choose-another",
    "ask-history",
    "metal-test",
    "stop-condition",
    "stop-time",
    "stop-history",
]
"""What a zone is advised."""
COLOURS: tuple[Do, ...] = ("deposit", "tone", "dye")
STOPS: tuple[Do, ...] = ("stop-condition", "stop-time", "stop-history")


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to do, and why."""

    zone: str
    do: Do
    why: tuple[str, ...] = ()
    """Codes, the most telling first; `strandgauge.words` has a sentence for each."""
    facts: tuple[tuple[str, Fact], ...] = ()
    """Numbers and names that the sentences may use."""
