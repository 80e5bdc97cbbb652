"""A plan for the appointment: ordered steps by zone with times and what to watch, then how the shade fades.

Times and amounts are data (``calibration/plan.toml``). What is advised comes from the outlook; nothing is decided
anew here. Formulas for hair that has to be lifted first are forecasts for the level aimed at, and say so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Literal

import numpy as np

from strandgauge.codes.bounds import Share
from strandgauge.codes.facts import Fact
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import Lab, as_lab, delta_e_2000
from strandgauge.colour.names import colour_word
from strandgauge.dye.formula import FormulaPart, weigh
from strandgauge.dye.shelf import Shelf
from strandgauge.dye.solve import best_mixes
from strandgauge.dye.targets import Target
from strandgauge.files.calibration import calibration_file, read_calibration
from strandgauge.hair.levels import Ladder, level_at_least
from strandgauge.hair.pigment import solve_base
from strandgauge.judge.choice import usual_grid
from strandgauge.judge.history import NOTHING_TOLD, ZONES, History
from strandgauge.judge.lifting import load_rules
from strandgauge.judge.needs import grid_for
from strandgauge.judge.outlook import BaseZone, Outlook, Settings, ZoneOutlook
from strandgauge.judge.reach import reach
from strandgauge.lift.advice import COLOURS, STOPS, Advice, Do
from strandgauge.lift.kinetics import minutes_at_soonest

Length = Literal["short", "medium", "long"]
Density = Literal["fine", "medium", "thick"]

BEFORE: tuple[Do, ...] = ("ask-history", "metal-test", "wait", "clarify", "remove-dye")
LIFT_WATCH = ("look-every-five", "stretch-each-look", "scalp-each-look", "makers-time")
FORESEEN_SD = (2.0, 1.2, 1.8)
"""Standard uncertainty of the colour that hair will have once it is lifted; own choice."""
NOTICED = 5.0
"""CIEDE2000 from the fresh colour at which it is time to refresh; own choice."""
LEAST_UPTAKE, MOST_UPTAKE = 0.4, 2.5
UPTAKE_SD = 0.16
"""How far uptake usually lies from what is foretold, as a logarithm: what a photo of a result is weighed against."""


@dataclass(frozen=True, slots=True)
class Times:
    """Times and amounts of a plan."""

    minutes: dict[str, tuple[float, float]]
    half_washes: float
    porous: float
    washes: tuple[float, ...]
    grams: dict[str, float]


@cache
def load_times(path: Path | None = None) -> Times:
    """Read times and amounts; as shipped where no path is given.

    Raises
    ------
    BadCalibrationError : a value is missing or impossible; the line is named.
    """
    table = read_calibration(path or calibration_file("plan.toml"), "strandgauge.plan-times/1")

    def span(name: str) -> tuple[float, float]:
        low, high = table.numbers("minutes", name, count=2, low=0.0, high=120.0)
        return low, high

    return Times(
        {name: span(name) for name in ("lift", "fill", "tone", "dye", "melt", "wash")},
        table.number("fade", "half_washes", low=0.5, high=100.0),
        table.number("fade", "porous", low=0.1, high=1.0),
        table.numbers("fade", "washes", low=0.0, high=100.0),
        {
            name: table.number("grams", name, low=0.01, high=1000.0)
            for name in ("short", "medium", "long", "fine", "thick", "root", "mids", "ends")
        },
    )


@dataclass(frozen=True, slots=True)
class Span:
    """From and to, minutes."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PlanStep:
    """One thing to do, in its turn."""

    zone: str
    """A zone, or several joined by '+'."""
    do: Do
    minutes: Span | None
    formula: tuple[FormulaPart, ...] | None
    watch: tuple[str, ...]
    """Codes of what to look for meanwhile; `strandgauge.words` has a sentence for each."""
    predicted_lab: Lab | None = None
    """What it gives, where it gives a colour."""
    level: float | None = None
    """The level to come to, where it is lifted."""
    facts: tuple[tuple[str, Fact], ...] = ()
    """Numbers and names that the sentences may use."""
    forecast: bool = False
    """Whether the formula is for hair as it will be, and is to be made again from a new reading."""


