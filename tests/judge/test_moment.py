"""What to do at each minute: expected by hand from the rules of the chair, not from the code."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from strandgauge.judge.moment import Chair, moment
from strandgauge.judge.nextstep import Course

GO = Course("go on", 5.0)
SLOW = Course("slow", 5.0)
STOP = Course("stop", None)
READY = Course("ready", None)
ON = Chair(minutes=20.0, limit=40.0, since_look=1.0)


@pytest.mark.parametrize(
    ("step", "chair", "kind", "code", "due"),
    [
        (None, Chair(), "look", "first-look", None),
        (None, replace(ON, since_look=None), "look", "first-look", 0.0),
        (GO, ON, "go on", None, 4.0),
        (SLOW, ON, "slow", None, 4.0),
        (READY, ON, "ready", None, 0.0),
        (STOP, ON, "stop", None, 0.0),
        # What a look before the lightener went on found ready is not dyed with it on.
        (READY, replace(ON, since_look=20.0), "ready", None, 0.0),
        (READY, replace(ON, since_look=20.1), "look", "first-look", 0.0),
        (READY, Chair(since_look=20.1), "ready", None, None),
        # A look that is late is said first, and then the lightener comes off.
        (GO, replace(ON, since_look=6.0), "go on", None, -1.0),
        (GO, replace(ON, since_look=12.0), "slow", "overdue", -7.0),
        (GO, replace(ON, since_look=26.0), "stop", "long-overdue", -21.0),
        (GO, Chair(minutes=70.0, limit=None, since_look=65.0), "stop", "long-overdue", -60.0),
        # Without a limit the clock is asked for before colour says anything.
        (GO, Chair(minutes=44.0, limit=None, since_look=1.0), "go on", None, 4.0),
        (GO, Chair(minutes=46.0, limit=None, since_look=1.0), "stop", "no-limit", 0.0),
        # Time is up, and stays up.
        (GO, Chair(minutes=39.9, limit=40.0, since_look=1.0), "go on", None, 4.0),
        (GO, Chair(minutes=40.0, limit=40.0, since_look=1.0), "stop", "time-is-up", 0.0),
        (READY, Chair(minutes=40.0, limit=40.0, since_look=1.0), "stop", "time-is-up", 0.0),
        (None, Chair(minutes=600.0, limit=40.0), "stop", "time-is-up", 0.0),
        # The fingers first.
        (GO, replace(ON, stretch="gummy"), "stop", "gummy", 0.0),
        (READY, replace(ON, stretch="gummy", minutes=60.0), "stop", "gummy", 0.0),
        # Off: dry it, read it, colour it, done.
        (GO, replace(ON, rinsed=True), "look", "dry-it", None),
        (READY, replace(ON, rinsed=True, dried=True), "ready", None, None),
        (SLOW, replace(ON, rinsed=True, dried=True, minutes=55.0), "slow", None, None),
        (GO, replace(ON, rinsed=True, stretch="gummy"), "stop", "gummy-rinsed", None),
        (GO, replace(ON, rinsed=True, dried=True, finished=True), "done", "done", None),
    ],
)
def test_what_to_do(step, chair, kind, code, due):
    now = moment(step, chair)
    assert (now.kind, now.code) == (kind, code)
    assert now.due == (None if due is None else pytest.approx(due))


@pytest.mark.parametrize(
    ("step", "chair", "code", "facts", "due"),
    [
        (GO, replace(ON, rinsed=True, minutes=30.6), "dry-it", (("minutes", 31),), None),
        (GO, Chair(rinsed=True), "dry-it", (("minutes", 0),), None),
        (GO, replace(ON, since_look=9.9), None, (), -4.9),
        (GO, replace(ON, since_look=10.0), "overdue", (("minutes", 10),), -5.0),
        (GO, replace(ON, since_look=24.9), "overdue", (("minutes", 25),), -19.9),
        (GO, replace(ON, since_look=25.0), "long-overdue", (("minutes", 25),), -20.0),
        (GO, Chair(minutes=45.0, since_look=1.0), "no-limit", (("minutes", 45),), 0.0),
        (GO, Chair(minutes=44.9, since_look=1.0), None, (), 4.0),
        (GO, Chair(minutes=46.4, since_look=12.0), "no-limit", (("minutes", 46),), 0.0),
        (None, Chair(minutes=46.0), "no-limit", (("minutes", 46),), 0.0),
        (GO, Chair(minutes=46.0), "no-limit", (("minutes", 46),), 0.0),
        (None, Chair(minutes=46.0, rinsed=True, dried=True), "first-look", (), None),
        (GO, Chair(minutes=20.0, limit=40.0), "first-look", (), 0.0),
        (None, Chair(minutes=20.0, limit=40.0, since_look=1.0), "first-look", (), 0.0),
        (GO, Chair(since_look=60.0), None, (), None),
        (GO, Chair(), "first-look", (), None),
        (replace(GO, minutes=None), replace(ON, since_look=90.0), None, (), None),
        (GO, Chair(stretch="gummy"), "gummy", (), None),
        (STOP, Chair(since_look=1.0), None, (), None),
    ],
)
def test_what_is_told_beside_it_on_each_side_of_its_limit(step, chair, code, facts, due):
    now = moment(step, chair)
    assert (now.code, now.facts) == (code, facts)
    assert now.due == (None if due is None else pytest.approx(due))


@pytest.mark.parametrize(("since", "urgent"), [(4.4, False), (4.5, False), (4.6, True), (6.0, True)])
def test_a_look_calls_half_a_minute_before_it_is_due(since, urgent):
    assert moment(GO, replace(ON, since_look=since)).urgent == urgent
    assert not moment(GO, Chair(since_look=since)).urgent


@pytest.mark.parametrize(
    ("chair", "stage", "over"),
    [
        (Chair(), "no lightener", False),
        (ON, "lightening", False),
        (replace(ON, minutes=40.0), "lightening", True),
        (Chair(minutes=400.0), "lightening", False),
        (Chair(limit=0.0), "no lightener", False),
        (replace(ON, rinsed=True, minutes=50.0), "rinsed", False),
        (replace(ON, rinsed=True, dried=True), "dried", False),
        (replace(ON, dried=True), "lightening", False),
        (replace(ON, rinsed=True, dried=True, finished=True), "done", False),
    ],
)
def test_how_far_the_strand_has_come(chair, stage, over):
    assert (chair.stage, chair.over, chair.running) == (stage, over, stage == "lightening")


STEPS = st.sampled_from([None, GO, SLOW, STOP, READY])
CHAIRS = st.builds(
    Chair,
    minutes=st.none() | st.floats(0, 900),
    limit=st.none() | st.floats(1, 240),
    since_look=st.none() | st.floats(0, 900),
    stretch=st.sampled_from([None, "springs back", "slow", "gummy"]),
)


@given(STEPS, CHAIRS)
def test_nothing_goes_on_past_the_limit_or_over_gummy_hair(step, chair):
    now = moment(step, chair)
    if chair.over or chair.stretch == "gummy":
        assert now.kind == "stop"
    if chair.over:
        assert now.urgent


@given(STEPS, CHAIRS, st.floats(0, 300))
def test_waiting_never_turns_a_stop_into_something_milder(step, chair, wait):
    if chair.minutes is None or moment(step, chair).kind != "stop":
        return
    later = replace(
        chair,
        minutes=chair.minutes + wait,
        since_look=None if chair.since_look is None else chair.since_look + wait,
    )
    assert moment(step, later).kind == "stop"
