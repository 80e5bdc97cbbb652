"""Which photos go together, from hand-made shots: every condition alone, at both sides of its limit."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from strandgauge.errors import DifferentStrandsError, SamePhotoError
from strandgauge.hair.posterior import AsLit
from strandgauge.reading.together import (
    Shot,
    is_same_photo,
    is_turned,
    is_turned_pair,
    refuse_unlike,
    unlikeness,
    view_apart,
)
from strandgauge.strand.pattern import Pattern, is_one_strand, lies_alike, weave_likeness

AT = datetime(2026, 3, 1, 10, 0)
NAMES = ("overall", "root", "mids", "ends")
WEAVE = np.random.default_rng(5).standard_normal((40, 240)).astype(np.float32)
OTHER_WEAVE = np.random.default_rng(6).standard_normal((40, 240)).astype(np.float32)


def pattern(axis: float = 20.0, half: float = 7.0, ends=(10.0, 105.0), weave=WEAVE) -> Pattern:
    return Pattern(ends, np.full(40, axis), np.full(40, half), weave)


def blended(likeness: float) -> np.ndarray:
    """Return a weave whose correlation with WEAVE is about that."""
    return np.float32(likeness) * WEAVE + np.float32(np.sqrt(1.0 - likeness**2)) * OTHER_WEAVE


def corners(keystone: float = 0.0) -> np.ndarray:
    """Return a square card of 100 mm, 200 pixels, its upper corners that many mm nearer, its lower ones farther."""
    k = 2.0 * keystone
    return np.array([[k, 0.0], [200.0 - k, 0.0], [200.0 + k, 200.0], [-k, 200.0]])


def shot(
    photo: str = "a", *, seconds: float = 0.0, angle: float = 0.0, scale: float = 1.0, **changes
) -> Shot:
    lit = AsLit(scale * np.array([0.30, 0.29, 0.15]))
    made = Shot(
        photo=photo,
        taken_at=AT + timedelta(seconds=seconds),
        card="card v1",
        angle_deg=angle,
        corners=corners(),
        card_mm=(100.0, 100.0),
        pattern=pattern(),
        zones=dict.fromkeys(NAMES, lit),
    )
    return replace(made, **changes)


SECOND = shot("b", seconds=120.0, angle=180.0, corners=corners(0.5), pattern=pattern(weave=blended(0.6)))


@pytest.mark.parametrize(
    ("one", "other", "turned"),
    [
        (0, 119, False),
        (0, 121, True),
        (350, 111, True),
        (350, 109, False),
        (170, -170, False),
        (-90, 95, True),
    ],
)
def test_turned_is_by_more_than_a_third_of_a_turn(one, other, turned):
    assert is_turned(shot(angle=one), shot(angle=other)) is turned
    assert is_turned(shot(angle=other), shot(angle=one)) is turned


def test_a_turned_pair_agrees_in_everything():
    assert is_turned_pair(shot(), SECOND)
    assert is_turned_pair(SECOND, shot())


@pytest.mark.parametrize(
    "change",
    [
        {"taken_at": AT + timedelta(seconds=121)},
        {"taken_at": None},
        {"card": "card v2"},
        {"angle_deg": 100.0},
        {"pattern": pattern(axis=20.6, weave=blended(0.6))},
        {"pattern": pattern(weave=blended(0.1))},
        {"zones": shot(scale=40.0).zones},
        {"corners": corners(), "pattern": pattern(weave=blended(0.8))},
    ],
    ids=["late", "no time", "card", "not turned", "lies elsewhere", "weave", "tint", "copy"],
)
def test_a_pair_is_none_where_one_thing_differs(change):
    assert not is_turned_pair(shot(), replace(SECOND, **change))
    assert not is_turned_pair(replace(SECOND, **change), shot())


@pytest.mark.parametrize("turn", [1.0, 1j, -0.4 + 0.3j])
def test_a_view_stays_the_same_however_its_picture_is_laid_over(turn):
    flat = corners(2.0) @ [1.0, 1.0j]
    moved = turn * flat + (30.0 - 80.0j)
    copy = shot(corners=np.stack([moved.real, moved.imag], axis=1))
    assert view_apart(shot(corners=corners(2.0)), copy) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("keystone", [0.05, 0.3])
def test_another_view_is_told_in_millimetres_of_the_card(keystone):
    """Corners that go together and apart by as much are matched by no shift, turn or scale."""
    assert view_apart(shot(), shot(corners=corners(keystone))) == pytest.approx(keystone, rel=0.01)


def test_a_copy_has_the_view_and_the_weave():
    same = pattern(weave=blended(0.75))
    assert is_same_photo(shot(), shot(corners=corners(0.09), pattern=same))
    assert not is_same_photo(shot(), shot(corners=corners(0.11), pattern=same))
    assert not is_same_photo(shot(), shot(corners=corners(0.09), pattern=pattern(weave=blended(0.65))))


def test_unlikeness_is_that_of_the_zone_that_differs_least_and_overall_is_none():
    lit, other = shot().zones["root"], shot(scale=2.0).zones["root"]
    assert unlikeness(shot(), shot()) == 0.0
    assert unlikeness(shot(), shot(scale=2.0)) == pytest.approx(unlikeness(shot(scale=2.0), shot()))
    for zone in ("root", "mids", "ends"):
        assert unlikeness(shot(), shot(zones={**dict.fromkeys(NAMES, other), zone: lit})) == 0.0
    assert unlikeness(shot(), shot(zones={**dict.fromkeys(NAMES, other), "overall": lit})) > 1.0


def test_a_wider_spread_makes_strands_less_unlike():
    wide = {name: AsLit(lit.ratio, widen=np.full(3, np.log(2.0))) for name, lit in shot().zones.items()}
    wide_other = {name: AsLit(2.0 * lit.ratio, widen=lit.widen) for name, lit in wide.items()}
    narrow = unlikeness(shot(), shot(scale=2.0))
    assert unlikeness(shot(zones=wide), shot(zones=wide_other)) == pytest.approx(narrow / 4.0)


def test_pale_hair_scatters_less_than_dark_and_tint_less_than_scale():
    """By light's direction: `calibration/as-lit.toml`."""

    def apart(ratio: np.ndarray, factor: np.ndarray) -> float:
        one, other = (dict.fromkeys(NAMES, AsLit(lit)) for lit in (ratio, factor * ratio))
        return unlikeness(shot(zones=one), shot(zones=other))

    lit = np.array([0.30, 0.29, 0.15])
    assert apart(lit, np.full(3, 1.3)) > apart(lit / 6.0, np.full(3, 1.3))
    assert apart(lit, np.array([1.0, 1.0, 1.3])) > 2.0 * apart(lit, np.full(3, 1.3))


