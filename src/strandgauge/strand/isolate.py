"""Tells hair from the paper it lies on.

Hair may be darker than paper, or more colourful, or neither (white, grey, silver); but it is always made of
fibres, so its fine contrast is higher than that of paper, lit or in shadow. A first rough look finds a piece
that is surely hair; from it and from the paper beside it, block by block along the strand, a linear
discriminant (Fisher 1936) on lightness, a*, b* and fine contrast separates the two. Paper in the strand's own
shadow is part of the paper class, so that grey hair is not grown into its shadow.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from heapq import nlargest
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array, Mask, median, quantile
from strandgauge.errors import (
    NoStrandError,
    NotHairError,
    StrandOffWindowError,
    StrandTooThinError,
    TwoStrandsError,
)
from strandgauge.light.region import Region

Image = NDArray[np.float32]

BLOCK_MM = 13.0
"""Length along the strand over which hair counts as one colour when it is told from paper."""
CONTRAST_MM = 0.8
"""Size of the neighbourhood over which fine contrast is taken."""
SHADE = (0.35, 1.05)
"""Brightness of the paper around the strand, lit to shaded, relative to its own."""
SHORTEST_MM = 25.0
THINNEST_MM = 4.5
_BLACK = np.array([-16.0, 0.0, 0.0, 0.0])
_SHADES = np.insert(np.tile(np.cbrt(np.linspace(*SHADE, 4)), (3, 1)), 3, 1.0, axis=0).T[:, None]
"""(4, 1, 4) by what each feature's distance from black is multiplied in the four shades."""
_LEAST_SPREAD = np.diag([4.0, 1.0, 1.0, 0.16])
"""Covariance of either class that is always believed: of print and noise."""
CORE_SEEN, PAPER_SEEN = 600, 120
"""Places of hair, and of paper, that a discriminant is formed from; a few more where they do not divide evenly."""
MOST_OUTSIDE = 0.2
"""Largest share of the strand's length that may lie beside the window, or fill it from edge to edge: 0.09 on hair."""
MOST_PARTED = 0.1
"""Area of a second piece beyond the first, of that one's: 0.02 and less on hair that nothing lies across."""


@dataclass(frozen=True, slots=True)
class Isolated:
    """Which pixels of the region are hair."""

    hair: Mask = field(repr=False)
    """(H, W) the strand as one piece, gaps filled."""
    gap: Mask = field(repr=False)
    """(H, W) inside the strand, but looking like paper."""
    first: int
    """First and last column of the strand (root and ends)."""
    last: int
    centre: Array = field(repr=False)
    """(W,) row of the strand's axis at each column."""
    half_width: Array = field(repr=False)
    """(W,) half the strand's width at each column, pixels, across the columns."""


def isolate_strand(region: Region, paper_lab: tuple[float, float, float], margin_mm: float) -> Isolated:
    """Find the strand in a region that reaches `margin_mm` beyond the card's window on all sides.

    Raises
    ------
    NoStrandError, TwoStrandsError, NotHairError, StrandTooThinError, StrandOffWindowError
    """
    features = _features(region)
    rough = _rough_hair(features, paper_lab, region.pixels_per_mm)
    hair_score = _refine(features, rough, paper_lab, region.pixels_per_mm)
    solid, beside, share = _largest(hair_score > 0, region.pixels_per_mm)
    if beside < 0 and share > MOST_PARTED:  # something as pale as paper lies across it
        raise NotHairError(fault="covered", where="strand")
    return _outline(solid, hair_score, region.pixels_per_mm, margin_mm)


def _features(region: Region) -> Image:
    """Return (4, H, W): L*, a*, b*, slightly smoothed, and fine contrast in per cent of the local light."""
    size = 2 * round(CONTRAST_MM * region.pixels_per_mm / 2) + 1
    light = np.maximum(region.linear[..., 1], 1e-3)
    root = np.sqrt(light)  # evens out camera noise between dark and light
    fine = root - cv2.GaussianBlur(root, (0, 0), size / 3)
    energy = cv2.blur(cv2.blur(fine * fine, (size, size)), (size, size))
    level = np.maximum(cv2.blur(root, (size, size)), 0.06)
    contrast = 100 * np.sqrt(np.maximum(energy, 0)) / level
    features = np.empty((4, *root.shape), dtype=np.float32)
    features[:3] = cv2.blur(region.lab, (3, 3)).transpose(2, 0, 1)
    features[3] = np.minimum(contrast, 12.0)
    return features


def _shaded_paper(L: NDArray[np.float32], paper_lab: tuple[float, float, float]) -> tuple[Image, Image]:
    """Return a* and b* of paper in a shade that gives lightness `L`: both shrink with (L + 16)."""
    share = (L + 16) / (paper_lab[0] + 16)
    return paper_lab[1] * share, paper_lab[2] * share


