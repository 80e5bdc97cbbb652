"""The search for the best mix: at most three dyes and clear, the smallest CIEDE2000 to the wanted colour.

All subsets of up to three dyes are tried on a coarse grid of proportions and strengths; the best subsets are
then refined together by damped least squares on the three parts of the CIEDE2000 difference (Levenberg 1944,
Marquardt 1963). The unknowns are logarithms of each dye's share against that of the clear base, so that no
share is negative and none of the shares goes beyond the undiluted dye. Everything is vectorised over bases,
targets and subsets.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import delta_e_2000, delta_e_2000_parts, lab_from_xyz, lab_slope
from strandgauge.dye.shelf import Shelf
from strandgauge.hair.pigment import Base
from strandgauge.hair.spectra import observer_weights

Index = NDArray[np.intp]

MOST_DYES = 3
DEGREES = 30.0
"""Degrees of hue by which a dye is off that count as 1 CIEDE2000 when mixes are ranked; own choice."""
FEWER_DYES_COST = 0.05
"""CIEDE2000 that one dye less in the bowl is worth."""
TRACE = 5e-4
"""A share below this is left out."""
_KEPT = {1: 3, 2: 8, 3: 16}
"""How many subsets of one, two and three dyes are refined."""
_KEPT_FEW = {1: 3, 2: 6, 3: 6}
"""... and how many of a few dyes that all fit the shade."""
_NEAR = 64
_KEPT_BRIEF = 6
"""A survey refines the best so many subsets among so many nearest cells ..."""
_ROUNDS = 30
_ROUNDS_BRIEF = 8
"""... and for fewer rounds."""
_WORTH_RANKING = 3.0
"""CIEDE2000 from the best within which a mix is worth to be weighed against it by other merits."""
_BEHIND = {5: 3.0, 9: 1.0, 14: 0.3}
"""After so many rounds a subset that is behind the best by more than this CIEDE2000 is given up."""


@dataclass(frozen=True)
class Solutions:
    """Best mixes for B bases and T targets."""

    shares: Array
    """(B, T, D) share of each dye; clear makes up the rest."""
    lab: Array
    """(B, T, 3) predicted colour."""
    delta_e: Array
    """(B, T) CIEDE2000 to the target."""


@dataclass(frozen=True, eq=False)
class Grid:
    """Coarse mixes of every subset of a shelf's dyes, made once."""

    shelf: Shelf
    members: Index
    """(G, 3) places of the dyes; unused places hold D, a dye that does nothing."""
    shares: Array
    """(G, 3)"""
    size: Index
    """(G,) how many dyes"""
    subset: Index
    """(G,) number of the subset that a row belongs to"""
    absorption: Array
    """(G, 31)"""
    curves: Array
    """(D + 1, 31), the dyes and one that does nothing"""


_STRENGTHS = {
    1: np.geomspace(0.004, 0.97, 14),
    2: np.geomspace(0.006, 0.95, 8),
    3: np.geomspace(0.01, 0.95, 6),
}
_PROPORTIONS = {
    1: np.array([[1.0]]),
    2: np.array([[0.15, 0.85], [0.5, 0.5], [0.85, 0.15]]),
    3: np.array([[1.0, 1.0, 1.0], [4.0, 1.0, 1.0], [1.0, 4.0, 1.0], [1.0, 1.0, 4.0]])
    / np.array([[3.0], [6.0], [6.0], [6.0]]),
}


def make_grid(shelf: Shelf, most: int = MOST_DYES) -> Grid:
    """Return the coarse mixes of up to ``most`` dyes (1 to 3) of a shelf."""
    count = len(shelf.dyes)
    members, shares, sizes, subsets = [], [], [], []
    number = 0
    for size in range(1, min(most, count) + 1):
        cells = (_STRENGTHS[size][:, None, None] * _PROPORTIONS[size][None]).reshape(-1, size)
        for chosen in combinations(range(count), size):
            members.append(np.tile([*chosen, *[count] * (MOST_DYES - size)], (len(cells), 1)))
            shares.append(np.pad(cells, ((0, 0), (0, MOST_DYES - size))))
            sizes.append(np.full(len(cells), size))
            subsets.append(np.full(len(cells), number))
            number += 1
    places, amounts = np.concatenate(members), np.concatenate(shares)
    curves = np.concatenate([shelf.curves, np.zeros((1, shelf.curves.shape[1]))])
    absorption = np.einsum("gk,gkw->gw", amounts, curves[places])
    return Grid(shelf, places, amounts, np.concatenate(sizes), np.concatenate(subsets), absorption, curves)


