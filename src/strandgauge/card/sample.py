"""Samples the card in a photo: one encoded colour for each patch, and for the bare paper between them.

The card is brought to one flat raster first, so that every patch of the same size is the same block of pixels.
Values stay encoded as the camera wrote them; turning them into light is the business of ``light/``.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache, lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.card.find import CardView
from strandgauge.card.model import Box, CardDefinition
from strandgauge.colour.arrays import Array
from strandgauge.colour.srgb import LUMINANCE, srgb_decode

PATCH_CORE = 0.62
"""Share of a patch's width and height that is sampled, in its middle."""
CELLS = 12
"""A patch's core is averaged on CELLS x CELLS places, enough for its mean and for what disturbs it."""
PAPER_CELL_MM = 3.2
"""Side of a cell in which bare paper is sampled."""
PAPER_CLEARANCE_MM = 0.6
AROUND, AROUND_STEPS = 0.08, 64
"""Standard deviation of the blur that tells how bright it is around a place, in the card's longer side, and the steps
in which that is divided."""
CLIPPED_HIGH, CLIPPED_LOW = 0.985, 0.004
"""Encoded values beyond which a channel says no more than 'at least' or 'at most' that."""


@dataclass(frozen=True, slots=True)
class Samples:
    """Encoded colours of places on the card whose true colour is known."""

    ids: tuple[str, ...]
    """Patch ids; bare paper is 'paper' as often as it was sampled."""
    places: Array = field(repr=False)
    """(N, 2) millimetres on the card."""
    encoded: Array = field(repr=False)
    """(N, 3) R, G, B as the camera encoded them, 0 to 1."""
    spread: Array = field(repr=False)
    """(N,) standard deviation of the green channel within the place."""
    clipped_high: Array = field(repr=False)
    """(N,) share of the place that is clipped to white in any channel."""
    clipped_low: Array = field(repr=False)
    """(N,) share of the place that is clipped to black in all channels."""
    reference: Array = field(repr=False)
    """(N, 3) CIELAB, D65/2 degrees, as printed; not a number for paper whose colour is not known."""
    is_patch: NDArray[np.bool_] = field(repr=False)
    """(N,) False for bare paper."""
    surround: NDArray[np.float32] | None = field(default=None, repr=False)
    """(rows, columns) over the card: log brightness around each place, 0 on average, as `surround_of` sees it."""


