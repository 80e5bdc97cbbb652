"""Words with their chances: calibrated on simulated strands, and told with a hedge where two are near."""

from __future__ import annotations

import numpy as np
import pytest

from readings import reading, zone
from simulated import LADDER, measured
from strandgauge.hair.family import KINDS, hair_family, ratio_from_lab
from strandgauge.hair.likely import NO_STAIN, WhiteHair, likely
from strandgauge.hair.posterior import AsLit, Posterior, posterior
from strandgauge.hair.stain import Stain, off_path, stain_at
from strandgauge.hair.warmth import WarmthBeside, undertone, warmth_excess
from strandgauge.hair.words import load_words
from strandgauge.words import reading as words
from strandgauge.words import say

WORDS = load_words()


def stain_word(lab) -> str:
    off = off_path(lab, WORDS.path)
    return stain_at(lab, off, WORDS).hue if np.hypot(*off) > WORDS.stain_distance else NO_STAIN


def held(told: list[tuple[float, bool]]) -> None:
    """Assert that of the words told with a chance as many are right, in bins of chance.

    Within three standard errors of so many, and 2 % for the members that stand for all; set before the result
    was seen.
    """
    chance, right = np.array(told).T
    for low, high in ((0.0, 0.6), (0.6, 0.8), (0.8, 0.95), (0.95, 1.01)):
        there = (chance >= low) & (chance < high)
        if there.sum() >= 20:
            said = chance[there].mean()
            assert abs(right[there].mean() - said) < 0.02 + 3 * np.sqrt(said * (1 - said) / there.sum()), low


@pytest.fixture(scope="session")
def told(strands):
    every = likely([found for _, found in strands], LADDER)
    return [(lab, each) for (lab, _), each in zip(strands, every, strict=True)]


def test_of_the_undertones_told_with_70_percent_some_70_percent_are_right(told):
    held(
        [
            (next(iter(each.undertones.values())), undertone(lab) == next(iter(each.undertones)))
            for lab, each in told
        ]
    )
    chances = np.array([next(iter(each.undertones.values())) for _, each in told])
    assert chances.min() < 0.5
    assert np.median(chances) > 0.6


def test_stains_are_told_as_often_as_they_are_there(told):
    first = [(next(iter(each.stains.items())), stain_word(lab)) for lab, each in told]
    held([(chance, word == true) for (word, chance), true in first])
    assert sum(word != NO_STAIN for (word, _), _ in first) > 20


def test_chances_say_twice_as_wrong_light_is_wrong(strands):
    """The check can fail: chances of other strands are not those of these."""
    other = likely([found for _, found in (*strands[7:], *strands[:7])], LADDER)
    with pytest.raises(AssertionError):
        held(
            [
                (next(iter(each.undertones.values())), undertone(lab) == next(iter(each.undertones)))
                for (lab, _), each in zip(strands, other, strict=True)
            ]
        )


def test_chances_are_the_weights_of_the_colours_that_a_word_fits():
    labs = np.array([LADDER.lab[7], LADDER.lab[8], [60.0, -12.0, -20.0]])
    found = Posterior(labs, np.array([0.6, 0.3, 0.1]), np.zeros(3, dtype=int), np.zeros(3))
    each = likely([found], LADDER)[0]
    assert each.undertones == pytest.approx({"yellow-orange": 0.6, "yellow": 0.3, "cool": 0.1}, abs=0.01)
    assert each.stains == pytest.approx({NO_STAIN: 0.9, "blue": 0.1}, abs=0.01)
    assert each.stain is None
    mostly = Posterior(labs, np.array([0.2, 0.1, 0.7]), np.zeros(3, dtype=int), np.zeros(3))
    first, second = likely([found, mostly], LADDER)
    assert first == each  # told beside another as told alone
    stain = second.stain
    assert stain is not None
    assert stain == stain_at(labs[2], off_path(labs[2], WORDS.path), WORDS)


