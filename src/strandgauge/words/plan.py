"""A plan in words: each step with its time, its mix and what to watch; then the fading."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

from strandgauge.judge.outlook import LIKELY, POSSIBLE
from strandgauge.judge.plan import Faded, Plan, PlanStep
from strandgauge.lift.advice import COLOURS, Advice
from strandgauge.words import say, sentence
from strandgauge.words.colour import shade_name
from strandgauge.words.judge import doing, formula_text, listed, ratio, why_sentences

NEVER_FOLDED = ("read-dry-first", "only-regrowth")


def step_line(step: PlanStep) -> str:
    """Return what to do in one line, such as 'Mids, ends: tone it (5 to 15 minutes)'."""
    zones = step.zone.split("+")
    where = say("plan.all") if zones == ["overall"] else sentence(listed(zones))
    todo = doing(step.do, step.watch)
    if step.level is not None:
        todo = say("plan.to-level", do=todo, level=step.level)
    if step.do == "lift" and step.minutes is not None:
        return say("plan.step-lift", where=where, do=todo, low=step.minutes.low, high=step.minutes.high)
    if step.minutes is None:
        return say("plan.step", where=where, do=todo)
    return say("plan.step-minutes", where=where, do=todo, low=step.minutes.low, high=step.minutes.high)


def mix_of_step(step: PlanStep) -> str:
    """Return the mix of a step as a ratio and in grams; empty where it has none."""
    if step.formula is None:
        return ""
    return say("plan.mix", ratio=ratio(step.formula), grams=formula_text(step.formula))


def why_lines(step: PlanStep) -> tuple[str, ...]:
    """Return why a step is to be done, where that is told of it."""
    return why_sentences(Advice(step.zone, step.do, step.watch, step.facts))


def watch_lines(step: PlanStep) -> tuple[str, ...]:
    """Return what to look for meanwhile, or why."""
    told = list(why_lines(step))
    for code in step.watch:
        with suppress(KeyError):
            told.append(say(f"watch.{code}"))
    return tuple(told)


def brief_lines(step: PlanStep, first: bool) -> tuple[str, ...]:
    """Return what of a step must not be folded away: why, unless that is told first, and what limits it."""
    must = [say(f"watch.{code}") for code in step.watch if code in NEVER_FOLDED]
    return (*(() if first else why_lines(step)), *must)


def headline(plan: Plan) -> str:
    """Return what the plan comes to."""
    first = plan.steps[0] if plan.steps else None
    shade = sentence(shade_name(plan.target.name))
    if first is None:
        return say("plan.nothing", shade=shade)
    return say("plan.headline", shade=shade, first=step_line(first))


def end_line(plan: Plan) -> str:
    """Say how likely it reads true at the end; empty where nothing is coloured."""
    if not any(step.do in COLOURS for step in plan.steps):
        return ""
    if plan.chance < POSSIBLE:
        return say("plan.unlikely")
    saying = say("verdict-word.true") if plan.chance >= LIKELY else say("verdict-word.may")
    return say("plan.likely", saying=saying, chance=plan.chance)


def melt_line(plan: Plan) -> str:
    """Say how a melt is laid on; empty where there is none."""
    return say("watch.melt-each") if any("melt-each" in step.watch for step in plan.steps) else ""


def fading(fade: Sequence[Faded]) -> str:
    """Return the colour after some washes, each time that it goes by another name."""
    turns = [one for place, one in enumerate(fade) if place == 0 or one.name != fade[place - 1].name]
    return "; ".join(say("plan.fade", washes=one.washes, name=one.name) for one in turns)


def refresh_line(plan: Plan) -> str:
    """Say when to come back, and the mix for it; empty where that is not known."""
    if plan.refresh is None or plan.refresh_after is None:
        return ""
    mix = say("plan.mix", ratio=ratio(plan.refresh), grams=formula_text(plan.refresh))
    return say("plan.refresh", washes=plan.refresh_after, mix=mix)


def uptake_line(plan: Plan) -> str:
    """Say what the forecast knows of this hair's uptake."""
    return say("plan.uptake", uptake=plan.uptake) if plan.calibrated else say("plan.uptake-unknown")


def learned_line(uptake: float) -> str:
    """Say what a result has taught of this hair, and how to keep it."""
    return say("plan.learned", uptake=uptake)
