"""While it lifts, from plain numbers: each word on both sides of its limit, the next look, the rules.

Expected by hand from the rules of the chair (common practice, no source) and the limits of ``calibration/lift.toml``.
"""

from __future__ import annotations

import math
from dataclasses import fields, replace

import pytest

from strandgauge.errors import BadCalibrationError
from strandgauge.judge.lifting import Facts, Moment, advise_lifting, load_rules, part_of, state_of
from strandgauge.lift.curve import Estimate, ZoneLift

RULES = load_rules()
ON = Moment(limit=55.0, from_start=True, stretch=None, mixed=False)
LIFTING = Facts(
    zone="overall",
    minute=30.0,
    seen_for=25.0,
    single=False,
    latest_used=True,
    latest_agrees=True,
    latest_level=7.0,
    latest_sd=0.2,
    level_now=Estimate(7.0, 6.6, 7.4),
    level_sd=0.2,
    needs=9.0,
    aimed=True,
    rate=Estimate(0.9, 0.4, 1.4),
    gain_ahead=0.9,
    gain_before=0.9,
    level_at_limit=None,
    plateau=None,
    enough=0.0,
    minutes_to_need=Estimate(20.0, 12.0, 30.0),
    chance_in_time=0.8,
    may_come=0.8,
)


def at(level):
    return Estimate(level, level - 0.4, level + 0.4)


STALLED = {"gain_ahead": 0.24, "gain_before": 0.49, "may_come": 0.04}


@pytest.mark.parametrize(
    ("known", "moment", "state"),
    [
        ({}, {}, "lifting"),
        ({"gain_ahead": 0.5}, {}, "lifting"),
        ({"gain_ahead": 0.49}, {}, "slowing"),
        # Stalled: hardly a gain, seen for long enough, no hope, and looks to be believed.
        (STALLED, {}, "stalled"),
        ({**STALLED, "gain_ahead": 0.25}, {}, "slowing"),
        ({**STALLED, "gain_before": 0.5}, {}, "slowing"),
        ({**STALLED, "may_come": 0.05}, {}, "slowing"),
        ({**STALLED, "seen_for": 5.0}, {}, "stalled"),
        ({**STALLED, "seen_for": 4.9}, {}, "slowing"),
        ({**STALLED, "latest_used": False}, {}, "slowing"),
        ({**STALLED, "enough": 0.5, "latest_agrees": False}, {}, "slowing"),
        ({"single": True}, {}, "first look"),
        ({**STALLED, "single": True}, {}, "first look"),
        # Light enough: two in five of the lifts that get there have, or seen so above the curve.
        ({"enough": 0.5}, {}, "light enough"),
        ({"enough": 0.5, "single": True}, {}, "light enough"),
        ({"enough": 0.33}, {}, "light enough"),
        ({"enough": 0.31}, {}, "lifting"),
        ({"enough": 0.21, "may_come": 0.5}, {}, "light enough"),
        ({"enough": 0.45, "may_come": 0.49}, {}, "lifting"),
        ({"enough": 0.9, "latest_agrees": False}, {}, "lifting"),
        ({"enough": 0.9, "needs": None}, {}, "lifting"),
        ({"latest_level": 8.93}, {}, "light enough"),
        ({"latest_level": 8.91}, {}, "lifting"),
        ({"latest_level": 8.93, "level_now": at(8.52)}, {}, "light enough"),
        ({"latest_level": 8.93, "level_now": at(8.54)}, {}, "lifting"),
        ({"latest_level": 8.93, "latest_agrees": False}, {}, "lifting"),
        ({"latest_level": 8.93, "needs": None}, {}, "lifting"),
        ({"latest_level": 8.0, "level_now": at(8.0), "latest_sd": 3.0}, {}, "lifting"),
        # A look left out for being lighter than forecast is the urgent case.
        ({"latest_used": False, "latest_agrees": False, "latest_level": 9.2}, {}, "light enough"),
        ({"latest_used": False, "latest_agrees": False, "latest_level": 9.19}, {}, "lifting"),
        ({"latest_used": False, "latest_agrees": False, "latest_level": 9.2, "needs": None}, {}, "lifting"),
        # The clock comes first.
        ({"minute": 54.9, "enough": 0.9}, {}, "light enough"),
        ({"minute": 55.0, "enough": 0.9}, {}, "time is up"),
        ({"minute": 59.9}, {"limit": None}, "lifting"),
        ({"minute": 60.0}, {"limit": None}, "time is up"),
        ({"minute": 61.0}, {"limit": 75.0}, "lifting"),
        ({"minute": 99.0}, {"limit": None, "from_start": False}, "lifting"),
    ],
)
def test_what_a_part_is_doing(known, moment, state):
    facts, here = replace(LIFTING, **known), replace(ON, **moment)
    assert state_of(facts, here, RULES) == state
    assert part_of(facts, here, RULES) == ZoneLift(
        "overall", facts.level_now.value, 0.2, facts.needs, facts.enough, facts.gain_ahead, state
    )


