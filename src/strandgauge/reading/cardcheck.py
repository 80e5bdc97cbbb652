"""What a card in a photo says about the photo, summed up for a person or a program."""

from __future__ import annotations

import numpy as np

from strandgauge.colour.cielab import as_lab
from strandgauge.facts import Note
from strandgauge.reading.model import CardCheck, PatchCheck
from strandgauge.reading.pipeline import CardReading, card_title


def card_check(found: CardReading) -> CardCheck:
    """Sum up the card in one photo, patch by patch; bare paper is left out."""
    samples, correction = found.samples, found.correction
    patches = tuple(
        PatchCheck(
            samples.ids[row],
            as_lab(samples.reference[row]),
            as_lab(correction.lab_fitted[row]),
            float(found.delta_e00[row]),
            float(found.delta_e00_left_out[row]),
        )
        for row in np.flatnonzero(samples.is_patch)
    )
    problems = tuple(
        Note(problem.code, "refusal", (("said", problem.message),)) for problem in found.light.problems
    )
    return CardCheck(
        photo=found.photo.name,
        card=card_title(found.card),
        trusted=not problems,
        problems=problems,
        light_unevenness_percent=100.0 * found.light.unevenness,
        patches=patches,
    )
