"""Stain: colour off the natural lift path, left by old dye or a tinted care product.

At each lightness undyed hair, natural, grey or lifted, keeps to an area of the a*b* plane: a wedge from
the grey corner to an arc between its reddest and its greenest hue (``calibration/words.toml``). What lies
further off than a threshold, and further than the measurement can tell, is stain.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strandgauge.codes.bounds import HueAngle, NotNegative, Text
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
    return stain_at(colour, off, words)


def stain_at(lab: ArrayLike, off: ArrayLike, words: Words) -> Stain:
    """Return the stain of a colour (3,) that lies off the lift path by a*b* ``off`` (2,)."""
    a, b = np.asarray(off, dtype=float)
    word = words.stain_hues[int(stain_words(lab, off, words))].word
    return Stain(word, float(np.degrees(np.arctan2(b, a)) % 360.0), float(np.hypot(a, b)))


def stain_words(lab: ArrayLike, off: ArrayLike, words: Words) -> NDArray[np.intp]:
    """Return the place (...) in ``words.stain_hues`` for colours (..., 3) off the lift path by a*b* (..., 2).

    The word is for what is seen: half-way between the hair's own hue and the way in which it lies off the path,
    whose edge alone would call every red violet.
    """
    colour = np.asarray(lab, dtype=float)
    seen = _direction(colour[..., 1:]) + _direction(np.asarray(off, dtype=float))
    named = np.degrees(np.arctan2(seen[..., 1], seen[..., 0])) % 360.0
    found = np.zeros(named.shape, dtype=np.intp)
    for place, word in reversed(tuple(enumerate(words.stain_hues))):
        found[hue_within(named, word.hue) & (colour[..., 0] >= word.lightness_from)] = place
    return found


def _direction(ab: Array) -> Array:
    return np.asarray(ab / np.maximum(np.linalg.norm(ab, axis=-1, keepdims=True), 1e-9))


def off_path(lab: ArrayLike, path: LiftPath) -> Array:
    """Return the a*b* vectors (..., 2) from the nearest undyed colour of the same lightness to ``lab`` (..., 3)."""
    colour = np.asarray(lab, dtype=float)
    lightness, which = np.unique(colour[..., 0], return_inverse=True)
    corners = np.stack([_outline(float(at), path).T for at in lightness], axis=2)  # (2, M, lightnesses)
    sides = np.roll(corners, -1, axis=1) - corners
    start, along = (part.take(which.ravel(), axis=2) for part in (corners, sides))  # (2, M, N)
    since = colour[..., 1:].reshape(-1, 2).T[:, None] - start
    outside = (along[0] * since[1] < along[1] * since[0]).any(0)
    off = np.zeros((outside.size, 2))
    since, along = since[..., outside], along[..., outside]
    share = (since * along).sum(0) / np.maximum((along**2).sum(0), 1e-12)
    beside = since - np.clip(share, 0.0, 1.0) * along
    nearest = (beside**2).sum(0).argmin(0)
    off[outside] = beside[:, nearest, np.arange(len(nearest))].T
    return off.reshape(*colour.shape[:-1], 2)


@lru_cache(maxsize=512)
def _outline(lightness: float, path: LiftPath) -> Array:
    """Return the corners (M, 2) of the area of undyed hair, counter-clockwise and convex, the last one repeated.

    M is the same at every lightness.
    """
    strongest = np.interp(lightness, path.lightness, path.chroma)
    low, high = (np.interp(lightness, path.lightness, path.hue[:, i]) for i in (0, 1))
    arc = np.radians(np.linspace(low, high, 9))
    points = np.concatenate([path.grey_corner, strongest * np.stack([np.cos(arc), np.sin(arc)], axis=-1)])
    hull = _hull(sorted(map(tuple, points.tolist())))
    return np.array(hull + hull[-1:] * (len(points) - len(hull)))


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
