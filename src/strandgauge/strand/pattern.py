"""What tells one strand from another of the same colour: how it lies on the card, and its pattern of fibres.

Both stay as they are while the card is turned under the lamp, as long as nobody touches the strand.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array
from strandgauge.colour.srgb import LUMINANCE
from strandgauge.light.region import Region
from strandgauge.strand.isolate import Isolated

AXIS_MM, HALF_WIDTH_MM = 0.5, 0.4
"""Root mean square distance of axes, and of half-widths, up to which two strands lie alike."""
LEAST_WEAVE = 0.2
"""Correlation of two patterns from where on they are of one strand.

These three are own choice. Of 359 rendered pairs of one strand, lit from opposite ends, 85 % keep to all of them, of
12 000 pairs of any two strands none does; by outline or pattern alone some would pass.
"""
_PLACES = 40
_GRID = (40, 240)
"""Places across and along the strand at which its pattern is taken."""
_COARSE, _FINE = 3.0, 1.0
"""Light and shade coarser than so many places come from the lamp; what is finer is noise."""
_SLACK = 4
"""Places by which two outlines of one strand may be shifted against each other."""
_DARKEST = 2e-3


@dataclass(frozen=True, slots=True)
class Pattern:
    """One strand as it lies on the card; equal to another only where it is the same record."""

    ends_mm: tuple[float, float]
    """Where the strand begins and ends along the card's window."""
    axis_mm: Array = field(repr=False, compare=False)
    """(40,) how far across the window its axis lies, evenly from begin to end."""
    half_width_mm: Array = field(repr=False, compare=False)
    """(40,)"""
    weave: NDArray[np.float32] = field(repr=False, compare=False)
    """(40, 240) log luminance across and along the strand, all but the pattern taken off."""


def strand_pattern(region: Region, strand: Isolated) -> Pattern:
    """Return the strand's lie and its pattern."""
    ppm, at = region.pixels_per_mm, np.arange(len(strand.centre))
    places = np.linspace(strand.first, strand.last, _PLACES)
    log = np.log(np.maximum(on_the_strand(strand, region.linear) @ LUMINANCE, _DARKEST))
    fine = cv2.GaussianBlur(log - cv2.GaussianBlur(log, (0, 0), _COARSE), (0, 0), _FINE)
    return Pattern(
        (strand.first / ppm, strand.last / ppm),
        np.interp(places, at, strand.centre) / ppm,
        np.interp(places, at, strand.half_width) / ppm,
        np.asarray(fine, dtype=np.float32),
    )


def on_the_strand(strand: Isolated, image: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return an image of the region at (40, 240) places across and along the strand, its outermost parts left out."""
    at, inset = np.arange(len(strand.centre)), 0.03 * (strand.last - strand.first)
    along = np.linspace(strand.first + inset, strand.last - inset, _GRID[1])
    across = np.linspace(-0.85, 0.85, _GRID[0])[:, None]
    rows = np.interp(along, at, strand.centre) + across * np.interp(along, at, strand.half_width)
    columns = np.broadcast_to(along, _GRID).astype(np.float32)
    found = cv2.remap(image, columns, rows.astype(np.float32), cv2.INTER_LINEAR)
    return np.asarray(found, dtype=np.float32)


def lies_alike(one: Pattern, other: Pattern) -> bool:
    """Return whether two strands have the same outline at the same place of the card."""
    begin, end = np.maximum(one.ends_mm[0], other.ends_mm[0]), np.minimum(one.ends_mm[1], other.ends_mm[1])
    if end <= begin:
        return False
    places = np.linspace(begin, end, _PLACES)

    def apart(values: tuple[Array, Array]) -> float:
        first, second = (
            np.interp(places, np.linspace(*pattern.ends_mm, _PLACES), line)
            for pattern, line in zip((one, other), values, strict=True)
        )
        return float(np.sqrt(((first - second) ** 2).mean()))

    return (
        apart((one.axis_mm, other.axis_mm)) <= AXIS_MM
        and apart((one.half_width_mm, other.half_width_mm)) <= HALF_WIDTH_MM
    )


def weave_likeness(one: Pattern, other: Pattern) -> float:
    """Return the correlation of two patterns, -1 to 1, where they fit each other best."""
    inner = one.weave[_SLACK:-_SLACK, _SLACK:-_SLACK]
    return float(cv2.matchTemplate(other.weave, inner, cv2.TM_CCOEFF_NORMED).max())


def is_one_strand(one: Pattern, other: Pattern) -> bool:
    """Return whether two photos show one strand that nobody touched between them."""
    return lies_alike(one, other) and weave_likeness(one, other) >= LEAST_WEAVE
