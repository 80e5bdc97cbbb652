"""The advice: it stops when it must, never goes past the limit, and says when it does not know."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import publishedschemas
from readings import reading, zone
from strandgauge.errors import BadTimesError
from strandgauge.hair.levels import load_ladder
from strandgauge.judge import follow as following
from strandgauge.judge.lifting import Facts, Moment, load_rules, state_of
from strandgauge.judge.nextstep import next_step
from strandgauge.lift.curve import Estimate
from strandgauge.lift.kinetics import Lifts, pigment_scale
from strandgauge.show.json import document_of
from strandgauge.show.terminal.follow import chart_lines
from strandgauge.words import say, sentence
from strandgauge.words.lift import headline, sentences, stop_signs

follow = partial(following.follow, ladder=load_ladder())


def seen(level, sd=0.3, **changes):
    parts = (level - 0.1, level, level + 0.1)
    return reading(parts, overall=zone(level=level, level_sd=sd), photo=f"at-{level}.jpg", **changes)


def curve(minutes, levels, sd=0.3, **wish):
    return follow([seen(level, sd) for level in levels], minutes, **wish)


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
    assert headline(found) == say("lift-off.stalled")
    assert [(one.zone, one.do) for one in found.advice] == [("overall", "rinse")]
    needs = sentence(say("lift.needs-shade", wish="pastel pink", level="9.3"))
    assert say("lift.need", need=needs) in sentences(found)
    assert say("lift.instead", shades="copper, terracotta") in sentences(found)


def test_at_the_limit_the_answer_is_to_stop_however_well_it_lifts():
    found = curve([10, 20, 30], [4.0, 5.5, 6.8], needs_level=9.0, limit=30)
    assert (found.state, found.stop, found.next_look) == ("time is up", True, None)


def test_light_enough_means_rinse():
    found = curve([10, 20, 30], [6.0, 7.8, 9.2], target="lilac", needs_level=8.75, limit=50)
    assert (found.state, found.stop) == ("light enough", True)


def test_a_last_look_that_is_darker_than_needed_is_not_light_enough_whatever_the_curve_says():
    found = curve([10, 11], [8.3, 6.8], target="copper", needs_level=7.15, limit=40)
    assert found.level_now.value >= 7.15
    assert found.state != "light enough"
    assert not found.stop
    assert headline(found) == f"{say('lift-odd.looks-torn')} {say('lift.again-now')}"
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
    found = curve(
        [20, 30, 40], [4.0, 4.7, 5.2], target="mint", needs_level=9.5, limit=50, reads_true_now=("teal",)
    )
    assert sentences(found)[0] == say("lift.instead", shades="teal")
    assert headline(found).startswith(say("lift.not-in-time"))
    assert math.isinf(found.minutes_to_need.value)
    assert found.chance_in_time < 0.1


def test_a_shade_that_no_lift_makes_true_means_stop():
    found = curve([10, 20], [5.0, 6.4], target="mint", needs_level=None)
    assert found.stop
    assert headline(found) == say("lift.at-once", what=say("lift-off.no-lift-helps", target="mint"))


def test_one_look_gives_no_rate_and_no_forecast():
    found = curve([5], [4.9], target="mint", needs_level=9.0)
    assert found.state == "first look"
    assert (found.rate, found.plateau, found.minutes_to_need, found.points) == (None, None, None, ())
    assert not found.stop


def test_black_hair_is_not_told_to_go_on_for_a_pastel():
    found = curve([5], [1.4], target="pastel pink", needs_level=9.7, limit=50)
    assert {one.do for one in found.advice} == {"choose-another", "look-again"}
    assert headline(found).startswith(say("lift.too-far"))


def test_without_a_limit_it_says_to_look_it_up():
    assert say("lift.look-up-limit") in sentences(curve([5, 15], [4.0, 5.5]))
    assert say("lift.look-up-limit") not in sentences(curve([5, 15], [4.0, 5.5], limit=45))


def test_a_last_photo_that_does_not_fit_is_to_be_taken_again_not_believed():
    found = curve([5, 12, 19, 26], [4.0, 5.2, 6.2, 3.0], needs_level=8.0, limit=50)
    assert not found.looks[-1].used
    assert found.state not in ("stalled", "light enough")
    assert headline(found).startswith(say("lift-odd.does-not-fit"))
    assert found.next_look == 0


def test_a_zone_that_lags_behind_is_pointed_out():
    lagging = reading((6.0, 8.0, 8.2), overall=zone(level=7.8, level_sd=0.3))
    assert say("lift.behind", zone="root", behind=1.8) in sentences(follow([lagging], [10]))


def test_the_order_of_the_photos_does_not_matter():
    assert curve([10, 20, 30], [5.0, 6.2, 7.0]) == curve([30, 10, 20], [7.0, 5.0, 6.2])


@settings(max_examples=25, deadline=None)
@given(
    levels=st.lists(st.floats(1.0, 10.0), min_size=1, max_size=5),
    needs=st.one_of(st.none(), st.floats(1.0, 10.0)),
    limit=st.one_of(st.none(), st.floats(1.0, 90.0)),
)
@pytest.mark.whole
def test_no_advice_goes_past_the_limit_and_the_stop_signs_are_always_there(levels, needs, limit):
    minutes = [7.0 * place for place in range(1, len(levels) + 1)]
    found = curve(minutes, levels, needs_level=needs, limit=limit, by_zone=False)
    assert len(stop_signs()) == 3
    document = document_of(found)
    publishedschemas.schema("lift-curve-1.json").validate(document)
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
    said = " ".join((headline(found), *sentences(found))).lower()
    for never in ("stronger", "volume", "developer", "heat", "second round", "again today"):
        assert never not in said


@pytest.mark.parametrize(
    ("minutes", "limit"), [([], None), ([5, 6], None), ([-1], None), ([math.nan], None), ([5], 0), ([5], -3)]
)
def test_impossible_times_are_refused(minutes, limit):
    readings = [seen(5.0)] if minutes else []
    with pytest.raises(BadTimesError):
        follow(readings, minutes, limit=limit)


@pytest.mark.usefixtures("worded")
def test_the_chart_shows_every_look_and_the_needed_level():
    found = curve([10, 20, 30], [4.5, 6.2, 7.4], needs_level=8.0, limit=60)
    lines = chart_lines(found)
    assert sum(line.count("●") for line in lines) == 3
    assert any("─" in line for line in lines)
    assert lines[-1].split() == ["10", "min", "60", "min"]


def by_zone(*levels, sd=0.3, **changes):
    """Return one look at root, mids and ends."""
    parts = tuple(
        zone(name, level=at, level_sd=sd) for name, at in zip(("root", "mids", "ends"), levels, strict=True)
    )
    return reading(zones=parts, overall=zone(level=sum(levels) / 3, level_sd=sd), **changes)


def done(found, zone_name):
    return {one.do for one in found.advice if one.zone == zone_name}


def test_what_is_ahead_comes_off_and_the_rest_goes_on():
    looks = [by_zone(6, 5, 5), by_zone(8.6, 6.2, 6.2), by_zone(10, 7.2, 7.2)]
    found = follow(looks, [10, 20, 30], target="lilac", needs_level=9.0, limit=50)
    assert not found.stop
    assert done(found, "root") == {"rinse"}
    assert done(found, "mids") == done(found, "ends") == {"lift"}
    assert headline(found).startswith(say("lift.part-off", zones=say("zone.root")))


def test_each_part_is_held_to_its_own_need():
    looks = [by_zone(6, 6, 6), by_zone(7.6, 7.6, 7.6), by_zone(8.6, 8.6, 8.6)]
    needs = {"root": 8.0, "mids": 9.5, "ends": 9.5, "overall": 9.5}
    found = follow(looks, [10, 20, 30], target="rose", needs_level=9.5, needs=needs, limit=60)
    assert done(found, "root") == {"rinse"}
    assert done(found, "ends") == {"lift"}


@pytest.mark.parametrize(
    ("minute", "limit", "stops"), [(59, None, False), (60, None, True), (61, 75, False), (75, 75, True)]
)
def test_lightener_comes_off_at_sixty_minutes_unless_its_maker_says_more(minute, limit, stops):
    found = curve([minute - 20, minute - 10, minute], [5.0, 6.0, 6.9], needs_level=9.5, limit=limit)
    assert found.stop == stops
    assert (found.advice[0].do == "stop-time") == stops
    if not stops:
        assert any("near-ceiling" in one.why for one in found.advice)
        assert found.next_look <= (limit or 60) - minute


def test_a_slow_stretch_rinses_and_a_gummy_one_stops():
    for answer, do in (("slow", "rinse"), ("gummy", "stop-condition")):
        found = curve([10, 20], [5.0, 6.2], needs_level=9.0, limit=50, stretch=answer)
        assert found.stop
        assert found.advice[0].do == do


def test_a_look_lighter_than_forecast_is_the_urgent_case():
    found = curve([5, 12, 19, 26], [4.0, 5.0, 6.0, 9.8], needs_level=9.0, limit=50)
    assert not found.looks[-1].used
    assert found.stop
    assert found.advice[0].why == ("brighter-than-forecast",)


def test_a_gain_below_the_noise_is_not_waited_for():
    course = ([10, 20, 30], [5.6, 6.2, 6.3], 0.5)
    here = curve(*course).level_now.value
    found = curve(*course, target="copper", needs_level=here + 0.07, limit=50, by_zone=False)
    assert found.stop
    assert found.advice[0].why == ("gain-is-noise",)
    assert not curve(*course, target="copper", needs_level=here + 0.6, limit=50, by_zone=False).stop


def test_wet_looks_and_dry_ones_are_not_mixed_in_one_curve():
    looks = [seen(5.0), seen(6.3), seen(4.9, wet=True)]
    found = follow(looks, [10, 20, 30], target="lilac", needs_level=9.0, limit=50)
    assert [look.used for look in found.looks] == [False, False, True]
    assert found.next_look == 0
    assert any("wet-mixed" in one.why for one in found.advice)
    assert not found.stop


def test_light_enough_can_be_said_at_every_level_of_the_ladder():
    for needs in (6.0, 8.5, 10.0, 11.0, 11.8):
        found = curve(
            [10, 20, 30], [needs - 3, needs - 1, min(needs + 0.2, 12.0)], needs_level=needs, limit=50
        )
        assert found.state == "light enough"


@settings(max_examples=40, deadline=None)
@given(
    first=st.floats(0.0, 80.0),
    gaps=st.lists(st.floats(1.0, 20.0), max_size=5),
    levels=st.lists(st.floats(1.0, 12.0), min_size=6, max_size=6),
    needs=st.one_of(st.none(), st.floats(3.0, 12.0)),
    limit=st.one_of(st.none(), st.floats(5.0, 120.0)),
    stretch=st.sampled_from([None, "springs back", "slow", "gummy"]),
    wet=st.lists(st.booleans(), min_size=6, max_size=6),
)
@pytest.mark.whole
def test_no_course_leaves_lightener_on_past_the_ceiling_or_a_gummy_answer(
    first, gaps, levels, needs, limit, stretch, wet
):
    minutes = [first + sum(gaps[:place]) for place in range(len(gaps) + 1)]
    looks = [seen(level, wet=is_wet) for level, is_wet in zip(levels, wet[: len(minutes)], strict=False)]
    found = follow(looks, minutes, needs_level=needs, limit=limit, stretch=stretch, by_zone=False)
    doing = {one.do for one in found.advice}
    if minutes[-1] >= (60.0 if limit is None else limit) or stretch in ("slow", "gummy"):
        assert found.stop
        assert found.next_look is None
        assert "lift" not in doing
        assert "rinse" in doing
        assert next_step(None, found, stretch).kind in ("stop", "ready")
    if not found.stop:
        assert minutes[-1] + found.next_look <= (60.0 if limit is None else limit) + 1e-9


@pytest.mark.whole
def test_simulated_lifts_also_past_ten_are_called_in_time_and_not_given_up_early(monkeypatch):
    """Lifts of known course, a look every five minutes, with the error that is told of them: half of its variance
    each look's own, half shared by all. 'Light enough' within one look of the truth in 85 of 100, 'stalled' said
    wrongly in fewer than 2 of 100, two looks late or more in fewer than 3.

    95 is the aim. An exact calculation on 150 such lifts that knows from which range they are drawn is in time in 97
    of 100; one that reckons with any start, end and pace, as for an unknown strand, in 90.
    Of 300 lifts 92 in 100 were in time here, where 84 were when what the curve lacked was taken for noise.
    """
    monkeypatch.setattr(
        following, "_points", lambda *_: ()
    )  # the line that is drawn; nothing is decided by it
    ladder, generator = load_ladder(), np.random.default_rng(5)
    scale, sd = pigment_scale(ladder), 0.25
    in_time = late = given_up = rounds = 0
    while rounds < 50:
        needs = generator.uniform(7.0, 11.5)
        start, plateau = needs - generator.uniform(1.5, 4.0), min(needs + generator.uniform(0.4, 1.5), 12.4)
        lifts = Lifts(5.0, *(np.array([v]) for v in (start, plateau, generator.uniform(5.0, 14.0), 1.0)))
        reached = float(lifts.minutes_when(np.array([needs]), scale)[0])
        if not 12.0 < reached < 55.0:
            continue
        rounds += 1
        shared = generator.normal(0, sd * np.sqrt(0.5))
        minutes, levels, found = [], [], None
        while (found is None or not found.stop) and len(minutes) < 14:
            minutes.append(5.0 + 5.0 * len(minutes))
            true = float(lifts.levels_at(minutes[-1], scale)[0])
            levels.append(min(true + shared + generator.normal(0, sd * np.sqrt(0.5)), 12.0))
            looks = [seen(level, sd=sd) for level in levels]
            found = follow(looks, minutes, needs_level=needs, limit=75, by_zone=False)
        given_up += found.state == "stalled"
        due = math.ceil(reached / 5.0)
        off = minutes[-1] / 5.0 - due
        in_time += found.state == "light enough" and abs(off) <= 1.0
        late += off >= 2.0
    assert in_time >= 0.85 * rounds
    assert late < 0.03 * rounds
    assert given_up < 0.02 * rounds


@pytest.mark.parametrize(("needs", "state"), [(9.75, "light enough"), (9.9, "lifting")])
def test_a_last_look_above_the_curve_is_not_waited_out(needs, state):
    facts = Facts(
        zone="overall",
        minute=36.0,
        seen_for=31.0,
        single=False,
        latest_used=True,
        latest_agrees=True,
        latest_level=9.7,
        latest_sd=0.25,
        level_now=Estimate(9.0, 7.1, 10.0),
        level_sd=0.8,
        needs=needs,
        aimed=True,
        rate=Estimate(0.9, 0.0, 1.5),
        gain_ahead=0.9,
        gain_before=0.9,
        level_at_limit=None,
        plateau=None,
        enough=0.1,
        minutes_to_need=None,
        chance_in_time=0.45,
        may_come=0.45,
    )
    assert state_of(facts, Moment(60.0, True, None, False), load_rules()) == state
