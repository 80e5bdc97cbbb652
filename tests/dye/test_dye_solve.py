"""The search for the best mix, held to a brute-force grid and to an optimiser that knows nothing of it."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from strandgauge.colour.cielab import delta_e_2000
from strandgauge.dye.shelf import Shelf, load_shelf
from strandgauge.dye.solve import FEWER_DYES_COST, best_mixes, make_grid
from strandgauge.dye.targets import load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.pigment import solve_base

SLACK = 2 * FEWER_DYES_COST + 0.02
CASES = [
    ("lilac", 9),
    ("pastel pink", 10),
    ("emerald", 8),
    ("copper", 6),
    ("silver", 10),
    ("violet", 9),
    ("red", 8),
]


def _setting(name, level):
    shelf = load_shelf()
    target = np.array(next(one.lab for one in load_targets() if one.name == name))
    return shelf, target, solve_base(load_ladder().lab[[level - 1]])


@pytest.mark.parametrize(("name", "level"), CASES)
def test_no_worse_than_a_brute_force_grid(name, level):
    shelf, target, base = _setting(name, level)
    found = best_mixes(base, target, make_grid(shelf)).delta_e[0, 0]
    steps = np.array([0, 0.004, 0.01, 0.02, 0.04, 0.07, 0.11, 0.16, 0.22, 0.3, 0.4, 0.52, 0.66, 0.82, 1.0])
    cells = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    cells = cells[cells.sum(axis=1) <= 1.0]
    best = min(
        float(delta_e_2000(base.at(0).dyed(cells @ shelf.curves[list(three)]), target).min())
        for three in combinations(range(len(shelf.dyes)), 3)
    )
    assert found <= best + SLACK


@pytest.mark.parametrize(("name", "level"), CASES[:4])
def test_no_worse_than_an_independent_optimiser(name, level):
    from scipy.optimize import minimize

    shelf, target, base = _setting(name, level)
    found = best_mixes(base, target, make_grid(shelf)).delta_e[0, 0]
    coarse = np.stack(np.meshgrid(*[[0.0, 0.02, 0.1, 0.3, 0.6]] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    coarse = coarse[coarse.sum(axis=1) <= 1.0]
    starts = []
    for three in combinations(range(len(shelf.dyes)), 3):
        delta = delta_e_2000(base.at(0).dyed(coarse @ shelf.curves[list(three)]), target)
        starts.append((float(delta.min()), three, coarse[delta.argmin()]))
    best = np.inf
    for _, three, start in sorted(starts, key=lambda one: one[0])[:30]:  # of the most promising sets of dyes
        curves = shelf.curves[list(three)]

        def away(shares, curves=curves):
            return float(delta_e_2000(base.at(0).dyed(np.maximum(shares, 0.0) @ curves), target))

        result = minimize(
            away,
            start,
            method="SLSQP",
            bounds=[(0, 1)] * 3,
            constraints={"type": "ineq", "fun": lambda shares: 1.0 - shares.sum()},
            options={"maxiter": 40},
        )
        if np.sum(result.x) <= 1.0 + 1e-6 and np.min(result.x) >= -1e-9:
            best = min(best, away(result.x))
    assert found <= best + SLACK


def test_shares_are_a_mix_of_at_most_three_dyes():
    shelf, _, _ = _setting("lilac", 9)
    base = solve_base(load_ladder().lab[5:])
    found = best_mixes(base, np.array([one.lab for one in load_targets()]), make_grid(shelf))
    assert (found.shares >= 0).all()
    assert (found.shares.sum(axis=-1) <= 1 + 1e-9).all()
    assert ((found.shares > 0).sum(axis=-1) <= 3).all()
    assert found.delta_e == pytest.approx(delta_e_2000(found.lab, [[one.lab for one in load_targets()]]))


def test_order_of_the_shelf_changes_nothing():
    shelf, target, base = _setting("mauve", 9)
    turned = Shelf(shelf.dyes[::-1], shelf.clear)
    first, second = (best_mixes(base, target, make_grid(shelf)).delta_e[0, 0] for shelf in (shelf, turned))
    assert first == pytest.approx(second, abs=SLACK)


def test_pale_shades_improve_or_stay_with_each_level_of_lift():
    pale = [one.lab for one in load_targets() if one.lab[0] >= 60]
    found = best_mixes(solve_base(load_ladder().lab[5:]), np.array(pale), make_grid(load_shelf()))
    assert (np.diff(found.delta_e, axis=0) <= 0.1).all()
