"""The outlook: will the wanted shade read true on this hair, and if not, what gets there.

zones + wanted shade -> candidate mixes -> the one most likely to read true -> weighed formulas -> verdicts with their
chance -> what it would take, what can be had instead, how the zones come out alike -> advice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import Lab, as_lab, chroma, delta_e_2000, hue_deg
from strandgauge.dye.formula import SMALL_STEPS, FormulaPart, weigh
from strandgauge.dye.mix import prediction_sd
from strandgauge.dye.region import Region, region_of
from strandgauge.dye.shelf import Shelf
from strandgauge.dye.solve import Grid, best_mixes, make_grid, make_sieve, ranked_mixes, survey_mixes
from strandgauge.dye.targets import Target
from strandgauge.hair.levels import Ladder
from strandgauge.hair.pigment import Base, solve_around
from strandgauge.hair.warmth import undertone
from strandgauge.judge.advise import advise
from strandgauge.judge.cautions import cautions_for
from strandgauge.judge.chance import MOST_OF_IT, Draws, draws, share_true
from strandgauge.judge.hairkind import Hair, what_hair
from strandgauge.judge.history import NOTHING_TOLD, History
from strandgauge.judge.needs import grid_for, needs_on, path_of, paths_of
from strandgauge.judge.outlook import (
    EVEN,
    LIKELY,
    POSSIBLE,
    UNEVEN,
    VERDICTS,
    Alternative,
    BaseZone,
    Evening,
    Needs,
    Outlook,
    Piece,
    Pretone,
    Settings,
    Shadow,
    StripStep,
    Verdict,
    ZoneFormula,
    ZoneOutlook,
)
from strandgauge.judge.surer import surer_outlook

STRIP_FROM = 6.0
PRETONE_GAIN = 0.5
"""CIEDE2000 that a pre-tone must win to be worth a second round on the hair."""
THINNEST_TONER = 1.0 / 60.0
"""Share of dye in a pre-tone below which nobody would mix it: one gram in a bowl; own choice."""
RANKED = 3
"""Mixes of unlike dyes that are weighed against each other for each colour aimed at."""
DEEPER_COST = 0.08
"""Chance that the next deeper variant of a shade must win to be chosen over the clearer one ..."""
DYE_COST = (0.0, 0.0, 0.03, 0.13)
"""... that a mix of so many dyes must win against one of none ..."""
OTHER_DYES_COST = 0.1
"""... and that other dyes than those of the strand as a whole must win."""
MELT = {"root": 1.0, "ends": 0.0}
"""How deep a melt is at each zone, see `Region.at`; half-way between for the others."""
MELT_COST = 0.1
"""Chance that a step of CIEDE2000 away from that depth must win ..."""
MELT_DYES_COST = 0.5
"""... and that dyes must win that the rest of the melt is not made of."""
SAME_BOWL = 0.03
"""Chance that may be lost by serving several zones from one bowl."""
FULLER = (1.3, 1.7)
"""Factors by which a mix is made fuller for zones with darker pieces in them."""
LEAST_SPREAD = 0.35
"""Levels by which a zone's pieces must differ, noise taken off, to be judged one by one."""
PIXEL_NOISE = 0.25
"""Levels by which places of one colour differ as read: light and shade between fibres."""
MOST_ALTERNATIVES = 6
NEAREST = 3
NEUTRAL = (1.0, 3.0)
"""a*, b* of a smoky neutral. What looks neutral in hair lies toward +a*, +b* (Brightness and Hue Judgment of
Dyed Hair Color, Acta Psychologica 2023: the direction is published, the size is our own choice)."""


