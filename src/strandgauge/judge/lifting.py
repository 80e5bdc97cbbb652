"""While it lifts: what to do with each part of the strand, from the clock, the fingers and the curve.

The advice only ever asks for less: it never proposes stronger developer, more heat, more time than the maker's limit,
or another round. Whatever speaks most strongly for stopping wins. Common practice of the trade, no source; the limits
are in ``calibration/lift.toml``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from strandgauge.codes.facts import Fact
from strandgauge.files.calibration import calibration_file, read_calibration
from strandgauge.hair.levels import level_at_least
from strandgauge.hair.stretch import Stretch
from strandgauge.lift.advice import Advice
from strandgauge.lift.curve import Estimate, State, ZoneLift
from strandgauge.strand.names import ZoneName


@dataclass(frozen=True, slots=True)
class Rules:
    """When the advice turns (``calibration/lift.toml``)."""

    look_every: float
    """Minutes."""
    look_soonest: float
    slowing: float
    """Levels in 10 minutes."""
    stalled: float
    too_far: float
    """Minutes past the last look beyond which nothing is foretold."""
    unlikely: float
    """Chance of reaching the needed level in time, below which it is called out of reach."""
    warn_past: float
    """Minutes of lightener from which its length is said, and ..."""
    stop_past: float
    """... at which it comes off, unless the maker's time is given."""
    hopeless: float
    """Chance of reaching the needed level below which a lift that hardly moves is given up."""
    within_noise: float
    """Standard uncertainties of the last look below which what it lacks is not waited for."""
    there: float
    """Share of the lifts that will get there at all which already have, from which it is light enough."""


@cache
def load_rules(path: Path | None = None) -> Rules:
    """Read when the advice turns; as shipped where no path is given.

    Raises
    ------
    BadCalibrationError : a value is missing or impossible; the line is named.
    """
    table = read_calibration(path or calibration_file("lift.toml"), "strandgauge.lift/1")
    return Rules(
        look_every=table.number("advice", "look_every", low=1.0, high=30.0),
        look_soonest=table.number("advice", "look_soonest", low=0.5, high=30.0),
        slowing=table.number("advice", "slowing", low=0.0, high=5.0),
        stalled=table.number("advice", "stalled", low=0.0, high=5.0),
        too_far=table.number("advice", "too_far", low=1.0, high=120.0),
        unlikely=table.number("advice", "unlikely", low=0.0, high=1.0),
        warn_past=table.number("advice", "warn_past", low=1.0, high=60.0, default=50.0),
        stop_past=table.number("advice", "stop_past", low=1.0, high=60.0, default=60.0),
        hopeless=table.number("advice", "hopeless", low=0.0, high=1.0, default=0.2),
        within_noise=table.number("advice", "within_noise", low=0.0, high=2.0, default=0.4),
        there=table.number("advice", "there", low=0.0, high=1.0, default=0.4),
    )


@dataclass(frozen=True, slots=True)
class Facts:
    """What the fit of one part says about the last look and after."""

    zone: ZoneName
    minute: float
    """Of the last look."""
    seen_for: float
    """Minutes from the first look to the last."""
    single: bool
    """Whether there is one look only."""
    latest_used: bool
    """Whether the last look fits the others."""
    latest_agrees: bool
    """Whether it fits them and does not itself speak against the needed level."""
    latest_level: float
    latest_sd: float
    level_now: Estimate
    level_sd: float
    needs: float | None
    aimed: bool
    """Whether a shade or a level is aimed at."""
    rate: Estimate | None
    """Levels in 10 minutes; None after one look."""
    gain_ahead: float
    """Levels that the next 10 minutes would bring."""
    gain_before: float
    """The same by the looks before the last alone."""
    level_at_limit: Estimate | None
    plateau: Estimate | None
    enough: float
    """Probability that the needed level is reached."""
    minutes_to_need: Estimate | None
    chance_in_time: float | None
    may_come: float
    """Probability that the needed level comes before the lightener has to come off; 0 where none is needed."""

    @property
    def torn(self) -> bool:
        """Whether the curve says light enough and the last look says not."""
        return self.enough >= 0.5 and not self.latest_agrees

    @property
    def missing(self) -> float:
        """Levels still missing; 0 where none are."""
        return 0.0 if self.needs is None else max(self.needs - self.level_now.value, 0.0)

    @property
    def brighter(self) -> bool:
        """Whether the last look was left out for being lighter than forecast."""
        return not self.latest_used and self.latest_level > self.level_now.value

    @property
    def in_words(self) -> tuple[tuple[str, Fact], ...]:
        """Names and numbers for the sentences."""
        found: dict[str, Fact] = {
            "minutes": round(self.minute, 1),
            "level": round(self.level_now.value, 2),
            "levels": round(self.missing, 2),
            "gain": round(self.gain_ahead, 2),
            "rate": round(0.0 if self.rate is None else self.rate.value, 2),
            "needs": 0.0 if self.needs is None else level_at_least(self.needs),
        }
        return tuple(found.items())


