"""The outlook's parts, on zones of two colours: which zone rules, what shares a bowl, what is left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from strandgauge.colour.cielab import delta_e_2000
from strandgauge.dye.formula import FormulaPart, Weighed
from strandgauge.dye.region import region_of
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import find_target, load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.judge import reach as reaching
from strandgauge.judge.chance import draws
from strandgauge.judge.choice import Choice, Work, head_of
from strandgauge.judge.history import NOTHING_TOLD, History
from strandgauge.judge.needs import grid_for
from strandgauge.judge.outlook import BaseZone, Needs, Pretone, Settings
from strandgauge.judge.plan import make_plan

LADDER, SHELF, TARGETS = load_ladder(), load_shelf(), load_targets()
SD = (0.8, 0.6, 0.9)


def zones(**levels):
    return [BaseZone(name, tuple(LADDER.lab_at(at).tolist()), SD) for name, at in levels.items()]


def look(bases, shade="copper", history=None, shelf=SHELF, **settings):
    told = {} if history is None else {"history": history}
    set_to = Settings(**{"samples": 100, "instead": False, "every_mix": True, **settings})
    return reaching.reach(bases, find_target(shade, TARGETS), shelf, TARGETS, LADDER, set_to, **told)


def dyes(formula):
    return {part.dye for part in formula} - {"clear"}


def test_the_worst_zone_rules_and_the_whole_does_not_count_beside_zones():
    mixed = look(zones(root=6, ends=10, overall=10), "peach")
    assert mixed.verdict == mixed.zone("root").verdict == "out"
    assert mixed.zone("overall").verdict == "true"
    assert mixed.probability_true < 0.1
    assert look(zones(root=10, ends=10, overall=4), "peach").verdict == "true"
    assert look(zones(overall=4), "peach").verdict == "out"
    assert look(zones(mids=10), "peach").verdict == "true"  # one zone stands for the whole


def test_what_is_needed_is_what_the_neediest_zone_needs():
    mixed = look(zones(root=6, ends=10, overall=9), "peach")
    assert mixed.needs == mixed.zone("root").needs
    assert mixed.needs.level > 8
    assert mixed.zone("ends").needs.level <= 10.0  # it reads true there: no more is asked
    stained = [*zones(root=10), BaseZone("ends", (62.0, -24.0, -6.0), SD)]
    assert look(stained, "peach").needs is None  # lightener may not shift what lies on the ends


def test_the_level_stands_for_the_whole_and_the_strip_begins_at_six():
    mixed = look(zones(root=6, ends=10, overall=9), "peach")
    assert mixed.base_level == pytest.approx(9.0)
    assert [step.level for step in mixed.strip] == [6, 7, 8, 9, 10, 11, 12]
    away = [step.delta_e00 for step in mixed.strip]
    assert min(away) < 3.0 < away[0]


@pytest.mark.parametrize(("lost", "bowls"), [(2.0, 1), (-2.0, 3)])
def test_a_bowl_is_shared_where_little_chance_is_lost_by_it(monkeypatch, lost, bowls):
    monkeypatch.setattr(reaching, "SAME_BOWL", lost)
    found = look(zones(root=9.9, ends=10, overall=9.95))
    assert len({zone.bowl for zone in found.zones}) == bowls
    if bowls == 1:
        assert len({zone.formula for zone in found.zones}) == 1
    assert (
        look(zones(root=9.9, overall=4), "pastel pink").zones[0].bowl != 0
    )  # out of reach takes no other's bowl


@pytest.mark.parametrize(
    ("levels", "settings", "outcome"),
    [
        ({"overall": 10}, {}, None),
        ({"root": 10, "ends": 10}, {"melt": True}, None),
        ({"root": 10, "ends": 10}, {}, "one-colour"),
        ({"root": 5, "ends": 10}, {}, "lighten-first"),
    ],
)
def test_whether_zones_come_out_alike(levels, settings, outcome):
    evening = look(zones(**levels), "peach", **settings).evening
    assert (None if evening is None else evening.outcome) == outcome


def test_a_shadow_lies_two_levels_below_the_root_and_is_mixed_of_dyes_that_fit():
    below = look(zones(root=8, ends=10, overall=9)).shadow
    assert (below.level, below.zone) == (pytest.approx(6.0), "root")
    assert below.predicted_lab[0] == pytest.approx(LADDER.lab_at(6.0)[0], abs=3.0)
    assert 0.0 <= below.delta_e00 < 3.0
    assert look(zones(root=2.5, ends=10)).shadow.level == 1.0
    assert look(zones(overall=9), shadow_level=5.0).shadow.level == 5.0
    for at in (7, 8, 10):
        assert not dyes(look(zones(root=at)).shadow.formula) & {"pink", "magenta", "red", "orange", "green"}


def test_hair_that_takes_up_more_is_given_less_within_bounds():
    few = SHELF.only(["orange", "red", "brown"])

    def dye(uptake):
        parts = look(zones(overall=10), history=History(uptake=uptake), shelf=few).zones[0].formula
        return sum(part.parts for part in parts if part.dye != "clear")

    assert dye(2.0) < dye(1.0) < dye(0.7)
    assert dye(9.0) == dye(3.0)
    assert dye(0.01) == dye(0.3)


def test_a_filler_puts_warmth_back_and_nothing_else():
    plan = make_plan(zones(overall=10), find_target("dark brown", TARGETS), SHELF, TARGETS, LADDER)
    (fill,) = [step for step in plan.steps if step.do == "fill"]
    assert dyes(fill.formula) <= {"orange", "red", "yellow", "coral", "brown"}
    assert "orange" in dyes(fill.formula)


def test_the_same_seed_gives_the_same_answer_and_zones_in_any_order_the_same_words():
    bases = zones(root=9, ends=10, overall=9.5)
    assert look(bases, "peach") == look(bases, "peach")
    turned = look(bases[::-1], "peach")
    for zone in look(bases, "peach").zones:
        assert turned.zone(zone.name).predicted_lab == pytest.approx(zone.predicted_lab, abs=1e-6)


# --- made by hand: zones of known colour, mixes that are given, chances that are counted out -----------

FEW = SHELF.only(["orange", "red", "brown"])
PARTS = (FormulaPart("orange", 100.0, 60.0),)
PRETONE = Pretone("violet", PARTS, (60.0, 1.0, 20.0), 9.0)


def bench(shade="peach", **settings):
    target = find_target(shade, TARGETS)
    set_to = Settings(samples=20, instead=False, **settings)
    return Work(target, region_of(target), FEW, grid_for(FEW), LADDER, set_to)


def head(name="overall", at=10.0, lab=None):
    colour = tuple(LADDER.lab_at(at).tolist()) if lab is None else lab
    return head_of(BaseZone(name, colour, SD), LADDER, NOTHING_TOLD)


def given(of, orange=0.0, chance=1.0, lab=None, **changes):
    """Return a choice of so much orange on a zone, true in so many of twenty draws."""
    held = np.array([orange, 0.0, 0.0])
    alone = np.where(np.arange(20) < round(20 * chance), 1.0, 0.5)
    shown = of.base.dyed(held @ FEW.curves) if lab is None else np.array(lab)
    return replace(Choice(held, shown, PARTS, alone, alone), **changes)


def told(of, choice, needs, work=None, palest=(0.0, 0.0, 0.0)):
    return reaching._zone_outlook(of, choice, np.array(palest), needs, work or bench())


@pytest.mark.parametrize(("chance", "verdict"), [(0.7, "true"), (0.65, "may"), (0.3, "may")])
def test_where_it_reads_true_no_more_lift_is_needed(chance, verdict):
    of = head(at=9.0)
    for needs in (None, Needs(9.6, 9.2, 10.0)):
        zone = told(of, given(of, chance=chance), needs)
        assert (zone.verdict, zone.probability_true) == (verdict, chance)
        assert zone.needs == Needs(of.level, of.level, of.level)
    assert told(of, given(of, chance=chance), Needs(8.0, 7.0, 9.5)).needs == Needs(8.0, 7.0, of.level)


def test_where_it_does_not_what_the_shade_needs_is_told_unless_old_dye_is_in_the_way():
    needs, of = Needs(9.6, 9.2, 10.0), head(at=8.0)
    zone = told(of, given(of, chance=0.25), needs)
    assert zone.needs == needs
    assert (zone.verdict, zone.probability_true) == ("turns", 0.25)
    assert zone.delta_e00 == pytest.approx(float(bench().region.away(of.base.lab)))
    stained = head(lab=(62.0, -24.0, -6.0))
    zone = told(stained, given(stained, chance=0.0), needs)
    assert zone.needs is None
    assert (zone.hair, zone.cast, zone.slight, zone.red) == ("dyed", stained.hair.cast, False, False)
    assert zone.cast is not None


def test_a_zone_is_told_with_what_lies_on_it_and_what_it_would_be():
    work, of = bench(), head("ends", lab=(36.0, 22.0, 24.0))
    zone = told(of, given(of, 0.2, 0.75, pretone=PRETONE), None, work, palest=(0.4, 0.0, 0.0))
    assert (zone.red, zone.slight, zone.cast) == (True, True, None)
    assert zone.wanted_lab == work.target.lab
    assert zone.pretone is PRETONE
    assert zone.share_true == pytest.approx(0.75 + 0.25 * 0.5)
    assert zone.unadjusted_lab == pytest.approx(of.base.dyed(0.4 * FEW.curves[0]))
    (piece,) = zone.pieces
    assert piece.predicted_lab == pytest.approx(zone.predicted_lab)
    # What is unsure of the hair and of the dye is in the colour foretold; a sure base leaves the dye's alone.
    sure = head_of(replace(of.zone, lab_sd=(0.0, 0.0, 0.0)), LADDER, NOTHING_TOLD)
    less = told(sure, given(sure, 0.2), None).predicted_lab_sd
    assert all(0.0 < small < large for small, large in zip(less, zone.predicted_lab_sd, strict=True))


def test_a_pre_tone_below_it_counts_in_the_pieces_and_in_the_doubt():
    of = head(at=10.0)
    first = 0.2 * FEW.curves[1]
    lab = of.base.over(first).dyed(0.1 * FEW.curves[0])
    zone = told(of, given(of, 0.1, lab=lab, first=first), None)
    assert zone.pieces[0].predicted_lab == pytest.approx(zone.predicted_lab, abs=1e-6)


def bowls(heads, choices, work=None, whole=0, verdicts=None):
    """Return the zones' bowls and what is told of each."""
    work = work or bench()
    zones = [told(of, one, None, work, (0.4, 0.0, 0.0)) for of, one in zip(heads, choices, strict=True)]
    for place, changes in (verdicts or {}).items():
        zones[place] = replace(zones[place], **changes)
    drawn = draws(len(heads), 3, 20, 1)
    found = reaching._in_one_bowl(tuple(zones), choices, heads, drawn, whole, work)
    return [zone.bowl for zone in found], found, zones


