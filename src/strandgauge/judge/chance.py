"""How likely a mix reads true: what is not known of the hair, the dyes and the algebra, drawn together.

Independent parts: the hair's colour as read; how much dye the hair takes up, in common to all dyes (porosity, time,
rinsing) and for each dye by itself (its batch, its strength in the tube); and the algebra's own error. The same draws
serve all zones of a head: it is the same bowl, and half of a reading's error is common to all zones.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from strandgauge.colour.arrays import Array
from strandgauge.dye.mix import MODEL_SD, UPTAKE_COMMON_SD, UPTAKE_OWN_SD
from strandgauge.dye.region import Region
from strandgauge.hair.pigment import Base

SHARED = 0.5
"""Share of a reading's variance that all zones of a photo have in common; own choice."""
MOST_OF_IT = 0.75
"""Share of a zone's hair that must read true for the zone to do so; own choice."""
MOST_DYES = 3


@dataclass(frozen=True, eq=False)
class Draws:
    """Standard normal numbers for S heads of hair."""

    base: Array
    """(Z, S, 3)"""
    common: Array
    """(S,) uptake of all dyes."""
    own: Array
    """(S, D) uptake of each dye."""
    model: Array
    """(Z, S, 3)"""


@cache
def draws(zones: int, dyes: int, samples: int, seed: int) -> Draws:
    """Return the numbers for so many zones and dyes; the same for the same arguments."""
    generator = np.random.default_rng(seed)
    shared = generator.standard_normal((samples, 3))
    alone = generator.standard_normal((zones, samples, 3))
    return Draws(
        np.sqrt(SHARED) * shared + np.sqrt(1.0 - SHARED) * alone,
        generator.standard_normal(samples),
        generator.standard_normal((samples, dyes)),
        generator.standard_normal((zones, samples, 3)),
    )


def colours(around: Base, held: Array, curves: Array, drawn: Draws, zone: int) -> Array:
    """Return the colours (S, 3) that dyes held (D,) may give on an uncertain base.

    ``around`` is one base and its six neighbours (7,), see `solve_around`; ``curves`` is (D, 31). The colour is
    followed to the second order along each axis of the base's uncertainty, and along the uptake of each dye.
    """
    used = np.flatnonzero(held > 0.0)
    parts = held[used, None] * curves[used]
    added = parts.sum(axis=0)
    dyed = around.dyed(added)
    middle, up, down = dyed[0], dyed[1:4], dyed[4:7]
    t = drawn.base[zone]
    shown = middle + t @ ((up - down) / 2.0) + t**2 @ ((up + down) / 2.0 - middle)
    if used.size:
        step = float(np.hypot(UPTAKE_COMMON_SD, UPTAKE_OWN_SD))
        centre = around.at((None, 0))
        more, less = centre.dyed(added + step * parts), centre.dyed(added - step * parts)
        by_dye = (more - less) / (2.0 * step)
        uptake = UPTAKE_COMMON_SD * drawn.common[:, None] + UPTAKE_OWN_SD * drawn.own[:, used]
        shown = shown + uptake @ by_dye
    share = float(np.clip(np.max(added, initial=0.0), 0.0, 1.0))  # without dye there is nothing to predict
    return np.asarray(shown + share * drawn.model[zone] * np.asarray(MODEL_SD))


def share_true(
    pieces: list[tuple[float, Base]],
    held: Array,
    curves: Array,
    region: Region,
    within: float,
    drawn: Draws,
    zone: int,
) -> Array:
    """Return the share of a zone's hair (S,) that reads true in each draw; ``pieces`` are shares and bases (7,)."""
    total = np.zeros(drawn.common.shape)
    for share, around in pieces:
        total += share * (region.away(colours(around, held, curves, drawn, zone)) <= within)
    return total
