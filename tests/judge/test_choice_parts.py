"""The choice's parts, on mixes, distances and chances that are given: what wins, on both sides of each limit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from strandgauge.colour.cielab import delta_e_2000
from strandgauge.dye.fitting import FITTING, strangeness
from strandgauge.dye.region import Region, region_of
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import find_target, load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.judge import choice
from strandgauge.judge.chance import Draws, draws
from strandgauge.judge.choice import Choice, Work, choose_mixes, head_of
from strandgauge.judge.history import NOTHING_TOLD, History
from strandgauge.judge.needs import grid_for
from strandgauge.judge.outlook import BaseZone, Pretone, Settings

SHELF, TARGETS, LADDER = load_shelf(), load_targets(), load_ladder()
FEW = SHELF.only(["yellow", "orange", "red", "brown"])
TWO = SHELF.only(["violet", "pink"])
SD = (0.8, 0.6, 0.9)
TIMES = 100
DRAWN = draws(1, 4, TIMES, 3)


def bench(shade="copper", shelf=FEW, **settings):
    target = find_target(shade, TARGETS)
    return Work(
        target, region_of(target), shelf, grid_for(shelf), LADDER, Settings(samples=TIMES, **settings)
    )


def zone(at=9.0, name="overall", shares=(), lab=None, **told):
    colour = tuple(LADDER.lab_at(at).tolist()) if lab is None else lab
    return BaseZone(name, colour, SD, level_shares=shares, **told)


def head(at=9.0, name="overall", shares=(), history=NOTHING_TOLD, **told):
    return head_of(zone(at, name, shares, **told), LADDER, history)


# --- the zone and its pieces ---------------------------------------------------------------------------


def test_pieces_keep_the_mean_and_the_spread_that_is_not_noise():
    """Sheppard's correction for whole levels (1/12), and the pixels' noise, are taken off the variance."""
    of = head(8.6, shares=((10, 0.2), (7, 0.3), (9, 0.4), (8, 0.02)), level=8.6)
    at, share = np.array(of.levels), np.array(of.shares)
    assert share == pytest.approx(np.array([0.3, 0.4, 0.2]) / 0.9)
    assert share @ at == pytest.approx(8.6)
    read = np.array([7.0, 9.0, 10.0])
    spread = share @ (read - share @ read) ** 2
    assert share @ (at - 8.6) ** 2 == pytest.approx(spread - 1.0 / 12.0 - 0.25**2)
    # Each piece is the zone's colour, moved along the ladder.
    for place, level in enumerate(of.levels):
        moved = np.array(of.zone.lab) + LADDER.lab_at(level) - LADDER.lab_at(8.6)
        assert of.pieces.at((place, 0)).lab == pytest.approx(moved, abs=0.01)
        up = of.pieces.at((place, 1)).lab - of.pieces.at((place, 0)).lab
        assert up == pytest.approx([SD[0], 0.0, 0.0], abs=0.05)


@pytest.mark.parametrize(
    ("shares", "pieces"),
    [
        ((), 1),
        (((9, 1.0),), 1),
        (((9, 0.5), (10, 0.5)), 1),
        (((9, 0.97), (5, 0.03)), 2),
        (((9, 0.971), (5, 0.029)), 1),
        (((8, 0.133), (9, 0.734), (10, 0.133)), 1),  # just within what even hair shows ...
        (((8, 0.135), (9, 0.73), (10, 0.135)), 3),  # ... and just beyond
    ],
)
def test_where_a_zone_is_in_pieces(shares, pieces):
    of = head(9.0, shares=shares, level=9.0)
    assert len(of.shares) == len(of.levels) == len(of.pieces.amounts) == pieces
    if pieces == 1:
        assert (of.shares, of.levels) == ((1.0,), (9.0,))
        assert of.pieces.at((0, 0)).lab == pytest.approx(of.zone.lab, abs=0.01)
    assert of.whole.amounts.shape[0] == 7
    assert of.base.lab == pytest.approx(of.zone.lab, abs=0.01)


def test_what_was_read_of_a_zone_counts_before_what_its_colour_says():
    plain, read = head(9.0), head(9.0, level=8.2, level_sd=0.7)
    assert (read.level, read.level_sd) == (8.2, 0.7)
    assert plain.level == pytest.approx(9.0)
    wide = head_of(replace(zone(9.0), lab_sd=tuple(2.0 * one for one in SD)), LADDER, NOTHING_TOLD)
    assert 0.0 < plain.level_sd < wide.level_sd < 2.5 * plain.level_sd
    white = head(lab=(84.0, 0.0, 5.0), history=History(natural_white=True))
    assert white.hair.kind == "white"
    assert head(9.0, "ends", history=History(lightened=("ends",))).hair.kind == "lifted"


def test_a_piece_darker_than_any_hair_is_as_dark_as_hair_gets():
    of = head(lab=(50.0, 4.0, 32.0), shares=((1, 0.05), (9, 0.95)), level=9.0)
    assert of.levels[0] < 2.0
    assert of.pieces.at((0, 0)).lab[0] == pytest.approx(2.0, abs=0.02)


def test_a_zone_reads_true_where_three_quarters_of_it_do():
    one = Choice(np.zeros(4), np.zeros(3), (), np.array([0.75, 0.74, 1.0]), np.array([0.75, 0.74, 0.0, 0.1]))
    assert one.true.tolist() == [True, False, True]
    assert one.chance == 0.25


# --- which mix wins ------------------------------------------------------------------------------------


class Told:
    """A region from which each mix is as far as is said."""

    def __init__(self, of, shelf, rows):
        self.labs = of.base.dyed(np.array([held for held, *_ in rows]) @ shelf.curves)
        self.far = np.array([far for _, far, _ in rows])
        self.deep = self.labs[0]

    def away(self, lab):
        lab = np.asarray(lab)
        place = np.argmin(np.linalg.norm(lab[..., None, :] - self.labs, axis=-1), axis=-1)
        return self.far[place]

    def at(self, depth):
        return self.deep


@pytest.fixture
def pick(monkeypatch):
    """Return which of some mixes is chosen: each held, so far from the shade, of such a chance."""

    def picked(
        *rows, strange=(0, 0, 0, 0), dyes=None, anchors=None, of=None, bare=50.0, deep=None, **settings
    ):
        of = of or head()
        rows = [((0.0, 0.0, 0.0, 0.0), bare, 0.0), *rows]
        region = Told(of, FEW, rows)
        work = replace(bench(**settings), region=region)
        if deep is not None:
            region.deep = deep

        def share_true(pieces, held, curves, where, within, drawn, place):
            assert (within, place) == (3.0, 0)
            assert sum(share for share, _ in pieces) == pytest.approx(1.0)
            chance = next(chance for one, _, chance in rows if np.allclose(one, held, atol=1e-9))
            return np.where(np.arange(TIMES) < round(TIMES * chance), 1.0, 0.0)

        monkeypatch.setattr(choice, "share_true", share_true)
        monkeypatch.setattr(choice, "_weighed", lambda head, place, held, drawn, work: held)
        anchors = anchors or [range(len(rows) - 1)]
        ranked = [np.array([rows[1 + place][0] for place in some]).reshape(-1, 4) for some in anchors]
        dyes = None if dyes is None else np.array(dyes)
        held = choice._choose(of, 0, ranked, np.array(strange, dtype=float), dyes, DRAWN, work)
        return next(place for place, row in enumerate(rows) if np.allclose(row[0], held, atol=1e-9))

    return picked


ONE, OTHER, PAIR, TRIO = (
    (0.0, 0.3, 0.0, 0.0),
    (0.0, 0.0, 0.3, 0.0),
    (0.0, 0.2, 0.2, 0.0),
    (0.2, 0.2, 0.2, 0.0),
)
ANY = (True, True, True, True)


@pytest.mark.parametrize(
    ("mix", "gains", "loses"),
    [
        (PAIR, 0.05, 0.04),  # costs 0.05 of chance; the mean share counts a fifth on top
        (TRIO, 0.11, 0.10),  # 0.13
    ],
)
def test_a_further_dye_must_win_its_cost_in_chance(pick, mix, gains, loses):
    assert pick((ONE, 1.0, 0.5), (mix, 1.0, 0.5 + gains)) == 2
    assert pick((ONE, 1.0, 0.5), (mix, 1.0, 0.5 + loses)) == 1


def test_a_dye_of_the_opposite_hue_must_win_its_own(pick):
    """90 degrees off: half of 0.5. The strangest of a mix counts, and only of what is in it."""
    off = (0, 0, 90, 180)
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.71), strange=off, dyes=ANY) == 2
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.70), strange=off, dyes=ANY) == 1
    off = (45, 0, 90, 180)
    assert pick((PAIR, 1.0, 0.5), (TRIO, 1.0, 0.57), strange=off, dyes=ANY) == 2
    assert pick((PAIR, 1.0, 0.5), (TRIO, 1.0, 0.56), strange=off, dyes=ANY) == 1


def test_other_dyes_than_the_strands_must_win_theirs(pick):
    ours = (True, True, False, False)
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.59), dyes=ours) == 2
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.58), dyes=ours) == 1
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.58), dyes=ANY) == 2


def test_a_deeper_variant_must_win_its_own_for_each_step(pick):
    steps = {"anchors": [[0], [1], [2]], "dyes": ANY}
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.57), (TRIO, 40.0, 0.0), **steps) == 2
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.56), (TRIO, 40.0, 0.0), **steps) == 1
    assert pick((ONE, 1.0, 0.5), (TRIO, 40.0, 0.0), (OTHER, 1.0, 0.64), **steps) == 3
    assert pick((ONE, 1.0, 0.5), (TRIO, 40.0, 0.0), (OTHER, 1.0, 0.63), **steps) == 1


def test_of_equal_chance_the_nearer_wins_at_two_hundredths_a_step(pick):
    assert pick((ONE, 2.0, 0.5), (OTHER, 1.0, 0.5)) == 2
    assert pick((ONE, 1.0, 0.5), (OTHER, 2.0, 0.52)) == 2
    assert pick((ONE, 1.0, 0.5), (OTHER, 2.0, 0.51)) == 1


@pytest.mark.parametrize(
    ("least", "farther", "considered"),
    [(1.0, 3.9, True), (1.0, 4.1, False), (6.0, 8.9, True), (6.1, 7.0, True), (6.1, 7.2, False)],
)
def test_only_mixes_about_as_near_as_the_nearest_are_weighed_against_it(pick, least, farther, considered):
    """Within 3 CIEDE2000 of it where that comes close, else within 1: where nothing is near, the nearest it is."""
    assert pick((ONE, least, 0.3), (OTHER, farther, 1.0), dyes=ANY) == (2 if considered else 1)


def test_the_strand_itself_is_not_made_worse_than_close_where_it_could_be_close(pick):
    assert pick((ONE, 4.0, 0.5), (OTHER, 6.1, 0.6)) == 1
    assert pick((ONE, 4.0, 0.5), (OTHER, 6.0, 0.6)) == 2
    assert pick((ONE, 4.0, 0.5), (OTHER, 6.1, 0.6), dyes=ANY) == 2
    assert pick((ONE, 6.1, 0.5), (OTHER, 6.9, 0.6)) == 2
    assert pick((ONE, 6.0, 0.5), (OTHER, 6.9, 0.6)) == 1


def test_no_more_chance_is_given_up_for_a_simpler_mix_than_is_said(pick):
    off = (0, 0, 90, 0)
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.63), strange=off) == 2
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.61), strange=off) == 1
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.63), strange=off, dyes=ANY) == 1
    of = head()
    deep = halfway(*of.base.dyed(np.array([ONE, OTHER]) @ FEW.curves))
    assert pick((ONE, 1.0, 0.5), (OTHER, 1.0, 0.63), strange=off, of=of, melt=True, deep=deep) == 1


def test_beyond_a_turn_of_the_colour_nothing_is_mixed(pick):
    assert pick((ONE, 20.0, 0.0)) == 1
    assert pick((ONE, 20.1, 0.0)) == 0
    assert pick((ONE, 1.0, 0.0), bare=0.5) == 0  # hair that is the shade already


def test_a_mix_that_cannot_be_weighed_well_is_not_chosen(pick):
    def trace(grams):
        return tuple(FEW.held(np.array([0.0, 0.1, grams / 60.0, 0.0])))

    assert pick((ONE, 1.0, 0.5), (trace(0.49), 0.5, 1.0)) == 1
    assert pick((ONE, 1.0, 0.5), (trace(0.51), 0.5, 1.0)) == 2
    assert pick((ONE, 1.0, 0.5), (trace(0.51), 0.5, 1.0), scale=0.2) == 1
    assert pick((ONE, 1.0, 0.5), (trace(0.51), 0.5, 1.0), bowl=30.0) == 1
    lone = tuple(FEW.held(np.array([0.0, 0.2 / 60.0, 0.0, 0.0])))
    assert pick((lone, 1.0, 0.5)) == 1  # one dye alone can be measured out in a larger bowl
    assert pick((PAIR, 1.0, 0.5), (lone, 1.0, 0.6)) == 2
    assert (
        pick((ONE, 1.0, 0.5), (trace(0.49), 0.5, 1.0), (trace(0.51), 0.5, 0.9), (trace(0.05), 0.5, 1.0)) == 3
    )


def times(factor, mix):
    return tuple(factor * one for one in mix)


def test_hair_in_pieces_is_offered_fuller_mixes_but_none_fuller_than_undiluted(pick):
    pieced = head(8.5, shares=((7, 0.4), (10, 0.6)), level=8.5)
    fuller = ((times(1.3, ONE), 1.0, 0.0), (times(1.7, ONE), 1.0, 0.0))
    for better in (0, 1):
        rows = [(mix, far, 0.9 if place == better else 0.0) for place, (mix, far, _) in enumerate(fuller)]
        assert pick((ONE, 1.0, 0.5), *rows, anchors=[[0]], of=pieced) == 2 + better
    assert pick((ONE, 1.0, 0.5), (times(1.3, ONE), 1.0, 0.9), anchors=[[0]]) == 1  # of one piece: as it is
    strong = (0.0, 0.8, 0.0, 0.0)
    rows = (strong, 1.0, 0.5), (times(1.25, strong), 1.0, 0.9)
    assert pick(*rows, anchors=[[0]], of=pieced) == 2
    rows = (ONE, 1.0, 0.5), (strong, 1.0, 0.0), (times(1.3, ONE), 1.0, 0.0), (times(1.7, ONE), 1.0, 0.9)
    assert pick(*rows, (times(1.25, strong), 1.0, 0.0), anchors=[[0, 1]], of=pieced) == 4
    # A fuller mix for a deeper variant costs what the variant does.
    for chances, chosen in (((0.0, 0.57), 4), ((0.56, 0.56), 1)):
        deeper = [(times(f, OTHER), 1.0, chance) for f, chance in zip((1.3, 1.7), chances, strict=True)]
        rows = [(ONE, 1.0, 0.5), (OTHER, 1.0, 0.0), *deeper, *((times(f, ONE), 9.0, 0.0) for f in (1.3, 1.7))]
        assert pick(*rows, anchors=[[0], [1]], of=pieced, dyes=ANY) == chosen


def test_a_melt_keeps_to_its_depth_and_to_its_dyes(pick):
    of = head()
    deeper = (0.0, 0.36, 0.0, 0.0)
    one, other = of.base.dyed(np.array([ONE, deeper]) @ FEW.curves)
    cost = 0.1 * float(delta_e_2000(one, other)) / 1.2
    for chance, chosen in ((cost + 0.02, 2), (cost - 0.02, 1)):
        melt = {"melt": True, "deep": one, "dyes": ANY}
        assert pick((ONE, 1.0, 0.0), (deeper, 1.0, chance), of=of, **melt) == chosen
    # Both as far from the depth: dyes of its own must win half the chance.
    one, other = of.base.dyed(np.array([ONE, OTHER]) @ FEW.curves)
    ours = (True, True, False, False)
    for gain, chosen in ((0.42, 2), (0.41, 1)):
        rows = (ONE, 1.0, 0.5), (OTHER, 1.0, 0.5 + gain)
        assert pick(*rows, of=of, melt=True, deep=halfway(one, other), dyes=ours) == chosen


def halfway(one, other):
    """Return a colour between two that lies as far from the one as from the other."""

    def lean(share):
        colour = one + share * (other - one)
        return float(delta_e_2000(one, colour) - delta_e_2000(other, colour))

    return one + brentq(lean, 0.0, 1.0, xtol=1e-12) * (other - one)


def test_the_mean_share_counts_a_fifth(monkeypatch, pick):
    """Three quarters true each time count as true, and for less than the whole."""
    held = {ONE: 0.75, OTHER: 1.0}

    def share_true(pieces, mix, *_):
        return np.full(TIMES, next((share for one, share in held.items() if np.allclose(one, mix)), 0.0))

    work = replace(bench(), region=Told(head(), FEW, [((0.0,) * 4, 50.0, 0), (ONE, 1.0, 0), (OTHER, 3.0, 0)]))
    monkeypatch.setattr(choice, "share_true", share_true)
    monkeypatch.setattr(choice, "_weighed", lambda head, place, held, drawn, work: held)

    def chosen():
        return choice._choose(head(), 0, [np.array([ONE, OTHER])], np.zeros(4), None, DRAWN, work)

    assert chosen() == pytest.approx(OTHER)  # 0.05 for the share against 0.04 for the distance
    held[ONE] = 0.85
    assert chosen() == pytest.approx(ONE)
    held[ONE] = 0.74
    assert chosen() == pytest.approx(OTHER)


# --- the zones together --------------------------------------------------------------------------------


def test_few_dyes_of_a_grid_are_all_its_mixes_of_none_but_these():
    grid = grid_for(FEW)
    some = choice._few(grid, np.array([True, False, True, False]))
    used = [{int(place) for place in row if place < 4} for row in some.members]
    assert all(one <= {0, 2} for one in used)
    assert {frozenset(one) for one in used} == {frozenset(s) for s in ({0}, {2}, {0, 2})}
    assert len(used) == sum({int(p) for p in row if p < 4} <= {0, 2} for row in grid.members)
    assert some.size.tolist() == [len(one) for one in used]
    laid = np.einsum("gk,gkw->gw", some.shares, some.curves[some.members])
    assert some.absorption == pytest.approx(laid)
    assert len({(int(n), frozenset(one)) for n, one in zip(some.subset, used, strict=True)}) == 3
    assert choice._few(grid, np.zeros(4, dtype=bool)) is None


def test_how_near_some_mixes_come_without_those_that_cannot_be_weighed():
    of, trace = head(), tuple(FEW.held(np.array([0.0, 0.1, 0.005, 0.0])))
    rows = [(ONE, 7.0, 0), (OTHER, 5.0, 0), (trace, 1.0, 0)]
    work = replace(bench(), region=Told(of, FEW, rows))
    assert choice._least_away(of, [np.array([ONE, trace]), np.array([OTHER])], work) == 5.0
    assert choice._least_away(of, [np.array([trace])], work) == np.inf


def test_bases_on_a_stack_are_themselves():
    bases = [head(at).base for at in (7.0, 9.0, 10.0)]
    together = choice.stack(bases)
    assert together.lab == pytest.approx(np.array([one.lab for one in bases]))
    assert together.pigments is bases[0].pigments


def test_a_zone_is_drawn_by_its_own_numbers_and_by_those_of_any():
    two, of, work = draws(2, 4, TIMES, 5), head(9.0), bench()
    turned = Draws(two.base[::-1], two.common, two.own, two.model[::-1])
    (one, base), *_ = choice.weighted(of)
    held = FEW.held(np.array([0.0, 0.3, 0.05, 0.0]))
    near = Region(np.array([of.base.dyed(held @ FEW.curves)]), np.array([of.base.dyed(held @ FEW.curves)]))
    plain = Choice(held, np.zeros(3), (), np.zeros(1), np.zeros(1))
    work = replace(work, region=near)
    found = choice.in_draws(plain, [(one, base)], two, 1, work)
    again = choice.in_draws(plain, [(one, base)], turned, 0, work)
    assert 0.0 < found.chance < 1.0
    assert (found.share != found.alone).any()
    assert found.share.tolist() == again.alone.tolist()
    strict = replace(work, settings=replace(work.settings, true_within=0.5))
    assert choice.in_draws(plain, [(one, base)], two, 1, strict).chance < found.chance


@pytest.fixture
def asked(monkeypatch):
    """Return what is chosen from, zone by zone, in the order in which it is asked."""
    calls = []

    def chosen(head, place, ranked, strange, dyes, drawn, work):
        assert work.settings.samples == len(drawn.common) == TIMES
        calls.append((head.zone.name, place, ranked, strange, dyes))
        held = FEW.held(np.array([0.0, 0.2, 0.0, 0.1]))
        return Choice(held, np.array(head.zone.lab), (), np.ones(1), np.full(1, float(place)))

    monkeypatch.setattr(choice, "_choose", chosen)
    return calls


def test_the_strand_chooses_first_and_the_zones_hear_of_its_dyes(asked):
    heads = [head(9.5, "root"), head(8.0, "ends"), head(9.0, "overall")]
    work = bench()
    found = choose_mixes(heads, 2, draws(3, 4, TIMES, 1), work)
    assert [(name, place) for name, place, *_ in asked] == [("overall", 2), ("root", 0), ("ends", 1)]
    assert [float(one.alone[0]) for one in found] == [0.0, 1.0, 2.0]  # in the order of the zones
    assert asked[0][4] is None
    for of, (_, place, ranked, strange, dyes) in zip((heads[2], *heads[:2]), asked, strict=True):
        assert strange.tolist() == strangeness(FEW, np.array(work.region.anchors[0]), of.base.lab).tolist()
        assert len(ranked) == len(work.region.anchors)
        if place == 2:
            continue
        assert dyes.tolist() == [False, True, False, True]
        for aim, mixes in zip(work.region.anchors, ranked, strict=True):
            # The last is the best for this zone of the strand's dyes.
            assert not mixes[-1][[0, 2]].any()
            best = choice.best_mixes(of.base.at((None,)), aim, choice._few(work.grid, dyes))
            assert mixes[-1] == pytest.approx(best.shares[0, 0], abs=1e-3)


def test_a_zone_alone_and_hair_that_is_mixed_nothing_share_with_none(asked, monkeypatch):
    of, work = head(9.0), bench()
    choose_mixes([of], 0, draws(1, 4, TIMES, 1), work)
    assert len(asked) == 1
    monkeypatch.setattr(
        choice,
        "_choose",
        lambda head, place, ranked, *_: Choice(np.zeros(4), np.zeros(3), ranked, np.ones(1), np.ones(1)),
    )
    alone = choose_mixes([of], 0, draws(1, 4, TIMES, 1), work)[0]
    both = choose_mixes([of, head(9.0, "root")], 0, draws(2, 4, TIMES, 1), work)
    for mixes, same in zip(alone.formula, both[1].formula, strict=True):
        assert len(mixes) == len(same)


def test_a_melt_begins_at_the_root_and_each_zone_has_its_own_depth(asked, monkeypatch):
    heads = [head(9.0, name) for name in ("overall", "root", "ends")]
    work = bench("rose", melt=True)
    choose_mixes(heads, 0, draws(3, 4, TIMES, 1), work)
    assert [(name, place) for name, place, *_ in asked] == [("root", 1), ("overall", 0), ("ends", 2)]
    assert all(len(ranked) == len(work.region.anchors) + 3 for _, _, ranked, *_ in asked)
    asked.clear()
    choose_mixes([heads[0], heads[2]], 1, draws(2, 4, TIMES, 1), work)
    assert [name for name, *_ in asked] == ["ends", "overall"]  # without a root, as without a melt
    aimed, ranked_mixes = [], choice.ranked_mixes

    def ranked(means, aims, grid, count, strange):
        aimed.append(aims)
        assert strange.tolist() == strangeness(FEW, aims[0], heads[0].base.lab).tolist()
        return ranked_mixes(means, aims, grid, count, strange)

    monkeypatch.setattr(choice, "ranked_mixes", ranked)
    choose_mixes(heads, 0, draws(3, 4, TIMES, 1), work)
    *_, middle, deepest, clearest = aimed[0]
    assert (deepest == work.region.anchors[-1]).all()
    assert (clearest == work.region.anchors[0]).all()
    assert deepest[0] < middle[0] < clearest[0]


def test_dyes_that_do_not_fit_are_looked_at_where_the_others_come_near_but_not_there(asked, monkeypatch):
    shelf = SHELF.only(["blue", "pink", "yellow", "red"])
    work, of = bench("sky blue", shelf), head(10.0)
    fits = strangeness(shelf, work.region.anchors[0], of.base.lab) <= FITTING
    assert 0 < fits.sum() < len(fits)

    def looked(least):
        asked.clear()
        monkeypatch.setattr(choice, "_least_away", lambda *_: least)
        choose_mixes([of, head(10.1, "root")], 0, draws(2, 4, TIMES, 1), work)
        return np.vstack(asked[0][2])

    fitting = {tuple(mix) for mix in looked(2.0).tolist()}
    for least, more in ((2.0, False), (2.1, True), (10.0, True), (10.1, False)):
        mixes = looked(least)
        assert fitting <= {tuple(mix) for mix in mixes.tolist()}
        assert bool((mixes[:, ~fits] > 0.0).any()) == more
        assert len(np.unique(mixes.round(9), axis=0)) == len(mixes)


# --- what is weighed, and the pre-tone -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("far", "settings", "worth"),
    [
        (3.0, {}, False),
        (3.1, {}, True),
        (20.0, {}, True),
        (20.1, {}, False),
        (3.1, {"pretone": False}, False),
    ],
)
def test_a_pre_tone_is_thought_of_where_the_shade_is_missed_but_not_out_of_reach(
    monkeypatch, far, settings, worth
):
    of = head(9.0)
    first = 0.5 * FEW.curves[3]
    before = Pretone("brown", (), (50.0, 5.0, 20.0), far)
    thought, drawn_of = [], []

    def pretoned(head, plain, away, work):
        thought.append(away)
        return replace(plain, pretone=before, first=first)

    def in_draws(choice, pieces, *_):
        drawn_of.append(pieces)
        return choice

    monkeypatch.setattr(choice, "_pretoned", pretoned)
    monkeypatch.setattr(choice, "in_draws", in_draws)
    work = replace(bench(**settings), region=Told(of, FEW, [(ONE, far, 0)]))
    found = choice._weighed(of, 0, np.array(ONE), DRAWN, work)
    assert (thought, found.pretone) == (([far], before) if worth else ([], None))
    assert sum(part.grams for part in found.formula) == pytest.approx(60.0)
    assert found.lab == pytest.approx(of.base.dyed(found.held @ FEW.curves))
    assert found.held == pytest.approx(ONE, abs=1e-6)
    assert next(part.grams for part in found.formula if part.dye == "orange") == 6.0
    # What was laid on before is under it in the draws, too.
    ((share, under),) = drawn_of[0]
    assert share == 1.0
    assert under.at(0).lab == pytest.approx((of.base.over(first) if worth else of.base).lab)


def pretoned(**settings):
    """Return a zone on which a little pink under violet comes nearer to lilac than violet alone, and its mix."""
    work, of = bench("lilac", TWO, **settings), head(8.5)
    return of, work, choose_mixes([of], 0, draws(1, 2, TIMES, 1), work)[0]


def held_of(parts, shelf=TWO):
    grams = {part.dye: part.grams for part in parts}
    assert sum(grams.values()) == pytest.approx(60.0)
    return shelf.held(np.array([grams.get(name, 0.0) / 60.0 for name in shelf.names]))


def test_a_pre_tone_is_told_with_what_it_does_and_the_formula_goes_over_it():
    of, work, found = pretoned()
    tone = found.pretone
    assert {part.dye for part in tone.formula} == {tone.hue, "clear"}
    before = held_of(tone.formula)
    assert found.first == pytest.approx(before @ TWO.curves)
    assert tone.base_after_lab == pytest.approx(of.base.dyed(found.first))
    # The formula finds the places free that the pre-tone has left.
    assert found.held == pytest.approx(TWO.room(before) * held_of(found.formula))
    assert found.lab == pytest.approx(of.base.dyed(found.first + found.held @ TWO.curves))
    away = float(work.region.away(found.lab))
    assert away <= tone.delta_e00_without - choice.PRETONE_GAIN
    plain = pretoned(pretone=False)[2]
    assert (plain.pretone, plain.first) == (None, None)
    assert float(work.region.away(plain.lab)) == pytest.approx(tone.delta_e00_without)
    again = choice._pretoned(of, plain, tone.delta_e00_without, work)
    assert (again.share is plain.share, again.alone is plain.alone) == (True, True)


def test_a_pre_tone_must_win_enough_be_thick_enough_and_of_a_dye_that_fits(monkeypatch):
    _, work, found = pretoned()
    won = found.pretone.delta_e00_without - float(work.region.away(found.lab))
    thick = sum(part.grams for part in found.pretone.formula if part.dye != "clear") / 60.0
    for name, allowed, refused in (
        ("PRETONE_GAIN", won - 0.01, won + 0.01),
        ("THINNEST_TONER", thick - 1e-4, thick + 1e-4),
        ("FITTING", 180.0, -1.0),
    ):
        for limit, there in ((allowed, True), (refused, False)):
            with monkeypatch.context() as patch:
                patch.setattr(choice, name, limit)
                tone = pretoned()[2].pretone
                assert (tone is not None) == there, (name, limit)
