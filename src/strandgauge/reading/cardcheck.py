"""What a card in a photo says about the photo, summed up for a person or a program."""

from __future__ import annotations

import numpy as np

from strandgauge.colour.cielab import as_lab, delta_e_2000
from strandgauge.light.correction import refit_left_out
from strandgauge.light.doubts import find_doubts
from strandgauge.reading.model import CardCheck, PatchCheck
from strandgauge.reading.pipeline import CardReading, card_title


def card_check(found: CardReading) -> CardCheck:
    """Sum up the card in one photo, patch by patch; bare paper is left out."""
    samples, fitted, card = found.samples, found.fitted, found.card
    lab_left_out = refit_left_out(samples, card.size, fitted)
    left_out = delta_e_2000(lab_left_out, samples.reference)
    doubts = find_doubts(samples, fitted, lab_left_out, card)
    patches = tuple(
        PatchCheck(
            samples.ids[row],
            as_lab(samples.reference[row]),
            as_lab(fitted.lab[row]),
            float(fitted.delta_e00[row]),
            float(left_out[row]),
            doubted=row in doubts.odd,
        )
        for row in np.flatnonzero(samples.is_patch)
    )
    problems = tuple(problem.note for problem in found.light.problems)
    # What lies on a patch may look like a gleam.
    covered = set(found.light.signs.veiled) <= {samples.ids[row] for row in doubts.odd}
    cautions = [one for one in found.light.cautions if not (covered and one.code == "slight-glare")]
    return CardCheck(
        photo=found.photo.name,
        card=card_title(card),
        trusted=not problems,
        problems=problems,
        light_unevenness_percent=100.0 * found.light.signs.unevenness,
        patches=patches,
        cautions=(*cautions, *doubts.notes),
    )
