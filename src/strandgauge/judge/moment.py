"""What to do with a strand now: the step that its last look gave, as the clock, the fingers and the rinse leave it.

A look is answered once, when it is taken. What was answered then goes out of date by standing still: the maker's time
runs out, nobody comes to look, the lightener is rinsed off. All of that is decided here, from plain numbers, so that
every page and every phone says the same at the same minute. Nothing here asks for more lightener.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from strandgauge.codes.facts import Fact
from strandgauge.hair.stretch import Stretch
from strandgauge.judge.nextstep import Course

MomentKind = Literal["look", "go on", "slow", "stop", "ready", "done"]
Stage = Literal["no lightener", "lightening", "rinsed", "dried", "done"]
Code = Literal[
    "gummy",
    "gummy-rinsed",
    "time-is-up",
    "first-look",
    "overdue",
    "long-overdue",
    "no-limit",
    "dry-it",
    "done",
]

DUE_NOW = 0.5
"""Minutes before the time of a look from which it counts as due."""
OVERDUE = 5.0
LONG_OVERDUE = 20.0
"""Minutes past the time of a look from which it is said, and from which the answer is to take the lightener off
unless somebody looks; own choice, no source."""
LONG_WITHOUT_LIMIT = 45.0
"""Minutes of lightener from which a missing time limit comes before anything that colour says. Own choice: makers'
limits for powder lighteners commonly lie between 45 and 50 minutes (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Chair:
    """What is known of a strand at one moment, besides its colour."""

    minutes: float | None = None
    """Since the lightener went on; until it came off, where it did. None where none went on."""
    limit: float | None = None
    """The maker's time limit, minutes."""
    rinsed: bool = False
    """Whether the lightener came off."""
    since_look: float | None = None
    """Minutes since the last look; None before the first."""
    stretch: Stretch | None = None
    """The worst answer of its stretch tests."""
    dried: bool = False
    """Whether it was read dry since it was rinsed."""
    finished: bool = False
    """Whether the finished shade was read."""

    @property
    def stage(self) -> Stage:
        """How far the strand has come."""
        if self.finished:
            return "done"
        if self.rinsed:
            return "dried" if self.dried else "rinsed"
        return "no lightener" if self.minutes is None else "lightening"

    @property
    def running(self) -> bool:
        """Whether lightener is on."""
        return self.stage == "lightening"

    @property
    def over(self) -> bool:
        """Whether the maker's time is up with the lightener still on."""
        return self.running and self.limit is not None and (self.minutes or 0.0) >= self.limit


@dataclass(frozen=True, slots=True)
class Moment:
    """The answer at one moment."""

    kind: MomentKind
    """Which shape stands beside the word."""
    code: Code | None = None
    """What is to be said in place of the step; None where the step stands."""
    facts: tuple[tuple[str, Fact], ...] = ()
    due: float | None = None
    """Minutes from now to the next look, below zero when overdue; None where none is due."""

    @property
    def urgent(self) -> bool:
        """Whether somebody has to come at once: to take the lightener off, or to look."""
        return self.due is not None and self.due < DUE_NOW


def moment(step: Course | None, chair: Chair) -> Moment:
    """Say what to do now.

    Parameters
    ----------
    step : what the last look was answered with, the fingers taken into account; None before the first look.
    chair : the strand at this moment.
    """
    stopped = 0.0 if chair.running else None
    if chair.finished:
        return Moment("done", "done")
    if chair.stretch == "gummy":
        return Moment("stop", "gummy-rinsed" if chair.rinsed else "gummy", due=stopped)
    if chair.stage == "rinsed":
        return Moment("look", "dry-it", (("minutes", round(chair.minutes or 0.0)),))
    if chair.over:
        return Moment("stop", "time-is-up", due=stopped)
    if step is None or chair.since_look is None:
        return _unlimited(chair) or Moment("look", "first-look", due=stopped)
    if step.kind == "ready" and chair.running and chair.since_look > (chair.minutes or 0.0):
        # What was ready before the lightener went on is not to be dyed with it on.
        return _unlimited(chair) or Moment("look", "first-look", due=stopped)
    if step.kind == "stop" or step.kind == "ready":
        return Moment(step.kind, due=stopped)
    if not chair.running:
        return Moment(step.kind)
    due = None if step.minutes is None else step.minutes - chair.since_look
    if due is not None and due <= -OVERDUE:
        seen = (("minutes", round(chair.since_look)),)
        if due <= -LONG_OVERDUE:
            return Moment("stop", "long-overdue", seen, due)
        return _unlimited(chair) or Moment("slow", "overdue", seen, due)
    return _unlimited(chair) or Moment(step.kind, due=due)


def _unlimited(chair: Chair) -> Moment | None:
    if not chair.running or chair.limit is not None or (chair.minutes or 0.0) < LONG_WITHOUT_LIMIT:
        return None
    return Moment("stop", "no-limit", (("minutes", round(chair.minutes or 0.0)),), 0.0)