@pytest.fixture
def as_likely(monkeypatch):
    """Let a shared bowl be true as often as is said, whatever the hair."""

    def said(chance):
        alone = np.where(np.arange(20) < round(20 * chance), 1.0, 0.0)
        monkeypatch.setattr(
            reaching, "in_draws", lambda choice, *_: replace(choice, share=alone, alone=alone)
        )

    said(1.0)
    return said


def test_zones_share_the_whole_bowl_or_an_earlier_zones(as_likely):
    heads = [head("root"), head("mids", 9.0), head("ends", 9.05), head("overall", 10.05)]
    choices = [given(of, orange) for of, orange in zip(heads, (0.7, 0.2, 0.2, 0.7), strict=True)]
    numbers, found, before = bowls(heads, choices, whole=3)
    assert numbers == [0, 1, 1, 0]  # so much orange turns paler hair only
    assert [zone.unadjusted_lab for zone in found] == [zone.unadjusted_lab for zone in before]
    assert found[2].predicted_lab == pytest.approx(heads[2].base.dyed(0.2 * FEW.curves[0]))


@pytest.mark.parametrize(
    ("first", "second", "second_told", "shared"),
    [
        ({}, {}, {}, True),
        ({"pretone": PRETONE}, {}, {}, False),
        ({}, {"pretone": PRETONE}, {}, False),
        ({}, {}, {"verdict": "out"}, False),
    ],
)
def test_no_bowl_is_shared_with_a_pre_tone_or_where_the_shade_is_out_of_reach(
    as_likely, first, second, second_told, shared
):
    heads = [head("overall"), head("root")]
    choices = [given(heads[0], 0.1, **first), given(heads[1], 0.1, **second)]
    numbers, _, _ = bowls(heads, choices, verdicts={1: second_told})
    assert numbers == ([0, 0] if shared else [0, 1])


