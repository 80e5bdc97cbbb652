"""What a zone's hair seems to be, from its colour and from what was told: natural, lifted, white, toned or dyed.

Lightness alone cannot tell these apart, and a level means something else on each: hair that was never lifted, or that
a toner lies on, or that is white of itself, is compared by its colour. Limits are own choice, after the typical
ranges of natural, lifted and white hair (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from strandgauge.colour.cielab import chroma, hue_deg
from strandgauge.hair.levels import Ladder
from strandgauge.hair.stain import find_stain
from strandgauge.judge.history import History
from strandgauge.judge.outlook import BaseZone

HairKind = Literal["natural", "lifted", "white", "toned", "dyed"]

NATURAL_SHARE = 0.75
"""Chroma, as a share of the ladder's at that lightness, below which warm hair was hardly lifted."""
PALE = 64.0
"""L* from which natural hair is white rather than blond."""
WHITE_SHARE = 0.62
DEEP_TONER = 50.0
"""L* below which little chroma means dark hair, not a toner."""
TONER_SHARE = 0.3
WARM = (35.0, 112.0)
"""Hue angles, degrees, of natural and lifted hair."""
RED_EXCESS = 6.0
"""a* above the ladder's from which dark hair is redder than lightener leaves it: henna, or red dye."""
DIRECT_EXCESS = 6.0
"""Distance in a*b* from the ladder's from which dye that was told of is taken to show."""
SLIGHT = 12.0
"""Strength of a cast, in a*b*, up to which washing may take it out."""


@dataclass(frozen=True, slots=True)
class Hair:
    """What a zone's hair seems to be."""

    kind: HairKind
    cast: str | None = None
    """Hue of the old dye, in plain words."""
    strength: float = 0.0
    """Distance of the colour from undyed hair in a*b*."""
    red: bool = False
    """Redder than lightener leaves hair of this depth, without being plainly dyed."""

    @property
    def slight(self) -> bool:
        """Whether what lies on the hair is little enough to be washed out."""
        return self.strength <= SLIGHT


def what_hair(zone: BaseZone, ladder: Ladder, history: History) -> Hair:
    """Tell what a zone's hair seems to be."""
    colour = np.asarray(zone.lab, dtype=float)
    depth, strength, hue = float(colour[0]), float(chroma(colour)), float(hue_deg(colour))
    here = ladder.lab_at(ladder.level_of(colour))
    away = float(np.hypot(*(colour[1:] - here[1:])))
    share = strength / max(float(ladder.chroma_at(depth)), 1e-9)
    stain = zone.stain or find_stain(zone.lab, zone.lab_sd)
    if stain is not None:
        return Hair("dyed", stain.hue, max(stain.strength, 0.5 * away))
    if history.direct_dye is not None and away > DIRECT_EXCESS:
        cast = None if history.direct_dye == "yes" else history.direct_dye
        return Hair("dyed", cast, away)
    red = depth < DEEP_TONER and bool(colour[1] - here[1] > RED_EXCESS)
    if history.natural_white and depth >= DEEP_TONER:
        return Hair("white")
    warm = WARM[0] <= hue <= WARM[1]
    toner = share < TONER_SHARE and not (warm and depth >= PALE and strength >= 6.0)
    if depth >= DEEP_TONER and (toner or history.toner) and share < NATURAL_SHARE:
        return Hair("toned", None, away)
    if history.virgin:
        return Hair("natural", red=red)
    if history.was_lightened(zone.name):
        return Hair("lifted", red=red)
    if warm and depth >= PALE and share < WHITE_SHARE:
        return Hair("white")
    return Hair("natural" if share < NATURAL_SHARE and depth < PALE else "lifted", red=red)