def test_a_plain_gold_is_told_without_doubt_of_dye_and_a_vivid_blue_without_doubt_of_its_stain():
    colours = (LADDER.lab[7], (45, -8, -35))
    gold, blue = likely([posterior(AsLit(ratio_from_lab(lab)), LADDER) for lab in colours], LADDER)
    assert gold.stain is None
    assert gold.stains[NO_STAIN] > 0.95
    assert blue.stains["blue"] > 0.9


@pytest.mark.parametrize(
    ("chances", "other"),
    [
        (None, None),
        ({"yellow": 0.9, "orange": 0.1}, None),
        ({"yellow": 0.5, "orange": 0.35}, "orange"),
    ],
)
def test_an_undertone_is_hedged_where_another_is_near(chances, other):
    told = words.undertone(zone(undertone="yellow", undertone_chances=chances))
    assert told == (say("reading.perhaps", word="yellow", other=other) if other else "yellow")


GREEN = Stain("green", 160.0, 9.0)


@pytest.mark.parametrize(
    ("stain", "chances", "said"),
    [
        (None, None, None),
        (None, {NO_STAIN: 0.9, "green": 0.1}, None),
        (None, {NO_STAIN: 0.6, "green": 0.4}, "stain-perhaps"),
        (GREEN, None, "stain"),
        (GREEN, {"green": 0.9, NO_STAIN: 0.1}, "stain"),
        (GREEN, {"green": 0.6, NO_STAIN: 0.4}, "stain-perhaps"),
        (GREEN, {"green": 0.5, "blue-green": 0.4, NO_STAIN: 0.1}, "stain-or"),
    ],
)
def test_a_stain_is_hedged_where_none_or_another_is_near(stain, chances, said):
    told = words.stain(zone(stain=stain, stain_chances=chances))
    assert told == (say(f"reading.{said}", hue="green", other="blue-green") if said else "")


def somewhere(code: str, *zones: str) -> str:
    places = ", ".join(say(f"zone.{one}") for one in zones)
    return say("reading.somewhere", what=say(f"reading.{code}", hue="green"), places=places)


def test_stains_of_like_doubt_are_told_together():
    zones = [
        zone(name, stain=GREEN, stain_chances={"green": chance, NO_STAIN: 1 - chance})
        for name, chance in (("root", 0.6), ("mids", 0.95), ("ends", 0.99))
    ]
    assert words.stains(reading(zones=tuple(zones))) == (
        somewhere("stain-perhaps", "root"),
        somewhere("stain", "mids", "ends"),
    )


def test_warmth_is_told_to_be_usual_as_often_as_it_is_and_its_interval_holds(told):
    held(
        [
            (
                next(iter(each.warmth.chances.values())),
                each.warmth.code == side(float(warmth_excess(lab, LADDER))),
            )
            for lab, each in told
        ]
    )
    inside = [each.warmth.low <= warmth_excess(lab, LADDER) <= each.warmth.high for lab, each in told]
    assert abs(np.mean(inside) - 0.95) < 0.033  # three standard errors of 400


def side(excess: float) -> str:
    return "less" if excess <= -WORDS.usual_warmth else "more" if excess > WORDS.usual_warmth else "usual"


def test_warmth_is_judged_beside_its_own_level_not_by_size_alone():
    """Common practice, no source: pale yellow has little left, and that is what level 10 shows."""
    for level in (5, 8, 10):
        lab = LADDER.lab[level - 1]
        assert surely(lab).code == "usual"
        assert surely(lab * [1, 1.4, 1.4]).code == "more"
        assert surely(lab * [1, 0.6, 0.6]).code == "less"
    assert surely([60.0, -12.0, -20.0]).code == "less"  # blue is no warmth, however strong
    assert surely(LADDER.lab[7] + [0.0, 0.0, 2.0]).excess == pytest.approx(1.95, abs=0.05)


def surely(lab) -> WarmthBeside:
    return likely([Posterior(np.array([lab]), np.ones(1), np.zeros(1, dtype=int), np.zeros(1))], LADDER)[
        0
    ].warmth


