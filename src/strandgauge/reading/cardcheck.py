"""What a card in a photo says about the photo, summed up for a person or a program."""

from __future__ import annotations

import numpy as np

from strandgauge.colour.cielab import as_lab
from strandgauge.reading.model import CardCheck, PatchCheck
from strandgauge.reading.pipeline import CardReading, card_title


def card_check(found: CardReading) -> CardCheck:
    """Sum up the card in one photo, patch by patch; bare paper is left out."""
    samples, fitted = found.samples, found.fitted
    patches = tuple(
        PatchCheck(
            samples.ids[row],
            as_lab(samples.reference[row]),
            as_lab(fitted.lab[row]),
            float(fitted.delta_e00[row]),
            float(fitted.delta_e00_left_out[row]),
        )
        for row in np.flatnonzero(samples.is_patch)
    )
    problems = tuple(problem.note for problem in found.light.problems)
    return CardCheck(
        photo=found.photo.name,
        card=card_title(found.card),
        trusted=not problems,
        problems=problems,
        light_unevenness_percent=100.0 * found.light.signs.unevenness,
        patches=patches,
    )
