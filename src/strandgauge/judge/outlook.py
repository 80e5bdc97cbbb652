"""What a reading becomes once a shade is wished for: the outlook, as plain frozen records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal, NamedTuple

from annotated_types import MinLen

from strandgauge.colour.cielab import Lab, LabSd
from strandgauge.dye.formula import FormulaPart
from strandgauge.dye.targets import Target
from strandgauge.facts import NotNegative, Share
from strandgauge.reading.model import Reading

Verdict = Literal["true", "close", "turns", "out of reach"]

VERDICTS: tuple[Verdict, ...] = ("true", "close", "turns", "out of reach")
"""From best to worst."""

UNEVEN = 2.0
"""CIEDE2000 between zones from which they no longer pass for one colour; own judgement."""


@dataclass(frozen=True, slots=True)
class BaseZone:
    """The hair to be dyed: one zone of a reading, or a colour typed in."""

    name: str
    lab: Lab
    lab_sd: Lab = (0.0, 0.0, 0.0)


def base_zones(reading: Reading) -> tuple[BaseZone, ...]:
    """Return root, mids, ends and overall of a reading as hair to be dyed."""
    return tuple(BaseZone(zone.name, zone.lab, zone.lab_sd) for zone in (*reading.zones, reading.overall))


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user may set for an outlook."""

    true_within: float = 3.0
    """CIEDE2000 up to which a result reads true."""
    close_within: float = 6.0
    """... reads close."""
    turns_within: float = 20.0
    """... is still a turn of the wanted colour; beyond, it is out of reach."""
    bowl: float = 60.0
    """Grams to mix for each zone."""
    scale: float = 0.1
    """Smallest step of the scale, grams."""
    pretone: bool = True
    """Whether a pre-tone may be proposed."""
    shadow_level: float | None = None
    """Level of a smoky shadow root; two levels below the base where None."""
    samples: int = 1000
    seed: int = 20


@dataclass(frozen=True, slots=True)
class Pretone:
    """A toner laid on first, rinsed, before the formula."""

    hue: str
    formula: tuple[FormulaPart, ...]
    base_after_lab: Lab
    delta_e00_without: float


@dataclass(frozen=True, slots=True)
class ZoneOutlook:
    """The outlook for one zone: the best that can be had, as it can be weighed."""

    name: str
    base_lab: Lab
    predicted_lab: Lab
    predicted_lab_sd: LabSd
    delta_e00: NotNegative
    verdict: Verdict
    saying: str
    """The verdict in words: how it differs, or what it turns into."""
    probability_true: Share
    formula: tuple[FormulaPart, ...]
    pretone: Pretone | None
    unadjusted_lab: Lab
    """What the mix that suits pale, level 10 hair would give here."""
    unadjusted_saying: str


@dataclass(frozen=True, slots=True)
class StripStep:
    """The best result on this hair at another level of lift."""

    level: float
    base_lab: Lab
    predicted_lab: Lab
    delta_e00: float


@dataclass(frozen=True, slots=True)
class Alternative:
    """A shade that does read true today."""

    name: str
    lab: Lab
    predicted_lab: Lab
    delta_e00: float


class ZoneFormula(NamedTuple):
    """A formula, and the zone that it is for."""

    name: str
    formula: tuple[FormulaPart, ...]


@dataclass(frozen=True, slots=True)
class Evening:
    """How far root, mids and ends come out alike."""

    difference: float
    """Largest CIEDE2000 between zones with the formulas above."""
    difference_met: float
    """The same when all zones aim at what the darkest can reach."""
    formulas: tuple[ZoneFormula, ...]
    """Formulas for meeting there; empty where the ones above are even enough, or meeting does not help."""
    saying: str


@dataclass(frozen=True, slots=True)
class Shadow:
    """A pair of dyes that makes a smoky neutral of a wanted depth."""

    level: float
    predicted_lab: Lab
    delta_e00: float
    formula: tuple[FormulaPart, ...]


@dataclass(frozen=True, slots=True)
class Outlook:
    """Whether the wanted shade can be had, and what gets there."""

    target: Target
    verdict: Verdict
    probability_true: Share
    zones: Annotated[tuple[ZoneOutlook, ...], MinLen(1)]
    base_level: float
    needs_level: float | None
    needs_undertone: str | None
    strip: tuple[StripStep, ...]
    instead: tuple[Alternative, ...]
    evening: Evening | None
    shadow: Shadow
    cautions: Annotated[tuple[str, ...], MinLen(1)]
    bowl: float

    @property
    def level_to_come_to(self) -> float | None:
        """The level that the shade needs: where it reads true already, the level that the hair has."""
        if self.needs_level is None and self.verdict == "true":
            return self.base_level
        return self.needs_level
