"""Whether what lies in the window is made of fibres along it, as hair is, all over and by itself.

Skin, cloth, card and shadow have the colours of hair, and a level could be told of them. What they lack is fine
light and shade from fibre to fibre. Ribs, weave and lines of print have that in rows, yarns too evenly, felt, cord
and plaits as much along as across, feathers slanting from the middle, and something lying on the strand lacks it in
one place. Each is told by a number here. Wood grain along the strand and ribs finer than 1.5 mm are like straight
hair in all of them; `lines` looks for more.

The limits are own choice, set between one half of 3756 rendered strands and pictures of such stuffs, and then counted
on the other half and on others (docs/accuracy.md).
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

LEAST_STRENGTH = 0.015
"""Fine log brightness, standard deviation: 0.018 and more on hair, in 99 % 0.028; 0.011 and less on skin, cloth and
flat colour."""
MOST_ROWS = 0.64
"""Likeness of a pattern to itself one row and two rows further: 0.60 and less on hair, curls among it."""
MOST_ALONG, DOUBTFUL_ALONG = 1.0, 0.8
"""Slopes of brightness along the strand over those across, squared: 0.91 and less on hair, in 99 % 0.76."""
USUAL = 0.88
"""Share of the places along the strand that are looked at for that: the least steep."""
MOST_SLANT = 0.22
"""How much the pattern slants apart from the middle to both sides, sine of twice the angle: 0.16 and less on hair."""
LEAST_BROKEN = 0.0076
"""Slope of log brightness along, per millimetre, by the fourth root of `along`: fibres end and cross, so that on hair
it is 0.0060 and more, and in 99.9 % as much as this; less on wood, ribbon and blades of grass, whose lines run on."""
LEAST_UNEVEN, DOUBTFUL_UNEVEN = 2.1, 2.6
"""Kurtosis of fine light and shade, 1.5 in waves, 3 by chance: 2.36 and more on hair, in 99 % 2.9."""
LEAST_COVERED, LEAST_COVERED_SHARE = 0.008, 0.2
"""Fine contrast of the smoothest place of 5 by 5 mm, and its share of the usual place's: below both it is no hair.
Hair as smooth as that (0.009 and more, but for one picture) is so everywhere, its share 0.5 and more."""
_COARSE_MM = 0.7
"""Width of what counts as light and shade of locks, not of fibres, mm."""
_DARKEST = 3e-3
"""Keeps the logarithm of black hair's brightness from being noise."""
_STEPS = ((2, 13), (3, 40))
"""Places of the strand's grid from one row to the next, across and along: 0.6 to 4 mm, 1.2 to 16 mm."""
_PARTS = 8
"""Parts along the strand in which its slant is taken."""
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
    slant: float
    """How much it slants apart on both sides of the middle, 0 to 1."""
    broken: float
    """Slope along, per millimetre, by the fourth root of ``along``: how much its lines end and cross."""
    uneven: float
    """Kurtosis of fine light and shade: lines of all strengths have more than even ones."""
    smoothest: float
    """Fine contrast of the smoothest place."""
    smoothest_share: float
    """That over the contrast of the usual place."""


def fibres(region: Region, strand: Isolated) -> Fibres:
    """Describe the pattern on a strand."""
    light = on_the_strand(strand, region.linear) @ LUMINANCE
    log = np.log(np.maximum(light, _DARKEST))
    fine = (cv2.GaussianBlur(log, (0, 0), 0.6) - cv2.GaussianBlur(log, (0, 0), 4.0))[3:-3, 8:-8]
    most = 4.0 * fine.std()
    fine = np.clip(fine, -most, most)
    unseen = (light < 2.0 * _DARKEST).astype(np.float32)
    if region.clipped.any():
        unseen = np.maximum(unseen, on_the_strand(strand, region.clipped.astype(np.float32)))
    smoothest, usual = _smoothness(log, unseen)
    straight = _straightened(region, strand)
    strength, uneven = _contrast(straight, region.pixels_per_mm)
    return Fibres(
        strength,
        max(repeats(fine.T, *_STEPS[0]), repeats(fine, *_STEPS[1])),
        *_slopes(straight, region.pixels_per_mm),
        uneven,
        smoothest,
        smoothest / max(usual, 1e-6),
    )