def reach(
    bases: Sequence[BaseZone],
    target: Target,
    shelf: Shelf,
    targets: Sequence[Target],
    ladder: Ladder,
    settings: Settings | None = None,
    history: History = NOTHING_TOLD,
) -> Outlook:
    """Return the outlook for a wanted shade on one or more zones of hair, before any lightener goes on.

    Parameters
    ----------
    bases : zones, such as root, mids, ends and overall; 'overall', or else the first, stands for the whole.
    target : the wanted shade.
    shelf : dyes on the shelf.
    targets : shades from which to propose others that read true.
    ladder : levels of lift.
    history : what was told of the hair.

    Raises
    ------
    OutsideModelError : no hair has the colour of one of the bases.
    BadMixError : the bowl cannot be weighed.
    """
    settings = settings or Settings()
    if history.uptake is not None:
        shelf = _taken_up(shelf, history.uptake)
    work = _Work(target, region_of(target), shelf, grid_for(shelf), ladder, settings)
    path = path_of(target, shelf, ladder)
    heads = [_head(zone, ladder, history) for zone in bases]
    whole = next((place for place, head in enumerate(heads) if head.zone.name == "overall"), 0)
    drawn = draws(len(heads), len(shelf.dyes), settings.samples, settings.seed)
    choices = _choices(heads, whole, drawn, work)
    needs = needs_on(path, settings.true_within)
    zones = tuple(
        _zone_outlook(head, choice, path.shares[-1], needs, work)
        for head, choice in zip(heads, choices, strict=True)
    )
    zones = _in_one_bowl(zones, choices, heads, drawn, whole, work)
    own = [place for place, head in enumerate(heads) if head.zone.name != "overall"] or [whole]
    chance = float(np.mean(np.min([choices[place].true for place in own], axis=0)))
    verdict = max((zones[place].verdict for place in own), key=VERDICTS.index)
    verdict = _verdict(chance, 0.0, settings) if verdict in ("true", "may") else verdict
    asked = [zones[place].needs for place in own]
    most = None if None in asked else max((one for one in asked if one is not None), key=lambda n: n.level)
    outlook = Outlook(
        target=target,
        verdict=verdict,
        probability_true=chance,
        zones=zones,
        base_level=heads[whole].level,
        target_level=float(ladder.level_of(target.lab)),
        needs=most,
        needs_undertone=None if most is None else undertone(ladder.lab_at(most.level), ladder),
        strip=tuple(
            StripStep(float(level), as_lab(base), as_lab(lab), float(away))
            for level, base, lab, away in zip(path.levels, path.base, path.lab, path.away, strict=True)
            if level >= STRIP_FROM
        ),
        instead=_instead(heads, own, target, targets, work) if settings.instead else (),
        evening=_evening(heads, zones, choices, own, work),
        shadow=_shadow(heads, whole, work),
        advice=(),
        cautions=(),
        bowl=settings.bowl,
    )
    outlook = replace(outlook, advice=advise(outlook, history))
    outlook = replace(outlook, surer=surer_outlook(outlook, bases))
    outlook = outlook if settings.every_mix else outlook.as_advised()
    return replace(outlook, cautions=cautions_for(outlook, shelf, settings.scale, history))


@lru_cache(maxsize=8)
def _taken_up(shelf: Shelf, factor: float) -> Shelf:
    return shelf.taken_up(min(max(factor, 0.3), 3.0))


@dataclass(frozen=True, eq=False)
class _Work:
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
class _Head:
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
        return self.whole.at(0)


