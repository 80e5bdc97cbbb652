"""What lies in the window looks like: fibres side by side, or something that is no hair.

Fibres give a fine pattern with one direction at each place. Cloth has two, foil and skin have none, card and paint
have no pattern at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.light.region import Region
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.zones import StrandCoordinates

LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
COARSE_MM = 0.7
"""What is smoother than this is shading, not pattern."""
PLACE_MM = 1.2
"""Size of a place at which the pattern's direction is told."""


@dataclass(frozen=True, slots=True)
class Texture:
    """The fine pattern of what lies in the window."""

    strength: float
    """Root mean square of the pattern's logarithmic brightness."""
    beside: float
    """The same of the paper beside it: the camera's noise, and the card's own."""
    oneness: float
    """How much of the pattern has one direction at its place: 1 for parallel lines, near 0.25 for noise."""
    lengthwise: float
    """How far those directions keep to the strand's own axis: 1 for along it, -1 for across."""


def texture(region: Region, strand: Isolated, coordinates: StrandCoordinates) -> Texture:
    """Measure the pattern over the middle of the strand."""
    ppm = region.pixels_per_mm
    body = slice(strand.first, strand.last + 1)
    light = np.log(np.maximum(region.linear[:, body] @ LUMINANCE, 3e-3))
    fine = light - cv2.GaussianBlur(light, (0, 0), COARSE_MM * ppm)
    fine = cv2.GaussianBlur(fine, (0, 0), 0.5)
    inside = (np.abs(coordinates.across[:, body]) <= 0.55) & ~strand.gap[:, body]
    paper = (np.abs(coordinates.across[:, body]) > 1.6) & ~strand.hair[:, body]
    down, right = np.gradient(fine)
    place = PLACE_MM * ppm / 2.0

    def around(values: NDArray[np.float32]) -> NDArray[np.float32]:
        return np.asarray(cv2.GaussianBlur(values.astype(np.float32), (0, 0), place))

    dd, rr, dr = around(down * down), around(right * right), around(down * right)
    energy = (dd + rr)[inside]
    apart = (dd - rr)[inside]
    total = max(float(energy.sum()), 1e-12)
    return Texture(
        float(np.sqrt(np.mean(fine[inside] ** 2))) if inside.any() else 0.0,
        float(np.sqrt(np.mean(fine[paper] ** 2))) if paper.sum() > 50 else 0.0,
        float(np.hypot(apart, 2.0 * dr[inside]).sum()) / total,
        float(apart.sum()) / total,
    )