@dataclass(frozen=True, slots=True)
class Faded:
    """The colour after some washes."""

    washes: float
    lab: Lab
    name: str
    """The nearest word for it."""
    delta_e00: float
    """From the fresh colour."""


@dataclass(frozen=True, slots=True)
class Plan:
    """An appointment, and what comes after it."""

    target: Target
    steps: tuple[PlanStep, ...]
    fade: tuple[Faded, ...]
    refresh: tuple[FormulaPart, ...] | None
    """The mix that brings the shade back when it is time."""
    refresh_after: float | None
    """Washes until then."""
    calibrated: bool
    """Whether the forecast knows from a result how much dye this hair takes up."""
    uptake: float
    """How much dye it takes up against the shelf's forecast."""
    chance: Share
    """Chance that all of it reads true, once the steps before the shade are done."""
    outlook: Outlook
    """As the hair is now."""


def make_plan(
    bases: Sequence[BaseZone],
    target: Target,
    shelf: Shelf,
    targets: Sequence[Target],
    ladder: Ladder,
    settings: Settings | None = None,
    history: History = NOTHING_TOLD,
    length: Length | None = None,
    density: Density = "medium",
) -> Plan:
    """Return the plan for a wanted shade on zones of hair.

    Parameters
    ----------
    bases, target, shelf, targets, ladder, settings, history : as for `strandgauge.judge.reach.reach`.
    length, density : of the hair, for the grams of a whole head; a bowl of the settings' size for each mix where
        no length is given.

    Raises
    ------
    OutsideModelError : no hair has the colour of one of the bases.
    BadMixError : the bowl cannot be weighed.
    """
    settings, times = settings or Settings(), load_times()
    shown, settings = settings, replace(settings, every_mix=True)
    if settings.melt and len(bases) == 1:
        bases = [replace(bases[0], name=name) for name in ("root", "mids", "ends", "overall")]
    outlook = reach(bases, target, shelf, targets, ladder, settings, history)
    lifted = {one.zone for one in outlook.advice if one.do == "lift"}
    then = outlook
    if lifted:
        hair = [
            _as_lifted(zone, outlook.zone(zone.name), ladder) if zone.name in lifted else zone
            for zone in bases
        ]
        # Once lifted, its history is what was just done, and no further lift is spoken of.
        done = History(natural_white=history.natural_white, uptake=history.uptake, lightened=ZONES)
        then = reach(hair, target, shelf, (), ladder, replace(settings, instead=False), done)
    steps = [*_before(outlook, times), *_lifting(outlook, ladder, times)]
    stopped = any(step.do in STOPS for step in steps) and not lifted
    if not _nothing_goes_on(outlook) and (not stopped or outlook.does(*COLOURS)):
        steps += _colouring(outlook, then, shelf, ladder, settings, history, times)
    steps += [_step(one, why=one.why) for one in outlook.advice if one.do == "choose-another"]
    steps = _told_once(steps)
    grams = _grams(length, density, times)
    if grams is not None:
        steps = [_for_the_head(step, grams, settings) for step in steps]
    dyed = _main(then) if any(step.do in COLOURS for step in steps) else None
    taken_up = shelf if history.uptake is None else shelf.taken_up(history.uptake)
    fade, refresh, after = _fading(dyed, taken_up, history, settings, times)
    return Plan(
        target=target,
        steps=tuple(steps),
        fade=fade,
        refresh=refresh,
        refresh_after=after,
        calibrated=history.uptake is not None,
        uptake=1.0 if history.uptake is None else history.uptake,
        chance=then.probability_true,
        outlook=outlook if shown.every_mix else outlook.as_advised(),
    )