def test_a_shared_bowl_may_be_a_little_less_likely_and_a_little_further_off(as_likely):
    heads = [head("overall"), head("root")]
    for lost, shared in ((0.0, True), (0.05, False)):
        as_likely(0.5)
        own = [given(heads[0], 0.1), given(heads[1], 0.1, chance=0.5 + lost)]
        assert bowls(heads, own)[0] == ([0, 0] if shared else [0, 1])
    as_likely(1.0)
    own = [given(one, 0.1) for one in heads]
    away = float(bench().region.away(own[1].lab))
    for further, shared in ((0.9, True), (1.1, False)):
        nearer = {1: {"delta_e00": away - further}}
        assert bowls(heads, own, verdicts=nearer)[0] == ([0, 0] if shared else [0, 1])


def test_a_melt_shares_a_bowl_only_where_it_looks_the_same(as_likely):
    heads = [head("overall"), head("root")]
    lab = given(heads[1], 0.1).lab
    for darker, melt, shared in ((1.0, True, True), (5.0, True, False), (5.0, False, True)):
        own = [given(heads[0], 0.1), given(heads[1], 0.1, lab=lab - [darker, 0.0, 0.0])]
        far = {1: {"delta_e00": 50.0}}
        assert bowls(heads, own, bench(melt=melt), verdicts=far)[0] == ([0, 0] if shared else [0, 1])


