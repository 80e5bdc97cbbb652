"""Brings one region of the card flat and corrects every pixel of it: only what is measured is corrected."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.card.find import CardView
from strandgauge.card.model import Box, Side
from strandgauge.card.sample import CLIPPED_HIGH
from strandgauge.colour.arrays import Array
from strandgauge.colour.picture import lab_of_picture
from strandgauge.colour.srgb import RGB_FROM_XYZ
from strandgauge.light import tone
from strandgauge.light.correction import Correction

Image = NDArray[np.float32]

FIELD_STEP = 16
"""Pixels of the region from one place to the next at which the smooth light field is computed; even."""


@dataclass(frozen=True, slots=True)
class Region:
    """A rectangle of the card, flat and in true colour, its first axis pointing from root to ends."""

    linear: Image = field(repr=False)
    """(H, W, 3) linear sRGB (R, G, B; D65), perfect white = 1, may leave 0 to 1; columns run along the strand."""
    lab: Image = field(repr=False)
    """(H, W, 3) CIELAB, D65/2 degrees."""
    clipped: NDArray[np.bool_] = field(repr=False)
    """(H, W) True where a channel of the photo is clipped to white."""
    pixels_per_mm: float
    to_card: Array = field(repr=False)
    """(2, 3) maps (column, row, 1) to card millimetres."""


def correct_region(
    pixels: NDArray[np.uint8] | NDArray[np.uint16],
    view: CardView,
    correction: Correction,
    box: Box,
    root_end: Side,
    pixels_per_mm: float,
) -> Region:
    """Flatten `box` (mm) of the card from a BGR picture and correct it to D65 colour.

    The result is turned so that the root end is on the left, whatever side of the card it is at.
    """
    to_card, width, height = _frame(box, root_end, pixels_per_mm)
    to_picture = view.homography @ np.vstack([to_card, [0, 0, 1]])
    flat = _flatten(pixels, to_picture, (width, height))
    levels = int(np.iinfo(pixels.dtype).max) + 1
    table = tone.decoding_table(correction.tone_weights, correction.bare_offsets, levels)
    light = _look_up(flat, table)
    light /= _factor(correction, to_card, width, height)
    to_srgb = (RGB_FROM_XYZ @ correction.matrix).astype(np.float32)
    linear = np.asarray(cv2.transform(light, to_srgb), dtype=np.float32)
    lab = lab_of_picture(linear)
    brightest = np.maximum(np.maximum(flat[..., 0], flat[..., 1]), flat[..., 2])
    clipped = brightest >= CLIPPED_HIGH * (levels - 1)
    return Region(linear, lab, clipped, pixels_per_mm, to_card)


def _frame(box: Box, root_end: Side, pixels_per_mm: float) -> tuple[Array, int, int]:
    """Return the map from the region's (column, row) to millimetres, and the region's width and height."""
    x, y, w, h = box
    step = 1 / pixels_per_mm
    half = step / 2
    along, across = (w, h) if root_end in ("left", "right") else (h, w)
    frames = {
        "left": [[step, 0, x + half], [0, step, y + half]],
        "right": [[-step, 0, x + w - half], [0, -step, y + h - half]],
        "top": [[0, -step, x + w - half], [step, 0, y + half]],
        "bottom": [[0, step, x + half], [-step, 0, y + h - half]],
    }
    return np.array(frames[root_end]), round(along * pixels_per_mm), round(across * pixels_per_mm)


def _flatten(
    pixels: NDArray[np.uint8] | NDArray[np.uint16], to_picture: Array, size: tuple[int, int]
) -> NDArray[Any]:
    """Return the region as (height, width, 3) R, G, B; pixels of the picture are averaged, not skipped."""
    width, height = size
    corners = np.array(
        [[0, 0, 1], [width - 1, 0, 1], [width - 1, height - 1, 1], [0, height - 1, 1]], dtype=float
    )
    mapped = corners @ to_picture.T
    mapped = mapped[:, :2] / mapped[:, 2:]
    low = np.maximum(np.floor(mapped.min(0)).astype(int) - 4, 0)
    high = np.ceil(mapped.max(0)).astype(int) + 5
    crop = pixels[low[1] : high[1], low[0] : high[0]]
    step = float(np.linalg.norm(mapped[1] - mapped[0])) / max(width - 1, 1)
    if step > 1.5:
        side = int(np.clip(round(step), 2, 9))
        averaged: NDArray[Any] = cv2.blur(crop, (side, side))
    else:
        averaged = crop
    shift = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]], dtype=float)
    flat: NDArray[Any] = cv2.warpPerspective(
        averaged,
        shift @ to_picture,
        size,
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(cv2.cvtColor(flat, cv2.COLOR_BGR2RGB))


def _look_up(flat: NDArray[Any], table: NDArray[np.float32]) -> Image:
    """Return the table's (levels, 3) values of (H, W, 3) codes."""
    if flat.dtype == np.uint8:
        return np.asarray(cv2.LUT(flat, table[None]), dtype=np.float32)
    return np.stack([table[:, c][flat[..., c]] for c in range(3)], axis=2)


def _factor(correction: Correction, to_card: Array, width: int, height: int) -> Image:
    step, half = FIELD_STEP, FIELD_STEP // 2
    u, v = (np.arange(-(-side // step) + 1) * step - 0.5 for side in (width, height))
    places = np.stack([*(axis.ravel() for axis in np.meshgrid(u, v)), np.ones(u.size * v.size)])
    coarse = correction.factor((to_card @ places).T).reshape(v.size, u.size, 3).astype(np.float32)
    spread = cv2.resize(coarse, (u.size * step, v.size * step), interpolation=cv2.INTER_LINEAR)
    return np.asarray(spread[half : half + height, half : half + width], dtype=np.float32)