def test_what_the_light_is_known_to_do_is_taken_off_before_strands_are_told_apart():
    ratio = np.array([0.30, 0.29, 0.15])
    raised = np.zeros((3, 3))
    raised[0] = np.log(1.4), 0.0, 0.0
    plain, brighter, explained = (
        shot(zones=dict.fromkeys(NAMES, lit))
        for lit in (AsLit(ratio), AsLit(1.4 * ratio), AsLit(1.4 * ratio, raised))
    )
    assert unlikeness(plain, explained) < 0.05 * unlikeness(plain, brighter)


def unlike_by(much: float) -> dict:
    """Return zones that are so unlike those of `shot()`."""
    low, high = 0.0, 6.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if unlikeness(shot(), shot(scale=np.exp(middle))) < much else (low, middle)
    return shot(scale=np.exp(low)).zones


@pytest.mark.parametrize(
    ("much", "alike", "refused"),
    [(24.9, True, False), (25.1, True, True), (9.9, False, False), (10.1, False, True)],
)
def test_strands_that_lie_otherwise_are_refused_sooner(much, alike, refused):
    lie = SECOND.pattern if alike else pattern(axis=22.0, weave=blended(0.6))
    two = [shot("a"), replace(SECOND, zones=unlike_by(much), pattern=lie)]
    if not refused:
        assert [note.code for note in refuse_unlike(two)] == ([] if alike else ["lies-otherwise"])
        return
    with pytest.raises(DifferentStrandsError) as refusal:
        refuse_unlike(two)
    assert dict(refusal.value.facts)["photos"] == "a + b"


def test_one_photo_twice_among_three_is_refused():
    with pytest.raises(SamePhotoError) as refusal:
        refuse_unlike([shot("a"), SECOND, shot("c")])
    assert dict(refusal.value.facts)["photos"] == "a + c"


# --- the strand's lie and its pattern -------------------------------------------------------------------


def test_outlines_are_alike_up_to_half_a_millimetre():
    assert lies_alike(pattern(), pattern(axis=20.49))
    assert not lies_alike(pattern(), pattern(axis=20.51))
    assert lies_alike(pattern(), pattern(half=7.39))
    assert not lies_alike(pattern(), pattern(half=7.41))


def test_outlines_are_compared_where_both_strands_lie():
    rising = np.linspace(20.0, 30.0, 40)
    longer = Pattern((10.0, 110.0), rising, np.full(40, 7.0), WEAVE)
    shorter = Pattern(
        (60.0, 85.0),
        np.interp(np.linspace(60, 85, 40), np.linspace(10, 110, 40), rising),
        longer.half_width_mm,
        WEAVE,
    )
    assert lies_alike(longer, shorter)
    assert not lies_alike(longer, replace(shorter, ends_mm=(10.0, 35.0)))
    assert not lies_alike(pattern(ends=(10.0, 40.0)), pattern(ends=(40.0, 70.0)))


def test_patterns_fit_each_other_where_they_are_shifted_a_little():
    shifted = np.roll(WEAVE, (2, -3), axis=(0, 1))
    assert weave_likeness(pattern(), pattern(weave=shifted)) == pytest.approx(1.0, abs=1e-4)
    assert weave_likeness(pattern(), pattern(weave=np.roll(WEAVE, 9, axis=1))) < 0.2
    assert weave_likeness(pattern(), pattern(weave=OTHER_WEAVE)) < 0.1
    assert is_one_strand(pattern(), pattern(weave=blended(0.23)))
    assert not is_one_strand(pattern(), pattern(weave=blended(0.15)))
    assert not is_one_strand(pattern(), pattern(axis=21.0))
