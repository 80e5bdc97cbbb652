from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from strandgauge.colour.cielab import delta_e_2000
from strandgauge.errors import OutsideModelError
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.pigment import faded, lifted, solve_base

DYED = [(78, -6, -12), (68, 14, -14), (66, 28, 4), (75, -15, 6), (62, 35, 25), (80, 2, 60), (45, -20, -10)]
HAIR = [(18, 0, -0.9), (13, 0.3, 0.5), (22.5, 4.1, 5.1), (55, -0.5, 1), (75, 0, 12), (33, 16, 25), (92, 0, 4)]


@pytest.mark.parametrize("lab", [*map(tuple, load_ladder().lab), *HAIR, *DYED])
def test_a_solved_base_reproduces_its_colour(lab):
    assert delta_e_2000(solve_base(lab).lab, lab) < 0.05


@settings(max_examples=60, deadline=None)
@given(st.floats(20, 85), st.floats(0, 1), st.floats(-3, 12), st.floats(0, 1))
def test_hair_colours_in_between_as_well(lightness: float, share: float, a: float, more: float):
    ladder = load_ladder()
    strongest = float(np.interp(lightness, ladder.lab[:, 0], ladder.lab[:, 2]))
    lab = (lightness, min(a, 0.4 * lightness * share), share * strongest * (0.8 + 0.3 * more))
    base = solve_base(lab)
    assert delta_e_2000(base.lab, lab) < 0.05
    assert (base.amounts >= 0).all()


def test_a_colour_no_hair_has_is_refused_with_the_nearest():
    with pytest.raises(OutsideModelError, match="nearest"):
        solve_base((50, 60, -100))


def test_lifting_follows_the_ladder_and_never_darkens():
    ladder = load_ladder()
    hair = lifted(solve_base(ladder.lab[5]), np.arange(6, 13), ladder.lab)
    assert delta_e_2000(hair.lab, ladder.lab[5:]).max() < 0.3
    assert (np.diff(hair.absorption.sum(axis=1)) < 0).all()


def test_lifting_keeps_old_dye():
    green = lifted(solve_base((60, -8, 18)), 9.5, load_ladder().lab)
    assert green.lab[1] < -4


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 30), min_size=31, max_size=31))
def test_dye_never_lightens_any_wavelength(added: list[float]):
    base = solve_base((66.5, 4.5, 32))
    after = base.over(np.array(added))
    assert (after.reflectance <= base.reflectance + 1e-12).all()


def test_faded_dye_lies_between_dyed_and_bare():
    base, dye = solve_base((76, 0.8, 24.5)), np.full(31, 0.5)
    lightness = [base.dyed(faded(dye, share))[0] for share in (0.0, 0.5, 1.0)]
    assert lightness[0] < lightness[1] < lightness[2] == pytest.approx(76.0, abs=0.01)
