"""Lines that a strand of hair does not have: even ribs along it, paper between two strands, edges across, a cut.

Fine light and shade alone (`fibres`) takes fine ribs and wood along the strand for hair, and so something black lying
on it, and two strands side by side. They have lines that are too even, too long or too straight for hair.

The limits are own choice, between what was seen on 456 rendered strands and on pictures of such stuffs, and were then
counted on 937 others (docs/accuracy.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.codes.facts import Note, note
from strandgauge.colour.arrays import Array, median
from strandgauge.colour.srgb import LUMINANCE
from strandgauge.errors import NotHairError, TwoStrandsError
from strandgauge.light.region import Region
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.zones import StrandCoordinates

Image = NDArray[np.float32]

MOST_RIBS, DOUBTFUL_RIBS = 0.65, 0.42
"""Share of the fine pattern in one period across that keeps step along the strand: 0.41 and less on hair, by chance
up to 0.6 on lines drawn quite straight."""
MOST_PAPER, DOUBTFUL_PAPER = 0.75, 0.3
"""Length of a line of paper within the strand, of the strand's: 0.25 and less on dry hair, up to 0.5 on wet tails."""
MOST_EDGE = 5.0
"""Edges across on both sides of a flat place, over what that place is uneven by: 3.0 and less on hair."""
MOST_BAND = 0.18
"""Edges on both sides of a band from side to side, log brightness a millimetre: 0.13 and less on hair."""
_LEANS = (-0.36, -0.18, 0.0, 0.18, 0.36)
"""How such a band may lie across, tangents: up to 20 degrees."""
LEAST_CUT_MM, LEAST_CURVE_MM = 0.095, 0.06
"""How far an outline departs from what scissors cut, its sides as bows or as smooth curves: on hair 0.107 and 0.06,
but for three pictures of one strand."""
_BOW, _CURVE = 2, 6
"""Degrees of those."""
_DARKEST = 2e-3
"""Keeps the logarithm of black hair's brightness from being noise."""
_PERIODS_MM = (0.57, 2.2)
_COLUMNS, _PARTS = 60, 12
"""Places along the strand at which its pattern and paper are looked for, and parts in which ribs must keep step."""
_SHADE_WEIGHT = 0.35
"""Weight of lightness against tint in what is like paper, which may be in deep shade between two strands."""
_LIKE_PAPER, _TOLD_APART = 0.5, 6.0
"""How much nearer to paper than usual hair a place is, of the distance between them, which is at least so much."""
_CELL = 9
"""Places, two a millimetre, of what counts as one flat place or one edge: 4.5 mm."""
_REACH = slice(2, 17)
"""Places from the middle of a flat one within which its edges lie."""


@dataclass(frozen=True, slots=True)
class Lines:
    """What lines there are on a strand, across it and around it; each as its limit tells."""

    ribs: float
    paper: float
    edge: float
    band: float
    cut_mm: float
    curve_mm: float


def lines(
    region: Region, strand: Isolated, coordinates: StrandCoordinates, paper_lab: tuple[float, float, float]
) -> Lines:
    """Look for them; ``paper_lab`` is the colour of the bare paper around the strand."""
    return Lines(
        _ribs(region, strand),
        _paper(region, strand, paper_lab),
        *_edges(region, strand, coordinates),
        *_cut_mm(strand, region.pixels_per_mm),
    )


