"""Whether what lies in the window is made of fibres along it, as hair is.

Skin, cloth, card and shadow have the colours of hair, and a level could be told of them. What they lack is fine
light and shade from fibre to fibre. Ribbed stuff, wood and foil have that too and are not told from hair here: how
straight real hair can lie is not known well enough to refuse what is straighter.
"""

from __future__ import annotations

import cv2
import numpy as np

from strandgauge.errors import NotHairError
from strandgauge.light.region import Region
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.zones import StrandCoordinates

LEAST_STRENGTH = 0.016
"""Fine log brightness, standard deviation. Own choice between what was seen: 0.025 and more on 124 rendered and
sample strands, small and soft copies among them; 0.012 and less on skin, cloth and flat colour."""
_COARSE_MM = 0.7
"""Width of what counts as light and shade of locks, not of fibres, mm."""
_DARKEST = 3e-3
"""Keeps the logarithm of black hair's brightness from being noise."""


def fibre_strength(region: Region, strand: Isolated, coordinates: StrandCoordinates) -> float:
    """Return the standard deviation of fine log brightness, coarse light and shade taken off.

    Taken in the middle two thirds of the strand's length and 40 % of its width.
    """
    margin = (strand.last - strand.first) // 6
    body = slice(strand.first + margin, strand.last - margin)
    luminance = region.linear[:, body] @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    log = np.log(np.maximum(luminance, _DARKEST))
    fine = log - cv2.GaussianBlur(log, (0, 0), _COARSE_MM * region.pixels_per_mm)
    fine = cv2.GaussianBlur(fine, (0, 0), 0.5)
    return float(fine[np.abs(coordinates.across[:, body]) <= 0.4].std())


def check_fibres(strength: float) -> None:
    """Refuse what is not made of fibres.

    Raises
    ------
    NotHairError
    """
    if strength < LEAST_STRENGTH:
        raise NotHairError(where="window")
