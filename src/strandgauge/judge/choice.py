"""The mix chosen for each zone of hair: the one most likely to read true, of few dyes, as it can be weighed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import as_lab, delta_e_2000
from strandgauge.dye.fitting import FITTING, strangeness
from strandgauge.dye.formula import SMALL_STEPS, FormulaPart, weigh
from strandgauge.dye.region import Region
from strandgauge.dye.shelf import Shelf
from strandgauge.dye.solve import Grid, best_mixes, ranked_mixes
from strandgauge.dye.targets import Target
from strandgauge.hair.levels import Ladder
from strandgauge.hair.pigment import Base, solve_around
from strandgauge.judge.chance import MOST_OF_IT, Draws, share_true
from strandgauge.judge.hairkind import Hair, what_hair
from strandgauge.judge.history import History
from strandgauge.judge.outlook import BaseZone, Pretone, Settings

PRETONE_GAIN = 0.5
"""CIEDE2000 that a pre-tone must win to be worth a second round on the hair."""
THINNEST_TONER = 1.0 / 60.0
"""Share of dye in a pre-tone below which nobody would mix it: one gram in a bowl; own choice."""
RANKED = 3
"""Mixes of unlike dyes that are weighed against each other for each colour aimed at."""
DEEPER_COST = 0.08
"""Chance that the next deeper variant of a shade must win to be chosen over the clearer one ..."""
DYE_COST = (0.0, 0.0, 0.05, 0.13)
"""... that a mix of so many dyes must win against one of none ..."""
STRANGE_COST = 0.5
"""... that one with the opposite of the wanted hue in it must win ..."""
OTHER_DYES_COST = 0.1
"""... and that other dyes than those of the strand as a whole must win."""
MELT = {"root": 1.0, "ends": 0.0}
"""How deep a melt is at each zone, see `Region.at`; half-way between for the others."""
MELT_COST = 0.1
"""Chance that a step of CIEDE2000 away from that depth must win ..."""
MELT_DYES_COST = 0.5
"""... and that dyes must win that the rest of the melt is not made of."""
GIVEN_UP = 0.12
"""Chance that may at most be given up for a simpler mix."""
USUAL_WITHIN = 2.0
"""CIEDE2000 from the shade within which a mix of dyes that fit it must come for others not to be looked at ..."""
UNUSUAL_WITHIN = 10.0
"""... and beyond which others would not save it either."""
FULLER = (1.3, 1.7)
"""Factors by which a mix is made fuller for zones with darker pieces in them."""
LEAST_SPREAD = 0.35
"""Levels by which a zone's pieces must differ, noise taken off, to be judged one by one."""
PIXEL_NOISE = 0.25
"""Levels by which places of one colour differ as read: light and shade between fibres."""


@dataclass(frozen=True, eq=False)
class Work:
    """What stays the same for all zones."""

    target: Target
    region: Region
    shelf: Shelf
    grid: Grid
    ladder: Ladder
    settings: Settings

    def aim(self, zone: str) -> Array:
        """Return the colour (3,) of a melt at a zone."""
        return self.region.at(MELT.get(zone, 0.5))


@dataclass(frozen=True, eq=False)
class Head:
    """One zone, ready to be dyed."""

    zone: BaseZone
    level: float
    level_sd: float
    hair: Hair
    shares: tuple[float, ...]
    """Of its pieces, dark to light."""
    levels: tuple[float, ...]
    pieces: Base
    """(P, 7) pieces and their neighbours."""
    whole: Base
    """(7,) the zone's mean and its neighbours."""

    @property
    def base(self) -> Base:
        """The zone's mean."""
        return self.whole.at(0)


