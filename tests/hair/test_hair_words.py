from __future__ import annotations

import numpy as np
import pytest

from strandgauge.hair.levels import load_ladder
from strandgauge.hair.stain import _hull, find_stain
from strandgauge.hair.warmth import undertone
from strandgauge.hair.wet import dry_reflectance, drying_sd, load_wetting

SURE = (1.0, 1.5, 1.5)


def test_the_ladder_carries_the_trades_undertones_in_their_order():
    words = [undertone(lab) for lab in load_ladder().lab[3:]]
    assert (
        words
        == ["red", "red-orange", "orange", "yellow-orange", "yellow-orange", "yellow"] + ["pale yellow"] * 3
    )


@pytest.mark.parametrize(
    ("lab", "word"), [((18, 0, -0.9), "neutral"), ((70, 2, 6), "neutral"), ((70, -1, -4), "cool")]
)
def test_undertone_without_warmth(lab, word):
    assert undertone(lab) == word


@pytest.mark.parametrize(
    "lab",
    [
        (18.0, 0.0, -0.9),
        (22.5, 4.1, 5.1),
        (31, 5.5, 14),
        (42, 1, 6),
        (55, -0.5, 1),
        (72, 0, 12),
        (33, 16, 25),
        (77, 1, 12),
        *[tuple(lab) for lab in load_ladder().lab],
    ],
)
def test_black_brown_ash_grey_white_red_and_lifted_hair_is_not_stained(lab):
    assert find_stain(lab, SURE) is None


@pytest.mark.parametrize(
    ("lab", "hue"),
    [
        ((62, -7, 18), "green"),
        ((65, -3, -10), "blue"),
        ((65, 7, -7), "violet"),
        ((68, 18, 8), "pink"),
        ((30, -6, 7), "green"),
    ],
)
def test_rests_of_dye_are_stain(lab, hue):
    stain = find_stain(lab, SURE)
    assert stain is not None
    assert stain.hue == hue


def test_stain_within_the_uncertainty_is_not_claimed():
    assert find_stain((62, -7, 18), (3, 6, 6)) is None


def test_wet_hair_is_darker_and_black_and_white_stay_what_they_are():
    for wet in (0.02, 0.1, 0.4, 0.8):
        assert dry_reflectance(wet) > wet
    film = load_wetting()
    assert dry_reflectance([0.0, 1.0 - film.surface_reflectance]) == pytest.approx([0.0, 1.0])


def test_drying_leaves_more_doubt_than_the_model_alone():
    assert (drying_sd([56.0, 9.0, 36.0]) > load_wetting().lab_sd).all()


@pytest.mark.parametrize(
    ("lab", "words"),
    [
        ((55, 33, 8), {"pink"}),
        ((58, 36, 26), {"pink", "red"}),
        ((37, 42, 23), {"red"}),
        ((27, 25, 6), {"red"}),
        ((50, 50, 2), {"pink"}),
        ((45, 22, -20), {"violet"}),
        ((52, -6, -20), {"blue"}),
        ((58, -20, 14), {"green"}),
        ((58, -8, 24), {"green"}),
    ],
)
def test_old_dye_is_called_by_the_colour_that_is_seen(lab, words):
    """Common practice, no source: nobody calls rose, coral, red or burgundy a violet stain."""
    stain = find_stain(lab, (1.0, 1.0, 1.0))
    assert stain is not None
    assert stain.hue in words


def test_the_outline_of_undyed_hair_is_the_hull_of_an_independent_library():
    from scipy.spatial import ConvexHull

    for seed in range(50):
        points = np.random.default_rng(seed).normal(size=(12, 2))
        theirs = points[ConvexHull(points).vertices]  # counter-clockwise too
        ours = np.array(_hull(sorted(map(tuple, points.tolist()))))
        first = int(np.argmin(np.abs(ours - theirs[0]).sum(axis=1)))
        assert np.array_equal(np.roll(ours, -first, axis=0), theirs)