def sample_card(
    pixels: NDArray[np.uint8] | NDArray[np.uint16], view: CardView, card: CardDefinition
) -> Samples:
    """Sample every patch of `card`, and its bare paper if that is of one colour, in a BGR picture (H, W, 3)."""
    layout = _layout(card)
    where = view.to_pixels(layout.points).astype(np.float32)
    # Where the picture holds several pixels for each sampling place, average them first.
    spacing_px = PATCH_CORE * layout.smallest_side / CELLS * view.pixels_per_mm
    box = min(max(round(spacing_px), 1), 15)
    x, y, width, height = cv2.boundingRect(where)
    left, top = max(x - 2 * box, 0), max(y - 2 * box, 0)
    region = pixels[top : y + height + 2 * box + 1, left : x + width + 2 * box + 1]
    averaged = cv2.blur(region, (box, box)) if box > 1 else region
    columns, rows = ((where[:, i] - low).reshape(-1, CELLS * CELLS) for i, low in ((0, left), (1, top)))
    values = cv2.remap(averaged, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    red_first = np.ascontiguousarray(values.transpose(2, 0, 1)[::-1], dtype=np.float32)
    samples = _summarise(red_first / np.float32(np.iinfo(pixels.dtype).max), layout)
    return replace(samples, surround=surround_of(pixels, view, card.size))


def surround_of(
    pixels: NDArray[np.uint8] | NDArray[np.uint16], view: CardView, size: tuple[float, float]
) -> NDArray[np.float32]:
    """Return the log brightness around the places of a card of `size` mm, (rows, columns), 0 on average.

    Blurred by `AROUND` of the card's longer side, the picture beyond the card's edges included.
    """
    step = max(size) / AROUND_STEPS
    columns, rows = (round(side / step) + 1 for side in size)
    margin = round(2 * AROUND * AROUND_STEPS)
    to_card = np.array([[step, 0, -margin * step], [0, step, -margin * step], [0, 0, 1]])
    seen = cv2.warpPerspective(
        pixels,
        view.homography @ to_card,
        (columns + 2 * margin, rows + 2 * margin),
        flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    light = _decoded(int(np.iinfo(pixels.dtype).max))[np.asarray(seen, dtype=pixels.dtype)] @ LUMINANCE[::-1]
    logs = np.log(np.maximum(light, 0.01)).astype(np.float32)
    blurred = cv2.GaussianBlur(logs, (0, 0), AROUND * AROUND_STEPS)[margin:-margin, margin:-margin]
    return np.ascontiguousarray(blurred - blurred.mean())


@cache
def _decoded(most: int) -> Array:
    """Return the linear light of each code from 0 to ``most``."""
    return srgb_decode(np.arange(most + 1) / most)


@dataclass(frozen=True, slots=True)
class _Layout:
    ids: tuple[str, ...]
    places: Array
    points: Array  # (N * CELLS * CELLS, 2) mm
    reference: Array
    is_patch: NDArray[np.bool_]
    smallest_side: float


@lru_cache(maxsize=8)
def _layout(card: CardDefinition) -> _Layout:
    cores = sampled_boxes(card)
    bare = len(cores) - len(card.patches)
    ids = [patch.id for patch in card.patches] + ["paper"] * bare
    labs = [patch.lab for patch in card.patches] + [card.paper or (np.nan, np.nan, np.nan)] * bare
    ticks = (np.arange(CELLS) + 0.5) / CELLS
    gx, gy = np.meshgrid(ticks, ticks)
    grid = np.c_[gx.ravel(), gy.ravel()]
    blocks = np.asarray(cores, dtype=np.float64)
    points = blocks[:, None, :2] + grid[None] * blocks[:, None, 2:]
    return _Layout(
        ids=tuple(ids),
        places=blocks[:, :2] + blocks[:, 2:] / 2,
        points=points.reshape(-1, 2),
        reference=np.asarray(labs, dtype=np.float64),
        is_patch=np.arange(len(ids)) < len(card.patches),
        smallest_side=float(min(min(patch.box[2:]) for patch in card.patches)),
    )


def sampled_boxes(card: CardDefinition) -> list[Box]:
    """Return where a card is sampled, mm: in the middle of each patch, then in cells of its bare paper."""
    cores = [_core(patch.box, PATCH_CORE) for patch in card.patches]
    return cores + (_paper_cells(card) if card.paper is not None or card.even_paper else [])


def _core(box: Box, share: float) -> Box:
    x, y, width, height = box
    return (x + width * (1 - share) / 2, y + height * (1 - share) / 2, width * share, height * share)


def _paper_cells(card: CardDefinition) -> list[Box]:
    """Return cells of bare paper: clear of patches and markers, and of the window where the strand lies.

    Text and rules may still lie in a cell: such cells show a spread and are weighed down later.
    """
    taken = [patch.box for patch in card.patches]
    taken += [_bounding_box(np.asarray(marker.corners)) for marker in card.markers]
    taken += card.excluded
    if card.window is not None:
        taken.append(card.window.box)
    side, (width, height) = PAPER_CELL_MM, card.size
    rows, columns = (
        np.arange(0.8, size - side - 0.8 + 1e-9, step) for size, step in ((height, side / 2), (width, side))
    )
    corners = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 1, 2)
    low, size = np.split(np.asarray(taken), 2, axis=1)
    over = (corners < low + size + PAPER_CLEARANCE_MM) & (low < corners + side + PAPER_CLEARANCE_MM)
    free = corners[~over.all(2).any(1), 0]
    cells: list[Box] = [(x, y, side, side) for x, y in free.tolist()]
    most = 48
    if len(cells) > most:  # as many as the light field needs, spread over the card
        cells = _spread_out(cells, most)
    return cells


def _spread_out(cells: list[Box], count: int) -> list[Box]:
    """Choose `count` cells that lie far from each other (farthest-point order)."""
    places = np.asarray(cells)[:, :2]
    chosen = [0]
    distance = np.linalg.norm(places - places[0], axis=1)
    while len(chosen) < count:
        farthest = int(np.argmax(distance))
        chosen.append(farthest)
        distance = np.minimum(distance, np.linalg.norm(places - places[farthest], axis=1))
    return [cells[i] for i in sorted(chosen)]


def _bounding_box(corners: Array) -> Box:
    low, high = corners.min(0), corners.max(0)
    return (float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1]))


def _summarise(values: NDArray[np.float32], layout: _Layout) -> Samples:
    """Reduce (3, N, CELLS * CELLS) values to one colour a place, by the middle half in order of brightness.

    A mean over the middle half ignores a hair, a speck or a small gleam that a plain mean would take in.
    """
    count, quarter = values.shape[2], values.shape[2] // 4
    middle = np.argsort(values[1], axis=1)[:, quarter:-quarter] + count * np.arange(values.shape[1])[:, None]
    brightest = np.maximum(np.maximum(values[0], values[1]), values[2])
    return Samples(
        ids=layout.ids,
        places=layout.places,
        encoded=values.reshape(3, -1).take(middle, axis=1).mean(2, dtype=np.float64).T,
        spread=values[1].std(1, dtype=np.float64),
        clipped_high=(brightest >= CLIPPED_HIGH).mean(1, dtype=np.float64),
        clipped_low=(brightest <= CLIPPED_LOW).mean(1, dtype=np.float64),
        reference=layout.reference,
        is_patch=layout.is_patch,
    )
