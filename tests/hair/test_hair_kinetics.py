"""The kinetics of a lift: shape, agreement with least squares, doubt with few looks, wrong looks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from strandgauge.errors import BadCalibrationError
from strandgauge.hair.levels import load_ladder
from strandgauge.lift.kinetics import Lifts, fit_lift, halvings, load_kinetics, pigment_scale

LADDER = load_ladder()
SCALE = pigment_scale(LADDER)


def lift(first=4.0, plateau=9.5, half_life=10.0, order=1.0, at=0.0) -> Lifts:
    return Lifts(at, *(np.array([value]) for value in (first, plateau, half_life, order)))


def levels(lifting: Lifts, minutes) -> np.ndarray:
    return np.array([lifting.levels_at(float(when), SCALE)[0] for when in minutes])


@given(level=st.floats(1.0, 10.0))
def test_pigment_and_level_are_each_others_inverse(level):
    assert SCALE.level(SCALE.pigment(level)) == pytest.approx(level, abs=1e-6)


def test_pigment_falls_as_the_level_rises():
    assert (np.diff(SCALE.pigment(np.linspace(1, 10, 91))) < 0).all()


@given(
    first=st.floats(1.0, 9.0),
    more=st.floats(0.0, 1.0),
    half_life=st.floats(1.0, 60.0),
    order=st.sampled_from([1.0, 1.5, 2.0]),
    at=st.floats(0.0, 40.0),
)
def test_a_lift_starts_where_it_was_seen_never_darkens_and_ends_at_its_plateau(
    first, more, half_life, order, at
):
    lifting = lift(first, first + more * (12.5 - first), half_life, order, at)
    seen = levels(lifting, at + np.linspace(0.0, 400.0, 40))
    assert seen[0] == pytest.approx(first, abs=1e-6)
    assert (np.diff(seen) >= -1e-9).all()
    assert seen[-1] <= lifting.plateau_level[0] + 1e-6


def test_the_time_of_a_level_is_the_time_at_which_it_has_that_level():
    lifting = lift(4.0, 9.0, 12.0, 1.5, at=5.0)
    when = lifting.minutes_when(np.array([8.0]), SCALE)[0]
    assert lifting.levels_at(float(when), SCALE)[0] == pytest.approx(8.0, abs=1e-3)
    assert lifting.minutes_when(np.array([9.2]), SCALE)[0] == np.inf
    assert lifting.minutes_when(np.array([3.0]), SCALE)[0] == 5.0


@pytest.mark.parametrize(("plateau", "half_life"), [(8.0, 6.0), (9.0, 10.0), (9.8, 15.0)])
def test_with_many_sure_looks_it_agrees_with_least_squares(plateau, half_life):
    """scipy's curve_fit knows the form; the weighing must end where it ends."""
    from scipy.optimize import curve_fit

    minutes = np.arange(0.0, 61.0, 4.0)
    noise = np.random.default_rng(3).normal(0.0, 0.05, minutes.size)
    seen = levels(lift(4.0, plateau, half_life), minutes) + noise

    def form(when, start, end, half):
        left = SCALE.pigment(end) + (SCALE.pigment(start) - SCALE.pigment(end)) * 0.5 ** (when / half)
        return SCALE.level(left)

    best, _ = curve_fit(form, minutes, seen, p0=[4.0, 8.5, 12.0], bounds=([1, 4, 1], [9, 12.5, 60]))
    first_order = replace(load_kinetics(), orders=(1.0,), order_shares=(1.0,))
    fit = fit_lift(minutes, seen, [0.05] * minutes.size, LADDER, first_order)
    assert np.median(fit.lifts.plateau_level) == pytest.approx(best[1], abs=0.2)
    assert np.median(fit.levels_at(30.0)) == pytest.approx(form(30.0, *best), abs=0.1)
    assert np.median(fit.lifts.half_life) == pytest.approx(best[2], rel=0.2)


def test_one_wrong_look_is_found_and_hardly_moves_the_curve():
    minutes = [5.0, 12.0, 19.0, 26.0, 33.0]
    seen = levels(lift(4.5, 9.0, 10.0, at=5.0), minutes)
    spoilt = seen.copy()
    spoilt[2] -= 3.0
    fit = fit_lift(minutes, spoilt, [0.25] * 5, LADDER)
    assert fit.wrong[2] > 0.9
    assert np.delete(fit.wrong, 2).max() < 0.3
    assert np.median(fit.levels_at(33.0)) == pytest.approx(seen[-1], abs=0.3)


