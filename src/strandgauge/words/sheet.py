"""A row of a class sheet in words."""

from __future__ import annotations

from strandgauge.judge.outlook import Verdict
from strandgauge.words import say


def advice(verdict: Verdict, needs_level: float | None) -> str:
    """Say in a few words what a wanted shade asks of this strand.

    Parameters
    ----------
    verdict : how the shade would read today.
    needs_level : the level at which it would read true, where there is one and this is not it.
    """
    if verdict == "true":
        return say("advice.true")
    return say("advice.other") if needs_level is None else say("advice.lift", level=needs_level)
