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
    family, model = hair_family(LADDER, 30_011), load_error_model()
    mixing = np.linalg.cholesky(model.correlation)
    found = []
    for _ in range(strands):
        if rng.random() < family.any_share:
            place = rng.uniform(*ANY_RANGE)
        else:
            place = family.place[rng.integers(len(family.place))]
        lab = lab_from_ratio(ratio_of(place))
        centre, log_sd = model.at(place[None], lab[None, 0])
        far = mixing @ rng.normal(size=3) / np.sqrt(rng.chisquare(model.freedom) / model.freedom)
        seen = centre[0] + noise * far * np.exp(log_sd[0])
        found.append((lab, posterior(AsLit(ratio_of(seen)), LADDER)))
    return found
