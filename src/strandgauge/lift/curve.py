"""How one strand lifts, as plain frozen records: the looks, the curve through them, and what follows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import MinLen

from strandgauge.codes.bounds import NotNegative, Share
from strandgauge.codes.facts import Note
from strandgauge.colour.cielab import Lab
from strandgauge.lift.advice import Advice
from strandgauge.strand.names import ZoneName

State = Literal["first look", "lifting", "slowing", "stalled", "light enough", "time is up"]
"""What the strand is doing, from the looks so far."""


@dataclass(frozen=True, slots=True)
class Look:
    """One look at the strand."""

    minutes: NotNegative
    """Since the lightener went on, or since the first look where that is not known."""
    photo: str
    level: float
    level_sd: NotNegative
    lab: Lab
    used: bool
    """False where it fits the others so badly that the curve was drawn without it."""
    dyed: bool = False
    """Whether toner, dye or stain is likelier than not: its lightness then is no level to tell."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with the interval that holds it in 95 of 100 cases."""

    value: float
    low: float
    high: float
    """May be infinite, where the value may never be reached."""


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """The lift curve at one time, with its 95 % band."""

    minutes: float
    level: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ZoneLift:
    """How one part of the strand stands against what it needs."""

    zone: ZoneName
    level: float
    """Now, by all looks."""
    level_sd: NotNegative
    needs_level: float | None
    """None where nothing is aimed at, or no lift helps."""
    enough: Share
    """Probability that the needed level is reached."""
    gain: float
    """Levels that the next 10 minutes would bring."""
    state: State


@dataclass(frozen=True, slots=True)
class LiftCurve:
    """How a strand lifts, and what follows from it."""

    zone: ZoneName
    """The part of the strand that the curve is of."""
    looks: Annotated[tuple[Look, ...], MinLen(1)]
    """In order of time."""
    points: tuple[CurvePoint, ...]
    """From the first look to the end of the time limit or a while past the last look; empty after one look."""
    state: State
    stop: bool
    """True where the answer is to take the lightener off."""
    advice: tuple[Advice, ...]
    """What to do with which part of the strand, most pressing first."""
    level_now: Estimate
    """At the last look."""
    rate: Estimate | None
    """Levels in 10 minutes at the last look; None after one look."""
    plateau: Estimate | None
    """The level at which this lift ends by itself; None after one look."""
    target: str | None
    needs_level: float | None
    """The level that the target needs."""
    minutes_to_need: Estimate | None
    """From the last look until the needed level; None where none is needed or one look cannot tell."""
    chance_in_time: Share | None
    """Probability that the needed level comes within the time limit; None without a limit or a need."""
    limit: float | None
    """The maker's time limit, minutes since the lightener went on."""
    next_look: NotNegative | None
    """Minutes from the last look to the next; None where the answer is to stop."""
    ladder: str
    from_start: bool = True
    """False where minutes count from the first look, since it is not known when the lightener went on."""
    zones: tuple[ZoneLift, ...] = ()
    """Root, mids and ends against their own need, where all of the strand is followed."""
    reads_true_now: tuple[str, ...] = ()
    """Names of shades that are likely to read true on the strand as it is."""
    surer: Note | None = None
    """What would settle whether the strand is light enough, where that is open."""

    @property
    def dyed(self) -> bool:
        """Whether the last look shows dye, so that how light the strand is is told without a level."""
        return self.looks[-1].dyed
