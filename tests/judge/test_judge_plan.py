"""The plan of an appointment: in order, in grams that add up, fading, and learning from a result."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from strandgauge.colour.cielab import delta_e_2000
from strandgauge.dye.mix import parse_mix
from strandgauge.dye.region import region_of
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import Target, find_target, load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.pigment import solve_base
from strandgauge.judge.history import History, history_from
from strandgauge.judge.outlook import TYPED_SD, BaseZone, Settings
from strandgauge.judge.plan import Faded, held_of, make_plan, uptake_from
from strandgauge.show.terminal.plan import print_plan
from strandgauge.words import say, sentence
from strandgauge.words.plan import fading, headline, step_line, watch_lines

LADDER, SHELF, TARGETS = load_ladder(), load_shelf(), load_targets()


def head(root, mids, ends):
    levels = {"root": root, "mids": mids, "ends": ends, "overall": (root + mids + ends) / 3}
    return [BaseZone(name, tuple(LADDER.lab_at(at).tolist()), TYPED_SD) for name, at in levels.items()]


MADE = {}
"""Plans are frozen, and several tests look at the same one."""


def plan(hair, shade, told=None, **options):
    asked = (*hair, shade, repr(told), repr(options))
    if asked not in MADE:
        wish, history = find_target(shade, TARGETS), history_from(told or {})
        MADE[asked] = make_plan(hair, wish, SHELF, TARGETS, LADDER, None, history, **options)
    return MADE[asked]


def doing(made):
    return [(step.zone, step.do) for step in made.steps]


def test_lift_rinse_read_then_dye_and_every_step_is_said():
    made = plan(head(7, 10.8, 10.8), "lavender", {"lightened": ["mids", "ends"], "lightened_weeks": 9})
    order = [do for _, do in doing(made)]
    assert order.index("lift") < order.index("rinse") < order.index("look-again")
    assert order.index("look-again") < max(place for place, do in enumerate(order) if do in ("tone", "dye"))
    lift = next(step for step in made.steps if step.do == "lift")
    assert lift.zone == "root"
    assert "melt-root" not in order
    assert lift.minutes.high <= 50
    assert {"stretch-each-look", "makers-time", "only-regrowth"} <= set(lift.watch)
    for step in made.steps:
        assert step_line(step)
        assert len(watch_lines(step)) == len(step.watch)
    assert headline(made) == say("plan.headline", shade="Lavender", first=step_line(made.steps[0]))


@pytest.mark.parametrize(
    ("hair", "shade", "told", "first"),
    [
        (head(5, 5, 5), "lilac", {"scalp": "broken"}, "stop-condition"),
        (head(8, 8, 8), "lilac", {"metallic": True}, "metal-test"),
        (head(8, 8, 8), "lilac", {}, "ask-history"),
        (head(10, 10, 10), "dark brown", {}, "fill"),
        (head(10, 10, 10), "peach", {}, "dye"),
    ],
)
def test_what_comes_first(hair, shade, told, first):
    made = plan(hair, shade, told)
    assert first in [step.do for step in made.steps[:2]]
    if first == "stop-condition":
        assert all(step.formula is None for step in made.steps)
        assert made.fade == ()


def test_zones_alike_are_one_bowl_in_the_plan():
    steps = [step for step in plan(head(10, 10, 10), "peach").steps if step.formula]
    assert [step.zone for step in steps] == ["root+mids+ends"]


def test_what_zones_have_in_common_is_told_once_and_a_pipe_gets_no_blanks():
    asked = {"virgin": True}
    made = plan(head(7, 7, 7), "lilac", asked)
    (lift,) = [step for step in made.steps if step.do == "lift"]
    where = sentence(", ".join(say(f"zone.{zone}") for zone in ("root", "mids", "ends")))
    todo = say("plan.to-level", do=say("do.lift"), level=lift.level)
    low, high = lift.minutes.low, lift.minutes.high
    assert step_line(lift) == say("plan.step-lift", where=where, do=todo, low=low, high=high)
    apart = plan(head(7, 7, 10), "lilac", asked)
    assert [step.zone for step in apart.steps if step.do == "lift"] == ["root+mids"]
    filled = plan(head(10, 10, 10), "dark brown").steps
    assert [step.zone for step in filled if step.do == "fill"] == ["root+mids+ends"]
    for width in (40, 80):
        file = io.StringIO()
        print_plan(made, Console(file=file, width=width, highlight=False))
        lines = file.getvalue().splitlines()
        assert [line for line in lines if line != line.rstrip() or len(line) > width] == []
        assert sum(say("do.lift") in line for line in lines) <= 2  # the headline, and the step


def test_a_melt_goes_from_deep_to_sheer_in_one_set_of_dyes_and_bowls_that_give_the_same_are_one():
    wish = Settings(melt=True)
    for hair in (
        head(10.8, 10.8, 10.8),
        [BaseZone("overall", tuple(LADDER.lab_at(10.8).tolist()), TYPED_SD)],
    ):
        made = make_plan(hair, find_target("pastel pink", TARGETS), SHELF, TARGETS, LADDER, wish)
        steps = [step for step in made.steps if step.formula]
        assert len(steps) in (2, 3)
        assert "+".join(step.zone for step in steps) == "root+mids+ends"
        depth = [step.predicted_lab[0] for step in steps]
        assert depth == sorted(depth)
        assert depth[-1] - depth[0] > 3.0
        region = region_of(made.target)
        assert all(region.away(step.predicted_lab) < 3.0 for step in steps)
        assert all("melt-each" in step.watch for step in steps)
    # A shade with little depth of its own: what mids and ends would get cannot be told apart.
    own = Target("own", (60.0, 20.0, 0.0), ((58.0, 20.0, 0.0),))
    made = make_plan(head(11, 11, 11), own, SHELF, TARGETS, LADDER, wish)
    assert [step.zone for step in made.steps if step.formula] == ["root+mids+ends"]
    assert not any("melt-each" in step.watch for step in made.steps)


def test_what_may_be_there_already_is_read_again_after_the_rinse_and_coloured_with_the_rest():
    unsure = replace(head(9.4, 8, 8)[0], level_sd=0.9)
    made = plan([unsure, *head(9.4, 8, 8)[1:]], "lilac", {"virgin": True})
    by_do = {}
    for step in made.steps:
        by_do.setdefault(step.do, []).append(step)
    assert "root" not in "+".join(step.zone for step in by_do["lift"])
    assert "root" in by_do["look-again"][0].zone.split("+")
    assert all(step.forecast for do in ("dye", "tone") for step in by_do.get(do, []))


def test_grams_are_those_of_the_head():
    made = plan(head(10, 10, 10), "peach", length="long", density="thick")
    (step,) = [step for step in made.steps if step.formula]
    assert sum(part.grams for part in step.formula) == pytest.approx(180 * 1.35, abs=0.5)
    short = plan(head(10, 10, 10), "peach", length="short", density="fine")
    assert sum(part.grams for s in short.steps for part in s.formula or ()) == pytest.approx(
        60 * 0.75, abs=0.5
    )


def test_it_fades_toward_the_hair_and_faster_where_it_is_porous():
    bare = np.array(LADDER.lab_at(10.0))
    made = plan(head(10, 10, 10), "rose")
    away = [float(delta_e_2000(np.array(faded.lab), bare)) for faded in made.fade]
    assert [faded.washes for faded in made.fade] == [4, 8, 12]
    assert away == sorted(away, reverse=True)
    porous = plan(head(10, 10, 10), "rose", {"porosity": {"mids": "high"}})
    assert porous.fade[0].delta_e00 > made.fade[0].delta_e00
    assert porous.refresh_after < made.refresh_after


def test_the_refresh_brings_the_shade_back():
    made = plan(head(10, 10, 10), "rose")
    step = next(step for step in made.steps if step.formula)
    base = solve_base(np.array(LADDER.lab_at(10.0)))
    held = held_of(step.formula, SHELF)
    left = 0.5 ** (made.refresh_after / 8.0) * held
    again = base.dyed((left + held_of(made.refresh, SHELF)) @ SHELF.curves)
    assert float(delta_e_2000(again, base.dyed(held @ SHELF.curves))) < 1.5


@pytest.mark.parametrize("true", [0.7, 1.0, 1.3])
def test_a_photo_of_the_result_teaches_the_uptake_and_the_next_mix_makes_up_for_it(true):
    hair = head(10, 10, 10)[:3]
    made = plan(hair, "rose")
    formula = made.outlook.zones[0].formula
    dyed = solve_base(np.array(hair[0].lab)).dyed(true * held_of(formula, SHELF) @ SHELF.curves)
    after = [BaseZone(zone.name, tuple(dyed.tolist()), (0.5, 0.5, 0.5)) for zone in hair]
    learned = uptake_from(hair, after, [zone.formula for zone in made.outlook.zones], SHELF)
    assert learned == pytest.approx(true, rel=0.1)
    again = make_plan(
        hair, find_target("rose", TARGETS), SHELF, TARGETS, LADDER, None, History(uptake=learned)
    )
    assert again.calibrated
    clear = [next(p.parts for p in one.outlook.zones[0].formula if p.dye == "clear") for one in (made, again)]
    assert (clear[1] < clear[0]) == (true < 1.0) or true == 1.0


def test_a_shelf_of_few_dyes_is_kept_to():
    few = SHELF.only(["pink", "yellow"])
    made = make_plan(head(10, 10, 10), find_target("coral", TARGETS), few, TARGETS, LADDER)
    used = {part.dye for step in made.steps for part in step.formula or ()}
    assert used <= {"pink", "yellow", "clear"}


def test_parts_of_a_plan_can_be_mixed_again():
    for step in plan(head(9, 10, 10), "dusty rose").steps:
        if step.formula:
            mixed = parse_mix([f"{part.dye}={part.grams}" for part in step.formula])
            assert mixed.shares(SHELF).sum() <= 1.0 + 1e-9


def test_fading_names_each_colour_once():
    first, same, other = (
        Faded(at, (50.0, 5.0, 5.0), name, 1.0) for at, name in ((4, "a"), (8, "a"), (12, "b"))
    )
    assert fading([first, same, other]) == fading([first, other])
    assert fading([first, same]) == fading([first]) != fading([first, other])
