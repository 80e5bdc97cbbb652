"""Where a marker or a patch lies, however a definition gives it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from strandgauge.card import values
from strandgauge.card.model import Box, Corners
from strandgauge.card.shapes import as_corners, box_corners, corner_turns, turned
from strandgauge.card.values import Fault
from strandgauge.files.toml import KeyPath

Table = dict[str, Any]


def marker_corners(table: Table, path: KeyPath) -> Corners:
    """Return a marker's corners, clockwise from its own top left, however its place is given."""
    way = values.one_of(table, ("box", "corners", "center"), path)
    if way != "center" and "size" in table:
        raise Fault((*path, "size"), f"'size' goes with 'center', not with '{way}'.")
    if way == "corners":
        if "angle" in table:
            raise Fault((*path, "angle"), "'angle' goes with 'box' or 'center', not with 'corners'.")
        return listed_corners(table["corners"], (*path, "corners"))
    box = values.box(table["box"], (*path, "box")) if way == "box" else centred_box(table, path)
    if abs(box[2] - box[3]) > 0.02 * max(box[2], box[3]):
        raise Fault((*path, "size" if way == "center" else way), "a marker must be as wide as it is high.")
    angle = values.number(table.get("angle", 0), (*path, "angle"), -360.0, 360.0)
    return as_corners(turned(box_corners(box), angle))


def listed_corners(value: object, path: KeyPath) -> Corners:
    """Return four corners given one by one, after checking that they go clockwise round a square."""
    if not isinstance(value, list) or len(value) != 4:
        raise Fault(path, "'corners' must be four points [x, y], clockwise from the marker's top left.")
    corners = np.array([values.point(item, (*path, index)) for index, item in enumerate(value)])
    turns = corner_turns(corners)
    if np.all(turns < 0):
        raise Fault(path, "the corners go anticlockwise; list them clockwise from the marker's top left.")
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    if not np.all(turns > 0) or sides.max() > 1.25 * sides.min() or turns.min() < 0.8 * sides.min() ** 2:
        raise Fault(path, "the four corners do not form a square.")
    return as_corners(corners)


def patch_size(table: Table, path: KeyPath) -> tuple[float, float]:
    """Return width and height; of a round patch, those of the square inscribed in it."""
    if values.one_of(table, ("size", "diameter"), path) == "size":
        return values.lengths(table["size"], (*path, "size"))
    side = values.length(table["diameter"], (*path, "diameter")) / math.sqrt(2.0)
    return side, side


def centred_box(table: Table, path: KeyPath) -> Box:
    """Return the box around ``center``."""
    x, y = values.point(table["center"], (*path, "center"))
    width, height = patch_size(table, path)
    return x - width / 2, y - height / 2, width, height


def patch_box(table: Table, path: KeyPath) -> Box:
    """Return a patch's box."""
    if values.one_of(table, ("box", "center"), path) == "center":
        return centred_box(table, path)
    for key in ("size", "diameter"):
        if key in table:
            raise Fault((*path, key), f"'{key}' goes with 'center', not with 'box'.")
    return values.box(table["box"], (*path, "box"))
