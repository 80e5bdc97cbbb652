"""What follows from a reading once a shade is wished for, as plain frozen records: codes and numbers, no sentence."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Literal, NamedTuple

from annotated_types import MinLen

from strandgauge.codes.bounds import NotNegative, Share
from strandgauge.codes.facts import Note
from strandgauge.colour.cielab import Lab, LabSd
from strandgauge.dye.formula import FormulaPart
from strandgauge.dye.targets import Target
from strandgauge.hair.stain import Stain
from strandgauge.lift.advice import COLOURS, Advice, Do
from strandgauge.reading.model import Reading, Way

Verdict = Literal["true", "may", "close", "turns", "out"]
"""Reads true; may read true, the chance stands beside it; comes close; turns into another colour; out of reach."""
VERDICTS: tuple[Verdict, ...] = ("true", "may", "close", "turns", "out")
"""From best to worst."""

LIKELY = 0.7
"""Chance from which a shade is said to read true ..."""
POSSIBLE = 0.3
"""... and from which it is said that it may."""
EVEN = 0.5
"""Chance from which another shade is told as likely to read true."""
UNEVEN = 2.0
"""CIEDE2000 between zones from which they no longer pass for one colour; own judgement."""
TYPED_SD: Lab = (1.0, 0.8, 1.0)
"""Standard uncertainty that a colour typed in is given: someone read it somewhere. Own judgement."""


@dataclass(frozen=True, slots=True)
class BaseZone:
    """The hair to be dyed: one zone of a reading, or a colour typed in."""

    name: str
    lab: Lab
    lab_sd: Lab = (0.0, 0.0, 0.0)
    level: float | None = None
    """As read; None where it follows from the colour."""
    level_sd: float | None = None
    level_shares: tuple[tuple[int, float], ...] = ()
    """Whole levels and their shares of the zone's hair; empty for a colour typed in, which is one piece."""
    ways: tuple[tuple[Way, Share], ...] = ()
    """What would make the reading surer, and what it would leave of the level's uncertainty."""
    stain: Stain | None = None
    """As read; None of a colour typed in, whose stain follows from it."""


def base_zones(reading: Reading) -> tuple[BaseZone, ...]:
    """Return root, mids, ends and overall of a reading as hair to be dyed."""
    return tuple(
        BaseZone(
            zone.name,
            zone.lab,
            zone.lab_sd,
            zone.level,
            zone.level_sd,
            tuple((int(level), share) for level, share in zone.level_shares.items()),
            reading.ways,
            zone.stain,
        )
        for zone in (*reading.zones, reading.overall)
    )


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user may set for an outlook."""

    true_within: float = 3.0
    """CIEDE2000 from the shade's region up to which a result reads true."""
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
    """Level of a smoky shadow root; two levels below the root where None."""
    samples: int = 600
    seed: int = 20
    instead: bool = True
    """Whether other shades are looked for."""
    every_mix: bool = False
    """Whether formulas are given that are not to be mixed as things stand."""
    melt: bool = False
    """Whether the shade is to go from deep at the root to sheer at the ends."""


def verdict_of(chance: float, away: float, settings: Settings) -> Verdict:
    """Return the verdict for a chance of reading true, and for a CIEDE2000 where the chance is small."""
    if chance >= LIKELY:
        return "true"
    if chance >= POSSIBLE:
        return "may"
    return "close" if away <= settings.close_within else "turns" if away <= settings.turns_within else "out"


@dataclass(frozen=True, slots=True)
class Needs:
    """The level from which a shade reads true, on the ladder."""

    level: float
    low: float
    """Below this it hardly can."""
    high: float
    """From here on it is as sure as it gets."""


@dataclass(frozen=True, slots=True)
class Pretone:
    """A toner laid on first, rinsed, before the formula."""

    hue: str
    formula: tuple[FormulaPart, ...]
    base_after_lab: Lab
    delta_e00_without: float


@dataclass(frozen=True, slots=True)
class Piece:
    """The part of a zone's hair at one depth, and what the zone's formula makes of it."""

    level: float
    share: Share
    predicted_lab: Lab
    delta_e00: NotNegative
    """From the shade's region."""


