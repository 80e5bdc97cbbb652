"""What is drawn on a card, as plain shapes in millimetres that any backend can paint.

One description serves the picture and the print, so that both show the same card.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.card.model import Arrow, CardDefinition, Marker, Patch, Point, Scale, Text, Window
from strandgauge.card.shapes import box_corners
from strandgauge.colour.cielab import Lab

DEFAULT_PAPER: Lab = (95.0, 0.0, 0.0)
DEFAULT_INK: Lab = (16.0, 0.0, 0.0)
GREY: Lab = (50.0, 0.0, 0.0)
"""Secondary text and rules: legible, and too light for a marker to be seen in them."""

CLEAR_MM = 0.7
"""Bare paper kept round every patch."""
LABEL_SIZE_MM = 2.0
CAPITAL = 0.73
"""Height of the font's capitals and digits as a share of its size."""
RULE_MM = 0.2
CORNER_MM = 6.0

Polygon = tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Area:
    """Polygons painted as one area of even colour."""

    polygons: tuple[Polygon, ...]
    colour: Lab


@dataclass(frozen=True, slots=True)
class Writing:
    """A line of text; `at` is the start, middle or end of its base line."""

    text: Text
    colour: Lab


@dataclass(frozen=True, slots=True)
class Drawing:
    """All that is painted on bare paper, in order."""

    size: tuple[float, float]
    paper: Lab
    shapes: tuple[Area | Writing, ...]


def draw_card(card: CardDefinition) -> Drawing:
    """Return the drawing of a card: patches, markers, the window's corners and what is printed for people."""
    paper, ink = card.paper or DEFAULT_PAPER, card.ink or DEFAULT_INK
    shapes: list[Area | Writing] = [Area((_box(patch.box),), patch.lab) for patch in card.patches]
    shapes += [Area(marker_cells(marker), ink) for marker in card.markers]
    if card.window:
        shapes.append(Area(tuple(_window_corners(card.window)), GREY))
    if card.scale:
        shapes += _scale(card.scale, ink)
    shapes += [Area((_arrow(arrow),), ink) for arrow in card.arrows]
    for text in card.texts:
        words = text.text.replace("{name}", card.name).replace("{version}", str(card.version))
        written = Text(text.at, text.size, words, text.align, text.bold, text.tone)
        shapes.append(Writing(written, ink if text.tone == "ink" else GREY))
    shapes += [Writing(_label(patch), GREY) for patch in card.patches if patch.label]
    return Drawing(card.size, paper, tuple(shapes))


def marker_modules(dictionary: str) -> int:
    """Return how many little squares a marker of a dictionary is wide, its border of one included."""
    return int(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary)).markerSize) + 2


def marker_cells(marker: Marker) -> tuple[Polygon, ...]:
    """Return the dark cells of a marker as polygons, runs along a row joined, mm."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, marker.dictionary))
    cells = marker_modules(marker.dictionary)
    dark = cv2.aruco.generateImageMarker(dictionary, marker.id, cells, borderBits=1) == 0
    unit = np.array([(0, 0), (cells, 0), (cells, cells), (0, cells)], dtype=np.float32)
    to_card = cv2.getPerspectiveTransform(unit, np.array(marker.corners, dtype=np.float32)).astype(np.float64)
    polygons: list[Polygon] = []
    for row, first, last in _runs(dark):
        corners = np.array([[(first, row), (last, row), (last, row + 1), (first, row + 1)]], dtype=np.float64)
        polygons.append(_polygon(cv2.perspectiveTransform(corners, to_card)[0].round(6)))
    return tuple(polygons)


def _runs(dark: NDArray[np.bool_]) -> Iterator[tuple[int, int, int]]:
    """Yield row, first column and the column after the last of every run of dark cells."""
    for row, cells in enumerate(dark):
        steps = np.flatnonzero(np.diff(np.concatenate([[False], cells, [False]]).astype(np.int8)))
        for first, last in zip(steps[::2], steps[1::2], strict=True):
            yield row, int(first), int(last)


def _polygon(corners: NDArray[np.float64]) -> Polygon:
    return tuple((float(x), float(y)) for x, y in corners)


def _box(box: tuple[float, float, float, float]) -> Polygon:
    return _polygon(box_corners(box))


def _window_corners(window: Window) -> Iterator[Polygon]:
    """Yield the strokes of an angle just outside each corner of the window."""
    x, y, width, height = window.box
    length = min(CORNER_MM, width / 4, height / 4)
    for left in (x - RULE_MM, x + width):
        for top in (y - RULE_MM, y + height):
            start_x = x - RULE_MM if left < x else x + width + RULE_MM - length
            start_y = y - RULE_MM if top < y else y + height + RULE_MM - length
            yield _box((start_x, top, length, RULE_MM))
            yield _box((left, start_y, RULE_MM, length))


def _scale(scale: Scale, ink: Lab) -> list[Area | Writing]:
    """Return a millimetre scale: ticks down from a base line, every tenth with its number below."""
    x, y = scale.at
    ticks = [_box((x - RULE_MM / 2, y, scale.length + RULE_MM, RULE_MM))]
    shapes: list[Area | Writing] = []
    for at in range(scale.length + 1):
        long = 2.0 if at % 10 == 0 else 1.5 if at % 5 == 0 else 1.0
        ticks.append(_box((x + at - RULE_MM / 2, y, RULE_MM, long)))
        if at % 10 == 0:
            shapes.append(Writing(Text((x + at, y + 4.2), 2.2, str(at), "middle", False, "ink"), ink))
    # The unit stands after the 0, where there is most room: nothing may be printed near the markers at the ends.
    shapes.append(Writing(Text((x + 1.3, y + 4.2), 2.2, "mm", "left", False, "ink"), ink))
    return [Area(tuple(ticks), ink), *shapes]


def _arrow(arrow: Arrow) -> Polygon:
    """Return the outline of an arrow whose head is three shafts wide."""
    start, end = np.array(arrow.start), np.array(arrow.end)
    length = math.hypot(*(end - start))
    along = (end - start) / length
    across = np.array([-along[1], along[0]]) * arrow.width / 2
    neck = end - along * min(length, 4 * arrow.width)
    return _polygon(
        np.array(
            [
                start + across,
                neck + across,
                neck + 3 * across,
                end,
                neck - 3 * across,
                neck - across,
                start - across,
            ]
        )
    )


def _label(patch: Patch) -> Text:
    """Return a patch's id, clear of it by :data:`CLEAR_MM`."""
    x, y, width, height = patch.box
    capital = LABEL_SIZE_MM * CAPITAL
    gap = CLEAR_MM + 0.05
    middle = y + (height + capital) / 2
    at, align = {
        "above": ((x + width / 2, y - gap), "middle"),
        "below": ((x + width / 2, y + height + gap + capital), "middle"),
        "left": ((x - gap, middle), "right"),
        "right": ((x + width + gap, middle), "left"),
    }[patch.label or "below"]
    return Text(at, LABEL_SIZE_MM, patch.id, align, False, "grey")  # type: ignore[arg-type]
