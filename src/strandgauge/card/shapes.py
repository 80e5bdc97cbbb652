"""Plane geometry of convex shapes on the card: turning, bounding, overlapping."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from strandgauge.card.model import Box, Corners, Point

TOUCH_MM = 1e-3
"""Shapes may touch; an overlap below a micrometre is rounding, not a mistake."""


def box_corners(box: Box) -> NDArray[np.float64]:
    """Return the corners of a box, clockwise from the top left, shape (4, 2)."""
    x, y, width, height = box
    return np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)])


def turned(corners: NDArray[np.float64], degrees: float) -> NDArray[np.float64]:
    """Turn corners clockwise, as seen on the card, about their common centre, shape (4, 2)."""
    if degrees % 90 == 0:
        return np.roll(corners, -int(degrees // 90), axis=0)
    angle = math.radians(degrees)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    centre = corners.mean(axis=0)
    return np.asarray((corners - centre) @ turn + centre)


def as_corners(corners: NDArray[np.float64]) -> Corners:
    """Return an array of shape (4, 2) as four points."""
    one, two, three, four = ((float(x), float(y)) for x, y in corners)
    return one, two, three, four


def corner_turns(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the cross product of neighbouring sides at each corner; all positive when convex, clockwise."""
    sides = np.roll(corners, -1, axis=0) - corners
    following = np.roll(sides, -1, axis=0)
    return np.asarray(sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0])


def overlap(one: NDArray[np.float64], other: NDArray[np.float64]) -> bool:
    """Tell whether two convex shapes overlap by more than a touch (separating axis theorem)."""
    for shape in (one, other):
        sides = np.roll(shape, -1, axis=0) - shape
        normals = np.column_stack([sides[:, 1], -sides[:, 0]]) / np.hypot(sides[:, 0], sides[:, 1])[:, None]
        ours, theirs = one @ normals.T, other @ normals.T
        apart = (ours.max(axis=0) < theirs.min(axis=0) + TOUCH_MM) | (
            theirs.max(axis=0) < ours.min(axis=0) + TOUCH_MM
        )
        if apart.any():
            return False
    return True


def bounds(shapes: Iterable[NDArray[np.float64]]) -> tuple[Point, Point]:
    """Return the top left and the bottom right corner of the box around all shapes."""
    points = np.vstack(list(shapes))
    low, high = points.min(axis=0), points.max(axis=0)
    return (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))
