"""Warmth: the undertone in the trade's words, and its size in standard terms."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

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


def is_warm(hue: float) -> bool:
    """Tell whether a hue angle, degrees, is one whose C*ab is warmth."""
    return WARM_HUES[0] <= hue <= WARM_HUES[1]


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
    """Return the undertone of one CIELAB colour (3,) in the trade's words.

    The words and their thresholds are data (``calibration/words.toml``): hue angle, chroma, chroma as a share
    of what the ladder shows at that lightness, and level; the first rule that fits is taken.
    """
    ladder, words = ladder or load_ladder(), words or load_words()
    colour = np.asarray(lab, dtype=float)
    strength, hue = float(chroma(colour)), float(hue_deg(colour))
    share = strength / max(float(ladder.chroma_at(colour[0])), 1e-9)
    level = float(ladder.level_of(colour))
    return next(
        rule.word
        for rule in words.undertones
        if strength < rule.chroma_below
        and share < rule.chroma_share_below
        and hue_within(hue, rule.hue)
        and level >= rule.level_from
    )


def undertones_within(lab: ArrayLike, lab_sd: ArrayLike, ladder: Ladder) -> tuple[str, ...]:
    """Return every undertone that a colour may have, its own first.

    The words are those at the colour itself and at both ends of the 95 % interval of each of L*, a*, b*.

    Parameters
    ----------
    lab : CIELAB of a zone, (3,).
    lab_sd : standard uncertainty of each of L*, a*, b*, (3,).
    """
    colour, reach = np.asarray(lab, dtype=float), 1.96 * np.diag(np.asarray(lab_sd, dtype=float))
    return tuple(dict.fromkeys(undertone(colour + step, ladder) for step in (np.zeros(3), *reach, *-reach)))
