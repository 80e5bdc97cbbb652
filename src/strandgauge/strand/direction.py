"""How directional the light is, read from the strand and the paper around it.

Hair is not matt. Under light from one side pale hair looks lighter and more colourful than under light from all
round, dark hair darker, and a card, being matt, cannot tell. What can: the strand's shadow on the paper beside
it, the tilt of brightness along and across a strand of one colour, its contrast from fibre to fibre, and the
light's fall-off over the card. Each of them is a number here, zero (or small) in light from all round.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.card.model import Lab, Window
from strandgauge.light.correction import Correction
from strandgauge.light.region import Region
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.zones import StrandCoordinates, ZoneLight, ZoneName

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LightClues:
    """Signs of directional light, all as natural logarithms of brightness ratios."""

    shadow: float
    """Depth of the strand's shadow on the paper, the deeper side: 0 for none, 0.7 for half the light gone."""
    shadow_other: float
    """The same on the other side."""
    fall_along: float
    """Fall of the light over the length of the window, root to ends."""
    fall_across: float
    """Fall of the light over the height of the window."""
    tilt_across: float
    """Brightness of one half of the strand's width against the other, absolute."""
    sheen: float
    """Brightness of the strand's middle against its edges."""
    fibre_contrast: float
    """Standard deviation of brightness from fibre to fibre."""
    tilt_along: float
    """Fall of the strand's brightness along its length where its colour stays the same."""

    def as_array(self) -> Array:
        """Return the clues in the order of the fields."""
        return np.array([getattr(self, name) for name in self.__slots__])


def light_clues(
    region: Region,
    strand: Isolated,
    coordinates: StrandCoordinates,
    zones: dict[ZoneName, ZoneLight],
    correction: Correction,
    window: Window,
    paper_lab: Lab,
) -> LightClues:
    """Collect the signs of directional light around one strand."""
    ppm = region.pixels_per_mm
    upper, lower = _shadows(region, strand, coordinates, paper_lab)
    along, across = _falls(correction, window)
    body = slice(strand.first, strand.last + 1)
    light = np.log(np.maximum(region.linear[:, body] @ np.float32([0.2126, 0.7152, 0.0722]), 1e-3))
    n = coordinates.across[:, body]

    def mean(low: float, high: float) -> float:
        part = light[(n >= low) & (n <= high)]
        return float(part.mean()) if part.size else 0.0

    inside = np.abs(n) <= 0.6
    smooth = cv2.blur(light, (max(3, round(2 * ppm) | 1), 1))  # along the fibres
    fine = smooth - cv2.GaussianBlur(smooth, (0, 0), 0.8 * ppm)
    return LightClues(
        shadow=max(upper, lower),
        shadow_other=min(upper, lower),
        fall_along=along,
        fall_across=across,
        tilt_across=abs(mean(-0.7, -0.2) - mean(0.2, 0.7)),
        sheen=mean(-0.25, 0.25) - 0.5 * (mean(-0.8, -0.5) + mean(0.5, 0.8)),
        fibre_contrast=float(fine[inside].std()),
        tilt_along=_tilt_along(zones),
    )


def _shadows(
    region: Region, strand: Isolated, coordinates: StrandCoordinates, paper_lab: Lab
) -> tuple[float, float]:
    """Return how much darker the paper is just above and just below the strand than paper should be."""
    paper = ((paper_lab[0] + 16) / 116) ** 3
    brightness = region.linear @ np.float32([0.2126, 0.7152, 0.0722])
    rows = np.arange(len(brightness))[:, None]
    beyond_mm = (np.abs(rows - strand.centre) - strand.half_width) / region.pixels_per_mm
    lengthwise = (coordinates.along > 0.08) & (coordinates.along < 0.92)
    near = (beyond_mm > 0.8) & (beyond_mm < 2.8) & lengthwise & ~strand.hair
    depths = []
    for side in (rows < strand.centre, rows > strand.centre):
        seen = brightness[near & side]
        depths.append(float(np.log(paper / max(np.median(seen), 1e-3))) if seen.size > 30 else 0.0)
    return depths[0], depths[1]


def _falls(correction: Correction, window: Window) -> tuple[float, float]:
    x, y, w, h = window.box
    ends = np.array([[x, y + h / 2], [x + w, y + h / 2], [x + w / 2, y], [x + w / 2, y + h]])
    left, right, top, bottom = np.log(correction.factor(ends)[:, 1])
    along, across = left - right, top - bottom
    if window.root_end in ("top", "bottom"):
        along, across = across, along
    if window.root_end in ("right", "bottom"):
        along = -along
    return float(along), float(abs(across))


def _tilt_along(zones: dict[ZoneName, ZoneLight]) -> float:
    """Fall of brightness from root to ends, weighed down where the zones' chromaticity differs."""
    root, ends = zones["root"].linear, zones["ends"].linear
    fall = float(
        np.log(max(root @ [0.2126, 0.7152, 0.0722], 1e-3) / max(ends @ [0.2126, 0.7152, 0.0722], 1e-3))
    )
    share_root, share_ends = root / root.sum(), ends / ends.sum()
    different = float(np.abs(share_root - share_ends).sum())
    return fall * float(np.exp(-((different / 0.04) ** 2)))