def told(found):
    return [f"{one.zone} {one.do} {' '.join(one.why)}".strip() for one in found]


AGAIN = "overall look-again"


@pytest.mark.parametrize(
    ("known", "moment", "expected", "pause"),
    [
        ({}, {}, ["overall lift lifting", AGAIN], 5.0),
        ({"needs": None, "aimed": False}, {}, ["overall lift lifting", AGAIN], 5.0),
        ({"single": True}, {}, ["overall lift first-look", AGAIN], 5.0),
        # The fingers and the clock, whatever the colour.
        ({}, {"stretch": "gummy"}, ["overall stop-condition gummy-now", "overall rinse"], None),
        ({"minute": 70.0}, {"stretch": "gummy"}, ["overall stop-condition gummy-now", "overall rinse"], None),
        ({}, {"stretch": "slow"}, ["overall rinse slow-now"], None),
        ({}, {"stretch": "springs back"}, ["overall lift lifting", AGAIN], 5.0),
        ({"minute": 55.0}, {}, ["overall stop-time time-up", "overall rinse"], None),
        ({"minute": 55.0}, {"stretch": "slow"}, ["overall stop-time time-up", "overall rinse"], None),
        ({"minute": 60.0}, {"limit": None}, ["overall stop-time ceiling", "overall rinse"], None),
        ({"minute": 99.0}, {"limit": None, "from_start": False}, ["overall lift lifting", AGAIN], 5.0),
        ({"minute": 50.0}, {"limit": 75.0}, ["overall lift lifting", AGAIN], 5.0),
        ({"minute": 50.1}, {"limit": 75.0}, ["overall lift lifting", f"{AGAIN} near-ceiling", AGAIN], 5.0),
        # Off: enough, or no use.
        ({"enough": 0.5}, {}, ["overall rinse light-enough"], None),
        ({"level_now": at(8.95), "enough": 0.49}, {}, ["overall rinse gain-is-noise"], None),
        (
            {"latest_used": False, "latest_agrees": False, "latest_level": 9.2},
            {},
            ["overall rinse brighter-than-forecast"],
            None,
        ),
        (STALLED, {}, ["overall rinse stalled"], None),
        ({"needs": None}, {}, ["overall rinse no-lift-helps"], None),
        # Another shade: too far, or not in time.
        ({"level_now": at(4.0)}, {}, ["overall lift lifting", AGAIN], 5.0),
        ({"level_now": at(3.9)}, {}, ["overall choose-another too-far", AGAIN], 5.0),
        ({"chance_in_time": 0.1}, {}, ["overall lift lifting", AGAIN], 5.0),
        ({"chance_in_time": 0.09}, {}, ["overall choose-another not-in-time", AGAIN], 5.0),
        ({"chance_in_time": None}, {}, ["overall lift lifting", AGAIN], 5.0),
        # Looks that are not to be trusted are taken again at once.
        ({}, {"mixed": True}, [f"{AGAIN} wet-mixed", "overall lift lifting", AGAIN], 0.0),
        ({"latest_used": False}, {}, [f"{AGAIN} does-not-fit", "overall lift lifting", AGAIN], 0.0),
        (
            {"enough": 0.5, "latest_agrees": False},
            {},
            [f"{AGAIN} looks-torn", "overall lift lifting", AGAIN],
            0.0,
        ),
        (
            {"latest_used": False, "latest_level": 7.5, "latest_agrees": False},
            {},
            ["overall lift lifting", AGAIN],
            0.0,
        ),
        # The next look: sooner where it may be there sooner, never past the end.
        ({"minutes_to_need": Estimate(6.0, 3.0, 9.0)}, {}, ["overall lift lifting", AGAIN], 3.0),
        ({"minutes_to_need": Estimate(8.0, 1.0, 9.0)}, {}, ["overall lift lifting", AGAIN], 4.0),
        ({"minutes_to_need": Estimate(8.0, 4.5, 9.0)}, {}, ["overall lift lifting", AGAIN], 4.5),
        ({"minutes_to_need": Estimate(3.0, 1.0, 9.0)}, {}, ["overall lift lifting", AGAIN], 2.0),
        ({"minutes_to_need": Estimate(math.inf, 1.0, math.inf)}, {}, ["overall lift lifting", AGAIN], 5.0),
        ({"minutes_to_need": None}, {}, ["overall lift lifting", AGAIN], 5.0),
        ({"latest_level": 8.6, "level_now": at(8.5)}, {}, ["overall lift lifting", AGAIN], 2.0),
        ({"latest_level": 8.59, "level_now": at(8.5)}, {}, ["overall lift lifting", AGAIN], 5.0),
        ({"latest_level": 8.6, "level_now": at(8.6)}, {}, ["overall lift lifting", AGAIN], 5.0),
        ({"latest_level": 9.6, "needs": None, "aimed": False}, {}, ["overall lift lifting", AGAIN], 5.0),
        ({"minute": 52.0}, {}, ["overall lift lifting", f"{AGAIN} near-ceiling", AGAIN], 3.0),
        ({"minutes_to_need": Estimate(8.5, 1.0, 9.0)}, {}, ["overall lift lifting", AGAIN], 4.25),
        ({"minute": 58.5}, {"limit": None}, ["overall lift lifting", f"{AGAIN} near-ceiling", AGAIN], 1.5),
        ({"minute": 58.5}, {"limit": None, "from_start": False}, ["overall lift lifting", AGAIN], 5.0),
    ],
)
def test_what_to_do_with_a_strand_followed_as_one(known, moment, expected, pause):
    found, stop, wait = advise_lifting(replace(LIFTING, **known), [], replace(ON, **moment), RULES)
    assert told(found) == expected
    assert stop == (pause is None)
    assert wait == (None if pause is None else pytest.approx(pause))
    if pause is not None:
        assert found[-1].facts == (("wait", round(wait, 1)),)
    for one in found[: len(found) if stop else -1]:
        assert dict(one.facts)["needs"] == (0.0 if known.get("needs", 9.0) is None else 9.0)


