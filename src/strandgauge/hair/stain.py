"""Stain: colour off the natural lift path, left by old dye or a tinted care product.

At each lightness undyed hair, natural, grey or lifted, keeps to an area of the a*b* plane: a wedge from
the grey corner to an arc between its reddest and its greenest hue (``calibration/words.toml``). What lies
further off than a threshold, and further than the measurement can tell, is stain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from strandgauge.codes.facts import HueAngle, NotNegative, Text
from strandgauge.colour.arrays import Array
from strandgauge.hair.words import LiftPath, Words, hue_within, load_words


@dataclass(frozen=True, slots=True)
class Stain:
    """Colour off the natural lift path, left by old dye or a tinted care product."""

    hue: Text
    """The stain's hue in plain words, such as 'green' or 'violet'."""
    hue_deg: HueAngle
    """CIELAB hue angle of the colour difference from the lift path, degrees."""
    strength: NotNegative
    """CIELAB chroma difference from the lift path (Delta C*ab in the a*b* plane)."""


def find_stain(lab: ArrayLike, lab_sd: ArrayLike, words: Words | None = None) -> Stain | None:
    """Return the stain that a colour shows, or None where undyed hair can have that colour.

    Parameters
    ----------
    lab : CIELAB of a zone, (3,).
    lab_sd : standard uncertainty of each of L*, a*, b*, (3,).
    """
    words = words or load_words()
    colour, sd = np.asarray(lab, dtype=float), np.asarray(lab_sd, dtype=float)
    off = off_path(colour, words.path)
    strength = float(np.hypot(*off))
    if strength <= words.stain_distance:
        return None
    along = off / strength
    doubt = float(np.hypot(along[0] * sd[1], along[1] * sd[2]))
    if strength <= words.stain_uncertainties * doubt:
        return None
    hue = float(np.degrees(np.arctan2(off[1], off[0])) % 360.0)
    # The word is for what is seen: half-way between the hair's own hue and the way in which it lies off the path,
    # whose edge alone would call every red violet.
    seen = colour[1:] / max(float(np.hypot(*colour[1:])), 1e-9) + along
    named = float(np.degrees(np.arctan2(seen[1], seen[0])) % 360.0)
    word = next(
        w.word for w in words.stain_hues if hue_within(named, w.hue) and colour[0] >= w.lightness_from
    )
    return Stain(hue=word, hue_deg=hue, strength=strength)


def off_path(lab: ArrayLike, path: LiftPath) -> Array:
    """Return the a*b* vector (2,) from the nearest undyed colour of the same lightness to ``lab`` (3,)."""
    colour = np.asarray(lab, dtype=float)
    corners = _outline(float(colour[0]), path)
    point = colour[1:]
    start, step = corners, np.roll(corners, -1, axis=0) - corners
    away = point - start
    inside = bool(np.all(step[:, 0] * away[:, 1] - step[:, 1] * away[:, 0] >= 0.0))
    if inside:
        return np.zeros(2)
    share = np.clip(np.sum(away * step, axis=1) / np.maximum(np.sum(step**2, axis=1), 1e-12), 0.0, 1.0)
    offsets = point - (start + share[:, None] * step)
    return np.asarray(offsets[np.argmin(np.sum(offsets**2, axis=1))])


def _outline(lightness: float, path: LiftPath) -> Array:
    """Return the corners (M, 2) of the area of undyed hair, counter-clockwise and convex."""
    strongest = np.interp(lightness, path.lightness, path.chroma)
    low, high = (np.interp(lightness, path.lightness, path.hue[:, i]) for i in (0, 1))
    arc = np.radians(np.linspace(low, high, 9))
    points = np.concatenate([path.grey_corner, strongest * np.stack([np.cos(arc), np.sin(arc)], axis=-1)])
    return np.array(_hull(sorted(map(tuple, points.tolist()))))


def _hull(points: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
    """Return the convex hull of points in order, counter-clockwise: a lower and an upper chain.

    Written out here, since loading scipy.spatial for it takes a third of the time of a first reading.
    """
    hull: list[tuple[float, ...]] = []
    for some in (points, points[::-1]):
        chain: list[tuple[float, ...]] = []
        for x, y in some:
            while len(chain) > 1 and _turn(chain[-2], chain[-1], (x, y)) <= 0.0:
                chain.pop()
            chain.append((x, y))
        hull += chain[:-1]
    return hull


def _turn(a: tuple[float, ...], b: tuple[float, ...], c: tuple[float, ...]) -> float:
    """Return twice the area of a triangle, above zero where its corners go counter-clockwise."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