@dataclass(frozen=True, slots=True)
class Moment:
    """What is known of the strand besides its colour."""

    limit: float | None
    """The maker's time, minutes since the lightener went on; None where it was not given."""
    from_start: bool
    """Whether minutes count from when the lightener went on."""
    stretch: Stretch | None
    mixed: bool
    """Whether some looks were wet and some dry."""


def state_of(facts: Facts, moment: Moment, rules: Rules) -> State:
    """Say what one part is doing."""
    end = rules.stop_past if moment.limit is None else moment.limit
    if moment.from_start and facts.minute >= end:
        return "time is up"
    if facts.needs is not None and (_enough(facts, rules) or _brighter_than_needed(facts)):
        return "light enough"
    if facts.single:
        return "first look"
    # What may yet get there is not given up, however slow it has become; nor is anything for its last look alone.
    stalled = (
        facts.gain_ahead < rules.stalled
        and facts.gain_before < rules.slowing
        and facts.seen_for >= rules.look_every
        and facts.may_come < rules.hopeless
    )
    if stalled and facts.latest_used and not facts.torn:
        return "stalled"
    return "slowing" if facts.gain_ahead < rules.slowing else "lifting"


def _enough(facts: Facts, rules: Rules) -> bool:
    """Whether waiting hardly wins anything: of the lifts that get there at all, enough already have.

    Those that never do are no reason to leave lightener on.
    """
    if not facts.latest_agrees:
        return False
    there = facts.may_come >= 0.5 and facts.enough >= rules.there * facts.may_come
    return there or _seen_there(facts, rules)


def _seen_there(facts: Facts, rules: Rules) -> bool:
    """Whether the last look lies plainly above the curve, and what it lacks itself is noise."""
    if facts.needs is None or facts.latest_level <= facts.level_now.value + PLAINLY * facts.latest_sd:
        return False
    return facts.latest_level + rules.within_noise * facts.latest_sd >= facts.needs


def _brighter_than_needed(facts: Facts) -> bool:
    """Whether a look that was left out says that it is light enough: that is the urgent case, not a stray one."""
    return facts.brighter and facts.needs is not None and facts.latest_level - facts.latest_sd >= facts.needs


def advise_lifting(
    whole: Facts, parts: Sequence[Facts], moment: Moment, rules: Rules
) -> tuple[tuple[Advice, ...], bool, float | None]:
    """Decide what to do while lightener is on.

    Parameters
    ----------
    whole : the part that is followed.
    parts : root, mids and ends against their own need; empty where one part alone is followed.

    Returns
    -------
    advice : most pressing first.
    stop : whether all of the lightener comes off.
    next_look : minutes until the next look; None where it comes off.
    """
    if (stop := _must_stop(whole, moment, rules)) is not None:
        return stop, True, None
    judged = list(parts) or [whole]
    doing = {facts.zone: _for_part(facts, judged, moment, rules) for facts in judged}
    if all(found[0].do == "rinse" for found in doing.values()):
        return _all_off(doing, whole), True, None
    pause = min(_pause(facts, moment, rules) for facts in judged if doing[facts.zone][0].do != "rinse")
    found = [*_first(judged, moment), *(one for zone in doing.values() for one in zone)]
    # What is ahead comes off before anything else is thought of.
    found.sort(key=lambda one: one.do != "rinse")
    late = [] if not moment.from_start or whole.minute <= rules.warn_past else [_late(whole)]
    again = Advice("overall", "look-again", (), (("wait", round(pause, 1)),))
    return (*found, *late, again), False, pause


def _must_stop(whole: Facts, moment: Moment, rules: Rules) -> tuple[Advice, ...] | None:
    """Return what fingers and clock say where they say stop, whatever the colour."""
    facts = whole.in_words
    rinse = Advice("overall", "rinse", (), facts)
    if moment.stretch == "gummy":
        return Advice("overall", "stop-condition", ("gummy-now",), facts), rinse
    if moment.from_start and moment.limit is not None and whole.minute >= moment.limit:
        return Advice("overall", "stop-time", ("time-up",), facts), rinse
    if moment.from_start and moment.limit is None and whole.minute >= rules.stop_past:
        return Advice("overall", "stop-time", ("ceiling",), facts), rinse
    if moment.stretch == "slow":
        return (Advice("overall", "rinse", ("slow-now",), facts),)
    return None


