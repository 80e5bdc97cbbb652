"""How brightness and tint go over a zone, which light from one side writes into a strand.

Light from one side makes a ridge of brightness along a strand, deepens the shade between fibres, and sends back
more of its own colour from the highlights and more of the hair's from the flanks. Told as natural logarithms of
linear light, so that neither the exposure nor the hair's own lightness enters.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array, quantile
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
    light = _log(linear @ LUMINANCE)
    lengthwise = _along(light, hair & (off_axis <= MIDDLE), along)
    smooth = _log(cv2.blur(linear, (3, 3)) @ LUMINANCE)
    found: dict[ZoneName, Relief] = {}
    for name in PARTS:
        low, high = ZONES[name]
        columns = np.flatnonzero((along >= low) & (along <= high))
        part = slice(int(columns[0]), int(columns[-1]) + 1)
        inside = hair[:, part]
        ring = np.searchsorted(RINGS, off_axis[:, part][inside])
        bright = light[:, part][inside]
        red, blue = (_log(linear[:, part, channel][inside]) - bright for channel in (0, 2))
        middle = smooth[:, part][inside & (off_axis[:, part] <= MIDDLE)]
        below = [quantile(middle, share / 100.0) for share in SHARES] if middle.size else [0.0] * len(SHARES)
        mean = np.log(np.exp(middle).mean()) if middle.size else 0.0
        found[name] = Relief(
            _by_ring(bright, ring),
            _by_ring(red, ring)[TINTED_RINGS],
            _by_ring(blue, ring)[TINTED_RINGS],
            {"root": lengthwise, "mids": (lengthwise + lengthwise[::-1]) / 2.0, "ends": lengthwise[::-1]}[
                name
            ],
            np.array(below, dtype=np.float64) - mean,
        )
    return found


def _log(light: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(np.log(np.maximum(light, DARKEST_LINEAR)))


def _by_ring(values: NDArray[np.float32], ring: NDArray[np.intp]) -> Array:
    """Return the mean of values in each ring (5,), less that over the whole width."""
    means = _means(values, ring, len(RINGS))
    width = np.diff(RINGS, prepend=0.0)
    return np.asarray(means - means @ width / width.sum())


def _along(light: NDArray[np.float32], hair: NDArray[np.bool_], along: Array) -> Array:
    stretch = np.broadcast_to(np.minimum((along * STRETCHES).astype(np.intp), STRETCHES - 1), light.shape)
    means = _means(light[hair], stretch[hair], STRETCHES)
    return np.asarray(means - means.mean())


def _means(values: NDArray[np.float32], group: NDArray[np.intp], count: int) -> Array:
    """Return the mean of the values in each group (count,); where there are hardly any, that of its neighbours."""
    pixels = np.bincount(group, minlength=count)[:count]
    sums = np.bincount(group, values, minlength=count)[:count]
    enough = pixels > FEWEST_PIXELS
    if not enough.any():
        return np.zeros(count)
    at = np.arange(count)
    return np.interp(at, at[enough], sums[enough] / pixels[enough])
