"""How brightness and tint go over a zone, which light from one side writes into a strand.

Light from one side makes a ridge of brightness along a strand, deepens the shade between fibres, and sends back
more of its own colour from the highlights and more of the hair's from the flanks. Told as natural logarithms of
linear light, so that neither the exposure nor the hair's own lightness enters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array, quantiles
from strandgauge.colour.srgb import LUMINANCE
from strandgauge.light.region import Region
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.names import PARTS, ZONES, ZoneName
from strandgauge.strand.zones import MIDDLE, StrandCoordinates

RINGS = np.array([0.1056, 0.3167, 0.5278, 0.7389, 0.95])
"""Outer edges, as a share of the half width, of five rings about the strand's axis; both sides count as one."""
TINTED_RINGS = [0, 2, 4]
STRETCHES = 6
"""Parts of the whole strand's length, over which brightness is told along it."""
SHARES = (2, 10, 25, 50, 75, 90, 98)
FEWEST_PIXELS = 10
DARKEST_LINEAR = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Relief:
    """Brightness and tint over one of root, mids and ends, as natural logarithms."""

    across: Array = field(repr=False)
    """(5,) luminance of each of `RINGS`, less its mean over the width."""
    red_across: Array = field(repr=False)
    """(3,) red over luminance in `TINTED_RINGS`, less the mean."""
    blue_across: Array = field(repr=False)
    """(3,) the same of blue."""
    along: Array = field(repr=False)
    """(6,) luminance along the whole strand, from the end that the zone is nearer to, less its mean."""
    shares: Array = field(repr=False)
    """(7,) luminance that `SHARES` per cent of the zone's middle stay below, less the logarithm of the mean."""


def reliefs(region: Region, strand: Isolated, coordinates: StrandCoordinates) -> dict[ZoneName, Relief]:
    """Measure brightness and tint over root, mids and ends; gaps and clipped pixels are left out."""
    body = slice(strand.first, strand.last + 1)
    linear = region.linear[:, body]
    along = coordinates.along[body]
    off_axis = np.abs(coordinates.across[:, body])
    hair = strand.hair[:, body] & ~strand.gap[:, body] & ~region.clipped[:, body]
    luminance = linear @ LUMINANCE
    light, smooth = _log(luminance), _log(np.asarray(cv2.blur(luminance, (3, 3)), dtype=np.float32))
    lengthwise = _along(light, hair & (off_axis <= MIDDLE), along)
    found: dict[ZoneName, Relief] = {}
    for name in PARTS:
        low, high = ZONES[name]
        columns = np.flatnonzero((along >= low) & (along <= high))
        part = slice(int(columns[0]), int(columns[-1]) + 1)
        inside = hair[:, part]
        bright = light[:, part][inside]
        red, blue = (_log(linear[:, part, channel][inside]) - bright for channel in (0, 2))
        across = _across([bright, red, blue], off_axis[:, part][inside])
        middle = smooth[:, part][inside & (off_axis[:, part] <= MIDDLE)]
        shares = [share / 100.0 for share in SHARES]
        below = quantiles(middle, shares) if middle.size else [0.0] * len(SHARES)
        mean = np.log(np.exp(middle).mean()) if middle.size else 0.0
        found[name] = Relief(
            across[0],
            across[1][TINTED_RINGS],
            across[2][TINTED_RINGS],
            {"root": lengthwise, "mids": (lengthwise + lengthwise[::-1]) / 2.0, "ends": lengthwise[::-1]}[
                name
            ],
            np.array(below, dtype=np.float64) - mean,
        )
    return found


def _log(light: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(np.log(np.maximum(light, DARKEST_LINEAR)))


def _across(values: Sequence[NDArray[np.float32]], off_axis: NDArray[np.float32]) -> Array:
    """Return the means (K, 5) of K values (N,) in each ring, less those over the whole width."""
    within = (off_axis <= RINGS.astype(np.float32)[:, None]).astype(np.float64)  # a ring and those inside it
    rows = np.array([*values, np.ones_like(off_axis)], dtype=np.float64)
    sums = np.diff(rows @ within.T, prepend=0.0)
    width = np.diff(RINGS, prepend=0.0) / RINGS[-1]
    means = _means(sums[:-1], sums[-1])
    return np.asarray(means - (means @ width)[:, None])


def _along(light: NDArray[np.float32], hair: NDArray[np.bool_], along: Array) -> Array:
    stretch = np.minimum((along * STRETCHES).astype(np.intp), STRETCHES - 1)
    columns = np.where(hair, light, 0.0).sum(0, dtype=np.float64), hair.sum(0)
    sums, pixels = (np.bincount(stretch, column, STRETCHES).astype(np.float64) for column in columns)
    (means,) = _means(sums[None], pixels)
    return np.asarray(means - means.mean())


def _means(sums: Array, pixels: Array) -> Array:
    """Return the means (K, groups) of sums over pixels; where there are hardly any, that of its neighbours."""
    enough = pixels > FEWEST_PIXELS
    if not enough.any():
        return np.zeros_like(sums)
    at = np.arange(len(pixels))
    return np.stack([np.interp(at, at[enough], row[enough] / pixels[enough]) for row in sums])
