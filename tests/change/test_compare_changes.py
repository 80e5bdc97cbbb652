"""Changes between readings: what is called one, what is not, and how often noise is taken for one."""

from __future__ import annotations

import dataclasses
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readings import reading, zone
from refused import refused
from strandgauge.change.compare import CHI_SQUARE_95, TWO_SIDED_95, compare
from strandgauge.colour.cielab import chroma, delta_e_2000
from strandgauge.errors import NotComparableError
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.stain import Stain
from strandgauge.reading.model import Reading, ZoneReading
from strandgauge.words import change as words
from strandgauge.words import say

LADDER = load_ladder()


def seen(lab, sd=(1.6, 0.9, 1.4), name="overall", **changes) -> ZoneReading:
    """Return a zone as the pipeline would report it for a colour and its uncertainty."""
    return zone(
        name,
        level=float(LADDER.level_of(lab)),
        lab=tuple(float(v) for v in lab),
        lab_sd=tuple(sd),
        level_sd=float(LADDER.level_sd(lab, np.diag(np.square(sd)))),
        chroma=float(chroma(lab)),
        **changes,
    )


def strand(labs, sd=(1.6, 0.9, 1.4), **changes) -> Reading:
    """Return a reading of root, mids, ends and overall colours."""
    names = ("root", "mids", "ends", "overall")
    *zones, overall = (seen(lab, sd, name) for lab, name in zip(labs, names, strict=True))
    return reading(zones=tuple(zones), overall=overall, **changes)


def test_the_limits_are_those_of_the_distributions():
    from scipy.stats import chi2, norm

    assert pytest.approx(norm.ppf(0.975), abs=1e-6) == TWO_SIDED_95
    assert pytest.approx(chi2.ppf(0.95, df=3), abs=1e-5) == CHI_SQUARE_95


STRANDS = {
    "even, yellow-orange": [(57.0, 8.0, 36.0)] * 4,
    "uneven": [(36.0, 13.0, 28.0), (50.0, 11.0, 35.0), (70.0, 3.0, 29.0), (52.0, 9.0, 33.0)],
    "toned, hardly any chroma": [(70.0, 1.0, 6.0)] * 4,
}


def three_errors(trials: int) -> float:
    """Return three standard errors of a share of 5 % in so many trials."""
    return 3 * np.sqrt(0.05 * 0.95 / trials)


def test_two_readings_of_one_strand_are_called_changed_in_about_5_of_100_cases():
    """The limit, 5 % and three standard errors, was set before the result was seen; each zone is a trial."""
    random = np.random.default_rng(7)
    sd, pairs = np.array([1.6, 0.9, 1.4]), 100
    uneven = 0
    for kind, labs in STRANDS.items():
        alarms: Counter[str] = Counter()
        for _ in range(pairs):
            pair = [strand(np.array(labs) + sd * random.standard_normal((4, 3))) for _ in range(2)]
            step = compare(pair).since_first[0]
            uneven += step.evenness.verdict != "no-change"
            for one in (*step.zones, step.overall):
                verdicts = {
                    "level": one.level.verdict,
                    "colour": one.colour.verdict,
                    "lightness": one.colour.lightness.verdict,
                    "chroma part": one.colour.chroma.verdict,
                    "hue": one.colour.hue.verdict,
                    "chroma": one.chroma.verdict,
                    "yellowness": one.yellowness_e313.verdict,
                }
                alarms.update(name for name, verdict in verdicts.items() if verdict != "no-change")
        shares = {name: count / (4 * pairs) for name, count in alarms.items()}
        assert max(shares.values()) <= 0.05 + three_errors(4 * pairs), (kind, shares)
        for name in ("level", "colour", "lightness"):  # these are linear in the noise: neither may sleep
            assert shares[name] >= 0.05 - three_errors(4 * pairs), (kind, shares)
    assert uneven / (3 * pairs) <= 0.05 + three_errors(3 * pairs)