def _head(zone: BaseZone, ladder: Ladder, history: History) -> _Head:
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
    return _Head(
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
    at, much = np.array(shares, dtype=float).T
    much = much / much.sum()
    mean = float(at @ much)
    spread = float(much @ (at - mean) ** 2)
    true = spread - 1.0 / 12.0 - PIXEL_NOISE**2
    if true < LEAST_SPREAD**2:
        return [(level, 1.0)]
    kept = np.sqrt(true / spread)
    return [(level + kept * (one - mean), float(share)) for one, share in zip(at, much, strict=True)]


# --- each zone ------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Choice:
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


def _choices(heads: Sequence[_Head], whole: int, drawn: Draws, work: _Work) -> list[_Choice]:
    """Choose a mix for each zone: that of the strand as a whole first, the others rather from the same dyes.

    A melt starts from its deepest mix, which takes most.
    """
    means, aims = _stack([head.base for head in heads]), work.region.anchors
    if work.settings.melt:
        aims = np.vstack([aims, [work.aim(head.zone.name) for head in heads]])
        whole = next((place for place, head in enumerate(heads) if head.zone.name == "root"), whole)
    ranked = ranked_mixes(means, aims, work.grid, RANKED)
    first = _choose(heads[whole], whole, ranked[whole], None, drawn, work)
    dyes = first.held > 0.0
    same = _few(work.grid, dyes)
    shared = None if same is None or len(heads) == 1 else best_mixes(means, aims, same)
    chosen = []
    for place, head in enumerate(heads):
        mine = ranked[place]
        if shared is not None and place != whole:
            mine = [np.vstack([mixes, shared.shares[place, k]]) for k, mixes in enumerate(mine)]
        chosen.append(first if place == whole else _choose(head, place, mine, dyes, drawn, work))
    return chosen


def _stack(bases: Sequence[Base]) -> Base:
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
    head: _Head, place: int, ranked: list[Array], dyes: NDArray[np.bool_] | None, drawn: Draws, work: _Work
) -> _Choice:
    """Choose among mixes by the chance of success, then by fewer dyes; where none has a chance, by the colour."""
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
    steps = shelf.bowl(held) * settings.bowl / settings.scale
    rough = np.any((steps > 0.0) & (steps < SMALL_STEPS), axis=1) & ((held > 0.0).sum(axis=1) > 1)
    if settings.melt:
        deeper = MELT_COST * delta_e_2000(given, work.aim(head.zone.name))
    else:
        deeper = DEEPER_COST * np.array(depth)
    worth = np.flatnonzero(~rough & (away <= away[~rough].min() + 3.0))
    pieces = _weighted(head)
    shares = [
        share_true(pieces, held[one], shelf.curves, region, settings.true_within, drawn, 0) for one in worth
    ]
    counts = (held[worth] > 0.0).sum(axis=1)
    alone = MELT_DYES_COST if settings.melt else OTHER_DYES_COST
    other = 0.0 if dyes is None else alone * np.any((held[worth] > 0.0) & ~dyes, axis=1)
    score = np.array([np.mean(one >= MOST_OF_IT - 1e-9) + 0.2 * np.mean(one) for one in shares])
    score = score - deeper[worth] - np.take(DYE_COST, counts) - other - 0.02 * away[worth]
    best = int(worth[int(np.argmax(score))])
    # Where no mix comes near, none is shown: what it would give is nobody's wish.
    return _weighed(head, place, held[best if away[best] <= settings.turns_within else 0], drawn, work)


def _weighted(head: _Head) -> list[tuple[float, Base]]:
    return [(share, head.pieces.at(k)) for k, share in enumerate(head.shares)]


def _weighed(head: _Head, place: int, held: Array, drawn: Draws, work: _Work) -> _Choice:
    """Weigh a mix for a zone, with a pre-tone where that is worth a second round."""
    shelf, settings = work.shelf, work.settings
    lab = head.base.dyed(held @ shelf.curves)
    weighed = weigh(head.base, lab, shelf.bowl(held), shelf, settings.bowl, settings.scale)
    choice = _Choice(shelf.held(weighed.shares), weighed.lab, weighed.parts, np.zeros(1), np.zeros(1))
    away = float(work.region.away(choice.lab))
    if settings.pretone and settings.true_within < away <= settings.turns_within:
        choice = _pretoned(head, choice, away, work)
    pieces = [
        (share, piece if choice.first is None else piece.over(choice.first))
        for share, piece in _weighted(head)
    ]
    return _drawn(choice, pieces, drawn, place, work)


