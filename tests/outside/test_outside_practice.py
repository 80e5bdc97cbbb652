"""What every colourist is taught. Common practice of the trade, no source; curricula agree on each."""

from __future__ import annotations

import numpy as np
import pytest

from strandgauge.colour.cielab import chroma, delta_e_2000, hue_deg
from strandgauge.dye.shelf import load_shelf
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.pigment import solve_base

SHELF = load_shelf()
STRENGTHS = np.geomspace(0.005, 0.6, 25)


def hair(level):
    return solve_base(load_ladder().lab[level - 1])


def curve(name):
    return SHELF.curves[SHELF.names.index(name)]


def over(base, name, strengths=STRENGTHS):
    return base.dyed(np.asarray(strengths)[..., None] * curve(name))


@pytest.mark.parametrize(
    ("toner", "level"), [("violet", 9), ("violet", 10), ("blue", 6), ("blue", 7), ("green", 4), ("green", 5)]
)
def test_complements_neutralise(toner, level):
    """Violet over yellow, blue over orange, green over red take at least a quarter of the colour away."""
    bare = hair(level)
    assert chroma(over(bare, toner)).min() < 0.75 * chroma(bare.lab)


RED = (36.0, 20.0, 8.0)
"""Hair that red dye or henna left red: its hue is that of no lifted hair."""


@pytest.mark.parametrize(
    ("toner", "base"), [("violet", 9), ("violet", 10), ("blue", 4), ("blue", 5), ("blue", 6), ("green", RED)]
)
def test_the_complement_neutralises_better_than_the_other_two(toner, base):
    """What the trade calls red at levels 4 and 5 is orange by its hue (56 to 60 degrees), so that blue cancels it
    better than green does; green is for hair that is red in truth."""
    here = hair(base) if isinstance(base, int) else solve_base(base)
    left = {name: chroma(over(here, name)).min() for name in ("violet", "blue", "green")}
    assert min(left, key=left.__getitem__) == toner


@pytest.mark.parametrize("base", [4, 5, 6, 7, 8, 9, 10, RED, (30.0, 18.0, 10.0)])
def test_of_the_shelf_that_neutralises_best_which_lies_opposite(base):
    """Hues are those on the colour circle of CIELAB; the toner's own is how it turns grey hair. Level 7 (hue 71) lies
    opposite between blue and violet, where indigo is, so that neither of the two is plainly the better one."""
    here, grey = hair(base) if isinstance(base, int) else solve_base(base), solve_base((60.0, 0.0, 0.0))
    toners = ("violet", "indigo", "blue", "turquoise", "teal", "green")
    left = {name: chroma(over(here, name)).min() for name in toners}
    best = min(left, key=left.__getitem__)
    apart = hue_deg(over(grey, best, 0.05)) - hue_deg(here.lab) - 180.0
    assert abs((apart + 180.0) % 360.0 - 180.0) < 60.0  # a sixth of the circle


def test_violet_and_green_make_a_smoky_neutral():
    base = hair(10)
    violet, green = curve("violet"), curve("green")
    part = np.linspace(0.0, 1.0, 21)[:, None]
    lab = base.dyed(0.6 * (part * violet + (1.0 - part) * green))
    best = int(np.argmin(chroma(lab)))
    assert 0 < best < 20
    assert chroma(lab[best]) < 0.5 * min(chroma(lab[0]), chroma(lab[-1]))
    assert chroma(lab[best]) < 10
    assert lab[best, 0] < 45


def test_the_same_pink_moves_toward_coral_on_a_more_golden_base():
    bases = ((76, 1, 10), (76, 0.8, 24.5), (66.5, 4.5, 32))
    # half a turn is added, so that pinks on both sides of 0 degrees keep their order
    hues = [float((hue_deg(over(solve_base(lab), "pink", 0.15)) + 180.0) % 360.0) for lab in bases]
    assert hues[0] < hues[1] < hues[2]


def test_pale_blue_turns_greenish_on_yellow():
    lab = over(hair(9), "blue", 0.08)
    assert 90 < hue_deg(lab) < 170
    assert lab[1] < 0


def test_a_light_toner_shows_more_from_level_8_to_9_to_10_and_hardly_on_dark_hair():
    for toner in ("violet", "pink", "blue"):
        shown = [
            float(delta_e_2000(over(hair(level), toner, 0.03), hair(level).lab))
            for level in (5, 6, 7, 8, 9, 10)
        ]
        assert (np.diff(shown) > 0).all()
        assert shown[0] < 1.0
        assert shown[-1] > 2.0 * shown[0]


def test_the_same_move_needs_the_stronger_mix_on_the_darker_piece():
    """To be moved as far from its own colour, darker hair needs more of the dye."""
    needed = []
    for level in (7, 8, 9, 10):
        moved = delta_e_2000(over(hair(level), "pink"), hair(level).lab)
        needed.append(float(np.interp(8.0, moved, STRENGTHS)))
    assert (np.diff(needed) < 0).all()


@pytest.mark.parametrize("name", [dye.name for dye in SHELF.dyes])
def test_more_dye_never_moves_away_from_the_dyes_own_colour(name):
    lab = over(hair(10), name, np.linspace(0.05, 1.0, 20))
    away = delta_e_2000(lab, over(hair(10), name, 1.0))
    assert (np.diff(away) <= 0.05).all()