def parts(**known):
    zones = {"root": {}, "mids": {}, "ends": {}} | known
    return [replace(LIFTING, zone=name, **changed) for name, changed in zones.items()]


THERE = {"enough": 0.9, "level_now": at(9.1)}


@pytest.mark.parametrize(
    ("known", "expected"),
    [
        ({}, ["root lift lifting", "mids lift lifting", "ends lift lifting", AGAIN]),
        (
            {"root": THERE},
            ["root rinse ahead", "mids lift lifting behind", "ends lift lifting behind", AGAIN],
        ),
        (
            {"ends": THERE},
            ["ends rinse ahead", "root lift lifting behind", "mids lift lifting behind", AGAIN],
        ),
        (
            {"root": {"level_now": at(7.9)}},
            ["root lift lifting", "mids lift lifting behind", "ends lift lifting behind", AGAIN],
        ),
        (
            {"root": {"level_now": at(7.75)}},
            ["root lift lifting", "mids lift lifting", "ends lift lifting", AGAIN],
        ),
        ({"root": THERE, "mids": THERE, "ends": THERE}, ["overall rinse light-enough"]),
        (
            {"root": THERE, "mids": THERE, "ends": STALLED},
            ["root rinse ahead", "mids rinse ahead", "ends rinse stalled"],
        ),
        (
            {"ends": {"needs": None}},
            ["ends rinse no-lift-helps", "root lift lifting", "mids lift lifting", AGAIN],
        ),
        (
            {"mids": STALLED},
            ["mids rinse stalled", "root lift lifting", "ends lift lifting", AGAIN],
        ),
        (
            {"root": {"latest_used": False}},
            [
                "root look-again does-not-fit",
                "root lift lifting",
                "mids lift lifting",
                "ends lift lifting",
                AGAIN,
            ],
        ),
        (
            {"mids": {"enough": 0.5, "latest_agrees": False}},
            [
                "mids look-again looks-torn",
                "root lift lifting",
                "mids lift lifting",
                "ends lift lifting",
                AGAIN,
            ],
        ),
    ],
)
def test_each_part_by_its_own_need(known, expected):
    judged = parts(**known)
    found, stop, _ = advise_lifting(LIFTING, judged, ON, RULES)
    assert told(found) == expected
    numbers = {part.zone: part.in_words for part in judged} | {"overall": LIFTING.in_words}
    for one in found:
        assert one.facts[: len(LIFTING.in_words)] == numbers[one.zone] or one.facts[0][0] == "wait"
    assert stop == (AGAIN not in expected)