def evened(monkeypatch, labs, met=None, verdicts=("close", "close"), ats=(9.0, 8.0), **settings):
    """Return what is told of zones that come out in such colours, could be brought to others, and their aims."""
    work, asked = bench(**settings), []
    heads = [head(name, at) for name, at in zip(("root", "ends"), ats, strict=True)]
    choices = [given(of, 0.1, lab=lab) for of, lab in zip(heads, labs, strict=True)]
    zones = [
        replace(told(of, one, None, work), verdict=verdict)
        for of, one, verdict in zip(heads, choices, verdicts, strict=True)
    ]
    if met is not None:
        weighed = iter(Weighed(PARTS, np.zeros(3), np.array(lab), 0.0) for lab in met)
        monkeypatch.setattr(reaching, "weigh", lambda base, aim, *_: (asked.append(aim), next(weighed))[1])
    return reaching._evening(heads, zones, choices, [0, 1], work), asked


GREY = (60.0, 0.0, 0.0)


def grey(of, away):
    """Return the lighter grey that lies so many CIEDE2000 from another."""
    lightness = brentq(lambda at: float(delta_e_2000((at, 0.0, 0.0), of)) - away, of[0], of[0] + 40.0)
    return (lightness, 0.0, 0.0)


def test_zones_within_what_passes_for_one_colour_are_left_as_they_are(monkeypatch):
    for away, outcome in ((1.99, "one-colour"), (2.01, "lighten-first")):
        told_of, _ = evened(monkeypatch, (GREY, grey(GREY, away)), verdicts=("turns", "turns"))
        assert told_of.outcome == outcome
        assert told_of.difference == told_of.difference_met == pytest.approx(away)
        assert told_of.formulas == ()


