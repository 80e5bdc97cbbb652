"""Learns a dye's absorption curve from what it does to the colour of known hair.

Colours alone do not fix a curve. It is taken as one smooth band, or two where one cannot explain what was
seen; height, place and width are solved from all pairs of base and dyed colour together, with a mild pull
toward a width that is usual for dyes in hair.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import Lab, delta_e_2000
from strandgauge.dye.shelf import SCHEMA, STRONGEST, Dye, Shelf
from strandgauge.errors import BadMixError, CannotLearnError
from strandgauge.files.toml import toml_text
from strandgauge.hair.pigment import Base, solve_base
from strandgauge.hair.spectra import GRID

USUAL_WIDTH = 35.0
"""Standard deviation of a usual dye band in hair, nm: a full width of 82 nm at half the height."""
_WIDTH_PULL = 0.3
"""CIELAB units that the pull counts for when the width is e times the usual."""
_STARTS = (420.0, 470.0, 520.0, 560.0, 600.0, 640.0, 680.0)
_LOW = np.array([-7.0, 380.0, np.log(12.0)])
_HIGH = np.array([np.log(STRONGEST), 720.0, np.log(110.0)])
ENOUGH = 0.5
"""CIEDE2000 up to which one band is taken to explain what was seen."""
LEAST_CHANGE = 0.3
"""CIEDE2000 between base and dyed hair below which nothing can be learned, even from exact colours."""
OTHER_BASES_ERROR = 0.6
"""Mean CIEDE2000 of a prediction on another base with a dye so learned, on path-traced hair
(docs/accuracy-pigment.md): what the curve's guessed shape costs."""


@dataclass(frozen=True, slots=True)
class Observation:
    """What a share of a dye made of a base."""

    base: Lab
    dyed: Lab
    share: float
    """Share of the dye in the mix, above 0 to 1."""
    sd: float = 0.0
    """Standard uncertainty of the two colours together, CIEDE2000 units; 0 for colours typed in."""


def learn_dye(name: str, observations: Sequence[Observation]) -> Dye:
    """Return the dye that explains the observations.

    ``lab_error`` of the result joins what is left unexplained, what the photos leave open, and what the
    guessed shape of the curve costs on other bases.

    Raises
    ------
    BadMixError : a share is not above 0 and up to 1.
    CannotLearnError : the colours hardly differ, or became lighter.
    OutsideModelError : no hair has the base's colour.
    """
    if not observations:
        raise CannotLearnError(fault="nothing")
    for one in observations:
        if not 0.0 < one.share <= 1.0:
            raise BadMixError(fault="none-of-it")
        if delta_e_2000(one.base, one.dyed) < max(LEAST_CHANGE, one.sd):
            raise CannotLearnError(fault="alike")
        if one.dyed[0] > one.base[0] + 2.0:
            raise CannotLearnError(fault="lighter")
    # What hair holds of each, since uptake levels off as the bath grows stronger.
    alone = Shelf((), "")
    bases = solve_base([one.base for one in observations])
    dyed = np.array([one.dyed for one in observations])
    shares = np.array([float(alone.held(np.array([one.share]))[0]) for one in observations])
    best = min((_fit(bases, dyed, shares, [start]) for start in _STARTS), key=lambda fit: fit.cost)
    if best.error > ENOUGH:
        places = [(low, high) for low in _STARTS[:4] for high in _STARTS[3:] if high > low + 60.0]
        double = min((_fit(bases, dyed, shares, list(two)) for two in places), key=lambda fit: fit.cost)
        best = double if double.error < 0.7 * best.error else best
    photo = float(np.sqrt(np.mean([one.sd**2 for one in observations])))
    many = f"{len(observations)} pairs" if len(observations) > 1 else "one pair"
    return Dye(
        name,
        best.curve,
        (),
        f"learned from {many} of base and dyed colour",
        lab_error=float(np.hypot(np.hypot(best.error, photo), OTHER_BASES_ERROR)),
    )


@dataclass(frozen=True, eq=False)
class _Fit:
    curve: Array
    error: float
    """Largest CIEDE2000 that is left."""
    cost: float
    """What is left, and the pull, together."""


def _fit(bases: Base, dyed: Array, shares: Array, starts: list[float]) -> _Fit:
    """Fit one band for each start to all observations together."""
    from scipy.optimize import least_squares

    def misses(values: Array) -> Array:
        found = bases.dyed(shares[:, None] * _curve(values))
        pull = _WIDTH_PULL * (values[2::3] - np.log(USUAL_WIDTH))
        return np.concatenate([((found - dyed) * [1.0, 0.7, 0.7]).ravel(), pull])

    first = np.concatenate([[np.log(3.0), start, np.log(USUAL_WIDTH)] for start in starts])
    bounds = (np.tile(_LOW, len(starts)), np.tile(_HIGH, len(starts)))
    found = least_squares(misses, first, bounds=bounds, max_nfev=80)
    curve = np.minimum(_curve(found.x), STRONGEST)
    left = delta_e_2000(bases.dyed(shares[:, None] * curve), dyed)
    return _Fit(curve, float(np.max(left)), float(found.cost))


def _curve(values: Array) -> Array:
    height, peak, width = (values[i::3, None] for i in range(3))
    return np.asarray(np.sum(np.exp(height - ((GRID - peak) / np.exp(width)) ** 2 / 2.0), axis=0))


def dye_file(dyes: Sequence[Dye]) -> str:
    """Return the text of a dye file that `load_shelf` reads."""
    rows = [
        {
            "name": dye.name,
            "source": dye.source,
            "lab_error": round(dye.lab_error, 2),
            "curve": [round(float(value), 4) for value in dye.curve],
        }
        for dye in dyes
    ]
    return toml_text(
        {"schema": SCHEMA, "dye": rows},
        "Dyes learned by strandgauge. The curve: absorption at full strength, 400 to 700 nm by 10 nm.",
    )