def _as_lifted(zone: BaseZone, seen: ZoneOutlook, ladder: Ladder) -> BaseZone:
    """Return a zone as it will be once it has come to the level it needs."""
    level = zone.level or 1.0 if seen.needs is None else seen.needs.level
    level = min(level + 0.25, ladder.lightest)
    return BaseZone(zone.name, as_lab(ladder.lab_at(level)), FORESEEN_SD, level)


def _nothing_goes_on(outlook: Outlook) -> bool:
    return any(one.why[:1] in (("scalp-broken",), ("patch-reacted",)) for one in outlook.advice)


def _span(times: Times, name: str) -> Span:
    return Span(*times.minutes[name])


def _step(
    one: Advice,
    minutes: Span | None = None,
    formula: tuple[FormulaPart, ...] | None = None,
    why: tuple[str, ...] = (),
    lab: Lab | None = None,
    forecast: bool = False,
) -> PlanStep:
    """Return the step for a piece of advice on one zone."""
    facts = one.facts if formula is None else ()
    return PlanStep(one.zone, one.do, minutes, formula, why, lab, facts=facts, forecast=forecast)


def _before(outlook: Outlook, times: Times) -> list[PlanStep]:
    """Return stops, questions, tests and washing."""
    wash = _span(times, "wash")
    return [
        _step(one, wash if one.do in ("clarify", "remove-dye") else None, why=one.why)
        for one in outlook.advice
        if one.do in STOPS or one.do in BEFORE
    ]


def _told_once(steps: Sequence[PlanStep]) -> list[PlanStep]:
    """Return the steps with those that differ in nothing but the zone as one, in the place of the first."""
    alike: dict[tuple[object, ...], list[PlanStep]] = {}
    for step in steps:
        # Mixes are compared as they are weighed; numbers count where they are what is told.
        weighed = None if step.formula is None else tuple((part.dye, part.grams) for part in step.formula)
        told = step.facts if step.do in ("choose-another", "look-again") else ()
        key = (
            step.zone == "overall",
            step.do,
            step.minutes,
            weighed,
            step.watch,
            step.level,
            told,
            step.forecast,
        )
        alike.setdefault(key, []).append(step)
    return [
        replace(same[0], zone="+".join(dict.fromkeys(step.zone for step in same))) for same in alike.values()
    ]


def _melts(outlook: Outlook) -> bool:
    """Whether the root is melted into the lengths: not where it is lifted to their level instead."""
    return outlook.does("melt-root") and not outlook.does("lift", zone="root")


def _lift_span(zone: ZoneOutlook, ladder: Ladder, times: Times) -> Span:
    """Return from when to look and how long at most: what is between, no colour tells before the second look."""
    low, high = times.minutes["lift"]
    if zone.needs is None:
        return Span(low, high)
    soonest = minutes_at_soonest(zone.level, zone.needs.level, ladder)
    return Span(float(min(max(round(soonest), load_rules().look_soonest), low)), high)


def _lifting(outlook: Outlook, ladder: Ladder, times: Times) -> list[PlanStep]:
    """Return lightener, its rinsing, and the look that follows, also at zones that may be there already."""
    lifts = [one for one in outlook.advice if one.do == "lift"]
    steps = []
    for one in lifts:
        seen = outlook.zone(one.zone)
        steps.append(
            PlanStep(
                one.zone,
                "lift",
                _lift_span(seen, ladder, times),
                None,
                (*(("only-regrowth",) if "regrowth" in one.why else ()), *LIFT_WATCH),
                level=None if seen.needs is None else level_at_least(seen.needs.level),
            )
        )
    steps += [PlanStep(one.zone, "rinse", None, None, ("ahead-first", "rinse-cool")) for one in lifts]
    for one in (*lifts, *_unsure(outlook)):
        again = PlanStep(one.zone, "look-again", None, None, ("dry-and-read",))
        steps.append(again if lifts else _step(one, why=one.why))
    return steps


