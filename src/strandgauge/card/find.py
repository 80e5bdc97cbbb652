"""Finds the card in a photo: its markers, and from them the map from millimetres to pixels.

Markers are looked for in a reduced picture first, where they are as sure and several times cheaper to find
than at full size, then refined in the picture itself. Only when some stay hidden is the search widened.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import product
from math import prod
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.card.model import CardDefinition, Marker
from strandgauge.colour.arrays import Array, median
from strandgauge.errors import (
    BlurError,
    CardCutOffError,
    CardFoldedError,
    NoCardError,
    WrongCardVersionError,
)

SEARCH_SIDE = 1000
"""Longest side, in pixels, of the picture in which markers are first looked for."""
BLURRED_EDGE = 0.09
"""Width of a printed edge over a marker's side beyond which markers are missed because of blur."""
FOLD_LIMIT = 0.0012
"""Largest rms departure of the markers' corners from one plane, over the card's diagonal, before the card counts
as bent. A flat card shows 0.0001, a lens' distortion adds some; a crease of 20 degrees shows 0.0012 or more."""
SURENESS_PX = 0.8
"""A corner's place is never known better than this; a small card's residual says nothing below it."""
FOLD_LIMIT_CHART = 0.0025
"""The same for a chart without a strand window, often larger and on thinner board."""
SMALLEST_SIDE = 64
"""Pixels; no card's four marks can be told apart in less, and the marker search cannot run on a few."""
MOST_CORNER_GUESSES = 64
"""Most combinations of doubled marker ids that are tried before giving up on telling two cards apart."""


@dataclass(frozen=True, slots=True)
class CardView:
    """Where the card lies in the picture."""

    homography: Array
    """(3, 3), maps card millimetres (x, y, 1) to pixels of the opened picture, pixel centres at integers."""
    pixels_per_mm: float
    """Smallest scale, in any direction, over the card's corners; it is smaller there than anywhere between."""
    found: tuple[int, ...]
    """Ids of the markers that were seen."""
    hidden: tuple[int, ...]
    """Ids of the markers that should be in the picture and were not seen."""
    residual_mm: float
    """Root mean square distance of the markers' corners from where the map puts them."""
    edge_width_mm: float
    """Width of a printed edge in the picture (10 to 90 %), the larger of two directions."""
    outline: Array = field(repr=False)
    """(4, 2) pixels: the card's corners, clockwise from its top left."""

    def to_pixels(self, points_mm: Array) -> Array:
        """Map (N, 2) card millimetres to (N, 2) pixels."""
        return project(self.homography, points_mm)

    @property
    def angle_deg(self) -> float:
        """Direction of the card's long side in the picture, degrees clockwise from the right."""
        start, end = self.to_pixels(np.array([[0.0, 0.0], [10.0, 0.0]]))
        return float(np.degrees(np.arctan2(end[1] - start[1], end[0] - start[0])))


def project(homography: NDArray[Any], points: Array) -> Array:
    """Apply a (3, 3) homography to (N, 2) points."""
    return np.asarray(cv2.perspectiveTransform(points[None].astype(np.float64), homography)[0])


