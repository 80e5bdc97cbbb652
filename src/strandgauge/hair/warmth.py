"""Warmth: the undertone in the trade's words, and its size in standard terms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strandgauge.codes.bounds import Share
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import chroma, hue_deg, xyz_from_lab
from strandgauge.hair.levels import Ladder, load_ladder
from strandgauge.hair.words import Words, hue_within, load_words

__all__ = ["chroma", "hue_deg", "undertone", "warmth_left", "yellowness_e313"]

WarmthCode = Literal["none", "hardly", "little", "moderate", "strong", "very-strong"]
WARMTH_LIMITS: tuple[tuple[float, WarmthCode], ...] = (
    (6.0, "hardly"),
    (15.0, "little"),
    (26.0, "moderate"),
    (34.0, "strong"),
    (float("inf"), "very-strong"),
)
"""What a C*ab below each limit is called, for warm hues; this project's own choice, no published scale is known."""
WARM_HUES = (30.0, 110.0)
"""Hue angles, degrees, from red to greenish yellow, that lifted hair shows; pink and green are no warmth."""

BesideCode = Literal["more", "usual", "less"]


@dataclass(frozen=True, slots=True)
class WarmthBeside:
    """Warmth beside what lifted hair of the same lightness usually shows: the ladder's, and what people differ by."""

    code: BesideCode
    """The likeliest of ``chances``."""
    excess: float
    """C*ab above the ladder's at the same lightness; hues that are no warmth count as none."""
    low: float
    high: float
    """95 % interval of ``excess``."""
    chances: dict[str, Share]
    """How likely 'more', 'usual' and 'less' are, likeliest first."""


def warmth_excess(lab: ArrayLike, ladder: Ladder) -> Array:
    """Return by how much the warmth (...) of CIELAB colours (..., 3) exceeds the ladder's at the same lightness."""
    colour = np.asarray(lab, dtype=float)
    warm = np.where(is_warm(hue_deg(colour)), chroma(colour), 0.0)
    return np.asarray(warm - ladder.chroma_at(colour[..., 0]))


def is_warm(hue: ArrayLike) -> NDArray[np.bool_]:
    """Tell whether hue angles (...), degrees, are ones whose C*ab is warmth."""
    return (np.asarray(hue) >= WARM_HUES[0]) & (np.asarray(hue) <= WARM_HUES[1])


def warmth_left(chroma: float, hue: float) -> WarmthCode:
    """Say how much warmth a colour of this C*ab and hue angle, degrees, shows."""
    code = next(code for limit, code in WARMTH_LIMITS if chroma < limit)
    return code if is_warm(hue) or code == "hardly" else "none"


def yellowness_e313(lab: ArrayLike) -> Array:
    """Return the ASTM E313 yellowness index (...) of CIELAB colours (..., 3), for D65 and 2 degrees.

    ``YI = 100 (Cx X - Cz Z) / Y`` with Cx = 1.2985, Cz = 1.1335 [ASTM E313-15e1, table 1]. Meant for
    near-white, yellowish or bluish samples; for dark or strongly coloured hair it is a mere trend.
    """
    xyz = xyz_from_lab(lab)
    return np.asarray(100.0 * (1.2985 * xyz[..., 0] - 1.1335 * xyz[..., 2]) / np.maximum(xyz[..., 1], 1e-9))


def undertone(lab: ArrayLike, ladder: Ladder | None = None, words: Words | None = None) -> str:
    """Return the undertone of one CIELAB colour (3,) in the trade's words."""
    words = words or load_words()
    return words.undertones[int(undertone_rules(lab, ladder or load_ladder(), words))].word


def undertone_rules(lab: ArrayLike, ladder: Ladder, words: Words) -> NDArray[np.intp]:
    """Return the place (...) in ``words.undertones`` of the rule that tells each CIELAB colour (..., 3).

    The words and their thresholds are data (``calibration/words.toml``): hue angle, chroma, chroma as a share
    of what the ladder shows at that lightness, and level; the first rule that fits is taken.
    """
    colour = np.asarray(lab, dtype=float)
    strength, hue, level = chroma(colour), hue_deg(colour), ladder.level_of(colour)
    share = strength / np.maximum(ladder.chroma_at(colour[..., 0]), 1e-9)
    found = np.zeros(colour.shape[:-1], dtype=np.intp)
    for place, rule in reversed(tuple(enumerate(words.undertones))):
        fits = (strength < rule.chroma_below) & (share < rule.chroma_share_below)
        found[fits & hue_within(hue, rule.hue) & (level >= rule.level_from)] = place
    return found