def head_of(zone: BaseZone, ladder: Ladder, history: History) -> Head:
    """Return a zone with its pieces and pigments.

    Raises
    ------
    OutsideModelError : no hair has its colour.
    """
    colour = np.asarray(zone.lab, dtype=float)
    level = float(ladder.level_of(colour)) if zone.level is None else zone.level
    sd = (
        float(ladder.level_sd(colour, np.diag(np.square(zone.lab_sd))))
        if zone.level_sd is None
        else zone.level_sd
    )
    found = _pieces(zone, level)
    levels = np.array([one[0] for one in found])
    labs = colour + ladder.lab_at(levels) - ladder.lab_at(level)
    labs[:, 0] = np.clip(labs[:, 0], 2.0, 100.0)
    whole = solve_around(colour, zone.lab_sd)
    pieces = (
        Base(whole.pigments, whole.amounts[None], whole.floor[None])
        if len(found) == 1
        else solve_around(labs, np.broadcast_to(zone.lab_sd, labs.shape))
    )
    return Head(
        zone,
        level,
        sd,
        what_hair(zone, ladder, history),
        tuple(share for _, share in found),
        tuple(levels.tolist()),
        pieces,
        whole,
    )


def _pieces(zone: BaseZone, level: float) -> list[tuple[float, float]]:
    """Return levels and shares of a zone's pieces, dark to light: one piece where it is even within the noise.

    Whole levels make an even zone look like two; their rounding and the pixels' noise are taken off the spread.
    """
    shares = sorted((whole, share) for whole, share in zone.level_shares if share >= 0.03)
    if len(shares) < 2:
        return [(level, 1.0)]
    at, much = np.array(shares).T
    much = much / much.sum()
    mean = float(at @ much)
    spread = float(much @ (at - mean) ** 2)
    true = spread - 1.0 / 12.0 - PIXEL_NOISE**2
    if true < LEAST_SPREAD**2:
        return [(level, 1.0)]
    kept = np.sqrt(true / spread)
    return [(level + kept * (one - mean), float(share)) for one, share in zip(at, much, strict=True)]


@dataclass(frozen=True, eq=False)
class Choice:
    """The mix chosen for a zone."""

    held: Array
    """(D,)"""
    lab: Array
    """(3,) on the zone's mean, pre-tone included."""
    formula: tuple[FormulaPart, ...]
    share: Array
    """(S,) of the hair that reads true in each draw; draws of other zones are of the same heads."""
    alone: Array
    """(S,) the same by draws that are those of any other zone, so that zones alike are told alike."""
    pretone: Pretone | None = None
    first: Array | None = None
    """(31,) what the pre-tone adds."""

    @property
    def true(self) -> NDArray[np.bool_]:
        """(S,) whether the zone reads true."""
        return np.asarray(self.share >= MOST_OF_IT - 1e-9)

    @property
    def chance(self) -> float:
        """Chance that the zone reads true."""
        return float(np.mean(self.alone >= MOST_OF_IT - 1e-9))


def choose_mixes(heads: Sequence[Head], whole: int, drawn: Draws, work: Work) -> list[Choice]:
    """Choose a mix for each zone: that of the strand as a whole first, the others rather from the same dyes.

    A melt starts from its deepest mix, which takes most.
    """
    means, aims = stack([head.base for head in heads]), work.region.anchors
    if work.settings.melt:
        aims = np.vstack([aims, [work.aim(head.zone.name) for head in heads]])
        whole = next((place for place, head in enumerate(heads) if head.zone.name == "root"), whole)
    strange = [strangeness(work.shelf, aims[0], head.base.lab) for head in heads]
    least = np.min(strange, axis=0)
    fits = least <= FITTING
    usual = _few(work.grid, fits) or work.grid
    ranked = ranked_mixes(means, aims, usual, RANKED, least)
    unserved = [
        place
        for place, (head, mine) in enumerate(zip(heads, ranked, strict=True))
        if usual is not work.grid and USUAL_WITHIN < _least_away(head, mine, work) <= UNUSUAL_WITHIN
    ]
    if unserved:
        more = ranked_mixes(stack([heads[place].base for place in unserved]), aims, work.grid, RANKED)
        for place, others in zip(unserved, more, strict=True):
            # Mixes of the usual dyes alone are there already.
            fresh = [mixes[np.any((mixes > 0.0) & ~fits, axis=1)] for mixes in others]
            ranked[place] = [np.vstack(two) for two in zip(ranked[place], fresh, strict=True)]
    first = _choose(heads[whole], whole, ranked[whole], strange[whole], None, drawn, work)
    dyes = first.held > 0.0
    same = _few(work.grid, dyes)
    shared = None if same is None or len(heads) == 1 else best_mixes(means, aims, same)
    chosen = []
    for place, head in enumerate(heads):
        mine = ranked[place]
        if shared is not None and place != whole:
            mine = [np.vstack([mixes, shared.shares[place, k]]) for k, mixes in enumerate(mine)]
        chosen.append(
            first if place == whole else _choose(head, place, mine, strange[place], dyes, drawn, work)
        )
    return chosen


