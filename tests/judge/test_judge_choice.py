"""The mix that is chosen, on small inputs: what a colourist reaches for (common practice, no source), limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strandgauge.dye.fitting import BLACK_FROM, FITTING, strangeness
from strandgauge.dye.formula import ROUND_WITHIN, weigh
from strandgauge.dye.region import region_of
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import find_target, load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.pigment import solve_base
from strandgauge.judge import choice
from strandgauge.judge.chance import draws
from strandgauge.judge.choice import Work, choose_mixes, head_of
from strandgauge.judge.history import NOTHING_TOLD
from strandgauge.judge.needs import grid_for
from strandgauge.judge.outlook import BaseZone, Settings, verdict_of

SHELF, TARGETS, LADDER = load_shelf(), load_targets(), load_ladder()
PALE, WARM, ORANGE, WHITE = (76.0, 0.8, 24.5), (66.5, 7.5, 36.0), (45.0, 12.0, 35.0), (84.0, 0.0, 5.0)
DULL = {"brown", "black"}


def far_off(shade, base):
    away = strangeness(SHELF, np.array(find_target(shade, TARGETS).lab), np.array(base))
    return {name for name, degrees in zip(SHELF.names, away, strict=True) if degrees > FITTING}


def chosen(shade, *bases, names=("overall",), **settings):
    """Return the dyes of each zone's bowl, and its chance."""
    target = find_target(shade, TARGETS)
    set_to = Settings(samples=200, **settings)
    work = Work(target, region_of(target), SHELF, grid_for(SHELF), LADDER, set_to)
    zones = [BaseZone(name, lab, (0.8, 0.6, 0.9)) for name, lab in zip(names, bases, strict=True)]
    heads = [head_of(zone, LADDER, NOTHING_TOLD) for zone in zones]
    found = choose_mixes(heads, 0, draws(len(heads), len(SHELF.dyes), 200, 20), work)
    return [({part.dye for part in one.formula} - {"clear"}, one) for one in found]


def test_a_complement_is_strange_unless_the_base_has_to_be_neutralised():
    assert {"violet", "blue", "teal"} <= far_off("copper", PALE)
    assert not {"orange", "red", "yellow", *DULL} & far_off("copper", PALE)
    assert {"pink", "magenta", "red"} <= far_off("turquoise", PALE)
    assert "violet" not in far_off("cream beige", PALE)  # takes out the yellow
    assert "violet" in far_off("cream beige", WHITE)  # nothing to take out
    assert not DULL & far_off("mint", WHITE)


def test_depth_comes_from_brown_and_from_black_only_in_dark_shades():
    def black(depth):
        off = strangeness(SHELF, np.array((depth, 26.0, 34.0)), np.array(PALE))
        return dict(zip(SHELF.names, off, strict=True))["black"] > 0.0

    assert (black(BLACK_FROM), black(BLACK_FROM + 0.1)) == (False, True)
    ((used, _),) = chosen("copper", PALE)
    assert used == {"orange", "red", "brown"}
    ((used, _),) = chosen("honey", PALE)
    assert used == {"yellow", "orange", "brown"}


@pytest.mark.parametrize(
    ("shade", "base", "dyes"),
    [
        ("copper", PALE, {"orange", "red", "yellow", *DULL}),
        ("copper", WARM, {"orange", "red", "yellow", *DULL}),
        ("copper", ORANGE, {"red", "coral", *DULL}),
        ("gold", PALE, {"yellow", "orange", *DULL}),
        ("turquoise", PALE, {"turquoise", "teal", "blue", "green", "indigo"}),
        ("mint", PALE, {"turquoise", "teal", "blue", "green"}),
        ("deep blue", PALE, {"blue", "indigo", *DULL}),
        ("violet", PALE, {"violet", "indigo", "pink", "magenta", *DULL}),
        ("red", PALE, {"red", "orange", "coral", "magenta", *DULL}),
        ("lavender", PALE, {"violet", "indigo", "pink", "magenta"}),
        ("dark brown", ORANGE, {"orange", "red", *DULL}),
    ],
)
def test_what_a_colourist_reaches_for(shade, base, dyes):
    ((used, _),) = chosen(shade, base)
    assert used
    assert used <= dyes