@dataclass(frozen=True, eq=False)
class Candidates:
    """N mixes under trial, each for one base and one target."""

    base_at: Index
    """(N,) place of the base."""
    target_at: Index
    """(N,) place of the target."""
    members: Index
    """(N, 3) places of the dyes; D where unused."""
    shares: Array
    """(N, 3)"""
    lab: Array
    """(N, 3) predicted colour."""
    delta_e: Array
    """(N,) CIEDE2000 to the target."""

    def pairs(self) -> Index:
        """Return a running number of each candidate's base and target, (N,)."""
        keys = self.base_at * (1 + int(self.target_at.max())) + self.target_at
        return np.asarray(np.unique(keys, return_inverse=True)[1])


def best_mixes(base: Base, targets: Array, grid: Grid) -> Solutions:
    """Return the best mixes for bases (B,) and target colours (T, 3).

    'Best' is the smallest CIEDE2000, where one dye less is worth ``FEWER_DYES_COST``; no dye is a choice too.
    """
    wanted = np.asarray(targets, dtype=float).reshape(-1, 3)
    return _choose(base, wanted, grid, _followed(base, wanted, grid))


def ranked_mixes(
    base: Base, targets: Array, grid: Grid, count: int, strange: Array | None = None
) -> list[list[Array]]:
    """Return for each base (B,) and target (T, 3) mixes (K, D): up to ``count`` of one dye, of two, of three.

    ``strange`` is how far off each dye (D,) is for the shade, in degrees of hue: the strangest of a mix counts.
    """
    wanted = np.asarray(targets, dtype=float).reshape(-1, 3)
    found = _followed(base, wanted, grid, _KEPT if strange is None else _KEPT_FEW)
    width = len(grid.shelf.dyes) + 1
    rank = found.delta_e
    if strange is not None:
        rank = rank + np.append(strange, 0.0)[found.members].max(axis=1) / DEGREES
    ranked: list[list[Array]] = []
    for b in range(len(base.amounts)):
        ranked.append([])
        for t in range(len(wanted)):
            rows = np.flatnonzero((found.base_at == b) & (found.target_at == t))
            rows = rows[np.argsort(rank[rows])]
            full = np.zeros((len(rows), width))
            np.add.at(full, (np.arange(len(rows))[:, None], found.members[rows]), found.shares[rows])
            near = found.delta_e[rows] <= np.min(found.delta_e[rows], initial=np.inf) + _WORTH_RANKING
            first = np.unique(full > 0.0, axis=0, return_index=True)[1]
            first = np.sort(first[near[first]])
            size = (full[first] > 0.0).sum(axis=1)
            chosen = [first[size == dyes][:count] for dyes in range(1, MOST_DYES + 1)]
            ranked[-1].append(full[np.concatenate(chosen), :-1])
    return ranked


@dataclass(frozen=True, eq=False)
class Sieve:
    """The coarse mixes laid over bases (B,), ready to be searched for many targets."""

    base: Base
    grid: Grid
    coarse: Array
    """(B, G, 3)"""
    trees: tuple[Any, ...]
    """One a base, over its CIELAB."""


def make_sieve(base: Base, grid: Grid) -> Sieve:
    """Lay the coarse mixes over bases (B,)."""
    from scipy.spatial import KDTree

    coarse = _laid(base, grid)
    return Sieve(base, grid, coarse, tuple(KDTree(colours, balanced_tree=False) for colours in coarse))


def survey_mixes(sieve: Sieve, targets: Array) -> Solutions:
    """Return good mixes for the sieve's bases and many target colours (T, 3), in a fraction of the time.

    Fewer subsets are followed, and not quite to the end: a difference is at most a few tenths too large.
    """
    base, grid, coarse = sieve.base, sieve.grid, sieve.coarse
    wanted = np.asarray(targets, dtype=float).reshape(-1, 3)
    near = np.stack([tree.query(wanted, k=min(_NEAR, coarse.shape[1]))[1] for tree in sieve.trees])
    shown = np.take_along_axis(coarse[:, None], near[..., None], axis=2)  # (B, T, K, 3)
    order = np.argsort(delta_e_2000(shown, wanted[:, None]), axis=-1)
    subset = np.take_along_axis(grid.subset[near], order, axis=-1)
    again = np.tril(subset[..., :, None] == subset[..., None, :], k=-1).any(axis=-1)
    first = np.argsort(again, axis=-1, kind="stable")[..., :_KEPT_BRIEF]
    rows = np.take_along_axis(np.take_along_axis(near, order, axis=-1), first, axis=-1)
    row, places = rows.ravel(), np.indices(rows.shape).reshape(3, -1)
    base_at, target_at = places[0], places[1]
    lab = coarse[base_at, row]
    start = Candidates(
        base_at, target_at, grid.members[row], grid.shares[row], lab, delta_e_2000(lab, wanted[target_at])
    )
    refined = _refine(base, wanted, grid, start, _ROUNDS_BRIEF)
    return _choose(base, wanted, grid, _without_traces(base, wanted, grid, refined))


