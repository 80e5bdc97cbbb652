"""The next step as a record: what a colourist with wet gloves has to know first; words come on the way out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from strandgauge.hair.stretch import Stretch
from strandgauge.judge.outlook import Outlook
from strandgauge.lift.advice import Advice, Do
from strandgauge.lift.curve import LiftCurve

Kind = Literal["go on", "slow", "stop", "ready"]
StepCode = Do | Literal["light-enough", "rinse-part", "go-on", "slow", "no-shade"]

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


@dataclass(frozen=True, slots=True)
class Course:
    """Whether it goes on, and until when."""

    kind: Kind
    """Which shape stands beside the word."""
    minutes: float | None
    """Until the next look, from this one; None where there is no need for one."""


@dataclass(frozen=True, slots=True)
class NextStep(Course):
    """What to do now."""

    code: StepCode
    """The one thing to do."""
    about: Advice | LiftCurve | None = None
    """What its reasons are told from: what it was decided from; None where nothing is known."""


def next_step(outlook: Outlook | None, curve: LiftCurve | None, stretch: Stretch | None = None) -> NextStep:
    """Decide what to do now: whatever speaks most strongly for stopping wins.

    Parameters
    ----------
    outlook : for the wanted shade, where one is chosen.
    curve : the strand's lift so far, where lightener is on.
    stretch : the stylist's own answer to the stretch test; the worst one that this strand ever got.
    """
    if stretch == "gummy":
        return NextStep("stop", None, "stop-condition", Advice("overall", "stop-condition", ("gummy-now",)))
    if stretch == "slow" and curve is not None:
        return NextStep("stop", None, "rinse", Advice("overall", "rinse", ("slow-now",)))
    if curve is not None:
        return _lifting(curve)
    if outlook is None:
        return NextStep("go on", None, "no-shade")
    if not outlook.advice:
        return NextStep("slow", None, "look-again")
    first = outlook.advice[0]
    return NextStep(_KINDS.get(first.do, "slow"), None, first.do, first)


def _lifting(curve: LiftCurve) -> NextStep:
    if curve.stop:
        ready = curve.state == "light enough" and curve.advice[0].do == "rinse"
        return NextStep(
            "ready" if ready else "stop", None, "light-enough" if ready else curve.advice[0].do, curve
        )
    kind: Kind = "slow"
    code: StepCode = "slow"
    if any(one.do == "rinse" for one in curve.advice):
        code = "rinse-part"
    elif not curve.next_look:
        code = "look-again"
    elif any(one.do == "choose-another" for one in curve.advice):
        code = "choose-another"
    elif curve.state != "slowing":
        kind, code = "go on", "go-on"
    return NextStep(kind, curve.next_look, code, curve)


def worst_stretch(answers: tuple[Stretch | None, ...]) -> Stretch | None:
    """Return the worst answer that a strand ever got: what felt gummy once does not mend."""
    for answer in ("gummy", "slow", "springs back"):
        if answer in answers:
            return answer
    return None