def find_card(pixels: NDArray[np.uint8] | NDArray[np.uint16], card: CardDefinition) -> CardView:
    """Find `card` in a BGR picture of shape (H, W, 3).

    Raises
    ------
    NoCardError, WrongCardVersionError, CardCutOffError, CardFoldedError, BlurError
    """
    grey = to_grey8(pixels)
    if min(grey.shape) < SMALLEST_SIDE:
        raise NoCardError(fault="small", width=grey.shape[1], height=grey.shape[0])
    wanted = {marker.id: marker for marker in card.markers}
    looked_for = _looked_for(card)
    seen: dict[int, list[Array]] = {}
    others: set[int] = set()
    for attempt in _searches(grey):
        for dictionary, ids in looked_for.items():
            for marker_id, corners in _detect(attempt, dictionary, ids):
                marker = wanted.get(marker_id)
                if marker is None or marker.dictionary != dictionary:
                    others.add(marker_id)
                elif not any(_same_place(corners, known) for known in seen.get(marker_id, [])):
                    seen.setdefault(marker_id, []).append(corners)
        if len(seen) == len(wanted):
            break
    if not seen:
        raise _nothing_found(grey, card, others)
    corners_px, used = _one_card(seen, wanted)
    homography, residual_mm = _fit_plane(grey, corners_px, used, wanted)
    view_corners = project(homography, card.outline)
    height, width = grey.shape
    outside = _sides_outside(view_corners, width, height)
    hidden = tuple(sorted(set(wanted) - set(used)))
    if outside:
        raise CardCutOffError(fault="outside", sides=", ".join(outside), where="card")
    if len(used) < _fewest_markers(len(wanted)):
        seen_markers = [wanted[i] for i in used]
        if _is_blurred(grey) or _edge_share(grey, homography, seen_markers) > BLURRED_EDGE:
            raise BlurError(fault="marks")
        raise CardCutOffError(fault="hidden", seen=len(used), total=len(wanted), where="card")
    limit = FOLD_LIMIT if card.window is not None else FOLD_LIMIT_CHART
    scale = _smallest_scale(homography, card.outline)
    if residual_mm > max(limit * float(np.hypot(*card.size)), SURENESS_PX / scale):
        raise CardFoldedError(off_mm=residual_mm, where="card")
    return CardView(
        homography=homography,
        pixels_per_mm=scale,
        found=tuple(sorted(used)),
        hidden=hidden,
        residual_mm=residual_mm,
        edge_width_mm=_edge_width_mm(grey, homography, [wanted[i] for i in used]),
        outline=view_corners,
    )


def _looked_for(card: CardDefinition) -> dict[str, tuple[int, ...]]:
    """Return which ids of each dictionary are looked for: the card's own, and those of its other versions."""
    first, last = card.reserved_ids or (0, -1)
    ids = {marker.dictionary: set(range(first, last + 1)) for marker in card.markers}
    for marker in card.markers:
        ids[marker.dictionary].add(marker.id)
    return {name: tuple(sorted(ids[name])) for name in sorted(ids)}


def to_grey8(pixels: NDArray[np.uint8] | NDArray[np.uint16]) -> NDArray[np.uint8]:
    """Return an (H, W) 8 bit grey picture."""
    grey: NDArray[Any] = cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY)
    if grey.dtype == np.uint16:
        grey = cv2.convertScaleAbs(grey, alpha=1 / 257)
    return grey


@dataclass(frozen=True, slots=True)
class _Search:
    grey: NDArray[Any]
    scale: float  # pixels of the picture per pixel of this search
    way: Literal["fast", "once", "thorough"]


def _searches(grey: NDArray[np.uint8]) -> Iterator[_Search]:
    """Yield ever more patient ways to look; the first two are enough for a good photo."""
    longest = max(grey.shape)
    # Up to a factor of 2 nothing is skipped by interpolation either, at a tenth of the cost of averaging.
    slightly = longest < 2 * SEARCH_SIDE
    yield _Search(*_reduce(grey, SEARCH_SIDE, cv2.INTER_LINEAR if slightly else cv2.INTER_AREA), "fast")
    small, small_scale = _reduce(grey, SEARCH_SIDE / 2)
    yield _Search(small, small_scale, "once")
    reduced, scale = _reduce(grey, SEARCH_SIDE)
    yield _Search(reduced, scale, "thorough")
    yield _Search(cv2.createCLAHE(4.0).apply(reduced), scale, "thorough")
    if longest > SEARCH_SIDE * 1.3:
        yield _Search(grey, 1.0, "thorough")
    # A blurred or noisy marker is found where its blur is no wider than a pixel.
    yield _Search(small, small_scale, "thorough")


def _reduce(grey: NDArray[np.uint8], side: float, how: int = cv2.INTER_AREA) -> tuple[NDArray[Any], float]:
    scale = max(grey.shape) / side
    if scale <= 1.0:
        return grey, 1.0
    size = (round(grey.shape[1] / scale), round(grey.shape[0] / scale))
    return cv2.resize(grey, size, interpolation=how), scale


