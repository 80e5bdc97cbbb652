"""The outlook: will the wanted shade read true on this hair, and if not, what gets there.

zones + wanted shade -> candidate mixes -> the one most likely to read true -> weighed formulas -> verdicts with their
chance -> what it would take, what can be had instead, how the zones come out alike -> advice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import as_lab, delta_e_2000
from strandgauge.dye.formula import weigh
from strandgauge.dye.mix import prediction_sd
from strandgauge.dye.region import region_of
from strandgauge.dye.shelf import Shelf
from strandgauge.dye.solve import Grid, best_mixes, make_grid
from strandgauge.dye.targets import Target
from strandgauge.hair.levels import Ladder
from strandgauge.hair.warmth import undertone
from strandgauge.judge.advise import advise
from strandgauge.judge.cautions import cautions_for
from strandgauge.judge.chance import Draws, draws
from strandgauge.judge.choice import (
    Choice,
    Head,
    Work,
    choose_mixes,
    head_of,
    in_draws,
    stack,
    usual_grid,
    weighted,
)
from strandgauge.judge.history import NOTHING_TOLD, History
from strandgauge.judge.needs import grid_for, needs_on, path_of
from strandgauge.judge.outlook import (
    UNEVEN,
    VERDICTS,
    BaseZone,
    Evening,
    Needs,
    Outlook,
    Piece,
    Settings,
    Shadow,
    StripStep,
    ZoneFormula,
    ZoneOutlook,
    verdict_of,
)
from strandgauge.judge.prospects import instead_of
from strandgauge.judge.surer import surer_outlook

STRIP_FROM = 6.0
SAME_BOWL = 0.03
"""Chance that may be lost by serving several zones from one bowl."""
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
    work = Work(target, region_of(target), shelf, grid_for(shelf), ladder, settings)
    path = path_of(target, shelf, ladder)
    heads = [head_of(zone, ladder, history) for zone in bases]
    whole = next((place for place, head in enumerate(heads) if head.zone.name == "overall"), 0)
    drawn = draws(len(heads), len(shelf.dyes), settings.samples, settings.seed)
    choices = choose_mixes(heads, whole, drawn, work)
    needs = needs_on(path, settings.true_within)
    zones = tuple(
        _zone_outlook(head, choice, path.shares[-1], needs, work)
        for head, choice in zip(heads, choices, strict=True)
    )
    zones = _in_one_bowl(zones, choices, heads, drawn, whole, work)
    own = [place for place, head in enumerate(heads) if head.zone.name != "overall"] or [whole]
    chance = float(np.mean(np.min([choices[place].true for place in own], axis=0)))
    verdict = max((zones[place].verdict for place in own), key=VERDICTS.index)
    verdict = verdict_of(chance, 0.0, settings) if verdict in ("true", "may") else verdict
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
        instead=instead_of(target, [heads[place] for place in own], targets, work)
        if settings.instead
        else (),
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


def _zone_outlook(head: Head, choice: Choice, palest: Array, needs: Needs | None, work: Work) -> ZoneOutlook:
    shelf, zone = work.shelf, head.zone
    parts = choice.held[:, None] * shelf.curves
    if choice.first is not None:
        parts = np.vstack([parts, choice.first])
    pieces = [piece.at(0).dyed(parts.sum(axis=0)) for _, piece in weighted(head)]
    chance, away = choice.chance, float(work.region.away(choice.lab))
    verdict = verdict_of(chance, away, work.settings)
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
    choices: list[Choice],
    heads: Sequence[Head],
    drawn: Draws,
    whole: int,
    work: Work,
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
            shared = in_draws(shared, weighted(heads[place]), drawn, place, work)
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


# --- one colour from root to ends -----------------------------------------------------------------------


def _evening(
    heads: Sequence[Head],
    zones: Sequence[ZoneOutlook],
    choices: Sequence[Choice],
    own: Sequence[int],
    work: Work,
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
    found = best_mixes(stack([heads[place].base for place in own]), aim, work.grid)
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


def _shadow(heads: Sequence[Head], whole: int, work: Work) -> Shadow:
    """Return the pair of dyes that makes a smoky neutral of the wanted depth, made for the root."""
    head = next((one for one in heads if one.zone.name == "root"), heads[whole])
    shelf, settings = work.shelf, work.settings
    level = settings.shadow_level if settings.shadow_level is not None else max(1.0, head.level - 2.0)
    aim = np.array([float(work.ladder.lab_at(level)[0]), *NEUTRAL])
    found = best_mixes(head.base.at((None,)), aim, usual_grid(_pairs_for(shelf), aim, head.base.lab))
    bowl = shelf.bowl(found.shares[0, 0])
    weighed = weigh(head.base, aim, bowl, shelf, settings.bowl, settings.scale)
    return Shadow(level, as_lab(weighed.lab), weighed.delta_e, weighed.parts, head.zone.name)