def _rough_hair(features: Image, paper_lab: tuple[float, float, float], ppm: float) -> Mask:
    """Return pixels that are surely hair: colourful, or much too dark for shade, or fibrous."""
    L, a, b, contrast = features
    pa, pb = _shaded_paper(L, paper_lab)
    colour = np.sqrt((a - pa) ** 2 + (b - pb) ** 2)
    calm = float(quantile(contrast[::3, ::3].ravel(), 0.08))
    depth = paper_lab[0] - L
    score = (
        np.maximum(colour - 2.5, 0) / 5
        + np.maximum(depth - 30, 0) / 15
        + np.maximum(contrast - max(2.0 * calm, 0.8), 0) / 1.6 * (depth > 2)
    )
    size = 2 * round(0.75 * ppm) + 1
    sure = cv2.blur(score, (size, size)) > 0.8
    piece, beside, _ = _largest(sure, ppm)
    if beside >= SHORTEST_MM:
        raise TwoStrandsError(where="window")
    columns = piece.any(0).sum() / ppm
    if columns < SHORTEST_MM or piece.sum() / ppm**2 < SHORTEST_MM * THINNEST_MM * 0.5:
        raise NoStrandError(where="window")
    return piece


def _largest(mask: Mask, ppm: float) -> tuple[Mask, float, float]:
    """Return the largest piece, for how long the next largest lies beside it, mm along the strand, and its share.

    Where that lies beyond the other the length is negative; the share is that of their areas.

    Pieces are closed over fine gaps, and single fibres are stripped from them.

    Raises
    ------
    NoStrandError : no piece is left.
    """
    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, _disc(0.5 * ppm))
    opened = cv2.morphologyEx(closed, cv2.MORPH_OPEN, _disc(0.45 * ppm))
    # Half as long as by OpenCV's own choice of method, to the same end.
    found = cv2.connectedComponentsWithStatsWithAlgorithm(opened, 8, cv2.CV_32S, cv2.CCL_BBDT)
    count, labels, stats, _ = found
    if count < 2:
        raise NoStrandError(where="window")
    largest = nlargest(2, range(1, count), key=stats[:, cv2.CC_STAT_AREA].item)
    begin, length = (stats[largest, which] for which in (cv2.CC_STAT_LEFT, cv2.CC_STAT_WIDTH))
    beside = float((begin + length).min() - begin.max()) / ppm if count > 2 else 0.0
    share = float(stats[largest[-1], cv2.CC_STAT_AREA] / stats[largest[0], cv2.CC_STAT_AREA])
    return np.asarray(labels == largest[0]), beside, share


def _disc(radius: float) -> NDArray[Any]:
    size = 2 * round(radius) + 1
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))


def _reach(radius: float) -> NDArray[Any]:
    """Return the places no farther than that from the middle one, as the distance transform counts."""
    around = np.pad(np.zeros((1, 1), np.uint8), round(radius), constant_values=1)
    return (cv2.distanceTransform(around, cv2.DIST_L2, 3) <= radius).view(np.uint8)


def _refine(features: Image, rough: Mask, paper_lab: tuple[float, float, float], ppm: float) -> Image:
    """Return (H, W) scores, positive for hair, from one discriminant for each block along the strand."""
    sure = rough.view(np.uint8)
    depth = cv2.distanceTransform(sure, cv2.DIST_L2, 3)
    paper = cv2.dilate(sure, _reach(ppm)) == 0  # a millimetre from what is surely hair
    spare = features[:, ::4, ::4][:, paper[::4, ::4]].T
    everywhere = _paper_samples(_thinned(spare, PAPER_SEEN), paper_lab)
    edges = _block_edges(rough, ppm)
    cuts = []
    for left, right in pairwise(edges):
        around = (right - left) // 2
        block = slice(max(0, left - around), right + around)
        inside, background = depth[:, block], everywhere
        core = _some_of(features[:, :, block], inside > 0.45 * inside.max(), CORE_SEEN)
        if np.count_nonzero(paper[:, block]) > 50:
            near = _some_of(features[:, :, block], paper[:, block], PAPER_SEEN)
            background = np.vstack([everywhere, _paper_samples(near, paper_lab)])
        cuts.append(_discriminant(core, background))
    centres = (edges[:-1] + edges[1:]) / 2
    at = np.arange(rough.shape[1])
    *mixed, cut = (np.interp(at, centres, part).astype(np.float32) for part in np.transpose(cuts))
    score: Image = sum(map(np.multiply, features, mixed)) - cut
    return score


def _block_edges(rough: Mask, ppm: float) -> NDArray[np.int_]:
    """Return the columns between which blocks of about ``BLOCK_MM`` lie, from one end of the piece to the other."""
    columns = np.flatnonzero(rough.any(0))
    count = round((columns[-1] - columns[0]) / (BLOCK_MM * ppm))
    return np.linspace(columns[0], columns[-1] + 1, count + 1).astype(int)