def _followed(base: Base, wanted: Array, grid: Grid, kept: dict[int, int] = _KEPT) -> Candidates:
    """Return the most promising subsets of each base (B,) and target (T, 3), followed to the end."""
    coarse = _laid(base, grid)
    refined = _refine(base, wanted, grid, _starts(coarse, wanted, grid, kept), _ROUNDS)
    return _without_traces(base, wanted, grid, refined)


def _laid(base: Base, grid: Grid) -> Array:
    """Return the colours (B, G, 3) of the coarse mixes, base by base: spectra of all at once would fill memory."""
    return np.stack([base.at(place).dyed(grid.absorption) for place in range(len(base.amounts))])


def _starts(coarse: Array, wanted: Array, grid: Grid, kept: dict[int, int]) -> Candidates:
    """Return for each base and target the best cell of each of its most promising subsets."""
    by_size = {size: np.flatnonzero(grid.size == size) for size in kept}
    bases, targets, rows, away = [], [], [], []
    for b, colours in enumerate(coarse):
        for t, aim in enumerate(wanted):
            for size, cells in by_size.items():
                near = _nearest(cells, colours, aim, 14 * kept[size])
                delta = delta_e_2000(colours[near], aim)
                order = np.argsort(delta)
                _, first = np.unique(grid.subset[near[order]], return_index=True)
                chosen = order[np.sort(first)[: kept[size]]]
                rows.append(near[chosen])
                away.append(delta[chosen])
                bases.append(np.full(len(chosen), b))
                targets.append(np.full(len(chosen), t))
    row, base_at = np.concatenate(rows), np.concatenate(bases)
    return Candidates(
        base_at,
        np.concatenate(targets),
        grid.members[row],
        grid.shares[row],
        coarse[base_at, row],
        np.concatenate(away),
    )


def _nearest(cells: Index, colours: Array, aim: Array, count: int) -> Index:
    """Return the ``count`` cells nearest in CIELAB, a cheap sieve; chroma counts less where it is strong."""
    if cells.size <= count:
        return cells
    scale = np.array([1.0, *([1.0 / (1.0 + 0.03 * float(np.hypot(aim[1], aim[2])))] * 2)])
    distance = np.sum(((colours[cells] - aim) * scale) ** 2, axis=1)
    return np.asarray(cells[np.argpartition(distance, count)[:count]])


