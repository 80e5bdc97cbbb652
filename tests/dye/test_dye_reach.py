from __future__ import annotations

import numpy as np
import pytest

from strandgauge.colour.cielab import delta_e_2000
from strandgauge.dye.formula import weigh
from strandgauge.dye.mix import parse_mix, predict
from strandgauge.dye.palette import load_palette
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
from strandgauge.judge.outlook import BaseZone, Settings
from strandgauge.judge.reach import reach
from strandgauge.learn.dyes import Observation, dye_file, learn_dye

SD = (1.0, 1.0, 1.2)
UNEVEN = [
    BaseZone("root", (57, 8.4, 36), SD),
    BaseZone("mids", (66, 4.6, 32), SD),
    BaseZone("ends", (75, 1, 25), SD),
    BaseZone("overall", (66.5, 4.5, 31), SD),
]


def look(bases, shade, **settings):
    targets = load_targets()
    return reach(
        bases, find_target(shade, targets), load_palette(), targets, load_ladder(), Settings(**settings)
    )


@pytest.mark.parametrize("shade", ["lilac", "copper", "mint", "charcoal"])
@pytest.mark.parametrize("bowl", [20.0, 60.0])
def test_the_formula_delivers_what_it_promises(shade, bowl):
    outlook, palette = look(UNEVEN, shade, bowl=bowl, pretone=False), load_palette()
    for zone in outlook.zones:
        assert sum(part.grams for part in zone.formula) == pytest.approx(bowl)
        assert all(abs(part.grams / 0.1 - round(part.grams / 0.1)) < 1e-6 for part in zone.formula)
        weighed = parse_mix([f"{part.dye}={part.grams}" for part in zone.formula])
        again = predict(zone.base_lab, weighed, palette)
        assert delta_e_2000(again.predicted_lab, outlook.target.lab) == pytest.approx(
            zone.delta_e00, abs=0.01
        )


def test_more_certain_when_the_reading_is():
    sure, unsure = (
        look([BaseZone("overall", (76, 0.8, 24.5), (sd, sd, sd))], "pastel pink").probability_true
        for sd in (0.2, 4.0)
    )
    assert sure > unsure


@pytest.mark.parametrize("shade", ["lilac", "dusty rose", "pastel pink"])
def test_uneven_hair_is_brought_together_or_said_to_stay_apart(shade):
    evening = look(UNEVEN, shade).evening
    assert evening is not None
    assert evening.difference_met <= evening.difference
    assert (evening.difference_met <= 2.0) == ("no mix" not in evening.saying)


def test_zones_alike_are_mixed_from_the_same_dyes():
    near = [BaseZone(name, (58 + i / 2, 9, 35), SD) for i, name in enumerate(("root", "mids", "ends"))]
    for shade in ("copper", "lilac"):
        dyes = {frozenset(part.dye for part in zone.formula) - {"clear"} for zone in look(near, shade).zones}
        assert len(dyes) == 1


def test_the_darkest_zone_says_how_much_lift_is_missing():
    outlook = look(UNEVEN, "pastel pink")
    assert outlook.needs_level is not None
    missing = outlook.needs_level - float(load_ladder().level_of(UNEVEN[0].lab))
    assert "(root)" in outlook.cautions[0]
    assert f"{missing:.1f} more levels" in outlook.cautions[0]


def test_old_dye_in_the_way_is_named():
    outlook = look([BaseZone("overall", (68, 24, 18), SD)], "pastel blue")
    assert outlook.needs_level is None
    assert "while the old dye (" in outlook.cautions[0]


def test_pale_ends_are_not_brought_down_to_a_root_that_is_out_of_reach():
    bases = [BaseZone("root", (36, 13, 28)), BaseZone("ends", (75, 1, 25))]
    evening = look(bases, "pastel pink").evening
    assert evening is not None
    assert not evening.formulas
    assert "root must be lighter first" in evening.saying


