"""From a fitted lift to advice in words: go on, look again, or stop.

The advice only ever asks for less: it never proposes stronger developer, more heat, more time than the maker's
limit, or another round. Chemistry and the condition of the hair are not measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from strandgauge.files.calibration import calibration_file, read_calibration
from strandgauge.hair.levels import level_at_least
from strandgauge.lift.curve import Estimate, Look, State
from strandgauge.reading.model import Reading
from strandgauge.strand.names import ZoneName

STOP_SIGNS = (
    "Rinse at once, whatever the curve says, if hair feels gummy, stretches and does not spring back, or breaks.",
    "Rinse at once if the scalp burns or hurts, or the lightener gets hot.",
    "A photo shows colour, not condition: eyes and fingers must check, at every look.",
)
"""Common practice of the trade, no source."""

LOOK_UP_LIMIT = "Look up the maker's time limit: nothing here knows it, and it comes first."
"""Where no limit was given; each way in says how to give it."""
DARKER_ZONE = 0.8
"""Levels by which one zone lags behind the overall level before it is pointed out."""
VERBS = {"root": "is", "mids": "are", "ends": "are"}


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


def load_rules(path: Path | None = None) -> Rules:
    """Read when the advice turns; as shipped where no path is given.

    Raises
    ------
    BadCalibrationError : a value is missing or impossible; the line is named.
    """
    return _read_rules(path or calibration_file("lift.toml"))


@cache
def _read_rules(path: Path) -> Rules:
    table = read_calibration(path, "strandgauge.lift/1")
    return Rules(
        look_every=table.number("advice", "look_every", low=1.0, high=30.0),
        look_soonest=table.number("advice", "look_soonest", low=0.5, high=30.0),
        slowing=table.number("advice", "slowing", low=0.0, high=5.0),
        stalled=table.number("advice", "stalled", low=0.0, high=5.0),
        too_far=table.number("advice", "too_far", low=1.0, high=120.0),
        unlikely=table.number("advice", "unlikely", low=0.0, high=1.0),
    )


@dataclass(frozen=True, slots=True)
class Facts:
    """What the fit says about the last look and after."""

    minute: float
    """Of the last look."""
    seen_for: float
    """Minutes from the first look to the last."""
    latest_used: bool
    """Whether the last look fits the others."""
    latest_agrees: bool
    """Whether it fits them and does not itself speak against the needed level."""
    level_now: Estimate
    rate: Estimate | None
    """Levels in 10 minutes; None after one look."""
    gain_ahead: float
    """Levels that the next 10 minutes would bring."""
    level_at_limit: Estimate | None
    plateau: Estimate | None
    enough: float
    """Probability that the needed level is reached."""
    minutes_to_need: Estimate | None
    chance_in_time: float | None

    @property
    def torn(self) -> bool:
        """Whether the curve says light enough and the last look says not."""
        return self.enough >= 0.5 and not self.latest_agrees


@dataclass(frozen=True, slots=True)
class Wish:
    """What the lift is for."""

    target: str | None
    needs_level: float | None
    reads_true_now: tuple[str, ...]

    @property
    def impossible(self) -> bool:
        """Whether no level of lift makes the shade read true."""
        return self.target is not None and self.needs_level is None

    @property
    def name(self) -> str:
        """The shade, or the level where only that is known."""
        return self.target or f"level {self.level}"

    @property
    def level(self) -> str:
        """The level needed."""
        return level_at_least(self.needs_level or 1.0)

    @property
    def need(self) -> str:
        """What it needs, as a clause."""
        if self.target is None:
            return f"level {self.level} is wanted"
        return f"{self.target} needs level {self.level}"


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do."""

    headline: str
    advice: tuple[str, ...]
    stop: bool
    next_look: float | None


def advise(
    state: State,
    facts: Facts,
    wish: Wish,
    looks: tuple[Look, ...],
    latest: Reading,
    zone: ZoneName,
    limit: float | None,
    rules: Rules,
) -> Advice:
    """Put what is known into a headline and sentences, most pressing first."""
    stop = state in ("time is up", "light enough", "stalled") or wish.impossible
    pause = None if stop else _next_look(facts, limit, rules)
    first, more = _headline(state, facts, wish, limit, rules, pause)
    sentences = [*more]
    if stop and state != "light enough":
        sentences += _instead(wish)
    sentences += _doubts(facts, looks, latest, zone)
    if not stop and limit is None:
        sentences.append(LOOK_UP_LIMIT)
    return Advice(first, tuple(sentences), stop, pause)


def _next_look(facts: Facts, limit: float | None, rules: Rules) -> float:
    pause = rules.look_every
    need = facts.minutes_to_need
    if need is not None and math.isfinite(need.value):
        pause = min(pause, max(rules.look_soonest, need.low, need.value / 2.0))
    if not facts.latest_used or facts.torn:
        pause = 0.0
    return pause if limit is None else min(pause, limit - facts.minute)


