"""The posterior is what Bayes' rule says it is, and the family holds what hair can be."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import kstest

from simulated import LADDER, simulated
from strandgauge.hair.family import hair_family, lab_from_ratio, ratio_from_lab, ratio_of, scale_and_tint
from strandgauge.hair.levels import Ladder
from strandgauge.hair.posterior import AsLit, Posterior, posterior, tell


def ranks(found: list[tuple[np.ndarray, Posterior]], channel: int) -> np.ndarray:
    return np.array([p.weight[p.lab[:, channel] < lab[channel]].sum() for lab, p in found])


@pytest.mark.parametrize("channel", [0, 1, 2], ids=["L", "a", "b"])
def test_ranks_of_the_truth_are_uniform(strands, channel):
    # Simulation-based calibration: Talts et al. 2018, arXiv:1804.06788.
    assert kstest(ranks(strands, channel), "uniform").pvalue > 0.01


def test_the_check_on_ranks_sees_noise_that_is_not_allowed_for():
    assert kstest(ranks(simulated(noise=2.0), 2), "uniform").pvalue < 0.01


def test_every_rung_of_a_ladder_is_a_likely_member():
    for ladder in (LADDER, Ladder("short", LADDER.lab[:10])):
        family = hair_family(ladder)
        for rung in ladder.lab:
            near = np.linalg.norm(family.lab - rung, axis=1) < 3.0
            assert near.sum() >= 10, rung


def test_light_that_only_scales_moves_the_level_less_than_lightness_does():
    # Between levels 6 and 7 the ladder's tint hardly changes, so there the tint cannot tell the level.
    for level in (3.0, 4.0, 5.0, 8.0, 9.0):
        true = ratio_from_lab(LADDER.lab_at(level))
        lit = true * np.exp(0.35)
        told = tell(posterior(AsLit(lit), LADDER), LADDER)
        by_lightness = float(LADDER.level_of(lab_from_ratio(lit)))
        assert abs(told.level - level) < abs(by_lightness - level) - 0.1


def test_wider_errors_make_wider_intervals_and_a_known_shift_is_taken_back():
    ratio = ratio_from_lab(LADDER.lab_at(7.0))
    plain, wide = (tell(posterior(AsLit(ratio, 0.0, np.full(3, w)), LADDER), LADDER) for w in (0.0, 0.6))
    assert wide.level_sd > 1.2 * plain.level_sd
    brighter = tell(posterior(AsLit(ratio * np.exp(0.2), 0.2), LADDER), LADDER)
    assert brighter.lab == pytest.approx(plain.lab, abs=1e-6)


def test_a_colour_that_hair_has_not_of_itself_is_told_to_hold_dye():
    blue, gold = ([60.0, -12.0, -20.0], LADDER.lab[7])
    dye = [posterior(AsLit(ratio_from_lab(lab)), LADDER).dye_probability for lab in (blue, gold)]
    assert dye[0] > 0.95
    assert dye[1] < 0.3


def test_scale_and_tint_come_back_and_scaling_leaves_the_tint():
    ratio = ratio_from_lab([[20.0, 4.0, 5.0], [60.0, -10.0, 30.0], [85.0, 0.0, 12.0]])
    place = scale_and_tint(ratio)
    assert ratio_of(place) == pytest.approx(ratio, rel=1e-9)
    assert scale_and_tint(ratio * 1.3)[:, 1:] == pytest.approx(place[:, 1:], abs=1e-12)


def test_weighing_one_colour_takes_a_few_milliseconds():
    from time import process_time

    colour = AsLit(ratio_from_lab(LADDER.lab[6]))
    posterior(colour, LADDER)
    start = process_time()
    for _ in range(20):
        posterior(colour, LADDER)
    assert (process_time() - start) / 20 < 0.005
