"""What a check tells beyond a reading: patches that are not what is printed there, a veil, strengthened colours.

None of these forbids a reading: the fit sets single patches aside, and takes most of the rest into its curve and its
matrix. They are worth mending all the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from strandgauge.card.model import CardDefinition
from strandgauge.card.sample import Samples
from strandgauge.codes.facts import Note, note
from strandgauge.colour.arrays import Array, Mask
from strandgauge.colour.cielab import chroma, delta_e_2000, xyz_from_lab
from strandgauge.colour.srgb import srgb_decode
from strandgauge.files.calibration import calibration_file, read_calibration
from strandgauge.light.correction import NEUTRAL_CHROMA, Correction, FittedCard, fit_correction

ONE_STEP = 3.0
"""L* within which greys count as one step."""
MOST_MISFIT = 8.0
"""Delta E00 beyond which a patch tells no more of the colours' strength: it is covered, or misprinted."""


@dataclass(frozen=True, slots=True)
class DoubtLimits:
    """The limits of ``calibration/doubts.toml``, which says what each means."""

    left_out: float
    more_per_chroma: float
    beyond_chroma: float
    veil: float
    factor: float
    gain: float


@lru_cache(maxsize=1)
def load_doubt_limits() -> DoubtLimits:
    """Return the limits that ship with the package."""
    table = read_calibration(calibration_file("doubts.toml"), "strandgauge.doubts/1")
    return DoubtLimits(
        table.number("patch", "left_out"),
        table.number("patch", "more_per_chroma"),
        table.number("patch", "beyond_chroma"),
        table.number("veil", "added"),
        table.number("colours", "factor"),
        table.number("colours", "gain"),
    )


@dataclass(frozen=True, slots=True)
class Doubts:
    """What is to be doubted in a card's samples."""

    odd: tuple[int, ...]
    """Rows of the patches that are not what is printed there."""
    notes: tuple[Note, ...]


def find_doubts(samples: Samples, fitted: FittedCard, lab_left_out: Array, card: CardDefinition) -> Doubts:
    """Look for them; `lab_left_out` is (N, 3), each by a fit that never saw it."""
    limits = load_doubt_limits()
    usable = fitted.weight > 0
    odd = odd_patches(samples, lab_left_out, usable, limits)
    notes = patch_notes(samples, lab_left_out, odd, card)
    if (added := veil(samples, usable, fitted.correction)) > limits.veil:
        notes.append(note("veiled", percent=100.0 * added))
    if colours_gain(samples, fitted, card.size, limits.factor) > limits.gain:
        notes.append(note("strong-colours"))
    return Doubts(tuple(odd), tuple(notes))


def odd_patches(samples: Samples, lab_left_out: Array, usable: Mask, limits: DoubtLimits) -> list[int]:
    """Return the rows of the patches that are not what is printed there."""
    vivid = np.maximum(chroma(samples.reference) - limits.beyond_chroma, 0.0)
    limit = limits.left_out + limits.more_per_chroma * vivid
    off = delta_e_2000(lab_left_out, samples.reference)
    return [int(row) for row in np.flatnonzero(usable & samples.is_patch & (off > limit))]


def patch_names(card: CardDefinition) -> dict[str, str]:
    """Return what each patch is called, by its id."""
    return {patch.id: f"{patch.id} ({patch.name})" if patch.name else patch.id for patch in card.patches}


def patch_notes(samples: Samples, lab_left_out: Array, odd: list[int], card: CardDefinition) -> list[Note]:
    """Name the odd patches, those exchanged with one another first."""
    printed = samples.reference
    off = delta_e_2000(lab_left_out, printed)
    names = patch_names(card)
    notes, rest = [], list(odd)
    for first in odd:
        # Exchanged: each has the colour of the other rather than its own.
        partners = [
            other
            for other in rest
            if first in rest
            and other > first
            and delta_e_2000(lab_left_out[first], printed[other]) < off[first] / 2
            and delta_e_2000(lab_left_out[other], printed[first]) < off[other] / 2
        ]
        if partners:
            other = min(partners, key=lambda one: float(delta_e_2000(lab_left_out[first], printed[one])))
            rest = [one for one in rest if one not in (first, other)]
            notes.append(
                note("patches-exchanged", first=names[samples.ids[first]], other=names[samples.ids[other]])
            )
    if rest:
        patches = ", ".join(names[samples.ids[one]] for one in rest)
        notes.append(note("patches-unlike", count=len(rest), patches=patches))
    return notes


def veil(samples: Samples, usable: Mask, correction: Correction) -> float:
    """Return the light that lies over the darkest grey in all channels, as a share of a perfect white's.

    Of what the camera wrote, decoded by sRGB: a reflection, a dirty lens, or a camera that lifts its blacks. With
    seen dark over seen light d = (Y1 + v) / (Y2 + v), where Y1 and Y2 are printed, v follows; 0 without two greys.
    Local tone is left in: where a chart's greys fall along one row, its term takes a veil up.
    """
    grey = usable & samples.is_patch & (chroma(samples.reference) < NEUTRAL_CHROMA)
    lightness = samples.reference[:, 0]
    if not grey.any() or np.ptp(lightness[grey]) < 30.0:
        return 0.0
    dark = grey & (lightness < lightness[grey].min() + ONE_STEP)
    light = grey & (np.abs(lightness - np.percentile(lightness[grey], 90, method="nearest")) < ONE_STEP)
    seen = srgb_decode(samples.encoded) / correction.light_factor(samples.places)
    printed = xyz_from_lab(samples.reference)[:, 1]
    # In a channel that is black all over no light lies.
    share = np.median(seen[dark], axis=0) / np.maximum(np.median(seen[light], axis=0), 1e-6)
    low, high = np.median(printed[dark]), np.median(printed[light])
    return float(np.min((share * high - low) / np.maximum(1.0 - share, 1e-6)))


def colours_gain(
    samples: Samples, fitted: FittedCard, card_size: tuple[float, float], factor: float
) -> float:
    """Return the card's misfit over that with colours weakened by `factor` before anything is fitted.

    A camera strengthens colours by moving the encoded channels away from their grey (weights of ITU-R BT.601), which
    no matrix on linear light undoes.
    """
    usable = fitted.weight > 0
    grey = (samples.encoded @ [0.299, 0.587, 0.114])[:, None]
    weaker = replace(samples, encoded=np.clip(grey + (samples.encoded - grey) / factor, 0.0, 1.0))
    judged = usable & samples.is_patch

    def misfit(delta: Array) -> float:
        return float(np.minimum(delta[judged], MOST_MISFIT).mean())

    return misfit(fitted.delta_e00) / max(misfit(fit_correction(weaker, card_size, usable).delta_e00), 1e-6)