def test_the_next_look_is_that_of_the_part_that_needs_it_soonest_and_what_is_off_needs_none():
    soon = {"minutes_to_need": Estimate(6.0, 3.0, 9.0)}
    assert advise_lifting(LIFTING, parts(mids=soon), ON, RULES)[2] == 3.0
    assert advise_lifting(LIFTING, parts(mids={**soon, **THERE}), ON, RULES)[2] == 5.0


def test_numbers_that_the_sentences_use():
    facts = replace(LIFTING, minute=30.04, level_now=at(7.126), needs=9.01, gain_ahead=0.904, rate=at(0.906))
    assert facts.in_words == (
        ("minutes", 30.0), ("level", 7.13), ("levels", 1.88), ("gain", 0.9), ("rate", 0.91), ("needs", 9.1),
    )  # fmt: skip
    nothing = dict(replace(LIFTING, needs=None, rate=None).in_words)
    assert (nothing["levels"], nothing["rate"], nothing["needs"]) == (0.0, 0.0, 0.0)
    assert replace(LIFTING, level_now=at(9.5)).missing == 0.0
    found, _, _ = advise_lifting(LIFTING, parts(root={"level_now": at(7.86)}), ON, RULES)
    assert dict(found[1].facts)["behind"] == 0.9
    assert dict(found[0].facts)["behind"] == 0.0


# --- the file of rules -----------------------------------------------------------------------------------

BOUNDS = {
    "look_every": (1.0, 30.0, None),
    "look_soonest": (0.5, 30.0, None),
    "slowing": (0.0, 5.0, None),
    "stalled": (0.0, 5.0, None),
    "too_far": (1.0, 120.0, None),
    "unlikely": (0.0, 1.0, None),
    "warn_past": (1.0, 60.0, 50.0),
    "stop_past": (1.0, 60.0, 60.0),
    "hopeless": (0.0, 1.0, 0.2),
    "within_noise": (0.0, 2.0, 0.4),
    "there": (0.0, 1.0, 0.4),
}


def rules_of(folder, **values):
    path = folder / "lift.toml"
    lines = [f"{name} = {value}" for name, value in values.items()]
    path.write_text("\n".join(['schema = "strandgauge.lift/1"', "[advice]", *lines]))
    return path


def test_every_rule_is_read_within_its_bounds(tmp_path):
    assert load_rules() == RULES
    assert {field.name for field in fields(RULES)} == set(BOUNDS)
    middle = {name: round(low + (high - low) * 0.37, 3) for name, (low, high, _) in BOUNDS.items()}
    for number, (name, (low, high, default)) in enumerate(BOUNDS.items()):
        for value, fits in ((low, True), (high, True), (low - 0.01, False), (high + 0.01, False)):
            folder = tmp_path / f"{number}-{value}"
            folder.mkdir()
            path = rules_of(folder, **(middle | {name: value}))
            if fits:
                assert getattr(load_rules(path), name) == value
                continue
            with pytest.raises(BadCalibrationError):
                load_rules(path)
        folder = tmp_path / f"{number}-left-out"
        folder.mkdir()
        path = rules_of(folder, **{other: value for other, value in middle.items() if other != name})
        if default is None:
            with pytest.raises(BadCalibrationError):
                load_rules(path)
        else:
            assert getattr(load_rules(path), name) == default
            assert load_rules(path).slowing == middle["slowing"]