def _headline(
    state: State, facts: Facts, wish: Wish, limit: float | None, rules: Rules, pause: float | None
) -> tuple[str, list[str]]:
    now = facts.level_now
    about = f"It is at about level {_interval(now)}"
    if state == "time is up":
        more = [f"{about}, {facts.minute:.0f} minutes in; the limit given is {limit:.0f}."]
        if wish.needs_level is not None and facts.enough < 0.5:
            more.append(f"That is short of what was wished: {wish.need}.")
        return "Stop: the time limit is reached. Rinse.", more
    if wish.impossible:
        return f"Stop: no lift makes {wish.target} read true on this hair.", [f"{about}."]
    if state == "light enough":
        sure = "" if facts.enough > 0.9 else f" The chance that it is: {100 * facts.enough:.0f} %."
        return f"Light enough for {wish.name}: rinse.", [
            f"{about}, and {wish.need}.{sure}",
            "Blot and dry the strand and read it once more before the shade goes on.",
        ]
    if state == "stalled":
        more = [f"{about} and hardly moves: some {facts.gain_ahead:.1f} of a level in 10 more minutes."]
        if wish.needs_level is not None:
            more.append(f"More time will not bring what was wished: {wish.need}.")
        more.append(
            "Whether this hair can be lightened again another day is for hands, eyes and a strand test to say."
        )
        return "As light as it will get: stop.", more
    again = "Look again now." if not pause else f"Look again in {_minutes(pause)}."
    if state == "first look":
        return f"First look: level {now.value:.1f}. {again}", _first_look(now, wish)
    if not facts.latest_used:
        return f"The last photo does not fit the others. {again}", [f"{about}, by the others."]
    if facts.torn:
        return f"The looks do not agree. {again}", [
            f"{about} by all looks, and {wish.need}; the last photo by itself shows it darker than that."
        ]
    pace = "Slowing" if state == "slowing" else "Still lifting"
    assert facts.rate is not None, "after two looks there is a rate"
    speed = (
        f"{about}, and gains {facts.rate.value:.1f} levels in 10 minutes "
        f"({max(facts.rate.low, 0.0):.1f} to {facts.rate.high:.1f})."
    )
    if wish.needs_level is None:
        return f"{pace}. {again}", [speed]
    return _toward(pace, speed, again, facts, wish, limit, rules)


def _first_look(now: Estimate, wish: Wish) -> list[str]:
    more = ["One look cannot tell how fast it lifts; the next one begins to."]
    if wish.needs_level is not None:
        more.insert(0, f"{_sentence(wish.need)}, {max(wish.needs_level - now.value, 0.0):.1f} more than now.")
    return more


def _toward(
    pace: str, speed: str, again: str, facts: Facts, wish: Wish, limit: float | None, rules: Rules
) -> tuple[str, list[str]]:
    """Say when the needed level comes, if it does."""
    need, chance = facts.minutes_to_need, facts.chance_in_time
    assert need is not None, "a level is needed"
    if chance is not None and chance < rules.unlikely:
        end = facts.level_at_limit
        assert limit is not None and end is not None, "a chance in time needs a limit"  # noqa: PT018
        return f"Not within the time limit. {again}", [
            f"By minute {limit:.0f} it will be near level {_interval(end)}, and {wish.need}.",
            *_instead(wish),
            speed,
        ]
    if not math.isfinite(need.value):
        ahead = f"Whether it gets there cannot be told yet: {wish.need}."
        return f"{pace}. {again}", [ahead, speed]
    until = "it may not get there" if math.isinf(need.high) else f"{need.high:.0f}"
    spread = (
        f"{need.low:.0f} at the earliest, and {until}"
        if math.isinf(need.high)
        else f"{need.low:.0f} to {until}"
    )
    more = [f"{_sentence(wish.need)}: about {_minutes(need.value)} more ({spread}).", speed]
    if chance is not None and limit is not None:
        more.append(
            f"The chance that it gets there before the limit at minute {limit:.0f}: {100 * chance:.0f} %."
        )
    return f"{pace}: about {_minutes(need.value)} to level {wish.level}. {again}", more


def _instead(wish: Wish) -> list[str]:
    if not wish.reads_true_now:
        return []
    return [f"What reads true on it as it is now: {', '.join(wish.reads_true_now)}."]


def _doubts(facts: Facts, looks: tuple[Look, ...], latest: Reading, zone: ZoneName) -> list[str]:
    found = [
        f"The look at minute {look.minutes:.0f} ({look.photo}) does not fit the others and was left out"
        + (": take it again before deciding." if look is looks[-1] else ".")
        for look in looks
        if not look.used
    ]
    if zone == "overall":
        darkest = min(latest.zones, key=lambda part: part.level)
        behind = latest.overall.level - darkest.level
        if behind > DARKER_ZONE:
            found.append(
                f"The {darkest.name} {VERBS[darkest.name]} {behind:.1f} levels behind: look at that part by itself."
            )
    if latest.wet:
        found.append("Read wet: the level is the estimate for dry hair, and less sure.")
    return found


def _interval(level: Estimate) -> str:
    return f"{level.value:.1f} ({level.low:.1f} to {level.high:.1f})"


def _minutes(value: float) -> str:
    whole = max(1, round(value))
    return "1 minute" if whole == 1 else f"{whole} minutes"


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]
