"""What following makes of a fit: a straight line of known spread, so that numbers are known by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from test_advise import outlook
from test_advise import zone as part_outlook

from readings import reading, zone
from strandgauge.errors import BadTimesError
from strandgauge.hair.levels import load_ladder
from strandgauge.judge import follow as following
from strandgauge.judge.outlook import Needs
from strandgauge.lift.curve import Estimate, Look

LADDER = load_ladder()


class Line:
    """Lifts at 0.1 level a minute that began between level 4 and 6, as likely anywhere between."""

    base = np.linspace(4.0, 6.0, 201)
    plateau = np.full(201, 13.0)

    def __init__(self, wrong):
        self.wrong = np.array(wrong)

    def levels_at(self, minute):
        return self.base + 0.1 * minute

    def gain(self, start, end):
        return np.full(201, 0.1 * (end - start))

    def minutes_when(self, level):
        return (level - self.base) / 0.1


@pytest.fixture
def fitted(monkeypatch):
    """Return what the fit was asked for, one entry a part; looks of level 3 do not fit."""
    asked = []

    def fit(minutes, levels, sds, ladder):
        asked.append((list(minutes), list(levels), list(sds), ladder))
        return Line([0.51 if level == 3.0 else 0.5 for level in levels])

    monkeypatch.setattr(following, "fit_lift", fit)
    return asked


def seen(level, sd=0.3, **more):
    parts = tuple(
        zone(name, level=level + step, level_sd=sd)
        for name, step in zip(("root", "mids", "ends"), (1, 0, -1), strict=True)
    )
    return reading(zones=parts, overall=zone(level=level, level_sd=sd), photo=f"at-{level}.jpg", **more)


def follow(minutes, levels=(6.0, 7.0, 8.0), **more):
    looks = [seen(level) for level in levels[: len(minutes)]]
    return following.follow(looks, minutes, ladder=LADDER, **{"by_zone": False, **more})


def estimate(one):
    return pytest.approx((one.value, one.low, one.high))


def test_level_speed_and_time_are_the_middle_and_the_ninety_five_in_a_hundred(fitted):
    found = follow([10, 20, 30], target="lilac", needs_level=9.0, limit=50)
    assert estimate(found.level_now) == (8.0, 7.05, 8.95)
    assert estimate(found.rate) == (1.0, 1.0, 1.0)
    assert estimate(found.plateau) == (12.0, 12.0, 12.0)  # no lighter than the ladder
    assert estimate(found.minutes_to_need) == (10.0, 0.5, 19.5)
    assert found.chance_in_time == pytest.approx(1.0)
    assert (found.target, found.needs_level, found.limit, found.ladder) == ("lilac", 9.0, 50, LADDER.name)
    assert (found.state, found.stop, found.zone, found.zones) == ("lifting", False, "overall", ())
    assert found.next_look == pytest.approx(5.0)
    assert fitted == [([10.0, 20.0, 30.0], [6.0, 7.0, 8.0], [0.3] * 3, LADDER)]


def test_nothing_is_foretold_past_the_limit_or_too_far_ahead(fitted):
    late = follow([10, 20, 30], needs_level=9.0, limit=45)
    assert late.chance_in_time == pytest.approx(151 / 201)
    assert (late.minutes_to_need.value, late.minutes_to_need.high) == (pytest.approx(10.0), math.inf)
    free = follow([10, 20, 30], needs_level=11.5)
    assert free.chance_in_time is None
    assert free.minutes_to_need.value == math.inf  # half of them come at minute 65, more than 30 ahead
    assert free.minutes_to_need.low == pytest.approx(25.5)
    assert follow([10, 20, 30], needs_level=5.0, limit=50).minutes_to_need.low == 0.0


def test_one_look_tells_no_speed(fitted):
    found = follow([10], needs_level=9.0, limit=50)
    assert (found.rate, found.plateau, found.minutes_to_need, found.chance_in_time) == (None,) * 4
    assert (found.points, found.state) == ((), "first look")
    assert estimate(found.level_now) == (6.0, 5.05, 6.95)


def test_what_hardly_gains_is_asked_again_without_its_last_look(fitted, monkeypatch):
    """Looks that foretell 0.2 of a level, and 0.6 without the last: that one look alone stops nothing."""
    monkeypatch.setattr(Line, "gain", lambda self, *_: np.full(201, 0.2 if len(self.wrong) == 3 else 0.6))
    assert follow([10, 20, 30]).state == "slowing"
    assert fitted[1][:3] == ([10.0, 20.0], [6.0, 7.0], [0.3] * 2)
    monkeypatch.setattr(Line, "gain", lambda self, *_: np.full(201, 0.2 if len(self.wrong) == 3 else 0.4))
    assert follow([10, 20, 30]).state == "stalled"


@pytest.mark.parametrize(
    ("minutes", "limit", "end"),
    [
        ([10, 20, 30], None, 45.0),
        ([10, 20, 30], 50, 50.0),
        ([10, 20, 30], 90, 60.0),
        ([10, 20, 30], 25, 30.0),
    ],
)
def test_the_curve_goes_to_the_limit_or_a_while_past_the_last_look(fitted, minutes, limit, end):
    points = follow(minutes, limit=limit).points
    told = [point.minutes for point in points]
    assert (told[0], told[-1]) == (10.0, end)
    assert set(minutes) <= set(told)
    assert 41 <= len(told) <= 44
    now = next(point for point in points if point.minutes == 30.0)
    assert (now.level, now.low, now.high) == pytest.approx((8.0, 7.05, 8.95))


def test_the_curve_stays_on_the_ladder(fitted):
    points = follow([10, 70, 79], limit=100).points
    assert max(point.high for point in points) == LADDER.lightest
    assert points[-1].level == LADDER.lightest


def test_looks_are_told_in_their_order_with_whether_they_fit(fitted):
    looks = [seen(8.0), seen(3.0), seen(7.0)]
    found = following.follow(looks, [30, 10, 20], ladder=LADDER, by_zone=False)
    lab = looks[0].overall.lab
    assert found.looks == (
        Look(10.0, "at-3.0.jpg", 3.0, 0.3, lab, False),
        Look(20.0, "at-7.0.jpg", 7.0, 0.3, lab, True),
        Look(30.0, "at-8.0.jpg", 8.0, 0.3, lab, True),
    )
    assert fitted[0][0] == [10.0, 20.0, 30.0]


def test_looks_that_were_wet_are_not_fitted_with_dry_ones(fitted):
    looks = [seen(6.0, wet=True), seen(7.0), seen(8.0)]
    found = following.follow(looks, [10, 20, 30], ladder=LADDER, by_zone=False)
    assert fitted[0][:2] == ([20.0, 30.0], [7.0, 8.0])
    assert [look.used for look in found.looks] == [False, True, True]
    assert found.advice[0].why == ("wet-mixed",)
    assert found.points[0].minutes == 20.0
    assert follow([10, 20, 30]).advice[0].why == ("lifting",)


@pytest.mark.parametrize(
    ("latest", "needs", "agrees"),
    [(8.0, 8.3, True), (8.0, 8.31, False), (3.0, 2.0, False), (8.0, None, True)],
)
def test_a_last_look_agrees_that_may_itself_be_at_the_needed_level(fitted, latest, needs, agrees):
    zones = [zone(level=level, level_sd=0.3) for level in (6.0, latest)]
    facts, _, used = following._part(
        "overall", zones, [10.0, 30.0], needs, needs is not None, None, following.load_rules(), LADDER
    )
    assert facts.latest_agrees == agrees
    assert used == [True, latest != 3.0]
    assert (facts.latest_used, facts.latest_level, facts.latest_sd) == (latest != 3.0, latest, 0.3)


@pytest.mark.parametrize(
    ("needs", "limit", "enough", "may_come"),
    [
        (9.0, 50.0, 1 / 201, 1.0),
        (8.0, 50.0, 101 / 201, 1.0),
        (9.0, 45.0, 1 / 201, 151 / 201),
        (11.0, None, 0.0, 101 / 201),
        (None, 50.0, 0.0, 0.0),
    ],
)
def test_the_numbers_that_the_advice_rests_on(fitted, needs, limit, enough, may_come):
    zones = [zone(level=level, level_sd=0.3) for level in (6.0, 8.0)]
    facts, _, _ = following._part(
        "ends", zones, [10.0, 30.0], needs, True, limit, following.load_rules(), LADDER
    )
    assert (facts.enough, facts.may_come) == pytest.approx((enough, may_come))
    assert (facts.zone, facts.minute, facts.seen_for, facts.single) == ("ends", 30.0, 20.0, False)
    assert (facts.needs, facts.aimed, facts.gain_ahead) == (needs, True, pytest.approx(1.0))
    assert facts.level_sd == pytest.approx(np.std(Line.base))
    assert facts.level_at_limit is None if limit is None else facts.level_at_limit.value == 5.0 + 0.1 * limit


def test_past_the_ceiling_what_may_still_come_is_what_has_come(fitted):
    zones = [zone(level=level, level_sd=0.3) for level in (6.0, 8.0)]
    rules = following.load_rules()
    late = following._part("overall", zones, [10.0, 70.0], 12.0, True, None, rules, LADDER)[0]
    assert late.may_come == pytest.approx(late.enough)
    over = following._part("overall", zones, [10.0, 60.0], 11.0, True, 40.0, rules, LADDER)[0]
    assert over.level_at_limit.value == pytest.approx(11.0)  # not darker than it is


def test_root_mids_and_ends_by_their_own_needs(fitted):
    found = follow([10, 20, 30], needs_level=9.0, needs={"root": 8.0, "ends": None}, limit=50, by_zone=True)
    assert [one.zone for one in found.zones] == ["root", "mids", "ends"]
    assert [one.needs_level for one in found.zones] == [8.0, 9.0, None]
    assert [one.state for one in found.zones] == ["light enough", "lifting", "lifting"]
    assert [asked[1] for asked in fitted] == [[6, 7, 8], [7, 8, 9], [6, 7, 8], [5, 6, 7]]
    assert follow([10, 20], zone="root", by_zone=True).zones == ()
    assert fitted[-1][1] == [7.0, 8.0]
    ends = follow([10, 20], zone="ends", by_zone=True)
    assert (ends.zone, ends.looks[0].level) == ("ends", 5.0)


def test_a_shade_without_a_needed_level_reads_true_at_none(fitted):
    assert follow([10, 20], target="mint").advice[0].why == ("no-lift-helps",)
    assert follow([10, 20]).advice[0].why == ("lifting",)
    assert follow([10, 20], reads_true_now=["rose"]).reads_true_now == ("rose",)


def test_the_clock_and_the_fingers_are_handed_on(fitted):
    assert follow([10, 20], stretch="gummy").advice[0].do == "stop-condition"
    assert follow([10, 60]).advice[0].why == ("ceiling",)
    assert follow([10, 60], from_start=False).advice[0].why == ("lifting",)
    assert not follow([10, 60], from_start=False).from_start


@pytest.mark.parametrize(
    ("minutes", "limit", "more"),
    [
        ([], None, {}),
        ([5, 6], None, {"count": 1}),
        ([-0.1], None, {}),
        ([math.inf], None, {}),
        ([5], 0.0, {}),
        ([5], 120.1, {}),
        ([5], math.nan, {}),
        ([5], 40.0, {"from_start": False}),
    ],
)
def test_times_that_cannot_be_are_refused(fitted, minutes, limit, more):
    looks = [seen(6.0)] * more.get("count", len(minutes))
    more = {key: value for key, value in more.items() if key != "count"}
    with pytest.raises(BadTimesError) as refused:
        following.follow(looks, minutes, ladder=LADDER, limit=limit, by_zone=False, **more)
    assert refused.value.message
    assert refused.value.remedy


def test_times_at_their_very_limits_are_taken(fitted):
    assert follow([0], limit=120).limit == 120
    assert follow([5], limit=0.1).stop


def test_what_each_part_needs_is_read_from_the_outlook():
    found = following.needs_of(outlook(part_outlook("root", needs=8.5), part_outlook("ends", needs=None)))
    assert found == {"root": 8.5, "ends": None}
    assert Needs(8.5, 8.5, 8.5).level == found["root"]
    assert following.zone_of(seen(6.0), "root").level == 7.0
    assert following.zone_of(seen(6.0), "overall").level == 6.0
    assert following._estimate(np.array([1.0, 2.0, math.inf])) == Estimate(2.0, 1.0, math.inf)