@pytest.mark.parametrize(("verdict", "outcome"), [("turns", "lighten-first"), ("out", "lighten-first")])
def test_the_darkest_zone_holds_back_wherever_it_stands(monkeypatch, verdict, outcome):
    dark = evened(monkeypatch, (GREY, grey(GREY, 6.0)), verdicts=("true", verdict))[0]
    assert (dark.outcome, dark.zone) == (outcome, "ends")
    pale = evened(monkeypatch, (GREY, grey(GREY, 6.0)), ((GREY, GREY)), verdicts=(verdict, "true"))[0]
    assert pale.outcome == "meets"


@pytest.mark.parametrize(
    ("then", "outcome"), [(5.6, "apart"), (5.4, "partly"), (2.1, "partly"), (1.9, "meets"), (7.0, "apart")]
)
def test_zones_are_brought_together_where_it_brings_something(monkeypatch, then, outcome):
    labs = (GREY, grey(GREY, 6.0))
    found, asked = evened(monkeypatch, labs, (GREY, grey(GREY, then)))
    assert found.outcome == outcome
    assert found.difference == pytest.approx(6.0)
    assert found.difference_met == pytest.approx(6.0 if outcome == "apart" else then)
    assert [tuple(aim) for aim in asked] == [labs[1]] * 2  # ends are the darkest
    if outcome == "apart":
        assert (found.formulas, found.aim_lab) == ((), None)
    else:
        assert found.formulas == (("root", PARTS), ("ends", PARTS))
        assert found.aim_lab == pytest.approx(labs[1])


def test_all_zones_together_may_be_less_sure_than_each(monkeypatch):
    """Each true in 14 of 20 draws: together in 14, in 8 or, with what may be at best, in none."""

    def verdict(first, second):
        def chosen(heads, *_):
            found = []
            for of, (low, high) in zip(heads, (first, second), strict=True):
                share = np.where((np.arange(20) >= low) & (np.arange(20) < high), 1.0, 0.0)
                found.append(replace(given(of, 0.1), share=share, alone=share))
            return found

        monkeypatch.setattr(reaching, "choose_mixes", chosen)
        monkeypatch.setattr(reaching, "SAME_BOWL", -2.0)
        told_of = look(zones(root=10, ends=10), "peach", shelf=FEW, samples=20)
        return told_of.verdict, told_of.probability_true

    assert verdict((0, 14), (0, 14)) == ("true", pytest.approx(0.7))
    assert verdict((0, 14), (6, 20)) == ("may", pytest.approx(0.4))
    assert verdict((0, 10), (10, 20)) == ("close", 0.0)
    assert verdict((0, 7), (0, 20)) == ("may", pytest.approx(0.35))


def test_what_else_an_outlook_tells():
    palest = look(zones(overall=12), "peach", shelf=FEW, bowl=40.0)
    assert (palest.bowl, palest.instead) == (40.0, ())
    # Hair as pale as the ladder's palest: the mix that suits that is the one that the strip ends with.
    assert palest.zones[0].unadjusted_lab == pytest.approx(palest.strip[-1].predicted_lab, abs=1e-6)
    for step in palest.strip:
        assert step.base_lab == pytest.approx(LADDER.lab_at(step.level))
        assert step.delta_e00 == pytest.approx(float(region_of(palest.target).away(step.predicted_lab)))
    # Level 10 is pale yellow, 9 yellow, 8 yellow with orange (common practice, no source).
    dark = look(zones(overall=6), "peach", shelf=FEW)
    assert (round(dark.needs.level), dark.needs_undertone) == (10, "pale yellow")
    seeds = {look(zones(overall=9), "peach", shelf=FEW, seed=seed).zones[0].share_true for seed in range(3)}
    assert len(seeds) > 1
