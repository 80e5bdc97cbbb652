"""What is known of a print whose colours are not those of the card: which patches, and how the others came there.

Only where a card's colours do not fit: patches that show one another's colours, and the whole card tried once more as
if it had been laid out the other way round, or printed without its colours.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from strandgauge.card.model import CardDefinition
from strandgauge.card.sample import Samples
from strandgauge.colour.arrays import Array, median
from strandgauge.colour.cielab import chroma, delta_e_2000
from strandgauge.colour.srgb import srgb_decode
from strandgauge.errors import CardMismatchError
from strandgauge.light.correction import NEUTRAL_CHROMA, FittedCard, fit_correction
from strandgauge.light.doubts import load_doubt_limits, odd_patches, patch_names

FEWEST_EXCHANGED = 4
"""Colours shown in one another's place, from which on a print is another card's; none on true prints in any light and
camera tried."""
EXPLAINED = 6.0
"""Median Delta E00 below which the card's colours fit another layout; the wrong ones leave 9 and more."""
WAYS = {"mirrored": (True, False), "flipped": (False, True), "turned": (True, True)}
"""Other ways round: left for right, top for bottom."""
LEAST_TINTS = 0.25
"""Spread of tints below which a print has no colours: 0.35 and more on prints that have, greys mostly below 0.15."""
_NAMED = 4
_SAME_PLACE_MM = 2.0


def exchanged(samples: Samples, fitted: FittedCard) -> list[int]:
    """Return the rows of the patches that show another patch's colour; none where few do, or all the same one's."""
    colours = (fitted.weight > 0) & samples.is_patch & (chroma(samples.reference) >= NEUTRAL_CHROMA)
    limits = load_doubt_limits()
    if (fitted.delta_e00_left_out[colours] > limits.left_out).sum() < FEWEST_EXCHANGED:
        return []
    odd = odd_patches(samples, fitted.lab_left_out, colours, limits)
    if not odd:
        return []
    others = np.flatnonzero(colours)
    apart = delta_e_2000(fitted.lab_left_out[odd][:, None], samples.reference[others])
    # Half as far from the other's colour as from its own, and the other shows another's too: under an odd lamp a
    # colour may look like its neighbour, but that one like itself.
    nearest = others[apart.argmin(1)]
    shown = (apart.min(1) < fitted.delta_e00_left_out[odd] / 2) & np.isin(nearest, odd)
    if len(set(nearest[shown].tolist())) < FEWEST_EXCHANGED:
        return []
    return [row for row, other in zip(odd, shown, strict=True) if other]


def other_print(
    samples: Samples, fitted: FittedCard, card: CardDefinition, misfit: float, *, fits: bool
) -> CardMismatchError | None:
    """Return what is known of a print that is not the card's; None where its colours fit and few are exchanged.

    ``misfit`` is the median Delta E00 of its colours.
    """
    rows, names = exchanged(samples, fitted), patch_names(card)
    if fits and not rows:
        return None
    usable = fitted.weight > 0
    patches = usable & samples.is_patch
    vivid = patches & (chroma(samples.reference) >= NEUTRAL_CHROMA)
    colours = np.flatnonzero(vivid if vivid.any() else patches)

    def explains(reference: Array) -> bool:
        again = fit_correction(replace(samples, reference=reference), card.size, usable)
        return bool(median(again.delta_e00[colours]) < EXPLAINED)

    if not fits:
        if tint_spread(samples.encoded[colours]) < LEAST_TINTS:
            return CardMismatchError(fault="grey")
        for way in WAYS:
            if explains(laid(samples, card.size, way)):
                return CardMismatchError(fault="laid", way=way)
    worst = rows or colours[np.argsort(-fitted.delta_e00[colours])].tolist()
    named = ", ".join(names[samples.ids[row]] for row in worst[:_NAMED])
    if rows:
        return CardMismatchError(fault="exchanged", count=len(rows), patches=named)
    return CardMismatchError(fault="other", delta_e00=misfit, patches=named)


def tint_spread(encoded: Array) -> float:
    """Return how far places (N, 3) differ in tint as the camera wrote it, as standard deviation of log ratios."""
    light = np.log(srgb_decode(encoded) + 0.01)
    return float(np.std(light[:, [0, 2]] - light[:, [1]], axis=0).max())


def laid(samples: Samples, card_size: tuple[float, float], way: str) -> Array:
    """Return the reference (N, 3) of a card laid out that way; a place without a counterpart keeps its own."""
    places, reference = samples.places, samples.reference.copy()
    there = np.where(WAYS[way], np.asarray(card_size) - places, places)
    patches: NDArray[np.int_] = np.flatnonzero(samples.is_patch)
    away = np.linalg.norm(there[patches][:, None] - places[patches], axis=2)
    met = away.min(1) < _SAME_PLACE_MM
    reference[patches[met]] = samples.reference[patches[away.argmin(1)[met]]]
    return reference
