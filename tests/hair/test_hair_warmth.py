"""Undertone, warmth and stain at both sides of every limit."""

from __future__ import annotations

import numpy as np
import pytest

from strandgauge.hair.levels import load_ladder
from strandgauge.hair.stain import find_stain, off_path, stain_at, stain_words
from strandgauge.hair.warmth import (
    is_warm,
    undertone,
    undertone_rules,
    warmth_excess,
    warmth_left,
    yellowness_e313,
)
from strandgauge.hair.words import load_words

LADDER, WORDS = load_ladder(), load_words()
PATH = WORDS.path


def lch(lightness, strength, hue):
    turn = np.radians(hue)
    return np.array([lightness, strength * np.cos(turn), strength * np.sin(turn)])


@pytest.mark.parametrize(
    ("lab", "word"),
    [
        (lch(56, 2.49, 200), "neutral"),
        (lch(56, 2.51, 200), "cool"),
        ((16.0, -2.5, 0.0), "cool"),  # just at the limit
        (lch(56, 12.0, 75), "neutral"),  # the ladder has 37.0: a share of 0.32
        (lch(56, 13.4, 75), "yellow-orange"),  # 0.36
        (lch(56, 30, 114.9), "yellow"),
        (lch(56, 30, 115.1), "cool"),
        (lch(56, 30, 329.9), "cool"),
        (lch(56, 30, 330.1), "red"),
        (lch(56, 30, 0), "red"),
        (lch(56, 30, 57.4), "red"),
        (lch(56, 30, 57.6), "red-orange"),
        (lch(56, 30, 62.4), "red-orange"),
        (lch(56, 30, 62.6), "orange"),
        (lch(56, 30, 69.9), "orange"),
        (lch(56, 30, 70.1), "yellow-orange"),
        (lch(56, 30, 78.9), "yellow-orange"),
        (lch(56, 30, 79.1), "yellow"),
        (lch(71.2, 25, 90), "yellow"),  # level 9.49
        ((71.25, 0.0, 25.0), "pale yellow"),  # level 9.5
        (lch(71.3, 25, 90), "pale yellow"),  # level 9.51
    ],
)
def test_an_undertone_changes_at_its_limits(lab, word):
    assert undertone(lab) == word
    assert undertone(lab, LADDER, WORDS) == word
    places = undertone_rules(np.array([lab, [50.0, 0.0, 0.0]]), LADDER, WORDS)
    assert [WORDS.undertones[place].word for place in places] == [word, "neutral"]


@pytest.mark.parametrize(
    ("strength", "hue", "code"),
    [
        (5.99, 70, "hardly"),
        (6.0, 70, "little"),
        (14.9, 70, "little"),
        (15.0, 70, "moderate"),
        (25.9, 70, "moderate"),
        (26.0, 70, "strong"),
        (33.9, 70, "strong"),
        (34.0, 70, "very-strong"),
        (90.0, 70, "very-strong"),
        (20.0, 29.9, "none"),
        (20.0, 30.0, "moderate"),
        (20.0, 110.0, "moderate"),
        (20.0, 110.1, "none"),
        (5.0, 200.0, "hardly"),
    ],
)
def test_warmth_changes_its_word_at_its_limits(strength, hue, code):
    assert warmth_left(strength, hue) == code


def test_warmth_is_told_from_the_ladder_of_the_same_lightness_and_only_of_warm_hues():
    labs = np.array([lch(56, 40, 75), lch(56, 40, 250), lch(56, 40, 20), [24.0, 8.0, 12.0]])
    own = np.hypot(8.5, 36.0)
    assert warmth_excess(labs, LADDER) == pytest.approx([40 - own, -own, -own, 0.0])
    assert is_warm([29.9, 30.0, 110.0, 110.1]).tolist() == [False, True, True, False]


def test_yellowness_is_that_of_the_standard():
    """ASTM E313-15e1, table 1, worked by hand for CIELAB (50, 0, 50): X 0.17507, Y 0.18419, Z 0.03533."""
    assert yellowness_e313([50.0, 0.0, 50.0]) == pytest.approx(101.7, abs=0.1)
    assert yellowness_e313([[50.0, 0.0, 0.0], [90.0, 0.0, 0.0]]) == pytest.approx([0.0, 0.0], abs=0.02)
    assert np.isfinite(yellowness_e313([0.0, 0.0, 0.0]))


