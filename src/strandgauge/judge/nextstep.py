"""The next step as a record: what a colourist with wet gloves has to know first; words come on the way out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from strandgauge.judge.history import Stretch

__all__ = ["Kind", "NextStep", "Stretch", "worst_stretch"]

Kind = Literal["go on", "slow", "stop", "ready"]


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to do now."""

    kind: Kind
    """Which shape stands beside the word."""
    word: str
    """The biggest word of the answer."""
    sentence: str
    """What and why."""
    minutes: float | None = None
    """Until the next look, from this one; None where there is no need for one."""


def worst_stretch(answers: tuple[Stretch | None, ...]) -> Stretch | None:
    """Return the worst answer that a strand ever got: what felt gummy once does not mend."""
    for answer in ("gummy", "slow", "springs back"):
        if answer in answers:
            return answer
    return None
