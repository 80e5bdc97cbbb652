"""The advice: it stops when it must, never goes past the limit, and says when it does not know."""

from __future__ import annotations

import json
import math
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readings import reading, zone
from strandgauge.errors import BadTimesError
from strandgauge.judge.follow import follow
from strandgauge.show.json import document_of
from strandgauge.show.terminal.follow import chart_lines

SCHEMA = Path(__file__).parents[2] / "docs" / "schemas" / "lift-curve-1.json"


def seen(level, sd=0.3, **changes):
    parts = (level - 0.1, level, level + 0.1)
    return reading(parts, overall=zone(level=level, level_sd=sd), photo=f"at-{level}.jpg", **changes)


def curve(minutes, levels, **wish):
    return follow([seen(level) for level in levels], minutes, **wish)


def test_three_looks_that_stall_below_the_needed_level_mean_stop_and_what_reads_true_now():
    found = curve(
        [15, 30, 45],
        [7.0, 7.9, 7.95],
        target="pastel pink",
        needs_level=9.25,
        reads_true_now=("copper", "terracotta"),
        limit=60,
    )
    assert (found.state, found.stop, found.next_look) == ("stalled", True, None)
    assert "stop" in found.headline.lower()
    said = " ".join(found.advice)
    assert "pastel pink needs level 9.3" in said
    assert "copper, terracotta" in said


def test_at_the_limit_the_answer_is_to_stop_however_well_it_lifts():
    found = curve([10, 20, 30], [4.0, 5.5, 6.8], needs_level=9.0, limit=30)
    assert (found.state, found.stop, found.next_look) == ("time is up", True, None)


def test_light_enough_means_rinse():
    found = curve([10, 20, 30], [6.0, 7.8, 9.2], target="lilac", needs_level=8.75, limit=50)
    assert (found.state, found.stop) == ("light enough", True)


def test_a_last_look_that_is_darker_than_needed_is_not_light_enough_whatever_the_curve_says():
    found = curve([10, 11], [8.3, 6.8], target="copper", needs_level=7.25, limit=40)
    assert found.level_now.value >= 7.25
    assert found.state != "light enough"
    assert not found.stop
    assert found.headline == "The looks do not agree. Look again now."
    assert curve([10, 11], [8.3, 7.3], target="copper", needs_level=7.25, limit=40).state == "light enough"


def test_a_steady_lift_goes_on_with_a_time_and_a_next_look():
    found = curve([10, 20, 30], [4.5, 6.2, 7.4], needs_level=8.0, limit=60)
    assert found.state == "lifting"
    assert not found.stop
    need = found.minutes_to_need
    assert 2 < need.value < 25
    assert need.low <= need.value <= need.high
    assert found.chance_in_time > 0.6
    assert 0 < found.next_look <= 5


def test_what_comes_too_late_is_said_not_to_come_in_time():
    found = curve([20, 30, 40], [4.0, 4.7, 5.2], target="mint", needs_level=9.5, limit=50)
    assert found.headline.startswith("Not within the time limit")
    assert math.isinf(found.minutes_to_need.value)
    assert found.chance_in_time < 0.1


def test_a_shade_that_no_lift_makes_true_means_stop():
    found = curve([10, 20], [5.0, 6.4], target="mint", needs_level=None)
    assert found.stop
    assert "mint" in found.headline


def test_one_look_gives_no_rate_and_no_forecast():
    found = curve([5], [4.9], target="mint", needs_level=9.0)
    assert found.state == "first look"
    assert (found.rate, found.plateau, found.minutes_to_need, found.points) == (None, None, None, ())
    assert not found.stop


def test_without_a_limit_it_says_to_look_it_up():
    assert any("time limit" in sentence for sentence in curve([5, 15], [4.0, 5.5]).advice)
    assert not any("Look up" in sentence for sentence in curve([5, 15], [4.0, 5.5], limit=45).advice)


def test_a_last_photo_that_does_not_fit_is_to_be_taken_again_not_believed():
    found = curve([5, 12, 19, 26], [4.0, 5.2, 6.2, 3.0], needs_level=8.0, limit=50)
    assert not found.looks[-1].used
    assert found.state not in ("stalled", "light enough")
    assert "does not fit" in found.headline
    assert found.next_look == 0


def test_a_zone_that_lags_behind_is_pointed_out():
    lagging = reading((6.0, 8.0, 8.2), overall=zone(level=7.8, level_sd=0.3))
    assert any("root is 1.8 levels behind" in sentence for sentence in follow([lagging], [10]).advice)


def test_the_order_of_the_photos_does_not_matter():
    assert curve([10, 20, 30], [5.0, 6.2, 7.0]) == curve([30, 10, 20], [7.0, 5.0, 6.2])


@settings(max_examples=25, deadline=None)
@given(
    levels=st.lists(st.floats(1.0, 10.0), min_size=1, max_size=5),
    needs=st.one_of(st.none(), st.floats(1.0, 10.0)),
    limit=st.one_of(st.none(), st.floats(1.0, 90.0)),
)
def test_no_advice_goes_past_the_limit_and_the_stop_signs_are_always_there(levels, needs, limit):
    minutes = [7.0 * place for place in range(1, len(levels) + 1)]
    found = curve(minutes, levels, needs_level=needs, limit=limit)
    assert len(found.stop_signs) == 3
    document = document_of(found)
    jsonschema.validate(document, json.loads(SCHEMA.read_text()))
    if found.stop:
        assert found.next_look is None
    if limit is not None:
        assert found.stop or minutes[-1] + found.next_look <= limit + 1e-9
        assert found.stop is True or minutes[-1] < limit
        ends = [point.minutes for point in found.points]
        assert not ends or max(ends) <= max(limit, minutes[-1])
        for wait in (found.minutes_to_need,) if found.minutes_to_need else ():
            assert all(
                math.isinf(value) or value == 0 or minutes[-1] + value <= limit + 1e-6
                for value in (wait.value, wait.high)
            )
    said = " ".join((found.headline, *found.advice)).lower()
    for never in ("stronger", "volume", "developer", "heat", "second round", "again today"):
        assert never not in said


@pytest.mark.parametrize(
    ("minutes", "limit"), [([], None), ([5, 6], None), ([-1], None), ([math.nan], None), ([5], 0), ([5], -3)]
)
def test_impossible_times_are_refused(minutes, limit):
    readings = [seen(5.0)] if minutes else []
    with pytest.raises(BadTimesError):
        follow(readings, minutes, limit=limit)


def test_the_chart_shows_every_look_and_the_needed_level():
    found = curve([10, 20, 30], [4.5, 6.2, 7.4], needs_level=8.0, limit=60)
    lines = chart_lines(found)
    assert sum(line.count("●") for line in lines) == 3
    assert any("─" in line for line in lines)
    assert lines[-1].split() == ["10", "min", "60", "min"]