def _straightened(region: Region, strand: Isolated) -> NDArray[np.float32]:
    """Return the strand's log brightness (H, W) at the region's resolution, axis and sides straight."""
    margin = round(0.03 * (strand.last - strand.first))
    columns = np.arange(strand.first + margin, strand.last - margin)
    half = strand.half_width[columns]
    usual = float(median(half))
    reach = int(0.85 * usual)
    centre, scale = strand.centre[columns].astype(np.float32), (half / usual).astype(np.float32)
    rows = centre + np.arange(-reach, reach + 1, dtype=np.float32)[:, None] * scale
    at = np.broadcast_to(columns, rows.shape).astype(np.float32), rows
    light = cv2.remap(region.linear, *at, cv2.INTER_LINEAR) @ LUMINANCE
    return np.asarray(np.log(np.maximum(light, _DARKEST)), dtype=np.float32)


def _slopes(straight: NDArray[np.float32], pixels_per_mm: float) -> tuple[float, float, float]:
    """Return squared slopes along over across, how much a pattern slants apart on both sides, and how broken it is.

    Of what is 0.4 to 1.2 mm in size: finer is noise, coarser are locks. The second is the sine of twice the angle
    (the structure tensor's, Bigun and Granlund 1987) of one side of the middle less that of the other, halved, and
    keeps to its sign in three quarters of the length.
    """
    coarse = cv2.blur(cv2.blur(straight, (13, 13)), (13, 13))
    fine = (cv2.GaussianBlur(straight, (0, 0), 1.5) - coarse)[3:-3, 6:-6]
    most = 4.0 * float(fine.std())
    clear = np.clip(fine, -most, most)
    along, across = (cv2.Sobel(clear, cv2.CV_32F, *way) for way in ((1, 0), (0, 1)))
    flat, high = along * along, across * across
    # Where the colour changes at a line, as at a regrowth, a few places along are steep; they are left out.
    steep = np.sort(flat.mean(0))
    usual = steep[: round(USUAL * len(steep))].mean()
    rows, length = len(fine) // 2, fine.shape[1] // _PARTS
    ratio = float(usual / max(float(high.mean()), 1e-12))
    both, all_of_it = -2.0 * along * across, flat + high
    sines = []
    for side in (slice(0, rows), slice(-rows, None)):
        slanted, whole = (
            part[side, : length * _PARTS].sum(0).reshape(_PARTS, length).sum(1) for part in (both, all_of_it)
        )
        sines.append(slanted / np.maximum(whole, 1e-12))
    apart = np.sort(sines[0] - sines[1]) / 2.0
    quarter = _PARTS // 4
    slant = max(0.0, float(apart[quarter]), float(-apart[-1 - quarter]))
    per_mm = float(np.sqrt(usual)) * pixels_per_mm / 8.0  # Sobel's weights sum up to 8
    return ratio, slant, per_mm * ratio**0.25


def _contrast(straight: NDArray[np.float32], pixels_per_mm: float) -> tuple[float, float]:
    """Return standard deviation and kurtosis of fine log brightness, coarse light and shade taken off.

    The first is taken in the middle two thirds of the strand's length and half of this width.
    """
    coarse = cv2.GaussianBlur(straight, (0, 0), _COARSE_MM * pixels_per_mm)
    fine = np.asarray(cv2.GaussianBlur(straight - coarse, (0, 0), 0.5))
    square = fine * fine
    kurtosis = float((square * square).mean()) / max(float(square.mean()) ** 2, 1e-24)
    high, wide = (side // part for side, part in zip(fine.shape, (4, 7), strict=True))
    return float(fine[high:-high, wide:-wide].std()), kurtosis


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
    if found.rows > MOST_ROWS or found.uneven < LEAST_UNEVEN:
        raise NotHairError(fault="rows", where="window")
    if found.along > MOST_ALONG:
        raise NotHairError(fault="along", where="window")
    if found.slant > MOST_SLANT:
        raise NotHairError(fault="slant", where="window")
    if found.smoothest < LEAST_COVERED and found.smoothest_share < LEAST_COVERED_SHARE:
        raise NotHairError(fault="covered", where="strand")
    notes = []
    if found.along > DOUBTFUL_ALONG:
        notes.append(note("no-direction"))
    if found.broken < LEAST_BROKEN:
        notes.append(note("unbroken"))
    if found.uneven < DOUBTFUL_UNEVEN:
        notes.append(note("even-ribs"))
    return tuple(notes)