def _ribs(region: Region, strand: Isolated) -> float:
    """Return the share of the pattern's power in one period across that keeps step, where it is second least."""
    ppm = region.pixels_per_mm
    widths = np.sort(strand.half_width[strand.first : strand.last])
    reach = int(0.9 * widths[len(widths) // 5])
    at, along = _along(strand, _COLUMNS, 0.04)
    rows = np.interp(along, at, strand.centre) + np.arange(-reach, reach + 1.0)[:, None]
    log = _log_light(region, along, rows)
    window = np.sqrt(np.hanning(len(log)))[:, None]
    size = 128
    waves = np.fft.rfft((log - cv2.GaussianBlur(log, (0, 0), ppm)) * window, n=size, axis=0)
    frequency = np.fft.rfftfreq(size, 1 / ppm)
    band = (frequency > 1 / _PERIODS_MM[1]) & (frequency < 1 / _PERIODS_MM[0])
    frequency, parts = frequency[band], waves[band].reshape(int(band.sum()), _PARTS, -1)
    power = (np.abs(parts) ** 2).mean(2)
    lobe = 1.5 * ppm / len(log)  # a strand is narrow: one period is spread over so much
    one = np.abs(frequency - frequency[power.sum(1).argmax()]) < lobe
    in_step = np.abs(parts[one].mean(2)) ** 2
    return float(np.sort(in_step.sum(0) / np.maximum(power.sum(0), 1e-12))[1])


def _paper(region: Region, strand: Isolated, paper_lab: tuple[float, float, float]) -> float:
    """Return the length, of the strand's, of the longest line within it that is nearer to paper than to its hair."""
    columns, rows = _grid(strand, _COLUMNS, np.linspace(-0.5, 0.5, 30), 0.03)
    lab = cv2.remap(region.lab, columns, rows, cv2.INTER_LINEAR)
    shade = (lab[..., 0] + 16) / (paper_lab[0] + 16)
    tint = np.hypot(lab[..., 1] - paper_lab[1] * shade, lab[..., 2] - paper_lab[2] * shade)
    away = np.hypot(tint, _SHADE_WEIGHT * np.maximum(paper_lab[0] - lab[..., 0], 0.0))
    usual = cv2.blur(median(away)[None].astype(np.float32), (7, 1))[0]
    # White hair is as near to paper all over: what is nearer must be so by half of what tells them apart.
    nearer = ((usual - away) / np.maximum(usual, _TOLD_APART)).astype(np.float32)
    like = cv2.blur(nearer, (3, 1)) > _LIKE_PAPER
    line = cv2.morphologyEx(like.view(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 5), np.uint8))
    _, _, stats, _ = cv2.connectedComponentsWithStats(line)
    return float(stats[1:, cv2.CC_STAT_WIDTH].max(initial=0)) / _COLUMNS


def _edges(region: Region, strand: Isolated, coordinates: StrandCoordinates) -> tuple[float, float]:
    """Return what edges across a flat place has, and what a band from side to side has.

    Of a flat place the lesser of the edges on both sides over its unevenness, where that is largest: an edge across
    goes the same way in every row of the place; clipped gloss is no flat place. Of a band, which may shine, the
    lesser edge alone, log brightness a millimetre: in four rows of five it goes the same way from side to side.
    """
    # Two places a millimetre.
    high, wide = round(1.7 * coordinates.width_mm), round(1.84 * coordinates.length_mm)
    columns, rows = _grid(strand, wide, np.linspace(-0.85, 0.85, high), 0.04)
    log = _log_light(region, columns, rows)
    clipped = cv2.remap(region.clipped.view(np.uint8), columns, rows, cv2.INTER_NEAREST)
    cell = (_CELL, _CELL)
    mean = cv2.blur(log, cell)
    uneven = np.sqrt(np.maximum(cv2.blur(log * log, cell) - mean * mean, 0.0))
    slope = np.zeros_like(log)
    slope[:, 1:-1] = log[:, 2:] - log[:, :-2]
    tall, slack = np.ones((_CELL, 1), np.uint8), np.ones((1, 3), np.uint8)  # an edge may lean
    steep = np.maximum(*(cv2.erode(cv2.dilate(way, slack), tall) for way in (slope, -slope)))
    both = _both_sides(steep, steep)
    flat = cv2.blur(clipped.astype(np.float32), cell) < 0.02
    inner = slice(_CELL // 2 + 1, -_CELL // 2)
    score = np.where(flat, np.maximum(both, 0.0), 0.0) / np.maximum(uneven, 0.015)
    return float(score[inner, inner].max(initial=0.0)), _band(slope)


def _band(slope: Image) -> float:
    middle, fifth = (len(slope) - 1) / 2, len(slope) // 5
    shears = np.array([[[1, lean, -lean * middle], [0, 1, 0]] for lean in _LEANS], dtype=np.float32)
    in_order = np.sort([cv2.warpAffine(slope, shear, slope.shape[::-1]) for shear in shears], axis=1)
    rises, falls = (ways.max(0)[None] for ways in (in_order[:, fifth], -in_order[:, -1 - fifth]))
    return max(float(_both_sides(*pair).max()) for pair in ((rises, falls), (falls, rises)))


def _both_sides(left: Image, right: Image) -> Image:
    """Return, for each place, the lesser of the largest value to its left and of that to its right."""
    side = np.zeros((1, 2 * _REACH.stop + 1), np.uint8)
    side[0, : _REACH.stop - _REACH.start] = 1
    return np.asarray(np.minimum(cv2.dilate(left, side), cv2.dilate(right, side[:, ::-1].copy())))


def _cut_mm(strand: Isolated, ppm: float) -> tuple[float, float]:
    """Return how far, root mean square, its ends are off from straight lines, and its sides from bows or curves.

    The first takes bows, the second curves as smooth as a ribbon's, and of all four lines the worst.
    """
    margin = (strand.last - strand.first) // 10
    body = strand.hair[:, strand.first + margin : strand.last - margin]
    sides = [_off(side.argmax(0), ppm, (_BOW, _CURVE)) for side in (body, body[::-1])]
    ends = []
    for at, hair in ((strand.first + 3 * ppm, strand.hair), (strand.last - 3 * ppm, strand.hair[:, ::-1])):
        middle, half = strand.centre[round(at)], 0.7 * strand.half_width[round(at)]
        ends += _off(hair[round(middle - half) : round(middle + half) + 1].argmax(1), ppm, (1,))
    bows, curves = zip(*sides, strict=True)
    return max(*bows, *ends) / ppm, max(*curves, *ends) / ppm


def _off(line: NDArray[np.int_], ppm: float, degrees: tuple[int, ...]) -> list[float]:
    """Return the standard deviation of a line (N,), steps of pixels smoothed, about its best polynomials."""
    size = 2 * round(ppm) + 1
    left = cv2.blur(line.astype(np.float32)[None], (size, 1), borderType=cv2.BORDER_REPLICATE)[0]
    shapes = _shapes(len(line), max(degrees))
    parts = shapes * (left @ shapes)
    return [float((left - parts[:, : degree + 1].sum(1)).std()) for degree in degrees]


@lru_cache(maxsize=8)
def _shapes(count: int, degree: int) -> Array:
    """Return (count, degree + 1) polynomials of rising degree along a line, orthonormal."""
    return np.linalg.qr(np.polynomial.legendre.legvander(np.linspace(-1, 1, count), degree))[0]


def _along(strand: Isolated, count: int, inset: float) -> tuple[NDArray[np.int_], Array]:
    """Return the region's columns, and ``count`` places among them from end to end, a share of ``inset`` left out."""
    margin = inset * (strand.last - strand.first)
    return np.arange(len(strand.centre)), np.linspace(strand.first + margin, strand.last - margin, count)


def _grid(strand: Isolated, count: int, across: Array, inset: float) -> tuple[Image, Image]:
    """Return columns and rows (N, count) of places along the strand and ``across`` (N,) of its half widths."""
    at, along = _along(strand, count, inset)
    rows = np.interp(along, at, strand.centre) + across[:, None] * np.interp(along, at, strand.half_width)
    return np.broadcast_to(along, rows.shape).astype(np.float32), rows.astype(np.float32)


def _log_light(region: Region, columns: Array | Image, rows: Array | Image) -> Image:
    places = np.broadcast_to(columns, rows.shape).astype(np.float32)
    light = cv2.remap(region.linear, places, rows.astype(np.float32), cv2.INTER_LINEAR) @ LUMINANCE
    return np.asarray(np.log(np.maximum(light, _DARKEST)), dtype=np.float32)


def check_lines(found: Lines) -> tuple[Note, ...]:
    """Refuse what has lines that no strand has; note what may have.

    Raises
    ------
    NotHairError, TwoStrandsError
    """
    if found.ribs > MOST_RIBS:
        raise NotHairError(fault="rows", where="window")
    if found.paper > MOST_PAPER:
        raise TwoStrandsError(where="window")
    if found.edge > MOST_EDGE or found.band > MOST_BAND:
        raise NotHairError(fault="covered", where="strand")
    notes = []
    if found.ribs > DOUBTFUL_RIBS:
        notes.append(note("even-ribs"))
    if found.paper > DOUBTFUL_PAPER:
        notes.append(note("paper-between"))
    if found.cut_mm < LEAST_CUT_MM or found.curve_mm < LEAST_CURVE_MM:
        notes.append(note("as-cut"))
    return tuple(notes)
