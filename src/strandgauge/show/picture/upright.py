"""A strand cut out of its photo, its root up, its zones in given colours: as read, or as foretold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL.Image import Image, fromarray

from strandgauge.colour.cielab import Lab
from strandgauge.light.region import correct_region
from strandgauge.reading.pipeline import Measurement

_BREATH_MM = 1.0
"""Shown around the strand."""


@dataclass(frozen=True, slots=True)
class Upright:
    """The strand, root end up."""

    lab: NDArray[np.float32]
    """(H, W, 3) CIELAB as photographed, corrected to D65."""
    cover: NDArray[np.uint8]
    """(H, W) how far each pixel is hair, 0 to 255."""
    rows: Mapping[str, float]
    """Row of the middle of root, mids and ends."""
    as_lit: Mapping[str, Lab]
    """Colour of each zone in the photo."""

    def coloured(self, wanted: Mapping[str, Lab]) -> Image:
        """Return the strand with an alpha channel, shifted so that each named zone has the colour wanted.

        Between the zones the shift changes evenly; 'overall', or a single zone, shifts all of it alike.
        """
        named = [name for name in self.rows if name in wanted] or ["overall"]
        at = [self.rows.get(name, 0.0) for name in named]
        shift = np.array([np.subtract(wanted[name], self.as_lit[name]) for name in named])
        height = np.arange(len(self.lab))
        by_row = np.stack([np.interp(height, at, shift[:, channel]) for channel in range(3)], axis=1)
        lab = (self.lab + by_row[:, None]).astype(np.float32)
        lab[..., 0] = np.clip(lab[..., 0], 0.0, 100.0)
        colour = np.clip(cv2.cvtColor(lab, cv2.COLOR_Lab2RGB), 0.0, 1.0)
        rgba = np.dstack([np.round(255.0 * colour).astype(np.uint8), self.cover])
        return fromarray(np.ascontiguousarray(rgba))


def upright(measurement: Measurement, height: int, width: int) -> Upright:
    """Return the strand of a photo as large as fits into ``height`` and ``width`` pixels."""
    found, coarse = measurement.card, measurement.region
    window = found.card.window
    assert window is not None, "a strand was measured, so the card has a window"
    hair = np.argwhere(measurement.strand.hair)
    low, high = hair.min(axis=0), hair.max(axis=0) + 1
    breadth, length = (high - low) / coarse.pixels_per_mm + 2 * _BREATH_MM
    scale = min(height / length, width / breadth)
    region = correct_region(
        found.photo.pixels, found.view, found.correction, window.box, window.root_end, scale
    )
    finer = scale / coarse.pixels_per_mm
    size = region.lab.shape[1::-1]
    mask = cv2.resize(measurement.strand.hair.astype(np.float32), size, interpolation=cv2.INTER_CUBIC)
    cover = np.clip(255.0 * (cv2.GaussianBlur(mask, (0, 0), finer) * 2.0 - 0.9), 0.0, 255.0).astype(np.uint8)
    edges = np.round(np.concatenate([low, high]) * finer).astype(int)
    breath = round(_BREATH_MM * scale)
    top, left = np.maximum(edges[:2] - breath, 0)
    bottom, right = edges[2:] + breath
    back = cv2.invertAffineTransform(region.to_card)
    rows = {
        name: float((back @ [*measurement.zones[name].outline.mean(axis=0), 1.0])[0]) - left
        for name in ("root", "mids", "ends")
    }
    reading = measurement.reading
    return Upright(
        np.rot90(region.lab[top:bottom, left:right], -1),
        np.rot90(cover[top:bottom, left:right], -1),
        rows,
        {zone.name: zone.lab_as_lit for zone in (reading.overall, *reading.zones)},
    )
