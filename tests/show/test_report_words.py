"""The words for evenness and warmth follow the numbers, and say the same everywhere."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import readings
from strandgauge.words import reading as words

LEVELS = st.floats(1, 10, allow_nan=False)


@pytest.mark.parametrize(
    ("levels", "word", "detail"),
    [
        ((8.0, 8.2, 8.3), "even", ""),
        ((7.4, 8.4, 8.6), "slightly uneven", "root is 1.1 darker"),
        ((8.0, 8.2, 9.9), "uneven", "ends are 1.8 lighter"),
        ((8.5, 5.5, 8.5), "very uneven", "mids are 3.0 darker"),
        ((6.0, 6.2, 9.0), "very uneven", "ends are 2.9 lighter"),
    ],
)
def test_evenness(levels, word, detail):
    even = words.evenness(readings.reading(levels))
    assert (even.word, even.detail) == (word, detail)


@given(st.tuples(LEVELS, LEVELS, LEVELS))
def test_evenness_names_the_zone_that_stands_out(levels):
    reading = readings.reading(levels)
    even = words.evenness(reading)
    assert even.level_range == max(levels) - min(levels)
    assert (even.word == "even") == (even.detail == "")
    if even.detail:
        odd = next(zone for zone in reading.zones if even.detail.startswith(zone.name))
        assert odd.level in (min(levels), max(levels))


@given(first=st.floats(0, 80), second=st.floats(0, 80))
def test_warmth_never_falls_as_chroma_rises(first, second):
    order = [word for _, word in words.WARMTH_LIMITS]
    low, high = (words.warmth(readings.zone(chroma=chroma)) for chroma in sorted((first, second)))
    assert order.index(low) <= order.index(high)


def test_cool_hues_have_no_warmth():
    assert words.warmth(readings.zone(chroma=20, hue_deg=280)) == "no warmth"
    assert words.warmth(readings.zone(chroma=2, hue_deg=280)) == "hardly any warmth"


def test_interval_is_two_standard_deviations_wide_either_way():
    assert words.level_interval(readings.zone(level=8.2, level_sd=0.2)) == "8.2 ± 0.4"


def test_shares_run_from_dark_to_light_without_crumbs():
    zone = readings.zone(level_shares={"10": 0.02, "9": 0.31, "8": 0.67})
    assert words.shares(zone) == "8: 67 %, 9: 31 %"
