"""Root, mids and ends: where they lie along the strand's own axis, and the light they send back."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array, median
from strandgauge.colour.picture import lab_of_picture
from strandgauge.errors import OverexposedError, StrandTooThinError
from strandgauge.light.region import Region
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.names import ZONES, ZoneName

MIDDLE = 0.60
"""Share of the strand's width, in its middle, over which colour is averaged."""
MOST_CLIPPED = 0.10
"""Largest share of a zone's pixels that may be clipped to white."""
MOST_GAPS = 0.35
"""Largest share of a zone that may look like the paper below."""
SHARE_SMOOTHING_MM = 0.5
"""Pixels are averaged over about this size before they are sorted into levels: single fibres are no level."""

_AROUND = np.append(np.linspace(0, 1, 12), np.linspace(1, 0, 12))
"""Places of a zone's outline along it, there on one side and back on the other, ..."""
_SIDE = np.repeat([-1.0, 1.0], 12)
"""... and which side."""


@dataclass(frozen=True, slots=True)
class ZoneLight:
    """What one zone sends back in this photo's own light, spectrum and unevenness of the light cancelled."""

    name: ZoneName
    linear: Array = field(repr=False)
    """(3,) mean linear sRGB over the middle of the strand."""
    pixels_lab: NDArray[np.float32] = field(repr=False)
    """(N, 3) CIELAB of the zone's hair, fine structure averaged out."""
    lightness_spread: float
    """Standard deviation of L* among ``pixels_lab``."""
    gap_share: float
    clipped_share: float
    outline: Array = field(repr=False)
    """(M, 2) card millimetres around the zone, for drawing."""


@dataclass(frozen=True, slots=True)
class StrandCoordinates:
    """Where each pixel of the region lies on the strand."""

    along: Array = field(repr=False)
    """(W,) 0 at the root end to 1 at the ends, by length along the axis."""
    across: NDArray[np.float32] = field(repr=False)
    """(H, W) -1 to 1 from one edge of the strand to the other."""
    length_mm: float
    width_mm: float


def strand_coordinates(strand: Isolated, pixels_per_mm: float) -> StrandCoordinates:
    """Lay the strand's own coordinates over the region."""
    step = np.hypot(1.0, np.gradient(strand.centre))
    travelled = np.cumsum(step)
    start, end = travelled[strand.first], travelled[strand.last]
    rows = np.arange(len(strand.hair))[:, None]
    inner = slice(strand.first, strand.last + 1)
    slant = 1 / step[inner]
    return StrandCoordinates(
        (travelled - start) / (end - start),
        ((rows - strand.centre) * (1 / strand.half_width)).astype(np.float32),
        float((end - start) / pixels_per_mm),
        float(median(2 * strand.half_width[inner] * slant) / pixels_per_mm),
    )


def measure_zones(
    region: Region, strand: Isolated, coordinates: StrandCoordinates
) -> dict[ZoneName, ZoneLight]:
    """Average each zone over the middle of the strand's width, gaps left out.

    Raises
    ------
    OverexposedError : the hair is clipped to white.
    StrandTooThinError : paper shows through most of a zone.
    """
    size = round(SHARE_SMOOTHING_MM * region.pixels_per_mm)
    smooth = cv2.blur(region.linear, (size, size))
    middle = np.abs(coordinates.across) <= MIDDLE
    return {
        name: _measure(name, span, region, smooth, strand, coordinates, middle)
        for name, span in ZONES.items()
    }


def _measure(
    name: ZoneName,
    span: tuple[float, float],
    region: Region,
    smooth: NDArray[Any],
    strand: Isolated,
    coordinates: StrandCoordinates,
    middle: NDArray[np.bool_],
) -> ZoneLight:
    columns = np.flatnonzero((coordinates.along >= span[0]) & (coordinates.along <= span[1]))
    part = slice(int(columns[0]), int(columns[-1]) + 1)
    inside = middle[:, part]
    gaps = strand.gap[:, part] & inside
    clipped = region.clipped[:, part] & inside
    all_of_it = np.count_nonzero(inside)
    gap_share, clipped_share = (np.count_nonzero(fault) / all_of_it for fault in (gaps, clipped))
    if gap_share > MOST_GAPS:
        raise StrandTooThinError(fault="gaps", percent=100 * gap_share, where=name)
    if clipped_share > MOST_CLIPPED:
        raise OverexposedError(fault="hair", percent=100 * clipped_share, where=name)
    hair = inside & ~gaps
    linear = np.array(cv2.mean(region.linear[:, part], hair.view(np.uint8))[:3])
    places = np.flatnonzero(hair)
    step = max(1, len(places) // 4000)  # as many as shares and spread need
    row, column = np.divmod(places[::step], hair.shape[1])
    some = smooth.reshape(-1, 3).take(row * smooth.shape[1] + part.start + column, axis=0)
    lab = lab_of_picture(some[:, None])[:, 0]
    return ZoneLight(
        name,
        linear,
        lab,
        float(lab[:, 0].std()),
        gap_share,
        clipped_share,
        _outline(part, strand, region),
    )


def _outline(part: slice, strand: Isolated, region: Region) -> Array:
    columns = part.start + (part.stop - 1 - part.start) * _AROUND
    at = np.arange(len(strand.centre))
    centre, half = (np.interp(columns, at, line) for line in (strand.centre, strand.half_width))
    outline: Array = region.to_card @ np.stack([columns, centre + _SIDE * half, np.ones_like(columns)])
    return outline.T