def _drawn(
    choice: _Choice, pieces: list[tuple[float, Base]], drawn: Draws, place: int, work: _Work
) -> _Choice:
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


def _pretoned(head: _Head, plain: _Choice, away: float, work: _Work) -> _Choice:
    """Return the choice after a pre-tone that wins enough; else the plain one.

    What a toner takes out of the light adds to what the formula takes out, and the places it fills are not free for
    the formula: it can only help where three dyes, or the strength of the bowl, were the limit.
    """
    shelf, region, settings = work.shelf, work.region, work.settings
    strengths = np.geomspace(0.01, 0.6, 7)
    toners = strengths[:, None, None] * shelf.curves
    quick = region.away(head.base.dyed(toners + plain.held @ shelf.curves))
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
    return _Choice(
        room * shelf.held(after.shares), after.lab, after.parts, plain.share, plain.alone, pretone, first
    )


def _verdict(chance: float, away: float, settings: Settings) -> Verdict:
    if chance >= LIKELY:
        return "true"
    if chance >= POSSIBLE:
        return "may"
    return "close" if away <= settings.close_within else "turns" if away <= settings.turns_within else "out"


def _zone_outlook(
    head: _Head, choice: _Choice, palest: Array, needs: Needs | None, work: _Work
) -> ZoneOutlook:
    shelf, zone = work.shelf, head.zone
    parts = choice.held[:, None] * shelf.curves
    if choice.first is not None:
        parts = np.vstack([parts, choice.first])
    pieces = [piece.at(0).dyed(parts.sum(axis=0)) for _, piece in _weighted(head)]
    chance, away = choice.chance, float(work.region.away(choice.lab))
    verdict = _verdict(chance, away, work.settings)
    if verdict in ("true", "may"):
        # Where it reads true as it is, no more lift is needed, whatever other hair of this level would need.
        needs = needs and Needs(
            min(needs.level, head.level), min(needs.low, head.level), min(needs.high, head.level)
        )
        needs = needs or Needs(head.level, head.level, head.level)
    elif head.hair.kind == "dyed":
        needs = None  # lightener may not shift what lies on it
    return ZoneOutlook(
        name=zone.name,
        base_lab=zone.lab,
        predicted_lab=as_lab(choice.lab),
        predicted_lab_sd=as_lab(prediction_sd(head.whole, parts)),
        delta_e00=away,
        verdict=verdict,
        probability_true=chance,
        formula=choice.formula,
        pretone=choice.pretone,
        unadjusted_lab=as_lab(head.base.dyed(palest @ shelf.curves)),
        level=head.level,
        level_sd=head.level_sd,
        hair=head.hair.kind,
        cast=head.hair.cast,
        slight=head.hair.slight,
        wanted_lab=work.target.lab,
        red=head.hair.red,
        needs=needs,
        pieces=tuple(
            Piece(level, share, as_lab(lab), float(work.region.away(lab)))
            for level, share, lab in zip(head.levels, head.shares, pieces, strict=True)
        ),
        share_true=float(np.mean(choice.alone)),
    )


def _in_one_bowl(
    zones: tuple[ZoneOutlook, ...],
    choices: list[_Choice],
    heads: Sequence[_Head],
    drawn: Draws,
    whole: int,
    work: _Work,
) -> tuple[ZoneOutlook, ...]:
    """Give zones that agree within the noise one bowl: that of the strand as a whole, or of an earlier zone."""
    order = [whole, *(place for place in range(len(zones)) if place != whole)]
    found = list(zones)
    owners: list[int] = []
    for place in order:
        zone, choice = found[place], choices[place]
        for number, owner in enumerate(owners):
            if choice.pretone is not None or choices[owner].pretone is not None or zone.verdict == "out":
                continue
            shared = replace(
                choices[owner], lab=heads[place].base.dyed(choices[owner].held @ work.shelf.curves)
            )
            shared = _drawn(shared, _weighted(heads[place]), drawn, place, work)
            if shared.chance < choice.chance - SAME_BOWL:
                continue
            if float(work.region.away(shared.lab)) > zone.delta_e00 + UNEVEN / 2.0:
                continue
            if work.settings.melt and float(delta_e_2000(shared.lab, choice.lab)) > UNEVEN:
                continue
            choices[place] = shared
            found[place] = replace(
                _zone_outlook(heads[place], shared, np.zeros(len(shared.held)), zone.needs, work),
                unadjusted_lab=zone.unadjusted_lab,
                bowl=number,
            )
            break
        else:
            owners.append(place)
            found[place] = replace(zone, bowl=len(owners) - 1)
    return tuple(found)


