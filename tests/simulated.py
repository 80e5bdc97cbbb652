"""Strands drawn from the prior, lit by the error model: what a posterior must be calibrated on."""

from __future__ import annotations

import numpy as np

from strandgauge.hair.family import hair_family, lab_from_ratio, ratio_of
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.posterior import ANY_RANGE, AsLit, Posterior, load_error_model, posterior

LADDER = load_ladder()


def simulated(strands: int = 400, noise: float = 1.0) -> list[tuple[np.ndarray, Posterior]]:
    """Draw strands from the prior, light them by the error model (times ``noise``), and weigh them."""
    rng = np.random.default_rng(20)
    family = hair_family(LADDER, 30_011)
    found = []
    for _ in range(strands):
        if rng.random() < family.any_share:
            place = rng.uniform(*ANY_RANGE)
        else:
            place = family.place[rng.integers(len(family.place))]
        found.append((lab_from_ratio(ratio_of(place)), measured(place, rng, noise)))
    return found


def measured(place: np.ndarray, rng: np.random.Generator, noise: float = 1.0) -> Posterior:
    """Light a strand of this scale and tint (3,) by the error model, and weigh what is seen."""
    model = load_error_model()
    centre, log_sd = model.at(place[None], lab_from_ratio(ratio_of(place))[None, 0])
    far = np.linalg.cholesky(model.correlation) @ rng.normal(size=3)
    far /= np.sqrt(rng.chisquare(model.freedom) / model.freedom)
    return posterior(AsLit(ratio_of(centre[0] + noise * far * np.exp(log_sd[0]))), LADDER)