@pytest.mark.parametrize("apart", [0.0, 1.0, 4.0, 20.0])
def test_the_interval_of_the_difference_holds_the_true_one_in_95_of_100_cases(apart):
    """Also where the true difference is small against the noise, which biases the observed one upward."""
    random = np.random.default_rng(11)
    sd, one = np.array([1.6, 0.9, 1.4]), np.array([52.0, 10.0, 33.0])
    two = one + apart * np.array([0.8, -0.3, 0.52])
    truth, pairs = float(delta_e_2000(one, two)), 65
    held = 0
    for _ in range(pairs):
        step = compare([strand(lab + sd * random.standard_normal((4, 3))) for lab in (one, two)]).since_first[
            0
        ]
        held += sum(zone.colour.low <= truth <= zone.colour.high for zone in (*step.zones, step.overall))
    assert held / (4 * pairs) >= 0.95 - three_errors(4 * pairs)


def test_a_difference_that_noise_explains_may_be_none_at_all():
    colour = compare([strand([(57, 8, 36)] * 4), strand([(58.5, 8.4, 35)] * 4)]).since_first[0].overall.colour
    assert colour.verdict == "no-change"
    assert colour.low == 0.0
    assert colour.delta_e00 < 2 * colour.from_noise


@settings(deadline=None)  # how long it takes is the machine's business
@given(
    st.tuples(st.floats(20, 80), st.floats(-10, 20), st.floats(-10, 40)),
    st.tuples(st.floats(20, 80), st.floats(-10, 20), st.floats(-10, 40)),
)
def test_the_parts_make_up_the_difference_and_the_interval_holds_it(one, two):
    colour = compare([strand([one] * 4), strand([two] * 4)]).since_first[0].overall.colour
    parts = sum(part.value**2 for part in (colour.lightness, colour.chroma, colour.hue)) + colour.rotation
    assert np.sqrt(max(parts, 0.0)) == pytest.approx(colour.delta_e00, abs=1e-6)
    assert 0.0 <= colour.low <= colour.delta_e00 <= colour.high


def test_turned_about_in_time_what_was_gained_is_lost():
    dark, light = strand([(40, 12, 31)] * 4), strand([(66, 5, 32)] * 4)
    up, down = (compare(pair).since_first[0].overall for pair in ((dark, light), (light, dark)))
    assert (up.level.verdict, down.level.verdict) == ("lighter", "darker")
    assert up.level.change == pytest.approx(-down.level.change)
    assert up.colour.delta_e00 == pytest.approx(down.colour.delta_e00)
    assert up.colour.hue.verdict == "yellower"
    assert down.colour.hue.verdict == "redder"


def test_more_readings_are_held_against_the_first_and_against_the_one_before():
    change = compare([strand([(lightness, 11, 33)] * 4) for lightness in (30, 45, 60)])
    assert [(s.before, s.after) for s in change.since_first] == [(0, 1), (0, 2)]
    assert [(s.before, s.after) for s in change.since_previous] == [(0, 1), (1, 2)]
    whole = change.since_first[-1].overall.level.change
    assert whole == pytest.approx(sum(step.overall.level.change for step in change.since_previous))


def test_evenness_is_said_to_change_only_by_more_than_its_noise():
    uneven = strand([(40, 12, 31), (62, 6, 34), (66, 5, 32), (57, 8, 36)])
    even = strand([(62, 6, 34)] * 4)
    step = compare([uneven, even]).since_first[0]
    assert step.evenness.verdict == "more-even"
    assert step.evenness.before == pytest.approx(np.ptp([z.level for z in uneven.zones]))
    vague = [strand(labs, sd=(16, 2, 3)) for labs in ([z.lab for z in (*uneven.zones, uneven.overall)],)]
    assert compare([vague[0], even]).since_first[0].evenness.verdict == "no-change"


def test_a_stain_that_fades_within_the_noise_has_not_measurably_changed():
    green = Stain("green", 160.0, 12.0)
    stained = reading(overall=seen((60, -8, 30), stain=green))
    for lab, sd, verdict in (
        ((60, -7.5, 30), (1.6, 0.9, 1.4), "no-change"),
        ((60, 6, 34), (1.6, 0.9, 1.4), "gone"),
        ((60, 6, 34), (4, 9, 9), "no-change"),
    ):
        stain = compare([stained, reading(overall=seen(lab, sd))]).since_first[0].overall.stain
        assert stain is not None
        assert stain.strength.verdict == verdict
    assert compare([reading(), reading()]).since_first[0].overall.stain is None