def test_other_dyes_are_looked_at_where_those_that_fit_do_not_get_there(monkeypatch):
    """Sky blue on yellow: opposites bring it nearer than blue does, which the yellow turns green."""
    ((used, one),) = chosen("sky blue", PALE)
    assert used & far_off("sky blue", PALE)
    monkeypatch.setattr(choice, "UNUSUAL_WITHIN", 0.0)
    ((fitting, other),) = chosen("sky blue", PALE)
    assert not fitting & far_off("sky blue", PALE)
    assert other.chance < one.chance - choice.GIVEN_UP / 2.0


def test_zones_alike_keep_to_the_dyes_of_the_whole(monkeypatch):
    names = ("overall", "root", "ends")
    bases = PALE, (74.5, 1.2, 25.5), (77.0, 0.7, 23.5)
    assert len({frozenset(used) for used, _ in chosen("dusty rose", *bases, names=names)}) == 1
    # Where other dyes cost nothing, a zone may take them: it is the cost that holds them together.
    monkeypatch.setattr(choice, "OTHER_DYES_COST", -1.0)
    assert len({frozenset(used) for used, _ in chosen("dusty rose", *bases, names=names)}) > 1


def test_fewer_dyes_win_where_chances_are_alike_and_lose_where_they_are_not(monkeypatch):
    sizes = []
    for cost in ((0.0, 0.0, -5.0, -9.0), (0.0, 0.0, 0.05, 0.13), (0.0, 0.0, 5.0, 9.0)):
        monkeypatch.setattr(choice, "DYE_COST", cost)
        found = [chosen(shade, PALE)[0] for shade in ("rose", "dusty rose", "emerald", "teal", "slate")]
        sizes.append(sum(len(used) for used, _ in found))
        last = found
    assert sizes[0] > sizes[1] > sizes[2]
    # However dear a further dye is, no more chance is given up for it than is said (and what weighing moves).
    monkeypatch.setattr(choice, "DYE_COST", (0.0, 0.0, 0.0, 0.0))
    best = chosen("slate", PALE)[0][1].chance
    assert last[-1][1].chance >= best - choice.GIVEN_UP - 0.03


def test_nothing_is_mixed_where_it_would_be_nobodys_wish():
    ((used, one),) = chosen("pastel blue", ORANGE)
    assert not used
    assert one.chance == 0.0


def test_large_amounts_are_weighed_round_and_small_ones_as_they_are():
    base = solve_base(np.array(PALE))
    shares = np.zeros(len(SHELF.dyes))
    shares[SHELF.names.index("orange")], shares[SHELF.names.index("red")] = 0.421, 0.062
    shares[SHELF.names.index("black")] = 0.028
    wanted = base.dyed(SHELF.held(shares) @ SHELF.curves)

    def grams(**changes):
        told = weigh(base, wanted, shares, SHELF, 60.0, **{"scale": 0.1, **changes})
        return {part.dye: part.grams for part in told.parts}, told.delta_e

    (round_ones, off), exact = grams(), {"orange": 25.26, "red": 3.72, "black": 1.68}
    assert round_ones["orange"] == int(round_ones["orange"])
    assert round_ones["red"] in (3.5, 4.0)
    assert round_ones["black"] == pytest.approx(exact["black"], abs=0.31)
    assert off <= ROUND_WITHIN + 0.1
    assert grams(scale=0.6)[0]["orange"] == pytest.approx(25.2)  # a coarser scale has its own steps


def test_round_weights_are_not_taken_where_they_show(monkeypatch):
    base = solve_base(np.array((82.0, 0.0, 12.0)))
    shares = np.where(np.array(SHELF.names) == "pink", 3.24 / 60.0, 0.0)
    wanted = base.dyed(SHELF.held(shares) @ SHELF.curves)
    for within, pink in ((5.0, 3.5), (0.0, 3.2)):
        monkeypatch.setattr("strandgauge.dye.formula.ROUND_WITHIN", within)
        parts = weigh(base, wanted, shares, SHELF, 60.0, 0.1).parts
        assert next(part.grams for part in parts if part.dye == "pink") == pytest.approx(pink)


@pytest.mark.parametrize(
    ("chance", "away", "verdict"),
    [
        (0.70, 9.0, "true"),
        (0.69, 0.0, "may"),
        (0.30, 30.0, "may"),
        (0.29, 6.0, "close"),
        (0.29, 6.1, "turns"),
        (0.0, 20.0, "turns"),
        (0.0, 20.1, "out"),
    ],
)
def test_each_word_on_both_sides_of_its_limit(chance, away, verdict):
    assert verdict_of(chance, away, Settings()) == verdict
    assert verdict_of(0.0, 4.0, replace(Settings(), close_within=3.9)) == "turns"