def _unsure(outlook: Outlook) -> list[Advice]:
    """Return what is advised on zones of which a reading cannot tell whether they are there."""
    again = [one for one in outlook.advice if one.do == "look-again"]
    return [one for one in again if not outlook.does(*COLOURS, zone=one.zone)]


def _colouring(
    now: Outlook,
    then: Outlook,
    shelf: Shelf,
    ladder: Ladder,
    settings: Settings,
    history: History,
    times: Times,
) -> list[PlanStep]:
    """Return what goes on: fill, neutralise, root, then the shade."""
    lifts = [one for one in now.advice if one.do == "lift"]
    zones = {zone.name: zone for zone in then.zones}
    steps: list[PlanStep] = []
    filled: list[BaseZone] = []
    for one in then.advice:
        if one.do == "fill":
            formula, lab = _filler(zones[one.zone], then, shelf, ladder, settings)
            steps.append(_step(one, _span(times, "fill"), formula, ("fill-damp",), lab))
            filled.append(BaseZone(one.zone, lab, FORESEEN_SD))
        elif one.do == "neutralise" and (tone := zones[one.zone].pretone) is not None:
            steps.append(_step(one, _span(times, "tone"), tone.formula, ("watch-tone",), tone.base_after_lab))
    if _melts(now) and (shadow := now.shadow) is not None:
        watch = ("melt-into-lengths",)
        steps.append(
            PlanStep("root", "melt-root", _span(times, "melt"), shadow.formula, watch, shadow.predicted_lab)
        )
    if filled:  # the shade goes over the filler, not over the hair as it was
        over = reach(filled, then.target, shelf, (), ladder, replace(settings, instead=False), history)
        zones |= {zone.name: zone for zone in over.zones}
    coloured = [one for one in then.advice if one.do in COLOURS]
    waiting = {one.zone for one in (*lifts, *_unsure(now))}
    if lifts:  # the look after the rinse tells whether these are there; the shade goes on all in one go
        coloured += [replace(one, do="dye") for one in _unsure(then) if zones[one.zone].verdict != "out"]
        coloured.sort(key=lambda one: ZONES.index(one.zone) if one.zone in ZONES else len(ZONES))
    coloured = [one for one in coloured if not (one.zone == "root" and _melts(now))]
    melted = ("melt-each",) if settings.melt and len({zones[one.zone].bowl for one in coloured}) > 1 else ()
    for one in coloured:
        zone, forecast = zones[one.zone], bool(lifts) and one.zone in waiting
        watch = (*(("read-dry-first",) if forecast else ()), *melted, "strand-test", "makers-time-dye")
        time = _span(times, "tone" if one.do == "tone" else "dye")
        steps.append(_step(one, time, zone.formula, watch, zone.predicted_lab, forecast=forecast))
    return steps


def _filler(
    zone: ZoneOutlook, outlook: Outlook, shelf: Shelf, ladder: Ladder, settings: Settings
) -> tuple[tuple[FormulaPart, ...], Lab]:
    """Return the mix that puts back the warm undertone half-way down to the wanted depth."""
    aim = ladder.lab_at((outlook.target_level + zone.level) / 2.0)
    base = solve_base(np.array(zone.base_lab))
    found = best_mixes(base.at((None,)), aim, usual_grid(grid_for(shelf), aim, base.lab, 0.0))
    weighed = weigh(base, aim, shelf.bowl(found.shares[0, 0]), shelf, settings.bowl, settings.scale)
    return weighed.parts, as_lab(weighed.lab)


# --- the whole head --------------------------------------------------------------------------------------


def _grams(length: Length | None, density: Density, times: Times) -> dict[str, float] | None:
    if length is None:
        return None
    whole = times.grams[length] * (1.0 if density == "medium" else times.grams[density])
    return {"overall": whole, **{zone: whole * times.grams[zone] for zone in ("root", "mids", "ends")}}