# --- other shades ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Prospect:
    """How one of many shades would do on this hair."""

    name: str
    verdict: Verdict
    chance: float
    needs: Needs | None
    predicted_lab: Lab
    """On the zone where it does worst."""
    delta_e00: float


def prospects(
    bases: Sequence[BaseZone],
    targets: Sequence[Target],
    shelf: Shelf,
    ladder: Ladder,
    settings: Settings | None = None,
) -> tuple[Prospect, ...]:
    """Return how each of many shades would do on all zones of hair, in the order of the shades.

    Raises
    ------
    OutsideModelError : no hair has the colour of one of the bases.
    """
    if not targets:
        return ()
    settings = settings or Settings()
    heads = [_head(zone, ladder, NOTHING_TOLD) for zone in bases]
    own = [place for place, head in enumerate(heads) if head.zone.name != "overall"] or [0]
    work = _Work(targets[0], region_of(targets[0]), shelf, grid_for(shelf), ladder, settings)
    needs = [needs_on(path, settings.true_within) for path in paths_of(targets, shelf, ladder)]
    return _prospects([heads[place] for place in own], targets, needs, work)


def _prospects(
    heads: Sequence[_Head], targets: Sequence[Target], needs: Sequence[Needs | None], work: _Work
) -> tuple[Prospect, ...]:
    """Survey many shades on some zones."""
    shelf, settings = work.shelf, work.settings
    regions = [region_of(one) for one in targets]
    sieve = make_sieve(_stack([head.base for head in heads]), work.grid)
    found = survey_mixes(sieve, np.concatenate([region.anchors for region in regions]))
    drawn = draws(len(heads), len(shelf.dyes), 96, settings.seed)
    prospects_, start = [], 0
    for one, region, need in zip(targets, regions, needs, strict=True):
        end = start + len(region.anchors)
        away = region.away(found.lab[:, start:end])
        best = np.argmin(away + 0.5 * np.arange(end - start), axis=1)
        least = away[np.arange(len(heads)), best]
        worst = int(np.argmax(least))
        chance = 0.0
        if least[worst] <= settings.close_within:
            good = [
                share_true(
                    _weighted(head),
                    found.shares[place, start + best[place]],
                    shelf.curves,
                    region,
                    settings.true_within,
                    drawn,
                    place,
                )
                >= MOST_OF_IT - 1e-9
                for place, head in enumerate(heads)
            ]
            chance = float(np.mean(np.all(good, axis=0)))
        verdict = _verdict(chance, float(least[worst]), settings)
        lab = as_lab(found.lab[worst, start + best[worst]])
        prospects_.append(Prospect(one.name, verdict, chance, need, lab, float(least[worst])))
        start = end
    return tuple(prospects_)