def test_how_far_a_colour_lies_off_the_path_is_its_distance_from_the_nearest_edge():
    """At L* 56 the area's corners are those of grey hair and an arc of C*ab 52 from 60 to 86 degrees."""
    assert off_path([56.0, 0.0, -10.0], PATH) == pytest.approx([0.0, -8.0])  # below the greys' edge at b* -2
    assert off_path([56.0, -6.0, 1.0], PATH) == pytest.approx([-5.0, 0.0])  # beside their edge at a* -1
    assert off_path([56.0, 1.5, -7.0], PATH) == pytest.approx([0.0, -5.0])  # at a corner
    beyond = lch(56, 60, 60)
    assert off_path(beyond, PATH) == pytest.approx(beyond[1:] - lch(56, 52, 60)[1:], abs=0.3)
    assert off_path(lch(56, 51, 73), PATH).tolist() == [0.0, 0.0]
    assert off_path([56.0, 1.0, 0.0], PATH).tolist() == [0.0, 0.0]
    many = np.array([[[56.0, 0.0, -10.0], [20.0, -6.0, 1.0]], [[80.0, 30.0, 30.0], [56.0, 1.0, 0.0]]])
    alone = [[off_path(lab, PATH) for lab in row] for row in many]
    assert off_path(many, PATH) == pytest.approx(np.array(alone))


def test_stain_begins_past_its_distance_and_past_what_the_measurement_can_tell():
    exact = (0.0, 0.0, 0.0)
    assert find_stain([56.0, 0.0, -4.99], exact) is None  # 2.99 off
    stain = find_stain([56.0, 0.0, -10.0], exact)
    assert stain is not None
    assert (stain.hue, stain.hue_deg, stain.strength) == ("blue", pytest.approx(270.0), pytest.approx(8.0))
    assert find_stain([56.0, 0.0, -5.0], exact) is None
    assert find_stain([56.0, 0.0, -5.01], exact, WORDS) is not None
    assert find_stain([56.0, 0.0, -10.0], (0.0, 0.0, 4.0)) is None
    # 8 off along b*: only b*'s uncertainty counts, twice.
    assert find_stain([56.0, 0.0, -10.0], (50.0, 50.0, 3.99)) is not None
    assert find_stain([56.0, 0.0, -10.0], (0.0, 0.0, 4.01)) is None
    # 6 off along a*: only a*'s.
    assert find_stain([56.0, -7.0, 1.0], (50.0, 2.99, 50.0)) is not None
    assert find_stain([56.0, -7.0, 1.0], (0.0, 3.01, 0.0)) is None


@pytest.mark.parametrize(
    ("hue", "lightness", "word"),
    [
        (0, 49, "red"),
        (0, 50, "pink"),
        (0, 51, "pink"),
        (24, 60, "pink"),
        (26, 60, "red"),
        (26, 40, "red"),
        (49, 40, "red"),
        (51, 40, "orange"),
        (74, 60, "orange"),
        (76, 60, "yellow"),
        (109, 60, "yellow"),
        (111, 60, "green"),
        (199, 60, "green"),
        (201, 60, "blue-green"),
        (234, 60, "blue-green"),
        (236, 60, "blue"),
        (289, 60, "blue"),
        (291, 60, "violet"),
        (334, 60, "violet"),
        (336, 40, "red"),
    ],
)
def test_a_stain_is_named_by_its_hue(hue, lightness, word):
    lab, off = lch(lightness, 40, hue), lch(0, 20, hue)[1:]
    stain = stain_at(lab, off, WORDS)
    assert stain.hue == word
    assert (stain.hue_deg, stain.strength) == (pytest.approx(hue, abs=1e-6), pytest.approx(20.0))
    assert [WORDS.stain_hues[k].word for k in stain_words([lab, lab], [off, off], WORDS)] == [word, word]


def test_a_stain_is_named_half_way_between_what_is_seen_and_the_way_off_the_path():
    # Seen at 30 degrees, off at 60, however strong either is: 45, which is red; off alone would be orange.
    for strength in (0.2, 30.0):
        assert stain_at(lch(40, strength, 30), lch(0, 12, 60)[1:], WORDS).hue == "red"
        assert stain_at(lch(40, strength, 60), lch(0, 12, 30)[1:], WORDS).hue == "red"
    assert stain_at([40.0, 0.0, 0.0], lch(0, 12, 60)[1:], WORDS).hue == "orange"
    seen, off = [lch(40, 30, 30), lch(40, 2, 60)], [lch(0, 1, 60)[1:], lch(0, 40, 30)[1:]]
    assert [WORDS.stain_hues[k].word for k in stain_words(seen, off, WORDS)] == ["red", "red"]
