"""From shares to a formula that a kitchen scale can weigh, told with what it really gives."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from strandgauge.codes.bounds import NotNegative
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import delta_e_2000
from strandgauge.dye.shelf import Shelf
from strandgauge.errors import BadMixError
from strandgauge.hair.pigment import Base

SMALL_STEPS = 5
"""A dye of fewer steps of the scale than this is weighed too roughly to be relied upon."""


ROUND = ((10.0, 1.0), (3.0, 0.5))
"""Grams from which a dye is weighed in steps of so many: nobody weighs 25.4 g ..."""
ROUND_WITHIN = 0.5
"""... where that costs no more than this CIEDE2000; own choice."""

LEAST_CLEAR = 0.03
"""Share of clear base in a bowl below which there is none in it."""


@dataclass(frozen=True, slots=True)
class FormulaPart:
    """One line of a formula."""

    dye: str
    parts: NotNegative
    """Relative to the whole, which is 100."""
    grams: NotNegative


@dataclass(frozen=True, eq=False)
class Weighed:
    """A formula in whole steps of the scale, and what it gives."""

    parts: tuple[FormulaPart, ...]
    shares: Array
    """(D,) as weighed."""
    lab: Array
    """(3,)"""
    delta_e: float


def weigh(
    base: Base, wanted: Array, shares: Array, shelf: Shelf, bowl: float, scale: float, room: float = 1.0
) -> Weighed:
    """Return the formula for ``bowl`` grams nearest to the wanted colour in steps of ``scale`` grams.

    Each dye is tried one step below to two above its exact weight, and at the round weights beside it, which are
    taken where they serve as well. The colour is that of what is weighed.
    ``base`` is one base, ``wanted`` its target (3,), ``shares`` (D,) those of the bowl.

    Raises
    ------
    BadMixError : the bowl or the step is not above zero, or the bowl is below ten steps.
    """
    if not (np.isfinite(bowl) and np.isfinite(scale) and scale > 0.0 and bowl >= 10.0 * scale):
        raise BadMixError(fault="scale", bowl=bowl, scale=scale)
    total = round(bowl / scale)
    # A dye of which there is too little to be weighed well is left out, unless it is all there is.
    used = np.flatnonzero((shares > 0.0) & (shares >= min(SMALL_STEPS / total, np.max(shares, initial=0.0))))
    steps = np.floor(shares[used] * total).astype(int)
    moves = np.array(list(product(range(-1, 3), repeat=len(used))), dtype=int).reshape(4 ** len(used), -1)
    unit = np.array([_unit(count * scale, scale) for count in steps], dtype=int)
    tried = np.vstack([steps + moves, (steps // unit + np.clip(moves, 0, 1)) * unit])
    tried = np.maximum(tried, np.minimum(steps, SMALL_STEPS if len(used) > 1 else 0))
    tried = tried[tried.sum(axis=1) <= total]
    mixed = np.zeros((len(tried), len(shelf.dyes)))
    mixed[:, used] = tried / total
    lab = base.dyed(room * shelf.held(mixed) @ shelf.curves)
    delta = delta_e_2000(lab, wanted)
    even = np.all(tried % unit == 0, axis=1) & (delta <= delta.min() + ROUND_WITHIN)
    best = int(np.argmin(np.where(even, delta, np.inf) if even.any() else delta))
    weighed, counts, colour, away = mixed[best], tried[best], lab[best], float(delta[best])
    if len(used) and 0 < total - int(counts.sum()) < max(SMALL_STEPS, LEAST_CLEAR * total):
        # Nobody weighs so little clear base: the dye that there is most of takes its place.
        counts[int(np.argmax(counts))] += total - int(counts.sum())
        weighed[used] = counts / total
        colour = base.dyed(room * shelf.held(weighed) @ shelf.curves)
        away = float(delta_e_2000(colour, wanted))
    grams = {shelf.names[place]: count * scale for place, count in zip(used, counts, strict=True) if count}
    grams[shelf.clear] = (total - int(counts.sum())) * scale
    parts = tuple(
        FormulaPart(name, round(float(100.0 * weight / (total * scale)), 2), round(float(weight), 3))
        for name, weight in grams.items()
        if weight > 0.0
    )
    return Weighed(parts, weighed, colour, away)


def _unit(grams: float, scale: float) -> int:
    """Return in how many steps of the scale at once so much is weighed."""
    return max(round(next((step for least, step in ROUND if grams >= least), scale) / scale), 1)


def too_small(parts: tuple[FormulaPart, ...], shelf: Shelf, scale: float) -> FormulaPart | None:
    """Return the dye that is too little for the scale to be relied upon, if there is one."""
    small = [part for part in parts if part.dye != shelf.clear and part.grams < SMALL_STEPS * scale - 1e-9]
    return min(small, key=lambda part: part.grams) if small else None