@lru_cache(maxsize=16)
def _marks(name: str, wanted: tuple[int, ...]) -> tuple[cv2.aruco.Dictionary, list[int]]:
    """Return those marks of a dictionary that are wanted, and their ids.

    What is no mark, such as a patch, is told from a few marks many times sooner than from all.
    """
    full = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name))
    ids = [one for one in wanted if one < len(full.bytesList)]
    return cv2.aruco.Dictionary(full.bytesList[ids], full.markerSize, full.maxCorrectionBits), ids


def _detect(search: _Search, dictionary: str, wanted: tuple[int, ...]) -> list[tuple[int, Array]]:
    """Return (id, (4, 2) corners in pixels of the whole picture) for each wanted marker that is seen."""
    parameters = cv2.aruco.DetectorParameters()
    if search.way == "thorough":
        parameters.adaptiveThreshWinSizeMax = 43
        parameters.adaptiveThreshWinSizeStep = 8
        parameters.minMarkerPerimeterRate = 0.02
    elif search.way == "once":
        parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = 23
        parameters.minMarkerPerimeterRate = 0.1
    else:
        # Finds sharp markers that are not small (Romero-Ramirez et al. 2021) at a fifth of the cost.
        parameters.useAruco3Detection = True
        parameters.minSideLengthCanonicalImg = 16
        parameters.minMarkerLengthRatioOriginalImg = 0.03
        parameters.adaptiveThreshWinSizeMin = 13
        parameters.adaptiveThreshWinSizeMax = 13
        parameters.errorCorrectionRate = 0.3
    marks, ids = _marks(dictionary, wanted)
    corners, places, _ = cv2.aruco.ArucoDetector(marks, parameters).detectMarkers(search.grey)
    half = (search.scale - 1) / 2  # pixel centres lie at integers in both pictures
    return [
        (ids[int(places.flat[k])], corner[0].astype(float) * search.scale + half)
        for k, corner in enumerate(corners)
    ]


def _corners(wanted: dict[int, Marker], ids: list[int]) -> Array:
    """Return (4 N, 2) corners of these marks on the card, mm."""
    return np.concatenate([np.array(wanted[i].corners) for i in ids])


def _diagonal(corners: Array) -> float:
    return float(np.linalg.norm(corners[0] - corners[2]))


def _same_place(a: Array, b: Array) -> bool:
    return bool(np.linalg.norm(a.mean(0) - b.mean(0)) < 0.5 * _diagonal(a))


def _nothing_found(
    grey: NDArray[np.uint8], card: CardDefinition, others: set[int]
) -> NoCardError | BlurError | WrongCardVersionError:
    if card.reserved_ids is not None:
        low, high = card.reserved_ids
        versions = sorted(i for i in others if low <= i <= high)
        if len(versions) >= 2:
            return WrongCardVersionError(
                seen=", ".join(map(str, versions)),
                card=card.name,
                version=card.version,
                marks=", ".join(str(marker.id) for marker in card.markers),
                where="card",
            )
    if _is_blurred(grey):
        return BlurError(fault="all")
    return NoCardError(fault="no-mark")


def _is_blurred(grey: NDArray[np.uint8]) -> bool:
    """Tell whether the sharpest edges of the picture are many pixels wide.

    The step of an edge divided by its steepest slope is its width: 10 grey levels a pixel on a step of 100 is
    an edge ten pixels wide. Compared at 1000 pixels to the longest side.
    """
    reduced, _ = _reduce(grey, SEARCH_SIDE)
    slopes = np.hypot(
        cv2.Sobel(reduced, cv2.CV_32F, 1, 0, scale=1 / 8), cv2.Sobel(reduced, cv2.CV_32F, 0, 1, scale=1 / 8)
    )
    low, high = np.percentile(reduced, (2, 98))
    return bool(high - low > max(25.0, 9.0 * np.percentile(slopes, 99.7)))


