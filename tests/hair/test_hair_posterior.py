"""The posterior is what Bayes' rule says it is, and the family holds what hair can be."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from simulated import LADDER, simulated
from strandgauge.errors import BadCalibrationError
from strandgauge.files.calibration import calibration_file
from strandgauge.hair.family import (
    KINDS,
    hair_family,
    lab_from_ratio,
    ratio_from_lab,
    ratio_of,
    scale_and_tint,
)
from strandgauge.hair.levels import Ladder
from strandgauge.hair.posterior import (
    ANY_RANGE,
    LEAST_SD,
    AsLit,
    ErrorModel,
    Posterior,
    Telling,
    _any_colours,
    _around,
    _lit,
    _log_likelihood,
    load_error_model,
    load_telling,
    posterior,
    shifted_by,
    tell,
)
from strandgauge.hair.wet import drying_sd, wet_reflectance


def ranks(found: list[tuple[np.ndarray, Posterior]], channel: int) -> np.ndarray:
    return np.array([p.weight[p.lab[:, channel] < lab[channel]].sum() for lab, p in found])


@pytest.mark.parametrize("channel", [0, 1, 2], ids=["L", "a", "b"])
def test_ranks_of_the_truth_are_uniform(strands, channel):
    # Simulation-based calibration: Talts et al. 2018, arXiv:1804.06788.
    from scipy.stats import kstest

    assert kstest(ranks(strands, channel), "uniform").pvalue > 0.01


def test_the_check_on_ranks_sees_noise_that_is_not_allowed_for():
    from scipy.stats import kstest

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
        assert abs(told.level - level) < abs(by_lightness - level) - 0.05


def test_wider_errors_make_wider_intervals_and_a_known_shift_is_taken_back():
    ratio = ratio_from_lab(LADDER.lab_at(7.0))
    plain, wide = (tell(posterior(AsLit(ratio, widen=np.full(3, w)), LADDER), LADDER) for w in (0.0, 0.6))
    assert wide.level_sd > 1.2 * plain.level_sd
    raised = np.zeros((3, 3))
    raised[0, 0] = 0.2
    brighter = tell(posterior(AsLit(ratio * np.exp(0.2), raised), LADDER), LADDER)
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
    took = []
    for _ in range(20):
        start = process_time()
        posterior(colour, LADDER)
        took.append(process_time() - start)
    assert min(took) < 0.005  # on a busy machine the same work takes longer at times


MODEL = ErrorModel(
    lightness=np.array([20.0, 60.0]),
    log_sd=np.log([[0.2, 0.01, 0.03], [0.1, 0.02, 0.05]]),
    shift=np.array([[0.1, 0.0, 0.02], [-0.1, 0.01, 0.0]]),
    by_tint=np.array([[0.5, 0.2, 0.1], [0.3, 0.4, 0.6]]),
    correlation=np.array([[1.0, -0.3, -0.2], [-0.3, 1.0, 0.1], [-0.2, 0.1, 1.0]]),
    freedom=5.0,
)
UNSEEN = np.array([[3.0, 20.0, 2.0], [4.0, 10.0, 0.0]])
TELLING = Telling(np.array([1.0, 2.0, 3.0]), 2.5, (0.9, 0.7), (0.8, 0.6), 0.8, UNSEEN)


def test_errors_go_with_lightness_and_with_either_tint():
    places = np.array([[-1.0, 0.04, 0.15], [-1.0, -0.08, 0.4], [-1.0, 4.0, -9.0]])
    centre, log_sd = MODEL.at(places, np.array([40.0, 10.0, 60.0]))
    assert centre - places == pytest.approx(
        np.array([[0.0, 0.005, 0.01], [0.1, 0.0, 0.02], [-0.1, 0.01, 0.0]])
    )
    between = (MODEL.log_sd[0] + MODEL.log_sd[1]) / 2
    assert log_sd[0] == pytest.approx(between + 0.5 * MODEL.by_tint[0])
    assert log_sd[1] == pytest.approx(MODEL.log_sd[0] + MODEL.by_tint[0] + MODEL.by_tint[1])
    assert log_sd[2] == pytest.approx(MODEL.log_sd[1] + 4.0 * MODEL.by_tint.sum(0))  # both at their limit


def test_a_colour_is_weighed_by_the_t_distribution_of_an_independent_library():
    from scipy.stats import multivariate_t

    places = np.array([[-1.0, 0.02, 0.2], [-1.4, 0.05, 0.3], [-2.0, -0.1, 0.1]])
    lightness = lab_from_ratio(ratio_of(places))[:, 0]
    seen = np.array([-1.2, 0.03, 0.22])
    shift = np.array([[0.1, 0.01, -0.02], [0.05, 0.0, 0.0], [-0.03, 0.0, 0.0]])
    as_lit = AsLit(ratio_of(seen), shift, np.array([0.2, -0.1, 0.4]))
    ours = _log_likelihood(seen, _lit(places, lightness, MODEL), as_lit, MODEL)
    theirs = []
    for centre, log_sd, light in zip(*MODEL.at(places, lightness), lightness, strict=True):
        spread = np.diag(np.exp(log_sd + as_lit.widen))
        slope = (light - 50.0) / 25.0
        mean = centre + shift[0] + slope * shift[1] + (slope**2 - 1.0) * shift[2]
        theirs.append(multivariate_t(mean, spread @ MODEL.correlation @ spread, df=5).logpdf(seen))
    assert ours - ours[0] == pytest.approx(np.array(theirs) - theirs[0])


def test_colours_that_no_mixture_explains_are_summed_up_as_an_even_grid_sums_them_up():
    """Importance sampling against plain numerical integration, within four spreads of what is seen.

    Far beyond, where the spread itself grows with the tint, the sample is thin on purpose.
    """
    model, widen = load_error_model(), np.array([0.3, 0.2, 0.1])
    shift = np.array([[0.1, 0.003, -0.01], [-0.1, 0.0, 0.0], [0.05, 0.0, 0.0]])
    for seen in (np.array([-1.0, 0.05, 0.2]), np.array([-0.4, 0.0, 0.25])):
        as_lit = AsLit(ratio_of(seen), shift, widen)
        labs, logs = _any_colours(seen, as_lit, model, wet=False)
        here = seen - shift.T @ shifted_by(lab_from_ratio(ratio_of(seen))[0])
        _, log_sd = model.at(here[None], lab_from_ratio(ratio_of(here))[None, 0])
        spread = 4.0 * np.exp(log_sd[0] + widen)
        low, high = np.maximum(here - spread, ANY_RANGE[0]), np.minimum(here + spread, ANY_RANGE[1])
        axes = [np.linspace(*edge, 41) for edge in zip(low, high, strict=True)]
        axes = [(axis[1:] + axis[:-1]) / 2 for axis in axes]
        grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
        lab = lab_from_ratio(ratio_of(grid))
        weight = np.exp(_log_likelihood(seen, _lit(grid, lab[:, 0], model), as_lit, model))
        share_of_range = np.prod((high - low) / (ANY_RANGE[1] - ANY_RANGE[0]))
        assert np.exp(logs).mean() == pytest.approx(share_of_range * weight.mean(), rel=0.1)
        weight, share = weight / weight.sum(), np.exp(logs) / np.exp(logs).sum()
        mean, even = share @ labs, weight @ lab
        assert mean == pytest.approx(even, abs=1.0)
        assert share @ (labs - mean) ** 2 == pytest.approx(weight @ (lab - even) ** 2, rel=0.3)
        dry = _any_colours(seen, as_lit, model, wet=True)
        assert dry[0][:, 0].mean() > labs[:, 0].mean() + 1.0
        assert dry[1].tolist() == logs.tolist()


def test_places_around_a_colour_have_the_density_that_is_told():
    from scipy.stats import multivariate_normal

    places, density = _around()
    assert places.shape == (768, 3)
    # The integral of any other density over them is one.
    for sd in (1.0, 1.5):
        other = multivariate_normal(np.zeros(3), sd**2 * np.eye(3)).logpdf(places)
        assert np.exp(other - density).mean() == pytest.approx(1.0, abs=0.05)


HAND_MADE = Posterior(
    np.array([[50.0, 10.0, 30.0], [60.0, 6.0, 34.0], [40.0, 12.0, 30.0], [55.0, -10.0, -20.0]]),
    np.array([0.4, 0.3, 0.2, 0.1]),
    np.array([KINDS.index(kind) for kind in ("lifted", "toned", "grey", "any")]),
    np.array([0.0, 0.0, 0.4, 0.0]),
)


def test_a_posterior_is_told_by_its_weights():
    labs, weight = HAND_MADE.lab, HAND_MADE.weight
    assert HAND_MADE.mean == pytest.approx(np.average(labs, axis=0, weights=weight))
    assert HAND_MADE.variance == pytest.approx(np.diag(np.cov(labs.T, aweights=weight, ddof=0)))
    assert HAND_MADE.dye_probability == pytest.approx(0.4)
    some = HAND_MADE.only(np.array([True, False, True, False]))
    assert some.weight == pytest.approx([2 / 3, 1 / 3])
    assert some.lab.tolist() == labs[[0, 2]].tolist()
    assert (some.kind.tolist(), some.white.tolist()) == (HAND_MADE.kind[[0, 2]].tolist(), [0.0, 0.4])
    drawn = np.bincount(HAND_MADE.draws(1000), minlength=4)
    assert np.abs(drawn - 1000 * weight).max() <= 1
    assert HAND_MADE.draws(2).tolist() == [0, 2]  # at a quarter and at three quarters
    # Middles of the steps, values rising: 40 at 0.1, 50 at 0.4, 55 at 0.65, 60 at 0.85.
    told = HAND_MADE.quantiles(labs[:, 0], (0.0, 0.1, 0.25, 0.4, 0.65, 0.75, 1.0))
    assert told == pytest.approx([40, 40, 45, 50, 55, 57.5, 60])


def test_rounding_of_the_weights_draws_no_member_that_is_not_there():
    short = Posterior(np.zeros((2, 3)), np.array([0.5, 0.4]), np.zeros(2, dtype=int), np.zeros(2))
    assert short.draws(100).max() == 1


def test_what_is_told_grows_as_the_telling_says():
    told = tell(HAND_MADE, LADDER, telling=TELLING)
    plain = np.sqrt(HAND_MADE.variance)
    sd = np.array([np.hypot(plain[0], 3.0), 2.0 * plain[1], 3.0 * plain[2]])
    assert told.lab == pytest.approx(HAND_MADE.mean)
    assert told.sd == pytest.approx(sd)
    assert told.together == pytest.approx(2.5 * sd)
    assert told.level == pytest.approx(float(LADDER.level_of(HAND_MADE.mean)))
    low, high = HAND_MADE.quantiles(LADDER.level_of(HAND_MADE.lab), (0.025, 0.975))
    floor = np.hypot(LEAST_SD[0], 3.0)
    by_lightness = float(LADDER.level_sd(HAND_MADE.mean, np.diag([floor**2, 0, 0])))
    assert told.level_sd == pytest.approx(np.hypot((high - low) / 3.92, by_lightness))
    turned = tell(HAND_MADE, LADDER, turned=True, telling=TELLING)
    assert turned.sd[0] == pytest.approx(np.hypot(plain[0], 4.0))
    assert turned.level_sd > told.level_sd
    falling = np.array([1.0, 0.1, 0.5])
    one_sided = [tell(HAND_MADE, LADDER, turned=t, signs=falling, telling=TELLING) for t in (False, True)]
    assert [told.sd[0] for told in one_sided] == pytest.approx(np.hypot(plain[0], [6.0, 5.0]))
    assert one_sided[0].level_sd > told.level_sd


def test_what_is_told_of_wet_hair_has_the_doubt_of_drying_added_and_of_any_hair_a_least_one():
    plain = np.sqrt(HAND_MADE.variance) * TELLING.sd_growth
    drying = drying_sd(HAND_MADE.mean)
    wet = tell(HAND_MADE, LADDER, wet=True, telling=TELLING)
    assert wet.sd == pytest.approx(np.hypot(np.hypot(plain, drying), [3.0, 0.0, 0.0]))
    low, high = HAND_MADE.quantiles(LADDER.level_of(HAND_MADE.lab), (0.025, 0.975))
    floor = np.hypot(drying[0], 3.0)
    by_lightness = float(LADDER.level_sd(HAND_MADE.mean, np.diag([floor**2, 0, 0])))
    assert wet.level_sd == pytest.approx(np.hypot((high - low) / 3.92, by_lightness))
    sure = Posterior(HAND_MADE.lab[:1], np.ones(1), np.zeros(1, dtype=int), np.zeros(1))
    assert tell(sure, LADDER, telling=TELLING).sd == pytest.approx([np.hypot(0.6, 3.0), 0.4, 0.4])


def test_the_shipped_models_are_those_of_the_file():
    file = tomllib.loads(calibration_file("as-lit.toml").read_text())
    error, told, model, telling = file["error"], file["told"], load_error_model(), load_telling()
    parts = ("scale", "x", "z")
    assert model.lightness.tolist() == error["lightness"]
    assert model.log_sd.T.tolist() == [error[f"log_sd_{part}"] for part in parts]
    assert model.shift.T.tolist() == [error[f"shift_{part}"] for part in parts]
    assert model.by_tint.T.tolist() == [error[f"by_tint_{part}"] for part in parts]
    assert model.correlation[np.triu_indices(3, 1)].tolist() == error["correlation"]
    assert model.correlation.tolist() == model.correlation.T.tolist()
    assert np.diag(model.correlation).tolist() == [1.0, 1.0, 1.0]
    assert model.freedom == error["freedom"]
    assert telling.sd_growth.tolist() == told["sd_growth"]
    assert telling.together == told["together"]
    for name in ("zone_correlation", "turned_zone_correlation"):
        assert list(getattr(telling, name)) == told[name]
    assert telling.unseen.tolist() == [told["unseen"], told["turned_unseen"]]
    assert telling.turned_share == told["turned_share"]


@pytest.mark.parametrize(
    ("load", "old", "new"),
    [
        (load_telling, "together = ", "together = 0.09 #"),
        (load_telling, "\nzone_correlation = [", "\nzone_correlation = [1.1, 0.5] #"),
        (load_telling, "turned_zone_correlation = [", "turned_zone_correlation = [0.5] #"),
        (load_telling, "turned_share = ", "turned_share = 1.1 #"),
        (load_telling, "turned_share = ", "turned_share = 0.09 #"),
        (load_telling, "sd_growth = [", "sd_growth = [1, 0.09, 1] #"),
        (load_telling, "sd_growth = [", "sd_growth = [1, 1] #"),
        (load_telling, "\nunseen = [", "\nunseen = [1, -0.1, 0] #"),
        (load_telling, "turned_unseen = [", "turned_unseen = [1, 2] #"),
        (load_telling, "as-lit/1", "as-lit/2"),
        (load_error_model, "as-lit/1", "as-lit/2"),
        (load_error_model, "log_sd_x = [", "log_sd_x = [1, 2] #"),
        (load_error_model, "shift_z = [", "shift_z = [1, 2] #"),
        (load_error_model, "by_tint_scale = [", "by_tint_scale = [1, 2, 3] #"),
        (load_error_model, "\ncorrelation = [", "\ncorrelation = [0.1, 0.96, 0.1] #"),
        (load_error_model, "\ncorrelation = [", "\ncorrelation = [0.1, -0.96, 0.1] #"),
        (load_error_model, "freedom = ", "freedom = 0.9 #"),
        (load_error_model, "freedom = ", "freedom = 101 #"),
    ],
)
def test_a_damaged_model_is_refused(tmp_path, monkeypatch, load, old, new):
    path = tmp_path / "as-lit.toml"
    text = calibration_file("as-lit.toml").read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    monkeypatch.setattr("strandgauge.hair.posterior.calibration_file", lambda *_: path)
    with pytest.raises(BadCalibrationError):
        load.__wrapped__()


@pytest.mark.parametrize("lab", [(45.0, 12.0, 35.0), (60.0, 14.0, 2.0)], ids=["lifted", "neither nor"])
def test_weights_are_those_of_the_family_and_of_any_colour_by_their_shares(lab):
    raised = np.array([[0.05, 0.001, 0.0], [0.02, 0.0, 0.0], [0.0, 0.0, 0.0]])
    seen = AsLit(ratio_from_lab(lab), raised, np.array([0.1, 0.2, 0.0]))
    found = posterior(seen, LADDER, model=MODEL)
    family = hair_family(LADDER)
    place = scale_and_tint(seen.ratio)
    own = _log_likelihood(place, _lit(family.place, family.lab[:, 0], MODEL), seen, MODEL)
    labs, other = _any_colours(place, seen, MODEL, wet=False)
    weight = np.concatenate(
        [(1 - family.any_share) * np.exp(own) / len(own), family.any_share * np.exp(other) / len(other)]
    )
    weight /= weight.sum()
    every = np.concatenate([family.lab, labs])
    assert found.mean == pytest.approx(weight @ every, abs=1e-2)
    dyed = np.isin(family.kind, [KINDS.index(kind) for kind in ("toned", "dyed")])
    assert found.dye_probability == pytest.approx(
        weight[: len(own)][dyed].sum() + weight[len(own) :].sum(), abs=1e-3
    )
    unexplained = found.weight[found.kind == KINDS.index("any")].sum()
    assert unexplained == pytest.approx(weight[len(own) :].sum(), abs=1e-3)
    grey = found.kind == KINDS.index("grey")
    assert found.white[grey].min() > 0.0
    assert found.white[~grey].max() == 0.0
    assert found.weight.sum() == pytest.approx(1.0)
    assert len(found.weight) < len(every)


def test_a_wet_strand_is_weighed_against_wetted_hair_and_told_dry():
    dry = LADDER.lab_at(7.0)
    wet = wet_reflectance(ratio_from_lab(dry))
    told = tell(posterior(AsLit(wet), LADDER, wet=True), LADDER, wet=True)
    as_it_lies = tell(posterior(AsLit(wet), LADDER), LADDER)
    assert told.level == pytest.approx(7.0, abs=0.5)
    assert as_it_lies.level < told.level - 0.5
    green = AsLit(ratio_from_lab([60.0, -60.0, 0.0]))  # as no mixture of the family is
    told, as_it_lies = (posterior(green, LADDER, wet=wet) for wet in (True, False))
    for found in (told, as_it_lies):
        assert found.weight[found.kind == KINDS.index("any")].sum() > 0.8  # so that it tells
    assert told.mean[0] > as_it_lies.mean[0] + 8.0