def test_readings_on_different_ladders_are_refused_and_those_wet_and_dry_noted():
    with refused(NotComparableError, "ladders", other="my swatches") as refusal:
        compare([reading(), reading(ladder="my swatches", photo="after.jpg")])
    assert refusal.value.where == "after.jpg"
    with refused(NotComparableError, "one"):
        compare([reading()])
    change = compare([reading(wet=True), reading(card="another card v3")])
    assert {note.code for note in change.notes} == {"wet-and-dry", "different-cards"}
    assert compare([reading(), reading()]).notes == ()


def test_a_reading_that_claims_to_be_exact_is_taken_at_its_word():
    exact = [dataclasses.replace(strand([lab] * 4, sd=(0, 0, 0))) for lab in ((60, 5, 30), (60, 5, 30.01))]
    assert compare([exact[0], exact[0]]).since_first[0].overall.colour.verdict == "no-change"
    assert compare(exact).since_first[0].overall.colour.verdict == "changed"


BLUE, FADED = (42.0, -8.0, -25.0), (55.0, -12.0, -14.0)


def test_dyed_hair_is_compared_by_lightness_and_hue_and_by_no_level():
    """Common practice, no source: a vivid blue that fades has not been lifted."""
    before, after = (
        reading(
            zones=tuple(seen(lab, name=name, dye_probability=0.99) for name in ("root", "mids", "ends")),
            overall=seen(lab, dye_probability=0.99),
        )
        for lab in (BLUE, FADED)
    )
    change = compare([before, after])
    zone_change = change.since_first[0].overall
    assert zone_change.dyed
    assert zone_change.depth.change == pytest.approx(13.0)
    one = words.shown(change, change.since_first[0])
    assert words.gained(zone_change) in words.headline(one)
    assert not [text for text in words.sentences(one) if words.levels_gained(zone_change.level) in text]
    assert words.depths(zone_change)[:2] == ("L* 42", "L* 55")
    plain = compare([strand([(40, 12, 31)] * 4), strand([(66, 5, 32)] * 4)]).since_first[0].overall
    assert not plain.dyed
    assert plain.depth is plain.level


def grown(root_shares, mids_shares=None, **changes) -> Reading:
    shares = (root_shares, mids_shares or {"9": 1.0}, {"9": 1.0})
    labs = ((29, 6, 12), (66.5, 4.5, 32.0), (66.5, 4.5, 32.0))
    names = ("root", "mids", "ends")
    zones = [
        seen(lab, name=name, level_shares=share, **changes)
        for lab, name, share in zip(labs, names, shares, strict=True)
    ]
    return reading(zones=tuple(zones), overall=seen((60, 5, 30)))


def test_regrowth_is_named_with_its_length_in_share_of_the_strand():
    light = strand([(66.5, 4.5, 32.0)] * 4)
    step = compare([light, grown({"5": 1.0})]).since_first[0]
    assert step.regrowth is not None
    assert step.regrowth.darker == pytest.approx(4.0, abs=0.1)
    assert (step.regrowth.low, step.regrowth.high) == pytest.approx((0.25, 0.41))
    further = compare([light, grown({"5": 1.0}, {"5": 0.5, "9": 0.5})]).since_first[0].regrowth
    assert further is not None
    assert further.high == pytest.approx(0.50)
    short = compare([light, grown({"5": 0.5, "9": 0.5})]).since_first[0].regrowth
    assert short is not None
    assert short.low == short.high == pytest.approx(0.165)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (strand([(66.5, 4.5, 32.0)] * 4), strand([(29, 6, 12)] * 4)),  # darkened throughout
        (grown({"5": 1.0}), grown({"5": 1.0})),  # it was there already
        (strand([(66.5, 4.5, 32.0)] * 4), grown({"5": 1.0}, dye_probability=0.9)),  # a root that was coloured
        (strand([(36, 13, 28)] * 4), strand([(36, 13, 28), (66, 5, 32), (66, 5, 32), (56, 8, 31)])),  # lifted
    ],
    ids=["all darker", "before", "dyed root", "lengths lifted"],
)
def test_what_is_no_regrowth_is_not_called_so(before, after):
    assert compare([before, after]).since_first[0].regrowth is None


def test_regrowth_comes_first_and_a_step_without_it_says_nothing_of_it():
    change = compare([strand([(66.5, 4.5, 32.0)] * 4), grown({"5": 1.0})])
    one = words.shown(change, change.since_first[0])
    reach = say("change.reach-between", low=25, high=41)
    assert words.headline(one)[0] == say("change.regrowth", levels=one.step.regrowth.darker, reach=reach)