def _late(whole: Facts) -> Advice:
    return Advice("overall", "look-again", ("near-ceiling",), whole.in_words)


def _first(judged: Sequence[Facts], moment: Moment) -> list[Advice]:
    """Return why the looks themselves are not to be trusted, where they are not."""
    if moment.mixed:
        return [Advice("overall", "look-again", ("wet-mixed",), judged[0].in_words)]
    odd = next((facts for facts in judged if not facts.latest_used and not facts.brighter), None)
    if odd is not None:
        return [Advice(odd.zone, "look-again", ("does-not-fit",), odd.in_words)]
    torn = next((facts for facts in judged if facts.torn and facts.latest_used), None)
    if torn is not None:
        return [Advice(torn.zone, "look-again", ("looks-torn",), torn.in_words)]
    return []


def _for_part(facts: Facts, judged: Sequence[Facts], moment: Moment, rules: Rules) -> list[Advice]:
    told = facts.in_words
    if facts.needs is None and facts.aimed:
        return [Advice(facts.zone, "rinse", ("no-lift-helps",), told)]
    state = state_of(facts, moment, rules)
    if state == "light enough":
        others = any(state_of(one, moment, rules) != "light enough" for one in judged if one is not facts)
        if _brighter_than_needed(facts):
            why = "brighter-than-forecast"
        elif facts.enough < 0.5:
            why = "gain-is-noise"
        else:
            why = "ahead" if others else "light-enough"
        return [Advice(facts.zone, "rinse", (why,), told)]
    if state == "stalled":
        return [Advice(facts.zone, "rinse", ("stalled",), told)]
    if facts.missing > FAR:
        return [Advice(facts.zone, "choose-another", ("too-far",), told)]
    if facts.chance_in_time is not None and facts.chance_in_time < rules.unlikely:
        return [Advice(facts.zone, "choose-another", ("not-in-time",), told)]
    if facts.single:
        return [Advice(facts.zone, "lift", ("first-look",), told)]
    ahead = max(one.level_now.value for one in judged)
    behind = ahead - facts.level_now.value
    reasons = ("lifting", "behind") if behind >= BEHIND else ("lifting",)
    return [Advice(facts.zone, "lift", reasons, (*told, ("behind", round(behind, 1))))]


FAR = 5.0
"""Levels still missing beyond which another shade is advised, as before any lightener."""
PLAINLY = 2.0
"""Standard uncertainties of a look by which it lies above the curve for the curve not to follow it."""
BEHIND = 0.8
"""Levels by which a part lags behind the lightest before that is said."""


def _all_off(doing: dict[ZoneName, list[Advice]], whole: Facts) -> tuple[Advice, ...]:
    """Return one word for all parts where they share a reason, else each with its own."""
    why = {found[0].why for found in doing.values()}
    if len(why) == 1:
        return (Advice("overall", "rinse", why.pop(), whole.in_words),)
    return tuple(found[0] for found in doing.values())


def _pause(facts: Facts, moment: Moment, rules: Rules) -> float:
    """Return the minutes until the next look."""
    pause = rules.look_every
    need = facts.minutes_to_need
    if need is not None and math.isfinite(need.value):
        pause = min(pause, max(rules.look_soonest, need.low, need.value / 2.0))
    ahead = facts.latest_level > facts.level_now.value
    if ahead and facts.needs is not None and facts.latest_level + 2.0 * facts.latest_sd >= facts.needs:
        # Seen lighter than the curve has it, and perhaps there already.
        pause = min(pause, rules.look_soonest)
    if not facts.latest_used or facts.torn or moment.mixed:
        pause = 0.0
    if not moment.from_start:
        return pause
    end = rules.stop_past if moment.limit is None else moment.limit
    return max(min(pause, end - facts.minute), 0.0)


def part_of(facts: Facts, moment: Moment, rules: Rules) -> ZoneLift:
    """Return what is shown of one part."""
    return ZoneLift(
        facts.zone,
        facts.level_now.value,
        facts.level_sd,
        facts.needs,
        facts.enough,
        facts.gain_ahead,
        state_of(facts, moment, rules),
    )
