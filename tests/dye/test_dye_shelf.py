"""Dyes, mixes and shades: what is refused, what is learned, how uptake levels off, bands as their file says."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refused import refused
from strandgauge.colour.cielab import delta_e_2000
from strandgauge.colour.names import colour_word
from strandgauge.dye.mix import parse_mix
from strandgauge.dye.shelf import GRID, band, load_shelf
from strandgauge.dye.solve import best_mixes, make_grid
from strandgauge.dye.targets import find_target, load_targets, parse_colour
from strandgauge.errors import (
    BadCalibrationError,
    BadColourError,
    BadMixError,
    CannotLearnError,
    UnknownDyeError,
    UnknownTargetError,
)
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.pigment import solve_base
from strandgauge.learn.dyes import Observation, dye_file, learn_dye


def held(share):
    return float(load_shelf().held(np.array([share]))[0])


@given(st.floats(440, 640), st.floats(40, 130), st.floats(0.5, 0.7))
def test_a_band_is_as_wide_as_its_file_says_and_steeper_to_the_red(peak, width, blue_share):
    from scipy.interpolate import CubicSpline

    fine = np.linspace(400.0, 700.0, 3001)
    curve = CubicSpline(GRID, band(peak, width, blue_share))(fine)
    above = fine[curve >= 0.5]
    inside = above[0] > 405.0 and above[-1] < 695.0
    if inside:
        assert above[-1] - above[0] == pytest.approx(width, abs=2.5)
        assert peak - above[0] >= above[-1] - peak - 2.5


NAMES = {"magenta": "magenta", "pink": "strong pink"}


@pytest.mark.parametrize(
    "name", ["yellow", "orange", "coral", "red", "pink", "magenta", "violet", "indigo", "teal", "green"]
)
def test_an_undiluted_dye_comes_out_in_its_own_name(name):
    lab = solve_base(load_ladder().lab_at(10.0)).dyed(load_shelf().dyes[load_shelf().index(name)].curve)
    assert colour_word(lab) == NAMES.get(name, name)


@pytest.mark.parametrize(
    "shade",
    [
        "pastel pink",
        "peach",
        "apricot",
        "lilac",
        "lavender",
        "mauve",
        "pastel blue",
        "mint",
        "lemon",
        "silver",
    ],
)
def test_a_pastel_on_level_ten_is_one_part_in_nine_to_thirty_one(shade):
    shelf, target = load_shelf(), find_target(shade, load_targets())
    found = best_mixes(solve_base(load_ladder().lab_at([10.0])), np.array(target.lab), make_grid(shelf))
    share = shelf.bowl(found.shares[0, 0]).sum()
    assert 1.0 / 31.0 <= share <= 1.0 / 9.0 + 1e-3


@given(st.lists(st.floats(0, 1), min_size=3, max_size=3).filter(lambda parts: sum(parts) <= 1))
def test_uptake_levels_off_and_is_undone_exactly(parts):
    shelf, shares = load_shelf(), np.zeros(len(load_shelf().dyes))
    shares[:3] = parts
    taken = shelf.held(shares)
    assert taken.sum() <= 1.0 + 1e-9
    assert (taken >= shares - 1e-9).all()
    assert shelf.bowl(taken) == pytest.approx(shares, abs=1e-9)


@pytest.mark.parametrize("text", ["violet=-1", "violet=x", "violet", "violet=0", "=3", "violet=nan"])
def test_malformed_mixes_are_refused(text):
    with pytest.raises(BadMixError):
        parse_mix([text])


def test_unknown_names_are_refused():
    with pytest.raises(UnknownDyeError):
        parse_mix(["plaid=1"]).shares(load_shelf())
    with refused(UnknownTargetError, "near", text="lilax", near="lilac"):
        find_target("lilax", load_targets())


@pytest.mark.parametrize("text", ["#12", "#gggggg", "120,0,0", "1,2,x"])
def test_impossible_colours_are_refused(text):
    with pytest.raises(BadColourError):
        parse_colour(text)


@pytest.mark.parametrize(
    "curve",
    ["[-1.0" + ", 1.0" * 30 + "]", "[1.0, 2.0]", "[" + "0.0, " * 30 + "0.0]", "[1e9" + ", 1" * 30 + "]"],
)
def test_a_dye_with_an_impossible_curve_is_refused_with_its_line(tmp_path, curve):
    path = tmp_path / "own.toml"
    path.write_text(f'schema = "strandgauge.dyes/1"\n[[dye]]\nname = "own"\ncurve = {curve}\n')
    with pytest.raises(BadCalibrationError) as caught:
        load_shelf(extra=[path])
    assert caught.value.where == f"{path}:4"


def test_a_learned_dye_survives_its_file_and_predicts_as_the_true_one(tmp_path):
    shelf, base, other = load_shelf(), (76, 0.8, 24.5), (60, 7, 34)
    true = shelf.dyes[shelf.index("pink")].curve
    pairs = [
        Observation(base, tuple(solve_base(base).dyed(held(share) * true)), share) for share in (0.1, 0.4)
    ]
    path = tmp_path / "own.toml"
    path.write_text(dye_file([learn_dye("own", pairs)]))
    learned = load_shelf(extra=[path]).dyes[-1].curve
    away = delta_e_2000(solve_base(other).dyed(held(0.2) * learned), solve_base(other).dyed(held(0.2) * true))
    assert away < 1.0


def test_what_cannot_be_learned_is_refused():
    with pytest.raises(CannotLearnError):
        learn_dye("own", [Observation((60, 5, 20), (70, 5, 20), 1.0)])
    with pytest.raises(CannotLearnError):
        learn_dye("own", [Observation((60, 5, 20), (60, 5, 20.2), 1.0)])


@pytest.mark.parametrize(
    "word", ["pink", "rose gold", "level 9", "pale yellow", "red-orange", "greenish blond"]
)
def test_what_is_printed_is_taken_as_a_wish(word):
    assert find_target(word, load_targets()).lab


def test_no_name_is_guessed_from_a_few_shared_letters():
    with pytest.raises(UnknownTargetError) as refusal:
        find_target("platinum", load_targets())
    assert dict(refusal.value.facts)["fault"] == "named"


@pytest.mark.parametrize("text", ["60,-2,2", "60 -2 2", "60, -2, 2", "60 \u22122 2", " 60.0,-2 2 "])
def test_a_colour_is_typed_as_it_is_printed(text):
    assert parse_colour(text) == (60.0, -2.0, 2.0)
