"""The true colours of a composed picture, from its own radiances and the CIE observer.

Zones are shares of the strand's visible length from its root end, over the middle 60 % of its width, as the
camera sees them. Two truths each: *diffuse*, the same scene and view under a uniform D65 dome, relative to
a white
card lying in the same place; and *as lit*, the zone's mean spectrum in the picture's own light divided by
that of
a perfect white card in the same place, then D65. Both average over everything visible there, gaps and
gloss too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
ZONES = {"root": (0.08, 0.25), "mids": (0.41, 0.59), "ends": (0.75, 0.90), "overall": (0.08, 0.90)}


@dataclass(frozen=True, slots=True)
class Outline:
    """The strand seen flat on the card. ``x`` (n,) mm along the card, ``low`` and ``high`` (n,) its edges
    in mm."""

    x: Array
    low: Array
    high: Array
    along: Array  # (n,) share of the visible length at x


def outline(share: Array, box: tuple[int, int, int, int], homography: Array) -> Outline:
    """Trace the strand from the share of hair per pixel (h, w) of a crop, on a grid of 0.5 mm along the
    card."""
    step = 0.2
    to_card = np.diag([1 / step, 1 / step, 1.0]) @ np.linalg.inv(homography)
    shift = np.array([[1, 0, box[0] + 0.5], [0, 1, box[1] + 0.5], [0, 0, 1.0]])
    flat = cv2.warpPerspective(
        share.astype(np.float32),
        to_card @ shift,
        (round(148 / step), round(105 / step)),
        flags=cv2.INTER_LINEAR,
    )
    mass = cv2.blur(flat, (5, 1))
    total = mass.sum(0)
    usual = np.median(total[total > 0.3 * total.max()])
    there = np.flatnonzero(total > 0.15 * usual)
    first, last = int(there[0]), int(there[-1])
    columns = np.arange(first, last + 1)
    cumulative = np.cumsum(mass[:, columns], axis=0) / total[columns]
    low = np.argmax(cumulative > 0.015, axis=0) * step
    high = np.argmax(cumulative > 0.985, axis=0) * step
    kernel = 25
    pad = kernel // 2

    def steady(v: Array) -> Array:
        padded = np.pad(v, pad, mode="edge")
        middle = np.array([np.median(padded[i : i + kernel]) for i in range(len(v))])
        return np.convolve(np.pad(middle, pad, mode="edge"), np.ones(kernel) / kernel, mode="valid")

    low, high = steady(low), steady(high)
    x = columns * step
    centre = (low + high) / 2
    length = np.r_[0, np.cumsum(np.hypot(np.diff(x), np.diff(centre)))]
    return Outline(x, low, high, length / length[-1])


def zone_masks(
    shape: Outline, size: tuple[int, int], box: tuple[int, int, int, int], homography: Array
) -> dict[str, Array]:
    """Return each zone's pixels (h, w) in the crop: the middle 60 % of the width, between its two shares."""
    masks = {}
    for name, (begin, end) in ZONES.items():
        inside = (shape.along >= begin) & (shape.along <= end)
        x, low, high = shape.x[inside], shape.low[inside], shape.high[inside]
        width = high - low
        ring = np.concatenate(
            [np.stack([x, low + 0.2 * width], 1), np.stack([x, high - 0.2 * width], 1)[::-1]], axis=0
        )
        h = np.c_[ring, np.ones(len(ring))] @ homography.T
        pixels = h[:, :2] / h[:, 2:] - np.array(box[:2]) - 0.5
        mask = np.zeros(size, np.uint8)
        cv2.fillPoly(mask, [np.round(pixels * 16).astype(np.int32)], 1, shift=4)
        masks[name] = mask.astype(bool)
    return masks