def test_even_hair_needs_no_evening():
    alike = [BaseZone(name, (76, 0.8, 24.5), SD) for name in ("root", "mids", "ends")]
    evening = look(alike, "rose").evening
    assert evening is not None
    assert evening.difference < 0.1
    assert not evening.formulas


def test_pale_shade_on_orange_hair_is_out_of_reach_and_says_stop():
    outlook = look([BaseZone("overall", (36, 13, 28))], "pastel pink")
    assert outlook.verdict == "out of reach"
    assert outlook.needs_level is not None
    assert outlook.needs_level > 9
    assert outlook.cautions[0].startswith("Stop")


def test_what_is_proposed_instead_does_read_true():
    outlook = look([BaseZone("overall", (56, 8.5, 36))], "pastel blue")
    assert outlook.instead
    assert all(one.delta_e00 <= 3.0 for one in outlook.instead)


def test_shadow_root_is_a_smoky_neutral_of_two_dyes():
    shadow = look([BaseZone("overall", (66.5, 4.5, 32))], "lilac", shadow_level=6.0).shadow
    assert shadow.delta_e00 < 3.0
    assert len([part for part in shadow.formula if part.dye != "clear"]) == 2


@pytest.mark.parametrize("text", ["violet=-1", "violet=x", "violet", "violet=0", "=3", "violet=nan"])
def test_malformed_mixes_are_refused(text):
    with pytest.raises(BadMixError):
        parse_mix([text])


def test_unknown_names_are_refused():
    with pytest.raises(UnknownDyeError):
        parse_mix(["plaid=1"]).shares(load_palette())
    with pytest.raises(UnknownTargetError, match="lilax"):
        find_target("lilax", load_targets())


@pytest.mark.parametrize("text", ["#12", "#gggggg", "120,0,0", "1,2,x"])
def test_impossible_colours_are_refused(text):
    with pytest.raises(BadColourError):
        parse_colour(text)


def test_a_bowl_too_small_to_weigh_is_refused():
    base, palette = solve_base((76, 0.8, 24.5)), load_palette()
    with pytest.raises(BadMixError):
        weigh(base, np.array([60.0, 9.0, -7.0]), np.zeros(len(palette.dyes)), palette, 0.5, 0.1)


@pytest.mark.parametrize(
    "curve",
    ["[-1.0" + ", 1.0" * 30 + "]", "[1.0, 2.0]", "[" + "0.0, " * 30 + "0.0]", "[1e9" + ", 1" * 30 + "]"],
)
def test_a_dye_with_an_impossible_curve_is_refused_with_its_line(tmp_path, curve):
    path = tmp_path / "own.toml"
    path.write_text(f'schema = "strandgauge.dyes/1"\n[[dye]]\nname = "own"\ncurve = {curve}\n')
    with pytest.raises(BadCalibrationError) as caught:
        load_palette(extra=[path])
    assert caught.value.where == f"{path}:4"


def test_a_learned_dye_survives_its_file_and_predicts_as_the_true_one(tmp_path):
    palette, base, other = load_palette(), (76, 0.8, 24.5), (60, 7, 34)
    true = palette.curves[palette.names.index("pink")]
    pairs = [Observation(base, tuple(solve_base(base).dyed(share * true)), share) for share in (0.1, 0.4)]
    path = tmp_path / "own.toml"
    path.write_text(dye_file([learn_dye("own", pairs)]))
    shelf = load_palette(extra=[path])
    learned = shelf.curves[shelf.names.index("own")]
    away = delta_e_2000(solve_base(other).dyed(0.2 * learned), solve_base(other).dyed(0.2 * true))
    assert away < 1.0


def test_what_cannot_be_learned_is_refused():
    with pytest.raises(CannotLearnError):
        learn_dye("own", [Observation((60, 5, 20), (70, 5, 20), 1.0)])
    with pytest.raises(CannotLearnError):
        learn_dye("own", [Observation((60, 5, 20), (60, 5, 20.2), 1.0)])