def test_two_looks_leave_the_end_open_and_more_looks_close_it():
    truth = lift(5.0, 8.5, 9.0, at=5.0)
    minutes = [5.0, 12.0, 19.0, 26.0, 33.0, 40.0, 50.0, 60.0, 75.0]

    def width(count):
        fit = fit_lift(minutes[:count], levels(truth, minutes[:count]), [0.25] * count, LADDER)
        low, high = np.quantile(fit.plateau, [0.025, 0.975])
        return high - low

    assert width(2) > 2.5
    assert width(9) < 0.5 * width(2)


ROUNDS = 120


@pytest.fixture(scope="module")
def held() -> dict[tuple[float, float], float]:
    """Of lifts drawn as the model expects them, four looks each: how often an interval holds the true level.

    By the minute asked for, the last look's or a later one, and by what the interval claims.
    """
    generator = np.random.default_rng(11)
    kinetics = load_kinetics()
    found: dict[tuple[float, float], float] = {}
    for _ in range(ROUNDS):
        first = generator.uniform(2.0, 8.0)
        truth = lift(
            first,
            first + generator.beta(2.0, 1.0) * (12.5 - first),
            kinetics.half_life * kinetics.half_life_spread ** generator.normal(),
            generator.choice(kinetics.orders, p=kinetics.order_shares),
            at=5.0,
        )
        minutes = [5.0, 12.0, 20.0, 28.0]
        off = generator.normal(0.0, 0.3 * np.sqrt(kinetics.shared_error))  # all looks together
        own = generator.normal(0.0, 0.3 * np.sqrt(1.0 - kinetics.shared_error), 4)
        seen = levels(truth, minutes) + off + own
        fit = fit_lift(minutes, np.clip(seen, 1.0, 12.0), [0.3] * 4, LADDER, seed=7)
        for when in (28.0, 40.0):
            true_level = float(truth.levels_at(when, SCALE)[0])
            for share in (0.95, 0.5):
                low, high = np.quantile(fit.levels_at(when), [0.5 - share / 2, 0.5 + share / 2])
                found[when, share] = found.get((when, share), 0.0) + (low <= true_level <= high) / ROUNDS
    return found


def chance(share: float) -> float:
    """Three standard deviations of a share of so many lifts."""
    return 3.0 * float(np.sqrt(share * (1.0 - share) / ROUNDS))


@pytest.mark.parametrize("when", [28.0, 40.0])
@pytest.mark.parametrize("share", [0.95, 0.5])
@pytest.mark.whole
def test_the_interval_of_the_level_holds_what_it_says(held, when, share):
    assert held[when, share] >= share - chance(share)


@pytest.mark.parametrize("when", [28.0, 40.0])
@pytest.mark.whole
def test_the_interval_is_not_bought_by_width(held, when):
    """Half of the levels must lie outside the 50 % interval; the 95 % one could not tell."""
    assert held[when, 0.5] <= 0.5 + chance(0.5)


def test_the_same_looks_give_the_same_fit():
    one, two = (fit_lift([5, 15], [4.0, 6.0], [0.3, 0.3], LADDER) for _ in range(2))
    assert (one.levels_at(20.0) == two.levels_at(20.0)).all()


@settings(max_examples=20, deadline=None)
@given(
    looks=st.lists(
        st.tuples(st.floats(0.0, 120.0), st.floats(1.0, 10.0), st.floats(0.02, 2.0)), min_size=1, max_size=8
    )
)
def test_any_looks_give_finite_levels(looks):
    looks.sort()
    fit = fit_lift(*(list(column) for column in zip(*looks, strict=True)), LADDER)
    assert np.isfinite(fit.levels_at(looks[-1][0] + 30.0)).all()
    assert ((fit.wrong >= 0) & (fit.wrong <= 1)).all()


def test_half_of_the_removable_pigment_is_left_after_one_half_life_whatever_the_order():
    assert halvings(12.0, 12.0, np.array([1.0, 1.5, 2.0])) == pytest.approx([1.0, 1.0, 1.0])


def test_a_value_that_cannot_be_is_refused_with_its_line(tmp_path):
    file = tmp_path / "lift.toml"
    file.write_text('schema = "strandgauge.lift/1"\n[kinetics]\nhalf_life = -3\n')
    with pytest.raises(BadCalibrationError, match=r"lift\.toml:3"):
        load_kinetics(file)