def usual_grid(grid: Grid, wanted: Array, base: Array, within: float = FITTING) -> Grid:
    """Return the coarse mixes of the dyes that fit a colour (3,) on hair of a colour (3,); all where none does."""
    return _few(grid, strangeness(grid.shelf, wanted, base) <= within) or grid


def _least_away(head: Head, ranked: list[Array], work: Work) -> float:
    """Return how near the best of some mixes that can be weighed comes to the shade."""
    held = np.vstack(ranked)
    away = work.region.away(head.base.dyed(held @ work.shelf.curves))
    return float(away[~_rough(held, work)].min(initial=np.inf))


def _rough(held: Array, work: Work) -> NDArray[np.bool_]:
    """Return which mixes (K, D) of several dyes hold too little of one to be weighed well."""
    steps = work.shelf.bowl(held) * work.settings.bowl / work.settings.scale
    small = np.any((steps > 0.0) & (steps < SMALL_STEPS), axis=1)
    return np.asarray(small & ((held > 0.0).sum(axis=1) > 1))


def stack(bases: Sequence[Base]) -> Base:
    """Return bases as one (B,)."""
    return Base(
        bases[0].pigments, np.stack([one.amounts for one in bases]), np.stack([one.floor for one in bases])
    )


def _few(grid: Grid, dyes: NDArray[np.bool_]) -> Grid | None:
    """Return the coarse mixes of some dyes (D,) only; None where there is none."""
    rows = np.flatnonzero(np.all(np.append(dyes, True)[grid.members], axis=1))  # the last does nothing
    if rows.size == 0:
        return None
    return replace(
        grid,
        members=grid.members[rows],
        shares=grid.shares[rows],
        size=grid.size[rows],
        subset=grid.subset[rows],
        absorption=grid.absorption[rows],
    )


def _choose(
    head: Head,
    place: int,
    ranked: list[Array],
    strange: Array,
    dyes: NDArray[np.bool_] | None,
    drawn: Draws,
    work: Work,
) -> Choice:
    """Choose among mixes by the chance of success, fewer dyes, and dyes near the wanted hue.

    Where none has a chance, by the colour.
    """
    shelf, region, settings = work.shelf, work.region, work.settings
    mixes, depth = [np.zeros((1, len(shelf.dyes)))], [0]
    for anchor, some in enumerate(ranked):
        mixes.append(some)
        depth += [anchor] * len(some)
        if len(head.shares) > 1:
            # Pieces that are darker take a fuller mix, which may serve more of the hair.
            most = 1.0 / np.maximum(some.sum(axis=1, keepdims=True), 1e-9)
            mixes += [some * np.minimum(factor, most) for factor in FULLER]
            depth += [anchor] * (2 * len(some))
    held = np.vstack(mixes)
    given = head.base.dyed(held @ shelf.curves)
    away = region.away(given)
    rough = _rough(held, work)
    if settings.melt:
        deeper = MELT_COST * delta_e_2000(given, work.aim(head.zone.name))
    else:
        deeper = DEEPER_COST * np.array(depth)
    # Where nothing comes near, the nearest it is.
    least = float(away[~rough].min())
    worth = np.flatnonzero(~rough & (away <= least + (3.0 if least <= settings.close_within else 1.0)))
    pieces = weighted(head)
    shares = [
        share_true(pieces, held[one], shelf.curves, region, settings.true_within, drawn, 0) for one in worth
    ]
    counts = (held[worth] > 0.0).sum(axis=1)
    alone = MELT_DYES_COST if settings.melt else OTHER_DYES_COST
    other = 0.0 if dyes is None else alone * np.any((held[worth] > 0.0) & ~dyes, axis=1)
    chance = np.array([np.mean(one >= MOST_OF_IT - 1e-9) for one in shares])
    score = chance + 0.2 * np.mean(shares, axis=1)
    strangest = np.max(np.where(held[worth] > 0.0, strange, 0.0), axis=1)
    score = score - STRANGE_COST * strangest / 180.0
    score = score - deeper[worth] - np.take(DYE_COST, counts) - other - 0.02 * away[worth]
    if dyes is None and not settings.melt:
        worse = (away[worth] > settings.close_within) & (least <= settings.close_within)
        score[worse | (chance < chance.max() - GIVEN_UP)] = -np.inf
    best = int(worth[int(np.argmax(score))])
    # Where no mix comes near, none is shown: what it would give is nobody's wish.
    return _weighed(head, place, held[best if away[best] <= settings.turns_within else 0], drawn, work)


