"""The words for evenness and warmth follow the numbers, and say the same everywhere."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

import readings
from strandgauge.hair.warmth import WARMTH_LIMITS, warmth_left
from strandgauge.reading.evenness import evenness
from strandgauge.words import reading as words

LEVELS = st.floats(1, 10, allow_nan=False)


@pytest.mark.parametrize(
    ("levels", "code", "odd", "apart"),
    [
        ((8.0, 8.2, 8.3), "even", None, 0.0),
        ((7.4, 8.4, 8.6), "slightly-uneven", "root", -1.1),
        ((8.0, 8.2, 9.9), "uneven", "ends", 1.8),
        ((8.5, 5.5, 8.5), "very-uneven", "mids", -3.0),
        ((6.0, 6.2, 9.0), "very-uneven", "ends", 2.9),
    ],
)
def test_evenness(levels, code, odd, apart):
    even = evenness(readings.reading(levels))
    assert (even.code, even.odd) == (code, odd)
    assert even.apart == pytest.approx(apart)


@given(st.tuples(LEVELS, LEVELS, LEVELS))
def test_evenness_names_the_zone_that_stands_out(levels):
    reading = readings.reading(levels)
    even = evenness(reading)
    assert even.level_range == pytest.approx(max(levels) - min(levels), abs=0.0011)  # of rounded levels
    assert (even.code == "even") == (even.odd is None) == (words.stands_out(even) == "")
    if even.odd is not None:
        odd = next(zone for zone in reading.zones if zone.name == even.odd)
        assert odd.level == (max(levels) if even.apart > 0 else min(levels))


@pytest.mark.parametrize(
    ("below", "code", "next_code"),
    [(limit, code, after) for (limit, code), (_, after) in pairwise(WARMTH_LIMITS)],
)
def test_warmth_changes_its_name_at_its_limits(below, code, next_code):
    assert warmth_left(below - 0.01, 70.0) == code
    assert warmth_left(below, 70.0) == next_code


@pytest.mark.parametrize(("hue", "warm"), [(29.9, False), (30.0, True), (110.0, True), (110.1, False)])
def test_cool_hues_have_no_warmth(hue, warm):
    assert (warmth_left(20.0, hue) == "moderate") == warm
    assert (warmth_left(20.0, hue) == "none") != warm
    assert warmth_left(2.0, hue) == "hardly"


def test_interval_is_two_standard_deviations_wide_either_way():
    assert words.level_interval(readings.zone(level=8.2, level_sd=0.2)) == "8.2 ± 0.4"


def test_shares_run_from_dark_to_light_without_crumbs():
    zone = readings.zone(level_shares={"10": 0.02, "9": 0.31, "8": 0.67})
    assert words.shares(zone) == "8: 67 %, 9: 31 %"
