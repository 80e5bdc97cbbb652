"""What would make a reading surer: the strand told once more as if the light were soft, or the print measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from strandgauge.codes.facts import Note
from strandgauge.hair.levels import Ladder
from strandgauge.hair.posterior import posteriors, tell
from strandgauge.light.remainder import Remainder
from strandgauge.reading.describe import zone_colours
from strandgauge.reading.model import CardFit
from strandgauge.strand.direction import LightClues
from strandgauge.strand.names import ZoneName
from strandgauge.strand.zones import ZoneLight

SOFT_UNEVENNESS = 7.0
"""Per cent by which soft light is uneven over the card: median of rendered rooms with soft light alone."""
MEASURED_LEFT_OUT = 0.94
"""Mean CIEDE2000 of patches left out of the fit on a card whose true colours are known, and ..."""
POOR_PRINT_ADDS = 1.6
"""... what a poor print adds to that, as roots of squares: medians of rendered cards, 0.94 and 1.84. A card that fits
worse than a poor print does so for other reasons, which no measuring of the print takes away."""
OF_THE_LIGHT = frozenset({"uneven", "mixed", "slight-glare"})
"""Cautions that soft light of one kind does away with."""


def shares_left(
    zones: dict[ZoneName, ZoneLight],
    clues: LightClues,
    fit: CardFit,
    cautions: Sequence[Note],
    left: Remainder,
    ladder: Ladder,
    wet: bool,
    now: float,
) -> tuple[float, float]:
    """Return the shares of ``now``, the whole strand's level_sd, that soft light and a measured print would leave."""

    soft_clues = replace(clues, fall_along=0.0, shadow_other=min(clues.shadow_other, 0.0))
    soft_fit = replace(fit, light_unevenness_percent=min(fit.light_unevenness_percent, SOFT_UNEVENNESS))
    true_print = max(fit.leave_one_out_mean**2 - POOR_PRINT_ADDS**2, MEASURED_LEFT_OUT**2) ** 0.5
    print_fit = replace(fit, leave_one_out_mean=min(fit.leave_one_out_mean, true_print))
    as_lit = [
        zone_colours(zones, *seen, left)["overall"].as_lit
        for seen in (
            (soft_clues, soft_fit, sum(one.code not in OF_THE_LIGHT for one in cautions)),
            (clues, print_fit, len(cautions)),
        )
    ]
    soft, measured = (
        tell(found, ladder, wet=wet, signs=one.signs).level_sd / now
        for one, found in zip(as_lit, posteriors(as_lit, ladder, wet=wet), strict=True)
    )
    return min(soft, 1.0), min(measured, 1.0)