def _one_card(seen: dict[int, list[Array]], wanted: dict[int, Marker]) -> tuple[dict[int, Array], list[int]]:
    """Choose one place for each id; ids seen twice (two cards, a mirror) by which set fits one plane best."""
    ids = sorted(seen)
    choices = [seen[i][:4] for i in ids]
    ways = prod(len(c) for c in choices)
    if ways == 1:
        chosen = [c[0] for c in choices]
    elif ways > MOST_CORNER_GUESSES:
        chosen = [max(c, key=lambda q: float(cv2.contourArea(q.astype(np.float32)))) for c in choices]
    else:
        target = _corners(wanted, ids)

        def misfit(combination: Iterable[Array]) -> float:
            corners = np.concatenate(list(combination))
            h, _ = cv2.findHomography(target, corners)
            return np.inf if h is None else float(np.sum((project(h, target) - corners) ** 2))

        chosen = list(min(product(*choices), key=misfit))
    corners = {i: chosen[k] for k, i in enumerate(ids)}
    return corners, _in_one_plane(corners, wanted)


def _in_one_plane(corners: dict[int, Array], wanted: dict[int, Marker]) -> list[int]:
    """Drop a mark that is far from where all the others put it (a false find), when enough remain to tell."""
    ids = sorted(corners)

    def misses(fitted: list[int], judged: list[int]) -> float:
        """Return how far a corner of the judged marks lies from where those fitted put it, in pixels."""
        h, _ = cv2.findHomography(_corners(wanted, fitted), np.concatenate([corners[i] for i in fitted]))
        seen = np.concatenate([corners[i] for i in judged])
        return np.inf if h is None else float(np.abs(project(h, _corners(wanted, judged)) - seen).max())

    if len(ids) < 4 or misses(ids, ids) < 0.2 * min(_diagonal(corners[i]) for i in ids):
        return ids
    for suspect in ids:
        rest = [i for i in ids if i != suspect]
        diagonal = _diagonal(corners[suspect])
        if misses(rest, [suspect]) > 2 * diagonal and misses(rest, rest) < 0.1 * diagonal:
            return rest
    return ids


def _fit_plane(
    grey: NDArray[np.uint8], corners: dict[int, Array], used: list[int], wanted: dict[int, Marker]
) -> tuple[Array, float]:
    """Refine the corners in the picture itself and fit the map from millimetres to pixels."""
    target = _corners(wanted, used)
    rough = _agreeing(target, np.concatenate([corners[i] for i in used]))
    side = min(np.linalg.norm(corners[i] - np.roll(corners[i], 1, axis=0), axis=1).min() for i in used)
    # The fast search is off by pixels now and then, which a wide window mends; but a wide window takes in what
    # lies beside a mark, such as the edge of a dark board. What fits one plane better is the truer.
    ways = [_refined(grey, rough, side, windows) for windows in ((7, 12), (12,))]
    planes = [plane for way in ways if (plane := _plane(target, way)) is not None]
    if not planes:
        raise NoCardError(fault="edge-on")
    return min(planes, key=lambda plane: plane[1])


def _refined(grey: NDArray[np.uint8], rough: Array, side: float, shares: tuple[int, ...]) -> Array:
    """Move (N, 2) corners to where edges cross, in windows of `side` over each of the shares in turn."""
    fine: NDArray[Any] = rough.astype(np.float32)
    until = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.02)
    for share in shares:
        half_window = int(np.clip(side / share, 2, 16))
        fine = cv2.cornerSubPix(grey, fine, (half_window, half_window), (-1, -1), until)
    strayed = np.linalg.norm(fine - rough, axis=1) > max(4.0, side / 5)
    return np.asarray(np.where(strayed[:, None], rough, fine))


def _plane(target: Array, corners_px: Array) -> tuple[Array, float] | None:
    """Return the map from millimetres to (4 M, 2) corners and its rms residual, mm; None of corners in a line."""
    found: NDArray[Any] | None = cv2.findHomography(target, corners_px)[0]
    if found is None:
        return None
    residual_px = _without_shrinkage(project(found, target) - corners_px, corners_px)
    scale = np.sqrt(abs(np.linalg.det(_jacobian(found, target.mean(0)))))
    return found, float(np.sqrt(np.mean(np.sum(residual_px**2, 1))) / scale)


def _agreeing(target: Array, seen: Array) -> Array:
    """Put single corners (N, 2) that the search misplaced where all the others say they must be."""
    if len(seen) < 8:
        return seen
    found, _ = cv2.findHomography(target, seen, cv2.RANSAC, 2.5)
    if found is None:
        return seen
    expected = project(found, target)
    stray = np.linalg.norm(expected - seen, axis=1) > 2.5
    return np.asarray(np.where((stray & (stray.mean() < 0.2))[:, None], expected, seen))


