"""Which of many shades can be had on some hair instead of one that cannot."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from strandgauge.colour.cielab import Lab, as_lab, chroma, delta_e_2000, hue_deg
from strandgauge.dye.region import region_of
from strandgauge.dye.solve import make_sieve, survey_mixes
from strandgauge.dye.targets import Target
from strandgauge.judge.chance import MOST_OF_IT, draws, share_true
from strandgauge.judge.choice import Head, Work, stack, weighted
from strandgauge.judge.outlook import EVEN, Alternative

MOST_ALTERNATIVES = 6
NEAREST = 3
DRAWN = 96


def survey(heads: Sequence[Head], targets: Sequence[Target], work: Work) -> tuple[Alternative, ...]:
    """Return how each of many shades would do on all of some zones, in the order of the shades."""
    shelf, settings = work.shelf, work.settings
    regions = [region_of(one) for one in targets]
    sieve = make_sieve(stack([head.base for head in heads]), work.grid)
    found = survey_mixes(sieve, np.concatenate([region.anchors for region in regions]))
    drawn = draws(len(heads), len(shelf.dyes), DRAWN, settings.seed)
    told, start = [], 0
    for one, region in zip(targets, regions, strict=True):
        end = start + len(region.anchors)
        away = region.away(found.lab[:, start:end])
        best = np.argmin(away + 0.5 * np.arange(end - start), axis=1)
        least = away[np.arange(len(heads)), best]
        worst = int(np.argmax(least))
        chance = 0.0
        if least[worst] <= settings.close_within:
            held = found.shares[np.arange(len(heads)), start + best]
            good = [
                share_true(
                    weighted(head), held[place], shelf.curves, region, settings.true_within, drawn, place
                )
                >= MOST_OF_IT - 1e-9
                for place, head in enumerate(heads)
            ]
            chance = float(np.mean(np.all(good, axis=0)))
        lab = as_lab(found.lab[worst, start + best[worst]])
        told.append(Alternative(one.name, one.lab, lab, float(least[worst]), chance))
        start = end
    return tuple(told)


def instead_of(
    target: Target, heads: Sequence[Head], targets: Sequence[Target], work: Work
) -> tuple[Alternative, ...]:
    """Return other shades that are likely to read true on every zone, nearest in hue first.

    Where there is none, those that come nearest to it: that nothing can be had today helps nobody.
    """
    others = [one for one in targets if one.name != target.name]
    found = survey(heads, others, work) if others else ()
    likely = [one for one in found if one.chance >= EVEN]
    if not likely:
        return tuple(sorted(found, key=lambda one: (-one.chance, one.delta_e00))[:NEAREST])
    return tuple(sorted(likely, key=lambda one: _hue_distance(one.lab, target.lab))[:MOST_ALTERNATIVES])


def _hue_distance(one: Lab, other: Lab) -> tuple[float, float]:
    """Return how far apart two shades are in hue, in steps of 15 degrees, then in colour as a whole.

    A shade without much hue of its own lies beside no hue.
    """
    away = abs(float((hue_deg(one) - hue_deg(other) + 180.0) % 360.0 - 180.0))
    grey = (float(chroma(one)) < 6.0) != (float(chroma(other)) < 6.0)
    return 6.0 if grey else float(away // 15.0), float(delta_e_2000(one, other))
