"""The next step, in one word and one sentence: what a colourist with wet gloves has to know first.

Whatever speaks most strongly for stopping wins: the fingers first, then the clock and the lift curve, then the
outlook. Nothing here says that hair can bear more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from strandgauge.judge.advice import LOOK_UP_LIMIT, load_rules
from strandgauge.judge.follow import LiftCurve
from strandgauge.judge.outlook import Outlook
from strandgauge.show.terminal.outlook import chance_line, needs_line, verdict_headline

Kind = Literal["go on", "slow", "stop", "ready"]
Stretch = Literal["springs back", "slow", "gummy"]

LIKELY = 0.5
"""Chance of reading true from which a true verdict is taken at its word."""

STRETCH_QUESTION = "Wet a few hairs and stretch them. What do they do?"
STRETCH_ANSWERS: tuple[tuple[Stretch, str, str], ...] = (
    ("springs back", "Springs back", "as untreated hair does"),
    ("slow", "Slow", "stretches, comes back slowly"),
    ("gummy", "Gummy", "stays long, mushy, or breaks"),
)
"""The answer, its name, and how it feels. Common practice of the trade, no source."""

GUMMY = "It felt gummy. Rinse the lightener off now, and no more lift on this hair, whatever its level."
SLOW_STRETCH = "It came back slowly: this hair is near its limit. Feel it again before anything else."
RINSE_AND_READ = "Rinse, dry it, and read it once more before the shade goes on."
LONG_WAY = (
    "It is a long way to this shade, a lot to ask of hair at once: feel it at every look, and stop at the first "
    "stretchy, gummy or rough strand."
)
NO_LIMIT = "Look up the maker's longest time and enter it: nothing here knows it, and it comes first."
NO_SHADE = "No shade is chosen, so there is nothing to aim at yet."


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to do now."""

    kind: Kind
    """Which shape stands beside the word."""
    word: str
    """The biggest word of the answer."""
    sentence: str
    """What and why."""
    minutes: float | None = None
    """Until the next look, from this one; None where there is no need for one."""


TIME_IS_UP = NextStep(
    "stop", "Time is up", "The maker's time is up: rinse the lightener off, whatever the level."
)


def next_step(outlook: Outlook | None, curve: LiftCurve | None, stretch: Stretch | None = None) -> NextStep:
    """Say what to do now.

    Parameters
    ----------
    outlook : for the wanted shade, where one is chosen.
    curve : the strand's lift so far, where lightener is on.
    stretch : the stylist's own answer to the stretch test; the worst one that this strand ever got.
    """
    if stretch == "gummy":
        return NextStep("stop", "Stop", GUMMY)
    if curve is not None and curve.stop:
        if curve.state != "light enough":
            return NextStep("stop", "Stop", _without_stop(curve.headline))
        if outlook is None or outlook.verdict == "true":
            return NextStep("ready", "Ready", curve.headline)
        # Light enough on the whole, and yet not everywhere, or not for this shade over an old dye.
        return NextStep("slow", "Rinse", f"{curve.headline} {verdict_headline(outlook)}.")
    if curve is None and outlook is not None and (forbidden := _forbidden(outlook)) is not None:
        return NextStep("stop", "Not this shade", forbidden)
    minutes = None if curve is None else curve.next_look
    if stretch == "slow":
        return NextStep("slow", "Go slow", SLOW_STRETCH, minutes)
    if curve is not None and not curve.looks[-1].used:
        return NextStep("slow", "Look again", _why(curve), minutes)
    if outlook is not None and outlook.verdict == "true":
        if outlook.probability_true >= LIKELY:
            after = "" if curve is None else f" {RINSE_AND_READ}"
            return NextStep("ready", "Ready", f"{verdict_headline(outlook)} on this hair.{after}")
        return NextStep("slow", "Look again", chance_line(outlook), minutes)
    if curve is not None:
        if curve.chance_in_time is not None and curve.chance_in_time < load_rules().unlikely:
            return NextStep("slow", "Too slow", _why(curve), minutes)
        if curve.state in ("first look", "lifting"):
            return NextStep("go on", "Go on", _why(curve), minutes)
        return NextStep("slow", "Go slow", _why(curve), minutes)
    if outlook is None:
        return NextStep("go on", "Choose a shade", NO_SHADE)
    return NextStep("slow", "Nearly" if outlook.verdict == "close" else "Not yet", needs_line(outlook))


def short_verdict(outlook: Outlook) -> str:
    """Return the verdict on the whole without the shade's name, for where that stands beside it."""
    name, whole = outlook.target.name, verdict_headline(outlook)
    rest = whole[len(name) :].strip().removeprefix("is ")
    return rest[:1].upper() + rest[1:]


def worst_stretch(answers: tuple[Stretch | None, ...]) -> Stretch | None:
    """Return the worst answer that a strand ever got: what felt gummy once does not mend."""
    for answer in ("gummy", "slow", "springs back"):
        if answer in answers:
            return answer
    return None


def cautions(outlook: Outlook, curve: LiftCurve | None) -> tuple[str, ...]:
    """Return the outlook's cautions as they fit the moment: hair that is lifting is not to be told to stop by them.

    Before lightener goes on, a long way to the shade speaks against it. While it works, that is for the curve, the
    clock and the fingers to say, and the long way is a reason to feel the hair more often.
    """
    if curve is None or curve.stop or _forbidden(outlook) is None:
        return outlook.cautions
    return (LONG_WAY, *outlook.cautions[1:])


def first_caution(outlook: Outlook | None, curve: LiftCurve | None, standing: str) -> str:
    """Return the one caution to show beside the answer: the most pressing of this hair, else the standing one."""
    if outlook is not None and outlook.cautions:
        return cautions(outlook, curve)[0]
    if curve is not None and curve.stop_signs:
        return curve.stop_signs[0]
    return standing


def curve_sentences(curve: LiftCurve) -> tuple[str, ...]:
    """Return the curve's advice for a page: where the limit is missing, it tells where to enter it."""
    sentences = tuple(line for line in curve.advice if line != LOOK_UP_LIMIT)
    return sentences if curve.limit is not None else (*sentences, NO_LIMIT)


def _why(curve: LiftCurve) -> str:
    """Say why, in one sentence, without the time of the next look, which the page counts down."""
    pace = curve.headline.split(" Look again ")[0]
    if curve.state == "first look" and curve.advice:
        return curve.advice[0]
    if ":" in pace or not curve.looks[-1].used or not curve.advice:
        return pace
    return f"{pace} {curve.advice[0]}"


def _forbidden(outlook: Outlook) -> str | None:
    """Return the outlook's own word against going on, without its 'Stop:', which is said larger."""
    if not outlook.cautions or not outlook.cautions[0].startswith("Stop: "):
        return None
    return _without_stop(outlook.cautions[0])


def _without_stop(text: str) -> str:
    rest = text.removeprefix("Stop: ")
    return rest[:1].upper() + rest[1:]
