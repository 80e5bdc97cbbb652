"""The next step in words: one large word and one sentence, from what `strandgauge.judge.advise` decided."""

from __future__ import annotations

from strandgauge.judge.nextstep import Kind, NextStep, Stretch
from strandgauge.judge.outlook import Outlook
from strandgauge.lift.advice import Advice
from strandgauge.lift.curve import LiftCurve
from strandgauge.words import judge as words
from strandgauge.words import lift, said, say, sentence

STRETCH_ANSWERS: tuple[Stretch, ...] = ("springs back", "slow", "gummy")

_KINDS: dict[str, Kind] = {
    "lift": "slow",
    "rinse": "ready",
    "look-again": "slow",
    "deposit": "ready",
    "tone": "ready",
    "dye": "ready",
    "choose-another": "stop",
    "stop-condition": "stop",
    "stop-time": "stop",
    "stop-history": "stop",
}
"""The shape for each thing to do; what is to be done before anything else goes slow."""


def next_step(outlook: Outlook | None, curve: LiftCurve | None, stretch: Stretch | None = None) -> NextStep:
    """Say what to do now.

    Parameters
    ----------
    outlook : for the wanted shade, where one is chosen.
    curve : the strand's lift so far, where lightener is on.
    stretch : the stylist's own answer to the stretch test; the worst one that this strand ever got.
    """
    if stretch == "gummy":
        return NextStep("stop", say("step.stop-condition"), say("why.gummy-now"))
    if stretch == "slow" and curve is not None:
        return NextStep("stop", say("step.rinse"), say("why.slow-now"))
    if curve is not None:
        return _lifting(curve)
    if outlook is None:
        return NextStep("go on", say("step.no-shade"), say("step.nothing-to-aim-at"))
    return step_of(outlook.advice)


def step_of(advice: tuple[Advice, ...]) -> NextStep:
    """Return the step that advice before lightener leads to: the first of it, and why."""
    if not advice:
        return NextStep("slow", say("step.look-again"), "")
    first = advice[0]
    why = words.why_sentences(first)
    text = f"{sentence(words.do_words(first))}. {' '.join(why)}".strip()
    return NextStep(_KINDS.get(first.do, "slow"), say(f"step.{first.do}"), text)


def _lifting(curve: LiftCurve) -> NextStep:
    if curve.stop:
        ready = curve.state == "light enough" and curve.advice[0].do == "rinse"
        word = say("step.light-enough") if ready else say(f"step.{curve.advice[0].do}")
        reasons = lift.sentences(curve)
        text = lift.headline(curve) if ready or not reasons else f"{lift.headline(curve)} {reasons[0]}"
        return NextStep("ready" if ready else "stop", word, sentence(text.removeprefix("Stop: ")))
    off = any(one.do == "rinse" for one in curve.advice)
    again = not curve.next_look
    other = any(one.do == "choose-another" for one in curve.advice)
    kind: Kind = "slow" if off or again or other or curve.state == "slowing" else "go on"
    if off:
        word = say("step.rinse-part")
    elif again:
        word = say("step.look-again")
    elif other:
        word = say("step.choose-another")
    else:
        word = say(f"step.{kind.replace(' ', '-')}")
    reasons = lift.sentences(curve)
    return NextStep(
        kind, word, f"{lift.pace(curve)} {reasons[0] if reasons else ''}".strip(), curve.next_look
    )


def stretch_answers() -> tuple[tuple[Stretch, str, str], ...]:
    """Return each answer, its name, and how it feels."""
    return tuple(
        (answer, say(f"stretch.{answer.replace(' ', '-')}"), say(f"stretch-feels.{answer.replace(' ', '-')}"))
        for answer in STRETCH_ANSWERS
    )


def short_verdict(outlook: Outlook) -> str:
    """Return the verdict on the whole without the shade's name, for where that stands beside it."""
    name, whole = outlook.target.name, words.verdict_headline(outlook)
    return sentence(whole[len(name) :].strip().removeprefix("is ").removesuffix("."))


def cautions(outlook: Outlook, curve: LiftCurve | None) -> tuple[str, ...]:
    """Return the outlook's cautions in words."""
    return tuple(said(one) for one in outlook.cautions)


def first_caution(outlook: Outlook | None, curve: LiftCurve | None, standing: str) -> str:
    """Return the one caution to show beside the answer: the most pressing of this hair, else the standing one."""
    if curve is not None:
        return lift.stop_signs()[0]
    if outlook is not None and outlook.cautions:
        return said(outlook.cautions[0])
    return standing


def curve_sentences(curve: LiftCurve) -> tuple[str, ...]:
    """Return the curve's sentences for a page: where the limit is missing, it tells where to enter it."""
    told = lift.sentences(curve)
    if curve.limit is not None:
        return told
    return (*(line for line in told if line != lift.look_up_limit()), say("step.no-limit"))