def _without_shrinkage(residual: Array, corners: Array) -> Array:
    """Take out of (4 M, 2) residuals what blur does to every marker alike: corners rounded inwards."""
    quads = corners.reshape(-1, 4, 2)
    outward = (quads - quads.mean(1, keepdims=True)).reshape(residual.shape)
    outward /= np.linalg.norm(outward, axis=1, keepdims=True)
    shrinkage = float(np.mean(np.sum(residual * outward, axis=1)))
    return np.asarray(residual - shrinkage * outward)


def _jacobian(h: Array, point: Array) -> Array:
    """Return the (2, 2) derivative of the map at one point, pixels per millimetre."""
    u, v, w = h @ np.array([point[0], point[1], 1.0])
    numerator = np.array(
        [
            [h[0, 0] * w - u * h[2, 0], h[0, 1] * w - u * h[2, 1]],
            [h[1, 0] * w - v * h[2, 0], h[1, 1] * w - v * h[2, 1]],
        ]
    )
    return np.asarray(numerator / w**2)


def _smallest_scale(homography: Array, outline: Array) -> float:
    slopes = np.stack([_jacobian(homography, corner) for corner in outline])
    return float(np.linalg.svd(slopes, compute_uv=False).min())


def _fewest_markers(total: int) -> int:
    """Return how many marks must be seen: all but one, and of a card of one or two all of them."""
    return min(total, max(2, total - 1))


def _sides_outside(outline: Array, width: int, height: int) -> list[str]:
    slack = 0.004 * max(width, height)
    sides = {
        "left": outline[:, 0].min() < -slack,
        "right": outline[:, 0].max() > width - 1 + slack,
        "top": outline[:, 1].min() < -slack,
        "bottom": outline[:, 1].max() > height - 1 + slack,
    }
    return [side for side, out in sides.items() if out]


def _edge_share(grey: NDArray[np.uint8], homography: Array, markers: list[Marker]) -> float:
    """Return the width of a printed edge over the side of the smallest marker."""
    smallest = min(float(np.linalg.norm(np.subtract(m.corners[1], m.corners[0]))) for m in markers)
    return _edge_width_mm(grey, homography, markers) / smallest


def _edge_width_mm(grey: NDArray[np.uint8], homography: Array, markers: list[Marker]) -> float:
    """Measure how wide the markers' outer edges are, across each of the card's two directions.

    Each edge of a marker is a printed step from paper to ink. Profiles across it are averaged along the edge;
    the width of an edge blurred by a Gaussian is its step divided by its steepest slope (x 1.02 for 10-90 %).
    """
    count = 33
    along = np.linspace(0.2, 0.8, 9)[:, None, None]
    corners = np.array([marker.corners for marker in markers])
    begin, run = (part.reshape(-1, 2) for part in (corners, np.roll(corners, -1, axis=1) - corners))
    side = np.linalg.norm(run, axis=1)
    normal = np.stack([run[:, 1], -run[:, 0]], axis=1) / side[:, None]
    offsets = np.linspace(-0.13, 0.13, count) * side[:, None]  # stays inside the marker's black border
    edge = begin[:, None, None] + along * run[:, None, None]
    points = edge + offsets[:, None, :, None] * normal[:, None, None]
    pixels = project(homography, points.reshape(-1, 2)).astype(np.float32).reshape(-1, count, 2)
    x, y = cv2.split(pixels)
    profile = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    mean = profile.reshape(len(side), -1, count).mean(1)
    step = np.abs(mean[:, -4:].mean(1) - mean[:, :4].mean(1))
    slope = np.abs(np.diff(mean)).max(1) / (offsets[:, 1] - offsets[:, 0])
    printed, upright = step > 20, np.abs(normal[:, 0]) > np.abs(normal[:, 1])
    widths = [step[these] / slope[these] for these in (printed & ~upright, printed & upright)]
    medians = [float(median(w)) for w in widths if w.size]
    return max(medians, default=0.0)
