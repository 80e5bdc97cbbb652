"""The outlook: will the wanted shade read true on this base, and if not, what gets there.

base zones + wanted shade -> best mixes -> weighed formulas -> verdicts with their probability -> what it
would take, what can be had instead, how the zones come out alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import Lab, as_lab, chroma, delta_e_2000, hue_deg
from strandgauge.colour.names import colour_word, difference_words
from strandgauge.dye.formula import SMALL_STEPS, Weighed, too_small, weigh
from strandgauge.dye.mix import prediction_sd, sampled_colours
from strandgauge.dye.palette import Palette
from strandgauge.dye.solve import Grid, Solutions, best_mixes, make_grid
from strandgauge.dye.targets import Target
from strandgauge.hair.levels import Ladder
from strandgauge.hair.pigment import Base, lifted, solve_around
from strandgauge.hair.stain import find_stain
from strandgauge.hair.warmth import undertone
from strandgauge.judge.cautions import cautions_for
from strandgauge.judge.outlook import (
    UNEVEN,
    VERDICTS,
    Alternative,
    BaseZone,
    Evening,
    Outlook,
    Pretone,
    Settings,
    Shadow,
    StripStep,
    Verdict,
    ZoneFormula,
    ZoneOutlook,
)

STRIP_LEVELS = (6.0, 7.0, 8.0, 9.0, 10.0)
DARK_LEVELS = (3.0, 4.0, 5.0)
PRETONE_GAIN = 0.5
"""CIEDE2000 that a pre-tone must win to be worth a second round on the hair."""
SAME_DYES_WORTH = 0.1
"""CIEDE2000 that it is worth to mix all zones from the same dyes."""
DARKER = 0.4
"""Levels by which a zone must lie below the whole to be named as what holds it back."""
MOST_ALTERNATIVES = 6
NEUTRAL = (1.0, 3.0)
"""a*, b* of a smoky neutral. What looks neutral in hair lies toward +a*, +b* (Brightness and Hue Judgment of
Dyed Hair Color, Acta Psychologica 2023: the direction is published, the size is our own choice)."""


def reach(
    bases: Sequence[BaseZone],
    target: Target,
    palette: Palette,
    targets: Sequence[Target],
    ladder: Ladder,
    settings: Settings | None = None,
) -> Outlook:
    """Return the outlook for a wanted shade on one or more zones of hair.

    Parameters
    ----------
    bases : zones, such as root, mids, ends and overall; 'overall', or else the first, stands for the whole.
    target : the wanted shade.
    palette : dyes on the shelf.
    targets : shades from which to propose others that read true.
    ladder : levels of lift.

    Raises
    ------
    OutsideModelError : no hair has the colour of one of the bases.
    BadMixError : the bowl cannot be weighed.
    """
    settings = settings or Settings()
    grid, wanted = _grid_for(palette), np.asarray(target.lab, dtype=float)
    around = solve_around([zone.lab for zone in bases], [zone.lab_sd for zone in bases])
    base = around.at((slice(None), 0))
    whole = next((place for place, zone in enumerate(bases) if zone.name == "overall"), 0)
    lift = _along_lift(base.at(whole), wanted, grid, ladder, settings)
    zones, weighed = _zones(bases, whole, around, target, grid, settings, lift.palest_shares)
    stain = find_stain(bases[whole].lab, bases[whole].lab_sd)
    levels = [float(ladder.level_of(zone.lab)) for zone in bases]
    base_level, darkest = levels[whole], int(np.argmin(levels))
    if base_level - levels[darkest] < DARKER:
        darkest = whole
    return Outlook(
        target=target,
        verdict=max((zone.verdict for zone in zones), key=VERDICTS.index),
        probability_true=min(zone.probability_true for zone in zones),
        zones=zones,
        base_level=base_level,
        needs_level=lift.needs_level,
        needs_undertone=lift.needs_undertone,
        strip=lift.strip,
        instead=_instead(base, whole, target, targets, grid, settings),
        evening=_evening(bases, zones, base, weighed, grid, settings),
        shadow=_shadow(base.at(whole), base_level, palette, ladder, settings),
        cautions=cautions_for(
            zones,
            palette,
            None if darkest == whole else bases[darkest].name,
            levels[darkest],
            lift.needs_level,
            _weighing(zones, palette, settings),
            None if stain is None else stain.hue,
        ),
        bowl=settings.bowl,
    )


@lru_cache(maxsize=8)
def _grid_for(palette: Palette) -> Grid:
    return make_grid(palette)


@lru_cache(maxsize=8)
def _pairs_for(palette: Palette) -> Grid:
    return make_grid(palette, most=2)


# --- each zone ------------------------------------------------------------------------------------------


def _zones(
    bases: Sequence[BaseZone],
    whole: int,
    around: Base,
    target: Target,
    grid: Grid,
    settings: Settings,
    palest: Array,
) -> tuple[tuple[ZoneOutlook, ...], tuple[Weighed, ...]]:
    wanted, palette = np.asarray(target.lab, dtype=float), grid.palette
    base = around.at((slice(None), 0))
    found = best_mixes(base, wanted, grid)
    found = _in_the_same_dyes(base, wanted, found, found.shares[whole, 0], grid)
    draws = np.random.default_rng(settings.seed).standard_normal((settings.samples, 7))
    outlooks, formulas = [], []
    for place, zone in enumerate(bases):
        own = base.at(place)
        first: Array = np.zeros(base.absorption.shape[-1])
        weighed = weigh(own, wanted, found.shares[place, 0], palette, settings.bowl, settings.scale)
        pretone = None
        if settings.pretone and settings.true_within < weighed.delta_e <= settings.turns_within:
            pretone, first, weighed = _pretoned(own, wanted, weighed, found.shares[place, 0], grid, settings)
        added = first + weighed.shares @ palette.curves
        colours = sampled_colours(around.at(place), added, draws)
        verdict = _verdict(weighed.delta_e, settings)
        unadjusted = own.dyed(palest @ palette.curves)
        outlooks.append(
            ZoneOutlook(
                name=zone.name,
                base_lab=zone.lab,
                predicted_lab=as_lab(weighed.lab),
                predicted_lab_sd=as_lab(prediction_sd(around.at(place), added)),
                delta_e00=weighed.delta_e,
                verdict=verdict,
                saying=_saying(verdict, weighed.lab, wanted, own.lab),
                probability_true=float(np.mean(delta_e_2000(colours, wanted) <= settings.true_within)),
                formula=weighed.parts,
                pretone=pretone,
                unadjusted_lab=as_lab(unadjusted),
                unadjusted_saying=colour_word(unadjusted),
            )
        )
        formulas.append(weighed)
    return tuple(outlooks), tuple(formulas)


def _in_the_same_dyes(base: Base, wanted: Array, found: Solutions, shares: Array, grid: Grid) -> Solutions:
    """Return the solutions (B, 1), mixed from the dyes of ``shares`` (D,) wherever that costs next to nothing.

    Several sets of dyes often come equally near; one set for all zones means fewer tubes and no seams.
    """
    dyes = np.append(shares > 0.0, True)  # the last place holds the dye that does nothing
    rows = np.flatnonzero(np.all(dyes[grid.members], axis=1))
    if rows.size == 0:
        return found
    few = replace(
        grid,
        members=grid.members[rows],
        shares=grid.shares[rows],
        size=grid.size[rows],
        subset=grid.subset[rows],
        absorption=grid.absorption[rows],
    )
    same = best_mixes(base, wanted, few)
    near = same.delta_e <= found.delta_e + SAME_DYES_WORTH
    return Solutions(
        np.where(near[..., None], same.shares, found.shares),
        np.where(near[..., None], same.lab, found.lab),
        np.where(near, same.delta_e, found.delta_e),
    )


def _verdict(delta: float, settings: Settings) -> Verdict:
    limits = (settings.true_within, settings.close_within, settings.turns_within)
    return VERDICTS[sum(delta > limit for limit in limits)]


def _saying(verdict: Verdict, lab: Array, wanted: Array, bare: Array) -> str:
    """Put a verdict in words."""
    word, how = colour_word(lab), difference_words(lab, wanted)[:2]
    match verdict:
        case "true":
            return "reads true"
        case "close":
            return "reads close, " + " and ".join(how) if how else "reads close"
        case "turns":
            if word == colour_word(wanted) and how:
                return f"comes out {' and '.join(how)}"
            return f"turns {word}"
        case _:
            hardly = float(delta_e_2000(lab, bare)) < UNEVEN
            return f"out of reach: {'stays' if hardly else 'comes out'} {word}"


def _pretoned(
    base: Base, wanted: Array, plain: Weighed, shares: Array, grid: Grid, settings: Settings
) -> tuple[Pretone | None, Array, Weighed]:
    """Return a pre-tone that wins enough, what it adds (31,), and the formula after it; else no pre-tone.

    What a toner takes out of the light adds to what the formula takes out, so that a pre-tone can only help
    where three dyes, or the strength of the bowl, were the limit. That is tried first, on the formula so far.
    """
    palette = grid.palette
    strengths = np.geomspace(0.01, 0.9, 9)
    toners = strengths[:, None, None] * palette.curves
    quick = delta_e_2000(base.dyed(toners + shares @ palette.curves), wanted)
    strength, dye = np.unravel_index(int(np.argmin(quick)), quick.shape)
    if quick[strength, dye] > plain.delta_e - PRETONE_GAIN / 2.0:
        return None, np.zeros(palette.curves.shape[1]), plain
    choices = [0.5 * strengths[strength], strengths[strength], min(1.0, 2.0 * strengths[strength])]
    best: tuple[Pretone | None, Array, Weighed] = (None, np.zeros(palette.curves.shape[1]), plain)
    for share in choices:
        toner = np.zeros(len(palette.dyes))
        toner[dye] = share
        whole = weigh(
            base, base.dyed(share * palette.curves[dye]), toner, palette, settings.bowl, settings.scale
        )
        first = whole.shares @ palette.curves
        over = base.over(first)
        mix = best_mixes(over.at((None,)), wanted, grid)
        after = weigh(over, wanted, mix.shares[0, 0], palette, settings.bowl, settings.scale)
        if after.delta_e < min(best[2].delta_e, plain.delta_e - PRETONE_GAIN):
            best = (Pretone(palette.names[dye], whole.parts, as_lab(whole.lab), plain.delta_e), first, after)
    return best


# --- the way there --------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Lift:
    """What a shade gives at other levels of lift."""

    strip: tuple[StripStep, ...]
    needs_level: float | None
    needs_undertone: str | None
    palest_shares: Array


def _along_lift(base: Base, wanted: Array, grid: Grid, ladder: Ladder, settings: Settings) -> _Lift:
    """Follow this hair along the lift path: the best result at each level, and the lowest that reads true."""
    levels = np.array([*DARK_LEVELS, *STRIP_LEVELS])
    hair = lifted(base, levels, ladder.lab)
    found = best_mixes(hair, wanted, grid)
    delta = found.delta_e[:, 0]
    strip = tuple(
        StripStep(float(levels[i]), as_lab(hair.lab[i]), as_lab(found.lab[i, 0]), float(delta[i]))
        for i in range(len(DARK_LEVELS), len(levels))
    )
    good = np.flatnonzero(delta <= settings.true_within)
    if good.size == 0:
        return _Lift(strip, None, None, found.shares[-1, 0])
    needs, needed = float(levels[good[0]]), hair.at(int(good[0]))
    if good[0] > 0:
        between = needs - np.array([0.75, 0.5, 0.25])
        finer = lifted(base, between, ladder.lab)
        enough = np.flatnonzero(best_mixes(finer, wanted, grid).delta_e[:, 0] <= settings.true_within)
        if enough.size:
            needs, needed = float(between[enough[0]]), finer.at(int(enough[0]))
    return _Lift(strip, needs, undertone(needed.lab, ladder), found.shares[-1, 0])


def _instead(
    base: Base, whole: int, target: Target, targets: Sequence[Target], grid: Grid, settings: Settings
) -> tuple[Alternative, ...]:
    """Return other shades that read true on the whole and on the darkest zone, nearest in hue first."""
    others = [one for one in targets if one.name != target.name]
    if not others:
        return ()
    darkest = int(np.argmin(base.lab[:, 0]))
    first = best_mixes(base.at(([darkest],)), np.array([one.lab for one in others]), grid, thorough=False)
    kept = np.flatnonzero(first.delta_e[0] <= settings.true_within)
    if kept.size == 0:
        return ()
    shades = [others[place] for place in kept]
    found = best_mixes(base.at(([whole],)), np.array([one.lab for one in shades]), grid, thorough=False)
    worst = np.maximum(found.delta_e[0], first.delta_e[0, kept])
    fitting = [
        (
            _hue_distance(one.lab, target.lab),
            Alternative(one.name, one.lab, as_lab(found.lab[0, i]), float(worst[i])),
        )
        for i, one in enumerate(shades)
        if worst[i] <= settings.true_within
    ]
    fitting.sort(key=lambda item: item[0])
    return tuple(alternative for _, alternative in fitting[:MOST_ALTERNATIVES])


def _hue_distance(one: Lab, other: Lab) -> tuple[float, float]:
    """Return how far apart two shades are in hue, in steps of 15 degrees, then in colour as a whole.

    A shade without much hue of its own lies beside no hue.
    """
    away = abs(float((hue_deg(one) - hue_deg(other) + 180.0) % 360.0 - 180.0))
    grey = (float(chroma(one)) < 6.0) != (float(chroma(other)) < 6.0)
    return 6.0 if grey else float(away // 15.0), float(delta_e_2000(one, other))


# --- one colour from root to ends -----------------------------------------------------------------------


def _evening(
    bases: Sequence[BaseZone],
    zones: Sequence[ZoneOutlook],
    base: Base,
    weighed: Sequence[Weighed],
    grid: Grid,
    settings: Settings,
) -> Evening | None:
    """Say whether the zones come out alike, and bring them together at what the darkest can reach."""
    places = [place for place, zone in enumerate(bases) if zone.name != "overall"]
    if len(places) < 2:
        return None
    now = _largest_difference(np.array([weighed[place].lab for place in places]))
    if now <= UNEVEN:
        return Evening(now, now, (), "all come out as one colour")
    darkest = min(places, key=lambda place: float(base.lab[place, 0]))
    if zones[darkest].verdict == "out of reach":
        # To bring pale hair down to what dark hair makes of a wish it cannot carry helps nobody.
        name = bases[darkest].name
        return Evening(now, now, (), f"no mix evens this out: the {name} must be lighter first")
    aim = weighed[darkest].lab
    found = best_mixes(base.at((places,)), aim, grid)
    found = _in_the_same_dyes(base.at((places,)), aim, found, weighed[darkest].shares, grid)
    met = [
        weigh(base.at(place), aim, found.shares[i, 0], grid.palette, settings.bowl, settings.scale)
        for i, place in enumerate(places)
    ]
    then = _largest_difference(np.array([one.lab for one in met]))
    if then > now - 0.5:
        return Evening(now, now, (), f"no mix evens this out: zones stay {now:.1f} ΔE00 apart")
    formulas = tuple(
        ZoneFormula(bases[place].name, one.parts) for place, one in zip(places, met, strict=True)
    )
    what = colour_word(aim)
    if then <= UNEVEN:
        return Evening(now, then, formulas, f"all zones can meet at {what}, what the darkest reaches")
    return Evening(
        now, then, formulas, f"no mix evens this out fully: meeting at {what} leaves {then:.1f} ΔE00"
    )


def _largest_difference(lab: Array) -> float:
    return float(np.max(delta_e_2000(lab[:, None, :], lab[None, :, :])))


def _shadow(base: Base, base_level: float, palette: Palette, ladder: Ladder, settings: Settings) -> Shadow:
    """Return the pair of dyes that makes a smoky neutral of the wanted depth on this base."""
    level = settings.shadow_level if settings.shadow_level is not None else max(1.0, base_level - 2.0)
    aim = np.array([float(ladder.lab_at(level)[0]), *NEUTRAL])
    found = best_mixes(base.at((None,)), aim, _pairs_for(palette))
    weighed = weigh(base, aim, found.shares[0, 0], palette, settings.bowl, settings.scale)
    return Shadow(level, as_lab(weighed.lab), weighed.delta_e, weighed.parts)


def _weighing(zones: Sequence[ZoneOutlook], palette: Palette, settings: Settings) -> str | None:
    small = [part for zone in zones if (part := too_small(zone.formula, palette, settings.scale))]
    if not small:
        return None
    part = min(small, key=lambda one: one.grams)
    return (
        f"{part.grams:g} g of {part.dye} is too little to weigh well in steps of {settings.scale:g} g: stir "
        f"1 g of it into 9 g of {palette.clear} and weigh ten times as much of that, or mix a bowl "
        f"{int(np.ceil(SMALL_STEPS * settings.scale / part.grams))} times as large."
    )