@pytest.mark.parametrize(
    ("code", "chances", "said"),
    [
        ("usual", {"usual": 0.8, "more": 0.2}, "usual"),
        ("usual", {"usual": 0.5, "more": 0.4, "less": 0.1}, "perhaps-more"),
        ("less", {"less": 0.6, "usual": 0.4}, "perhaps-less"),
        ("more", {"more": 0.9, "usual": 0.1}, "more"),
    ],
)
def test_warmth_beside_its_level_is_hedged_where_the_next_is_near(code, chances, said):
    shown = zone(level=8.6, warmth=WarmthBeside(code, 1.0, -4.0, 6.0, chances))
    assert words.warmth_beside(shown) == say(f"warmth-beside.{said}", warmth=words.warmth(shown), level=9)
    assert words.warmth_beside(zone()) == words.warmth(zone())


def test_the_share_of_white_hair_lies_within_its_interval_in_95_of_100_mixtures():
    """White and never lifted pigmented hair mixed by known shares; three standard errors of 300."""
    rng, family = np.random.default_rng(5), hair_family(LADDER, 30_011)
    some = rng.choice(np.flatnonzero(family.kind == KINDS.index("grey")), 300, replace=False)
    told = [(family.white[one], likely([measured(family.place[one], rng)], LADDER)[0].white) for one in some]
    shares = np.array(
        [(true, white.share, white.low, white.high) for true, white in told if white is not None]
    )
    true, share, low, high = shares.T
    assert len(shares) > 150
    assert np.mean((low <= true) & (true <= high)) > 0.95 - 3 * np.sqrt(0.95 * 0.05 / len(shares))
    assert np.corrcoef(true, share)[0, 1] > 0.5


def test_more_white_among_the_same_dark_hair_is_told_as_more():
    dark, white = ratio_from_lab([24.0, 2.0, 3.0]), ratio_from_lab([80.0, 0.5, 11.0])
    mixed = [AsLit((1 - share) * dark + share * white) for share in (0.2, 0.45, 0.7)]
    told = [one.white for one in likely([posterior(one, LADDER) for one in mixed], LADDER)]
    assert all(told)
    assert told[0].share < told[1].share < told[2].share


@pytest.mark.parametrize(
    ("grey", "white", "said"),
    [
        (0.2, WhiteHair(0.3, 0.2, 0.5), ""),
        (0.4, WhiteHair(0.3, 0.2, 0.5), "white-untold"),
        (0.8, WhiteHair(0.3, 0.1, 0.8), "white-untold"),
        (0.8, WhiteHair(0.3, 0.2, 0.5), "white"),
        (0.8, None, ""),
    ],
)
def test_a_share_of_white_is_told_only_where_it_says_something(grey, white, said):
    shown = zone(hair_chances={"grey": grey, "natural": 1 - grey}, white=white)
    facts = {"share": 30.0, "low": 20.0, "high": 50.0}
    assert words.white_hair(shown) == (say(f"reading.{said}", **facts) if said else "")


def test_where_dye_lies_on_the_whole_lightness_is_told_and_no_level():
    zones = [zone(name, dye_probability=0.9) for name in ("root", "mids", "ends")]
    first, *others = words.headline(reading(zones=tuple(zones), overall=zone(dye_probability=0.9)))
    assert first == say("reading.lightness", lightness=words.lightness(zone()))
    assert say("reading.throughout", what=say("reading.on-top")) in others
    natural_root = (zone("root", dye_probability=0.1), *zones[1:])
    first, *others = words.headline(reading(zones=natural_root, overall=zone(dye_probability=0.9)))
    assert first == say("reading.lightness", lightness=words.lightness(zone()))
    assert somewhere("on-top", "mids", "ends") in others
    assert words.undertone(zone()) not in others  # the warmth of a colour that is not the hair's
    first, *others = words.headline(reading(zones=natural_root, overall=zone(dye_probability=0.4)))
    assert first == say("reading.level", interval=words.level_interval(zone()))
    assert words.shares(zone(level_shares={8: 1.0})) != words.shares(zones[0]) == ""