def _some_of(features: Image, where: Mask, count: int) -> Image:
    """Return (N, 4) features of places in a mask (H, W), evenly thinned to ``count`` or a few more."""
    rows, columns = np.divmod(_thinned(np.flatnonzero(where), count), where.shape[1])
    return features[:, rows, columns].T


def _thinned(many: NDArray[Any], count: int) -> NDArray[Any]:
    return many[:: max(1, len(many) // count)]


def _paper_samples(seen: Image, paper_lab: tuple[float, float, float]) -> Array:
    """Return features (4 N, 4) of paper, lit and shaded, from those seen (N, 4).

    Above L* 8 shade changes L* + 16, a* and b* by one factor, the cube root of the light left (CIE 15).
    """
    if len(seen) == 0:
        seen = np.array([[*paper_lab, 1.0]])
    return np.asarray((_BLACK + (seen - _BLACK) * _SHADES).reshape(-1, 4))


def _discriminant(hair: Image, paper: Array) -> Array:
    """Return (5,) Fisher's direction and threshold between two sets of (N, 4) features, hair positive."""
    (hair_mean, hair_cov), (paper_mean, paper_cov) = _moments(hair), _moments(paper)
    direction = np.linalg.solve(hair_cov + paper_cov, hair_mean - paper_mean)
    hair_sd, paper_sd = (np.sqrt(direction @ cov @ direction) for cov in (hair_cov, paper_cov))
    hair_at, paper_at = direction @ hair_mean, direction @ paper_mean
    # Equal numbers of deviations from both sides.
    threshold = (hair_at * paper_sd + paper_at * hair_sd) / (hair_sd + paper_sd)
    cut: Array = np.array([*direction, threshold]) / max(hair_at - paper_at, 1e-9)
    return cut


def _moments(seen: NDArray[Any]) -> tuple[Array, Array]:
    """Return mean (4,) and covariance (4, 4) of features (N, 4)."""
    rows = np.asarray(seen.T, dtype=np.float64)
    mean = rows.mean(1)
    off = rows - mean[:, None]
    return mean, off @ off.T / (len(seen) - 1) + _LEAST_SPREAD


def _outline(solid: Mask, score: Image, ppm: float, margin_mm: float) -> Isolated:
    height, width = solid.shape
    count, moment = np.stack([np.ones(height), np.arange(height)]) @ solid
    typical = float(median(count[count > 0]))
    if typical / ppm < THINNEST_MM:
        raise StrandTooThinError(fault="width", width_mm=typical / ppm, where="strand")
    full = np.flatnonzero(_smooth(count, ppm) > 0.35 * typical)
    first, last = int(full[0]), int(full[-1])
    if (last - first) / ppm < SHORTEST_MM:
        raise StrandOffWindowError(fault="length", length_mm=(last - first) / ppm, where="window")
    inner = np.arange(first, last + 1)
    full = np.flatnonzero(count > 0.35 * typical)  # a column with hardly any hair says nothing of the axis
    middle_row = moment[full] / count[full]
    at = np.arange(width)
    centre = np.interp(at, inner, _smooth(np.interp(inner, full, middle_row), 2.5 * ppm))
    half = np.interp(at, inner, _smooth(np.interp(inner, full, count[full] / 2), 2.5 * ppm))
    _check_window(solid[:, inner], centre[inner], half[inner], ppm, margin_mm)
    gap = solid & (score < -0.1)
    return Isolated(solid, gap, first, last, centre, half)


def _smooth(values: NDArray[Any], size: float) -> NDArray[Any]:
    """Return `values` (N,) smoothed by a Gaussian of deviation `size`, ends kept."""
    row = values.astype(np.float32)[None]
    smooth: NDArray[Any] = cv2.GaussianBlur(row, (0, 0), size, borderType=cv2.BORDER_REPLICATE)[0]
    return smooth


def _check_window(solid: Mask, centre: Array, half: Array, ppm: float, margin_mm: float) -> None:
    height = len(solid)
    top, bottom = margin_mm * ppm, height - margin_mm * ppm
    filled = float((solid[: round(top)].any(0) & solid[round(bottom) :].any(0)).mean())
    if filled > MOST_OUTSIDE:
        raise StrandOffWindowError(fault="filled", percent=100 * filled, where="window")
    beside = (centre - 0.6 * half < top) | (centre + 0.6 * half > bottom)
    cut = solid[:2].any(0) | solid[-2:].any(0)  # goes on beyond what is looked at
    outside = float((beside | cut).mean())
    if outside > MOST_OUTSIDE:
        raise StrandOffWindowError(fault="beside", percent=100 * outside, where="window")