def _refine(base: Base, wanted: Array, grid: Grid, start: Candidates, rounds: int) -> Candidates:
    """Improve the candidates by damped least squares."""
    absorption, floor = base.absorption[start.base_at], base.floor[start.base_at]
    aims, curves = wanted[start.target_at], grid.curves[start.members]
    law, weights, pair = base.pigments.law, observer_weights(), start.pairs()
    used = start.shares > 0.0
    clear = np.maximum(1.0 - start.shares.sum(axis=1, keepdims=True), 0.01)
    odds = np.where(used, np.log(np.where(used, start.shares, 1.0) / clear), -50.0)

    def forward(u: Array, rows: Index) -> tuple[Array, Array, Array]:
        share = _shares(u)
        total = absorption[rows] + (share[:, None, :] @ curves[rows])[:, 0]
        return share, total, law.reflectance(total, floor[rows]) @ weights

    share, total, xyz = forward(odds, np.arange(len(odds)))
    residual = delta_e_2000_parts(lab_from_xyz(xyz), aims)
    cost = np.sum(residual**2, axis=1)
    damping = np.full(len(odds), 1e-2)
    active = np.ones(len(odds), dtype=bool)
    for turn in range(rounds):
        if turn in _BEHIND:
            active &= np.sqrt(cost) < np.sqrt(_least(cost, pair))[pair] + _BEHIND[turn]
        rows = np.flatnonzero(active)
        if rows.size == 0:
            break
        slope = law.slope(total[rows], floor[rows])
        by_share = lab_slope(xyz[rows]) @ np.swapaxes((curves[rows] * slope[:, None, :]) @ weights, 1, 2)
        by_odds = by_share @ (share[rows][:, :, None] * (np.eye(3) - share[rows][:, None, :]))
        jacobian = _parts_slope(lab_from_xyz(xyz[rows]), aims[rows]) @ by_odds
        normal = np.swapaxes(jacobian, 1, 2) @ jacobian
        gradient = (residual[rows][:, None, :] @ jacobian)[:, 0]
        extra = damping[rows, None] * (np.einsum("nkk->nk", normal) + 1e-6)
        step = -np.linalg.solve(normal + extra[:, :, None] * np.eye(3), gradient[..., None])[..., 0]
        tried = np.clip(odds[rows] + np.clip(step, -1.5, 1.5), -50.0, 7.0)
        new_share, new_total, new_xyz = forward(tried, rows)
        new_residual = delta_e_2000_parts(lab_from_xyz(new_xyz), aims[rows])
        new_cost = np.sum(new_residual**2, axis=1)
        better, gain = new_cost < cost[rows], cost[rows] - new_cost
        win = rows[better]
        odds[win], share[win], residual[win] = tried[better], new_share[better], new_residual[better]
        total[win], xyz[win], cost[win] = new_total[better], new_xyz[better], new_cost[better]
        damping[rows] = np.where(better, damping[rows] * 0.2, damping[rows] * 6.0)
        settled = (better & (gain < 1e-7 * (1.0 + cost[rows]))) | (damping[rows] > 1e7) | (cost[rows] < 1e-6)
        active[rows[settled]] = False
    return replace(start, shares=np.where(used, share, 0.0), lab=lab_from_xyz(xyz), delta_e=np.sqrt(cost))


def _least(cost: Array, pair: Index) -> Array:
    """Return the smallest cost of each pair of base and target."""
    least = np.full(int(pair.max()) + 1, np.inf)
    np.minimum.at(least, pair, cost)
    return least


def _shares(odds: Array) -> Array:
    """Return shares (N, 3) from logarithms of share over clear."""
    top = np.maximum(odds.max(axis=1, keepdims=True), 0.0)
    weight = np.exp(odds - top)
    return np.asarray(weight / (np.exp(-top) + weight.sum(axis=1, keepdims=True)))


def _parts_slope(lab: Array, aims: Array) -> Array:
    """Return the derivative (N, 3, 3) of the parts of CIEDE2000 by CIELAB, by differences."""
    step = 1e-4
    moved = lab + step * np.concatenate([np.zeros((1, 1, 3)), np.eye(3)[:, None, :]])
    parts = delta_e_2000_parts(moved, aims)
    return np.moveaxis((parts[1:] - parts[:1]) / step, 0, -1)


def _without_traces(base: Base, wanted: Array, grid: Grid, found: Candidates) -> Candidates:
    """Return the candidates with shares too small to weigh left out."""
    kept = np.where(found.shares >= TRACE, found.shares, 0.0)
    rows = np.flatnonzero(np.any((found.shares > 0.0) & (kept == 0.0), axis=1))
    if rows.size == 0:
        return found
    added = (kept[rows][:, None, :] @ grid.curves[found.members[rows]])[:, 0]
    lab, delta = found.lab.copy(), found.delta_e.copy()
    lab[rows] = base.at(found.base_at[rows]).dyed(added)
    delta[rows] = delta_e_2000(lab[rows], wanted[found.target_at[rows]])
    return replace(found, shares=kept, lab=lab, delta_e=delta)


def _choose(base: Base, wanted: Array, grid: Grid, found: Candidates) -> Solutions:
    """Return the best candidate of each base and target, or no dye where that is as good."""
    bare = base.lab
    shape = (len(bare), len(wanted))
    rank = found.delta_e + FEWER_DYES_COST * np.sum(found.shares > 0.0, axis=1)
    order = np.lexsort((rank, found.pairs()))
    best = order[np.unique(found.pairs()[order], return_index=True)[1]]
    full = np.zeros((len(best), len(grid.shelf.dyes) + 1))
    np.add.at(full, (np.arange(len(best))[:, None], found.members[best]), found.shares[best])
    undyed = delta_e_2000(bare[:, None, :], wanted[None, :, :])
    leave = undyed <= rank[best].reshape(shape)
    return Solutions(
        np.where(leave[..., None], 0.0, full[:, :-1].reshape(*shape, -1)),
        np.where(leave[..., None], bare[:, None, :], found.lab[best].reshape(*shape, 3)),
        np.where(leave, undyed, found.delta_e[best].reshape(shape)),
    )
