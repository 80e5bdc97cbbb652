"""Which dyes a colourist reaches for: those near the wanted hue, what takes out the base's warmth, brown and black.

A dye opposite to the wanted hue darkens and dulls as brown does, but a little too much of it turns the shade. It is
right only where the base has more of its own hue than the shade can bear (common practice, no source; limits are own
choice).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import chroma, hue_deg
from strandgauge.dye.shelf import Shelf
from strandgauge.hair.pigment import solve_base

PALE = (80.0, 0.0, 6.0)
HELD = 0.3
"""The hair on which, and the share of what it can hold at which, a dye shows its own hue."""
DULL = 12.0
"""Chroma there below which a dye has no hue to speak of ..."""
BLACK = 5.0
"""... and below which it is black, which nobody takes for depth ..."""
BLACK_FROM = 44.0
"""... in a shade lighter than this L*: brown does it there."""
GREY = 8.0
"""Chroma below which a shade lies on no dye's side."""
NEAR = 15.0
"""Degrees from the wanted hue up to which a dye is just right ..."""
FITTING = 50.0
"""... and further off than that, up to which anyone would take it."""
NEUTRALISER = 15.0
"""Degrees as which it counts that a dye is there for the base, not for the shade."""
EXCESS = 6.0
"""Chroma that the base has more of its own hue than the shade, from which it is neutralised."""


def strangeness(shelf: Shelf, wanted: Array, base: Array) -> Array:
    """Return how many degrees each dye (D,) lies off those that a colourist reaches for; 0 where it is one of them.

    Parameters
    ----------
    wanted, base : CIELAB of the shade and of the hair, (3,).
    """
    hue, strength = _own_hues(shelf)
    away = np.full(len(hue), 90.0 - NEAR)
    if float(chroma(wanted)) >= GREY:
        away = np.maximum(_apart(hue, float(hue_deg(wanted))) - NEAR, 0.0)
    warmth = float(chroma(base))
    if warmth - float(wanted[1:] @ base[1:]) / max(warmth, 1e-9) > EXCESS:
        away = np.minimum(away, np.maximum(_apart(hue, float(hue_deg(base)) + 180.0) - NEAR, NEUTRALISER))
    black = NEUTRALISER if wanted[0] > BLACK_FROM else 0.0
    return np.asarray(np.where(strength < DULL, np.where(strength < BLACK, black, 0.0), away))


@lru_cache(maxsize=8)
def _own_hues(shelf: Shelf) -> tuple[Array, Array]:
    shown = solve_base(np.array(PALE)).dyed(HELD * shelf.curves)
    return hue_deg(shown), chroma(shown)


def _apart(hue: Array, other: float) -> Array:
    return np.asarray(np.abs((hue - other + 180.0) % 360.0 - 180.0))