@dataclass(frozen=True, slots=True)
class ZoneOutlook:
    """The outlook for one zone: the best that can be had, as it can be weighed."""

    name: str
    base_lab: Lab
    predicted_lab: Lab
    predicted_lab_sd: LabSd
    delta_e00: NotNegative
    """CIEDE2000 from the nearest colour that goes by the shade's name."""
    verdict: Verdict
    probability_true: Share
    """Chance that at least three quarters of this hair read true."""
    formula: tuple[FormulaPart, ...] | None
    """None where nothing is to be mixed as things stand."""
    pretone: Pretone | None
    unadjusted_lab: Lab
    """What the mix that suits the ladder's palest hair would give here."""
    level: float = 0.0
    level_sd: float = 0.0
    hair: str = "lifted"
    """What the hair seems to be: natural, lifted, white, toned or dyed."""
    cast: str | None = None
    """Hue of old dye on it."""
    slight: bool = True
    """Whether what lies on it is little enough to be washed out."""
    red: bool = False
    """Redder than lightener leaves hair of this depth: henna, or red dye."""
    needs: Needs | None = None
    """None where no lift makes the shade read true."""
    pieces: tuple[Piece, ...] = ()
    share_true: Share = 1.0
    """Share of the hair that reads true on average."""
    bowl: int = 0
    """Zones with the same number can be served from one bowl."""
    wanted_lab: Lab | None = None
    """The shade at its clearest."""


@dataclass(frozen=True, slots=True)
class StripStep:
    """The best result on lifted hair of another level."""

    level: float
    base_lab: Lab
    predicted_lab: Lab
    delta_e00: float


@dataclass(frozen=True, slots=True)
class Alternative:
    """A shade that is likely to read true today."""

    name: str
    lab: Lab
    predicted_lab: Lab
    delta_e00: float
    chance: Share = 1.0


Outcome = Literal["one-colour", "meets", "partly", "apart", "lighten-first"]


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
    outcome: Outcome = "apart"
    zone: str = ""
    """The zone that holds it back, where one does."""
    aim_lab: Lab | None = None
    """What the zones would meet at."""


@dataclass(frozen=True, slots=True)
class Shadow:
    """A mix that makes a smoky neutral of a wanted depth at the root."""

    level: float
    predicted_lab: Lab
    delta_e00: float
    formula: tuple[FormulaPart, ...]
    zone: str = "overall"


@dataclass(frozen=True, slots=True)
class Outlook:
    """Whether the wanted shade can be had, what gets there, and what is advised."""

    target: Target
    verdict: Verdict
    probability_true: Share
    """Chance that all zones read true together."""
    zones: Annotated[tuple[ZoneOutlook, ...], MinLen(1)]
    base_level: float
    needs: Needs | None
    """Of the zone that needs most; None where no lift makes the shade read true there."""
    needs_undertone: str | None
    strip: tuple[StripStep, ...]
    instead: tuple[Alternative, ...]
    evening: Evening | None
    shadow: Shadow | None
    advice: tuple[Advice, ...]
    """What to do, most pressing first."""
    cautions: tuple[Note, ...]
    """What to mind, most pressing first."""
    bowl: float
    target_level: float = 0.0
    """The level of the shade's own lightness."""
    surer: Note | None = None
    """What would settle whether the hair is light enough, where that is open: a `Way` as code."""

    @property
    def needs_level(self) -> float | None:
        """The needed level alone."""
        return None if self.needs is None else self.needs.level

    @property
    def level_to_come_to(self) -> float | None:
        """The level that the shade needs: where it reads true already, the level that the hair has."""
        return self.base_level if self.needs is None and self.verdict == "true" else self.needs_level

    @property
    def own_zones(self) -> list[ZoneOutlook]:
        """The zones that are told of: root, mids and ends, or whatever there is."""
        return [zone for zone in self.zones if zone.name != "overall"] or list(self.zones)

    def to_mix(self, zone: ZoneOutlook) -> bool:
        """Whether a zone's formula is to be mixed as things stand."""
        stopped = self.does("stop-condition", "stop-time")
        return self.does(*COLOURS, zone=zone.name) and zone.verdict != "out" and not stopped

    def as_advised(self) -> Outlook:
        """Return this with no formula but those to be mixed: beside lightener or a stop it would be taken for one."""
        mixed = [zone.name for zone in self.zones if self.to_mix(zone)]
        zones = tuple(
            zone if zone.name in mixed else replace(zone, formula=None, pretone=None) for zone in self.zones
        )
        evening = self.evening if mixed or self.evening is None else replace(self.evening, formulas=())
        shadow = self.shadow if mixed or self.does("melt-root") else None
        return replace(self, zones=zones, evening=evening, shadow=shadow)

    def does(self, *codes: Do, zone: str | None = None) -> bool:
        """Whether any of these is advised, for a zone or for any."""
        return any(one.do in codes and zone in (None, one.zone) for one in self.advice)

    def zone(self, name: str) -> ZoneOutlook:
        """Return one zone."""
        return next(one for one in self.zones if one.name == name)