def weighted(head: Head) -> list[tuple[float, Base]]:
    """Return the share and the base (7,) of each of a zone's pieces."""
    return [(share, head.pieces.at(k)) for k, share in enumerate(head.shares)]


def _weighed(head: Head, place: int, held: Array, drawn: Draws, work: Work) -> Choice:
    """Weigh a mix for a zone, with a pre-tone where that is worth a second round."""
    shelf, settings = work.shelf, work.settings
    lab = head.base.dyed(held @ shelf.curves)
    weighed = weigh(head.base, lab, shelf.bowl(held), shelf, settings.bowl, settings.scale)
    choice = Choice(shelf.held(weighed.shares), weighed.lab, weighed.parts, np.zeros(1), np.zeros(1))
    away = float(work.region.away(choice.lab))
    if settings.pretone and settings.true_within < away <= settings.turns_within:
        choice = _pretoned(head, choice, away, work)
    pieces = [
        (share, piece if choice.first is None else piece.over(choice.first))
        for share, piece in weighted(head)
    ]
    return in_draws(choice, pieces, drawn, place, work)


def in_draws(
    choice: Choice, pieces: list[tuple[float, Base]], drawn: Draws, place: int, work: Work
) -> Choice:
    """Return a choice with the share of hair that reads true in each draw: of its own zone, and of any."""
    own, any_zone = (
        share_true(
            pieces,
            choice.held,
            work.shelf.curves,
            work.region,
            work.settings.true_within,
            drawn,
            zone,
        )
        for zone in (place, 0)
    )
    return replace(choice, share=own, alone=any_zone)


def _pretoned(head: Head, plain: Choice, away: float, work: Work) -> Choice:
    """Return the choice after a pre-tone that wins enough; else the plain one.

    What a toner takes out of the light adds to what the formula takes out, and the places it fills are not free for
    the formula: it can only help where three dyes, or the strength of the bowl, were the limit.
    """
    shelf, region, settings = work.shelf, work.region, work.settings
    strange = strangeness(shelf, region.anchors[0], head.base.lab)
    strengths = np.geomspace(0.01, 0.6, 7)
    toners = strengths[:, None, None] * shelf.curves
    quick = region.away(head.base.dyed(toners + plain.held @ shelf.curves))
    quick = np.where(strange <= FITTING, quick, np.inf)
    strength, dye = np.unravel_index(int(np.argmin(quick)), quick.shape)
    if quick[strength, dye] > away - PRETONE_GAIN / 2.0:
        return plain
    toner = np.zeros(len(shelf.dyes))
    toner[dye] = strengths[strength]
    lab = head.base.dyed(toner @ shelf.curves)
    whole = weigh(head.base, lab, shelf.bowl(toner), shelf, settings.bowl, settings.scale)
    if float(whole.shares.sum()) < THINNEST_TONER:
        return plain
    before = shelf.held(whole.shares)
    first, room = before @ shelf.curves, shelf.room(before)
    over = head.base.over(first)
    found = best_mixes(over.at((None,)), region.anchors, work.grid)
    aim = int(np.argmin(region.away(found.lab[0])))
    bowl = shelf.bowl(found.shares[0, aim] / max(room, 1e-6))
    after = weigh(over, found.lab[0, aim], bowl, shelf, settings.bowl, settings.scale, room)
    if float(region.away(after.lab)) > away - PRETONE_GAIN:
        return plain
    pretone = Pretone(shelf.names[dye], whole.parts, as_lab(whole.lab), away)
    return Choice(
        room * shelf.held(after.shares), after.lab, after.parts, plain.share, plain.alone, pretone, first
    )