def _instead(
    heads: Sequence[_Head], own: Sequence[int], target: Target, targets: Sequence[Target], work: _Work
) -> tuple[Alternative, ...]:
    """Return other shades that are likely to read true on every zone, nearest in hue first.

    Where there is none, those that come nearest to it: that nothing can be had today helps nobody.
    """
    others = [one for one in targets if one.name != target.name]
    if not others:
        return ()
    found = _prospects([heads[place] for place in own], others, [None] * len(others), work)
    fitting = sorted(
        (_hue_distance(shade.lab, target.lab), place)
        for place, (shade, one) in enumerate(zip(others, found, strict=True))
        if one.chance >= EVEN
    )
    if not fitting:
        near = sorted((-one.chance, one.delta_e00, place) for place, one in enumerate(found))
        fitting = [((0.0, 0.0), place) for _, _, place in near[:NEAREST]]
    return tuple(
        Alternative(
            others[place].name,
            others[place].lab,
            found[place].predicted_lab,
            found[place].delta_e00,
            found[place].chance,
        )
        for _, place in fitting[:MOST_ALTERNATIVES]
    )


def _hue_distance(one: Lab, other: Lab) -> tuple[float, float]:
    """Return how far apart two shades are in hue, in steps of 15 degrees, then in colour as a whole.

    A shade without much hue of its own lies beside no hue.
    """
    away = abs(float((hue_deg(one) - hue_deg(other) + 180.0) % 360.0 - 180.0))
    grey = (float(chroma(one)) < 6.0) != (float(chroma(other)) < 6.0)
    return 6.0 if grey else float(away // 15.0), float(delta_e_2000(one, other))


# --- one colour from root to ends -----------------------------------------------------------------------


def _evening(
    heads: Sequence[_Head],
    zones: Sequence[ZoneOutlook],
    choices: Sequence[_Choice],
    own: Sequence[int],
    work: _Work,
) -> Evening | None:
    """Say whether the zones come out alike, and bring them together at what the darkest can reach."""
    shelf, settings = work.shelf, work.settings
    if len(own) < 2 or settings.melt:
        return None
    now = _largest_difference(np.array([choices[place].lab for place in own]))
    if now <= UNEVEN:
        return Evening(now, now, (), "one-colour")
    darkest = min(own, key=lambda place: heads[place].zone.lab[0])
    if zones[darkest].verdict in ("turns", "out"):
        # To bring pale hair down to what dark hair makes of a wish it cannot carry helps nobody.
        return Evening(now, now, (), "lighten-first", heads[darkest].zone.name)
    aim = choices[darkest].lab
    found = best_mixes(_stack([heads[place].base for place in own]), aim, work.grid)
    met = [
        weigh(heads[place].base, aim, shelf.bowl(found.shares[i, 0]), shelf, settings.bowl, settings.scale)
        for i, place in enumerate(own)
    ]
    then = _largest_difference(np.array([one.lab for one in met]))
    if then > now - 0.5:
        return Evening(now, now, (), "apart")
    formulas = tuple(
        ZoneFormula(heads[place].zone.name, one.parts) for place, one in zip(own, met, strict=True)
    )
    return Evening(now, then, formulas, "meets" if then <= UNEVEN else "partly", aim_lab=as_lab(aim))


def _largest_difference(lab: Array) -> float:
    return float(np.max(delta_e_2000(lab[:, None, :], lab[None, :, :])))


@lru_cache(maxsize=8)
def _pairs_for(shelf: Shelf) -> Grid:
    return make_grid(shelf, most=2)


def _shadow(heads: Sequence[_Head], whole: int, work: _Work) -> Shadow:
    """Return the pair of dyes that makes a smoky neutral of the wanted depth, made for the root."""
    head = next((one for one in heads if one.zone.name == "root"), heads[whole])
    shelf, settings = work.shelf, work.settings
    level = settings.shadow_level if settings.shadow_level is not None else max(1.0, head.level - 2.0)
    aim = np.array([float(work.ladder.lab_at(level)[0]), *NEUTRAL])
    found = best_mixes(head.base.at((None,)), aim, _pairs_for(shelf))
    bowl = shelf.bowl(found.shares[0, 0])
    weighed = weigh(head.base, aim, bowl, shelf, settings.bowl, settings.scale)
    return Shadow(level, as_lab(weighed.lab), weighed.delta_e, weighed.parts, head.zone.name)
