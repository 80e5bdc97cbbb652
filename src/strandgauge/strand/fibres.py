"""Whether what lies in the window is made of fibres along it, as hair is, all over and by itself.

Skin, cloth, card and shadow have the colours of hair, and a level could be told of them. What they lack is fine
light and shade from fibre to fibre. Ribs, weave and lines of print have that in rows, brick and crumpled paper as
much along as across, and something lying on the strand lacks it in one place. Each is told by a number here. Wood
grain along the strand and ribs finer than 1.5 mm are like straight hair in all of them; `lines` looks for more.

The limits are own choice, between what was seen on 959 rendered strands and on pictures of such stuffs
(docs/accuracy.md).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.codes.facts import Note, note
from strandgauge.colour.arrays import Array, median
from strandgauge.colour.srgb import LUMINANCE
from strandgauge.errors import NotHairError
from strandgauge.light.region import Region
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.pattern import on_the_strand
from strandgauge.strand.zones import StrandCoordinates

LEAST_STRENGTH = 0.016
"""Fine log brightness, standard deviation: 0.025 and more on 124 rendered and sample strands, small and soft copies
among them; 0.012 and less on skin, cloth and flat colour."""
MOST_ROWS = 0.64
"""Likeness of a pattern to itself one row and two rows further: 0.60 and less on hair, curls among it."""
MOST_ALONG, DOUBTFUL_ALONG = 1.08, 0.75
"""Slopes of brightness along the strand over those across, squared: 1.06 and less on hair, in 99 % 0.66."""
USUAL = 0.88
"""Share of the places along the strand that are looked at for that: the least steep."""
LEAST_COVERED, LEAST_COVERED_SHARE = 0.008, 0.2
"""Fine contrast of the smoothest place of 5 by 5 mm, and its share of the usual place's: below both it is no hair.
Hair as smooth as that (0.009 and more, but for one picture) is so everywhere, its share 0.5 and more."""
_COARSE_MM = 0.7
"""Width of what counts as light and shade of locks, not of fibres, mm."""
_DARKEST = 3e-3
"""Keeps the logarithm of black hair's brightness from being noise."""
_STEPS = ((2, 13), (3, 40))
"""Places of the strand's grid from one row to the next, across and along: 0.6 to 4 mm, 1.2 to 16 mm."""
_CELL = (13, 12)
"""Places across and along of 5 by 5 mm, on a strand of usual width."""


@dataclass(frozen=True, slots=True)
class Fibres:
    """What the pattern on a strand is like."""

    strength: float
    """Standard deviation of fine log brightness."""
    rows: float
    """How much it repeats in rows, 0 to 1."""
    along: float
    """Squared slopes of brightness along over across."""
    smoothest: float
    """Fine contrast of the smoothest place."""
    smoothest_share: float
    """That over the contrast of the usual place."""


def fibres(region: Region, strand: Isolated, coordinates: StrandCoordinates) -> Fibres:
    """Describe the pattern on a strand."""
    light = on_the_strand(strand, region.linear) @ LUMINANCE
    log = np.log(np.maximum(light, _DARKEST))
    fine = (cv2.GaussianBlur(log, (0, 0), 0.6) - cv2.GaussianBlur(log, (0, 0), 4.0))[3:-3, 8:-8]
    most = 4.0 * fine.std()
    fine = np.clip(fine, -most, most)
    clipped = on_the_strand(strand, region.clipped.astype(np.float32))
    smoothest, usual = _smoothness(log, np.maximum(clipped, light < 2.0 * _DARKEST))
    return Fibres(
        _strength(region, strand, coordinates),
        max(repeats(fine.T, *_STEPS[0]), repeats(fine, *_STEPS[1])),
        _along(fine, coordinates),
        smoothest,
        smoothest / max(usual, 1e-6),
    )


def _strength(region: Region, strand: Isolated, coordinates: StrandCoordinates) -> float:
    """Return the standard deviation of fine log brightness, coarse light and shade taken off.

    Taken in the middle two thirds of the strand's length and 40 % of its width.
    """
    margin = (strand.last - strand.first) // 6
    body = slice(strand.first + margin, strand.last - margin)
    log = np.log(np.maximum(region.linear[:, body] @ LUMINANCE, _DARKEST))
    fine = log - cv2.GaussianBlur(log, (0, 0), _COARSE_MM * region.pixels_per_mm)
    fine = cv2.GaussianBlur(fine, (0, 0), 0.5)
    return float(fine[np.abs(coordinates.across[:, body]) <= 0.4].std())


def repeats(fine: NDArray[np.float32], first: int, last: int) -> float:
    """Return how much a pattern (H, W) is like itself one step and two steps further along its rows, 0 to 1.

    Steps from ``first`` to ``last`` places are tried; between the pattern and its like there must be something
    unlike, else it is only coarse.
    """
    size = fine.shape[1]
    power = np.abs(np.fft.rfft(fine, n=2 * size, axis=1)) ** 2
    sums = np.fft.irfft(power.mean(0))[:size]
    alike: Array = sums / max(float(sums[0]), 1e-12) * size / (size - np.arange(size))
    steps = np.arange(first, last)
    twice = alike[2 * steps[:, None] + (-1, 0, 1)].max(1)
    both, between = np.minimum(alike[steps], twice), np.minimum.accumulate(alike[1:])[steps - 1]
    return max(0.0, float(np.minimum(both, (both - between) / 2.0).max()))


def _along(fine: NDArray[np.float32], coordinates: StrandCoordinates) -> float:
    height, width = fine.shape[0] + 6, fine.shape[1] + 16
    along = np.diff(fine, axis=1) * (width / (0.94 * coordinates.length_mm))
    across = np.diff(fine, axis=0) * (height / (0.85 * coordinates.width_mm))
    # Where the colour changes at a line, as at a regrowth, a few places along are steep; they are left out.
    steep = np.sort((along**2).mean(0))
    usual = steep[: round(USUAL * len(steep))].mean()
    return float(usual / max(float((across**2).mean()), 1e-12))


def _smoothness(log: NDArray[np.float32], unseen: NDArray[np.float32]) -> tuple[float, float]:
    """Return the fine contrast of the smoothest and of the usual place; clipped gloss and black are none."""
    fine = cv2.GaussianBlur(log, (0, 0), 0.5) - cv2.GaussianBlur(log, (0, 0), 2.0)
    high, wide = _CELL
    inner = slice(5 + high // 2, -5 - high // 2), slice(8 + wide // 2, -8 - wide // 2)
    contrast = np.sqrt(cv2.blur(fine * fine, (wide, high)))[inner]
    seen = contrast[cv2.blur(unseen, (wide, high))[inner] < 0.02]
    return (float(seen.min()), float(median(seen))) if seen.size else (1.0, 1.0)


def check_fibres(found: Fibres) -> tuple[Note, ...]:
    """Refuse what is not made of fibres along the strand; note what hardly is.

    Raises
    ------
    NotHairError : the fault says which.
    """
    if found.strength < LEAST_STRENGTH:
        raise NotHairError(fault="smooth", where="window")
    if found.rows > MOST_ROWS:
        raise NotHairError(fault="rows", where="window")
    if found.along > MOST_ALONG:
        raise NotHairError(fault="along", where="window")
    if found.smoothest < LEAST_COVERED and found.smoothest_share < LEAST_COVERED_SHARE:
        raise NotHairError(fault="covered", where="strand")
    return (note("no-direction"),) if found.along > DOUBTFUL_ALONG else ()
