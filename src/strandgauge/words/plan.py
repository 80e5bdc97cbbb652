"""A plan in words: each step with its time, its mix and what to watch; then the fading."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

from strandgauge.judge.plan import Faded, Plan, PlanStep
from strandgauge.words import say, sentence
from strandgauge.words.judge import doing, formula_text, listed, ratio


def step_line(step: PlanStep) -> str:
    """Return what to do in one line, such as 'Mids, ends: tone it (5 to 15 minutes)'."""
    zones = step.zone.split("+")
    where = say("plan.all") if zones == ["overall"] else sentence(listed(zones))
    todo = doing(step.do, step.watch)
    if step.level is not None:
        todo = say("plan.to-level", do=todo, level=step.level)
    if step.minutes is None:
        return say("plan.step", where=where, do=todo)
    return say("plan.step-minutes", where=where, do=todo, low=step.minutes.low, high=step.minutes.high)


def mix_of_step(step: PlanStep) -> str:
    """Return the mix of a step as a ratio and in grams; empty where it has none."""
    if step.formula is None:
        return ""
    return say("plan.mix", ratio=ratio(step.formula), grams=formula_text(step.formula))


def watch_lines(step: PlanStep) -> tuple[str, ...]:
    """Return what to look for meanwhile, or why."""
    told, facts = [], {name: value for name, value in step.facts if name.isidentifier()}
    for code in step.watch:
        for table in ("watch", "why"):
            with suppress(KeyError):
                told.append(say(f"watch.{code}") if table == "watch" else say(f"why.{code}", **facts))
                break
    return tuple(told)


def headline(plan: Plan) -> str:
    """Return what the plan comes to."""
    first = plan.steps[0] if plan.steps else None
    shade = sentence(plan.target.name)
    if first is None:
        return say("plan.nothing", shade=shade)
    return say("plan.headline", shade=shade, first=step_line(first), chance=plan.chance)


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
