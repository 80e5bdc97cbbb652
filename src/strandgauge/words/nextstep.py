"""The next step in words: one large word and one sentence, of what `strandgauge.judge.nextstep` decided."""

from __future__ import annotations

from dataclasses import dataclass

from strandgauge.hair.stretch import STRETCH_ANSWERS, Stretch
from strandgauge.judge.nextstep import Course, NextStep
from strandgauge.judge.outlook import Outlook
from strandgauge.lift.advice import Advice
from strandgauge.lift.curve import LiftCurve
from strandgauge.words import judge as words
from strandgauge.words import lift, said, say, sentence

_SAYS_ALL = (("gummy-now",), ("slow-now",))
"""Reasons whose sentence says what to do, too."""


@dataclass(frozen=True, slots=True)
class StepInWords(Course):
    """The next step as it is shown."""

    word: str
    """The biggest word of the answer."""
    sentence: str
    """What and why."""


def in_words(step: NextStep) -> StepInWords:
    """Say what to do now."""
    return StepInWords(step.kind, step.minutes, say(f"step.{step.code}"), _why(step))


def _why(step: NextStep) -> str:
    about = step.about
    if about is None:
        return say("step.nothing-to-aim-at") if step.code == "no-shade" else ""
    if isinstance(about, Advice):
        why = " ".join(words.why_sentences(about))
        return why if about.why[:1] in _SAYS_ALL else f"{sentence(words.do_words(about))}. {why}".strip()
    reasons = lift.sentences(about)
    first = reasons[0] if reasons else ""
    if not about.stop:
        return f"{lift.pace(about)} {first}".strip()
    off = sentence(lift.off(about))
    return off if step.kind == "ready" else f"{off} {first}".strip()


def stretch_answers() -> tuple[tuple[Stretch, str, str], ...]:
    """Return each answer, its name, and how it feels."""
    return tuple(
        (answer, say(f"stretch.{answer.replace(' ', '-')}"), say(f"stretch-feels.{answer.replace(' ', '-')}"))
        for answer in STRETCH_ANSWERS
    )


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
