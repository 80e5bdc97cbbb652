"""What a photo becomes: the reading, its zones and its notes; and the pipeline that makes it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from strandgauge.codes.bounds import Count, HueAngle, Level, NotNegative, Share, Text
from strandgauge.codes.facts import Note
from strandgauge.colour.cielab import Lab, LabSd
from strandgauge.hair.likely import WhiteHair
from strandgauge.hair.stain import Stain
from strandgauge.hair.warmth import WarmthBeside
from strandgauge.strand.names import ZoneName

COVERAGE = 1.96
"""Standard deviations to either side that hold 95 % of a normal distribution: what ± stands for."""


TOGETHER = " + "
"""Between the names of photos that were read as one."""

Way = Literal["turn-card", "softer-light", "measured-print"]
"""A second photo with the card turned end for end; light from all round; a print profile."""


@dataclass(frozen=True, slots=True)
class ZoneReading:
    """One zone of the strand, or the strand overall."""

    name: ZoneName
    lab: Lab
    """Colour under diffuse D65, specular included, 2 degree observer."""
    lab_sd: LabSd
    """Standard uncertainty of ``lab``, one standard deviation for each of L*, a*, b*."""
    lab_as_lit: Lab
    """Colour in this photo's own light direction, spectrum and unevenness of the light cancelled."""
    lightness_spread: NotNegative
    """Standard deviation of L* over the zone's hair, gloss and gaps left out."""
    level: Level
    """Lift level on the ladder in use, from 1.0 to its lightest."""
    level_sd: NotNegative
    level_shares: dict[str, Share]
    """Share of the zone's hair at each whole level, summing to 1; keys '1' upward."""
    undertone: Text
    """The likeliest one."""
    chroma: NotNegative
    """C*ab of ``lab``."""
    hue_deg: HueAngle
    """h_ab of ``lab``, degrees 0 to 360."""
    yellowness_e313: float
    """ASTM E313 yellowness index of ``lab``, D65 / 2 degree coefficients."""
    stain: Stain | None
    """The likeliest one; None where no stain is likelier."""
    lab_together: LabSd | None = None
    """Half-widths about ``lab`` that hold L*, a* and b* all at once in 95 %; None in readings saved before."""
    dye_probability: Share | None = None
    """How likely the zone holds dye, toner or stain; None in readings saved before it was told."""
    undertone_chances: dict[str, Share] | None = None
    """How likely each undertone is, likeliest first; None in readings saved before it was told."""
    stain_chances: dict[str, Share] | None = None
    """How likely each hue of stain is, and 'none'; None in readings saved before it was told."""
    hair_chances: dict[str, Share] | None = None
    """How likely natural, lifted, red, grey, toned, dyed and any other hair is; None in readings saved before."""
    white: WhiteHair | None = None
    """Share of white hairs if it is grey; None where that is unlikely, or in readings saved before."""
    warmth: WarmthBeside | None = None
    """Warmth beside what is usual at this level; None where a stain hides it, or in readings saved before."""

    @property
    def is_dyed(self) -> bool:
        """Whether toner, dye or stain is likelier than not: its lightness then is no level."""
        return (self.dye_probability or 0.0) >= 0.5


@dataclass(frozen=True, slots=True)
class CardFit:
    """How well the colour correction reproduces the card itself."""

    delta_e00_median: NotNegative
    delta_e00_max: NotNegative
    leave_one_out_mean: NotNegative
    light_unevenness_percent: NotNegative


@dataclass(frozen=True, slots=True)
class Reading:
    """The reading of one strand, from one photo or several."""

    photo: str
    """File name; several joined for a reading of several photos."""
    card: str
    card_fit: CardFit
    overall: ZoneReading
    zones: tuple[ZoneReading, ZoneReading, ZoneReading]
    """Root, mids and ends."""
    notes: tuple[Note, ...]
    ladder: str
    """Name of the ladder that the levels refer to."""
    wet: bool = False
    """True when the photo shows wet hair; ``lab`` and ``level`` are then the dry estimate."""
    taken: datetime | None = None
    """When the photo was taken, by the camera's clock; None where it does not tell."""
    zone_correlation: tuple[Share, Share] = (0.0, 0.0)
    """Correlation of the errors of the level in neighbouring zones, and in root and ends; zones of one strand lie
    in the same light, so their difference is surer than either. Zeros in readings saved before it was told."""
    photos: Count = 1
    """How many photos were read as one."""
    turned_share: Share = 1.0
    """What a further photo with the card turned end for end would leave of the level's uncertainty; 1 where the
    card was turned already, or in readings saved before it was told."""
    softer_share: Share = 1.0
    """What soft light from all round would leave of it; 1 where it is that, or in readings saved before."""
    measured_share: Share = 1.0
    """What a print profile would leave of it; 1 where there is one, or in readings saved before."""

    @property
    def ways(self) -> tuple[tuple[Way, Share], ...]:
        """What would make the level surer, the least trouble first, and what each leaves of its uncertainty."""
        return (
            ("turn-card", self.turned_share),
            ("softer-light", self.softer_share),
            ("measured-print", self.measured_share),
        )

    def __post_init__(self) -> None:
        if tuple(zone.name for zone in (self.overall, *self.zones)) != ("overall", "root", "mids", "ends"):
            raise ValueError("its zones are not root, mids and ends")


@dataclass(frozen=True, slots=True)
class PatchCheck:
    """One patch of a card, as defined and as the corrected photo shows it."""

    id: str
    lab_reference: Lab
    lab_corrected: Lab
    delta_e00: NotNegative
    """Difference after a correction fitted with this patch."""
    delta_e00_leave_one_out: NotNegative
    """Difference after a correction fitted anew without it."""
    doubted: bool = False
    """Not the colour that is printed there: covered, soiled, exchanged or misprinted."""


@dataclass(frozen=True, slots=True)
class CardCheck:
    """Whether card and light in a photo are fit for a reading, no strand needed."""

    photo: str
    card: str
    trusted: bool
    problems: tuple[Note, ...]
    """What speaks against a reading; each code is that of the error which ``read`` would end in."""
    light_unevenness_percent: NotNegative
    patches: tuple[PatchCheck, ...]
    cautions: tuple[Note, ...] = ()
    """What makes a reading less sure, and what should be mended without forbidding one."""