def _for_the_head(step: PlanStep, grams: dict[str, float], settings: Settings) -> PlanStep:
    """Return a step with its formula in the grams that its zones take on a whole head."""
    if step.formula is None:
        return step
    total = sum(grams[zone] for zone in step.zone.split("+"))
    parts = tuple(
        replace(part, grams=round(round(part.parts / 100.0 * total / settings.scale) * settings.scale, 3))
        for part in step.formula
    )
    return replace(step, formula=parts)


# --- afterwards ------------------------------------------------------------------------------------------


def _main(outlook: Outlook) -> ZoneOutlook | None:
    """Return the zone whose fading is told: the mids, where there are any that take the shade."""
    taking = {one.zone for one in outlook.advice if one.do in COLOURS}
    named = [zone for zone in outlook.zones if zone.name in taking]
    return next((zone for zone in named if zone.name == "mids"), named[0] if named else None)


def held_of(formula: Sequence[FormulaPart], shelf: Shelf) -> Array:
    """Return what hair holds of each dye (D,) after a formula."""
    shares = np.zeros(len(shelf.dyes))
    for part in formula:
        place = shelf.index(part.dye)
        if place is not None:
            shares[place] += part.parts / 100.0
    return shelf.held(shares)


def _fading(
    zone: ZoneOutlook | None, shelf: Shelf, history: History, settings: Settings, times: Times
) -> tuple[tuple[Faded, ...], tuple[FormulaPart, ...] | None, float | None]:
    """Return the colour after some washes, the mix that brings it back, and when that is due."""
    if zone is None:
        return (), None, None
    half = times.half_washes * (times.porous if history.porosity_of(zone.name) == "high" else 1.0)
    base, held = solve_base(np.array(zone.base_lab)), held_of(zone.formula or (), shelf)
    if zone.pretone is not None:
        held = held + held_of(zone.pretone.formula, shelf)
    fresh = base.dyed(held @ shelf.curves)

    def after(washes: float) -> Array:
        return base.dyed(0.5 ** (washes / half) * held @ shelf.curves)

    fade = []
    for washes in times.washes:
        lab = after(washes)
        fade.append(Faded(washes, as_lab(lab), colour_word(lab), float(delta_e_2000(lab, fresh))))
    due = next((float(w) for w in range(1, 31) if float(delta_e_2000(after(w), fresh)) >= NOTICED), None)
    if due is None:
        return tuple(fade), None, None
    lost = (1.0 - 0.5 ** (due / half)) * held
    faded = base.over(0.5 ** (due / half) * held @ shelf.curves)
    weighed = weigh(faded, fresh, shelf.bowl(lost), shelf, settings.bowl, settings.scale)
    return tuple(fade), weighed.parts, due


def uptake_from(
    bases: Sequence[BaseZone],
    results: Sequence[BaseZone],
    formulas: Sequence[Sequence[FormulaPart]],
    shelf: Shelf,
    before: float = 1.0,
) -> float:
    """Return how much dye hair takes up against the shelf's forecast, from zones before and after.

    The factor that explains the results best, drawn towards what was known before by how much uptake usually varies.

    Parameters
    ----------
    bases, results : the same zones before the formulas went on and after, in the same order.
    formulas : what went on each.
    before : what was known; 1 as the shelf says.
    """
    factors = np.geomspace(LEAST_UPTAKE, MOST_UPTAKE, 121)
    cost = (np.log(factors / before) / UPTAKE_SD) ** 2
    for base, result, formula in zip(bases, results, formulas, strict=True):
        added = factors[:, None] * (held_of(formula, shelf) @ shelf.curves)
        apart = delta_e_2000(solve_base(np.array(base.lab)).dyed(added), np.array(result.lab))
        doubt = 1.0 + float(np.mean(np.square([*base.lab_sd, *result.lab_sd])))
        cost = cost + apart**2 / doubt
    return float(factors[int(np.argmin(cost))])
