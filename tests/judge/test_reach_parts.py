"""The outlook's parts, on zones of two colours: which zone rules, what shares a bowl, what is left out."""

from __future__ import annotations

import pytest

from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import find_target, load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.judge import reach as reaching
from strandgauge.judge.history import History
from strandgauge.judge.outlook import BaseZone, Settings
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
