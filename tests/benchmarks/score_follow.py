"""How right the lift curve is: python tests/benchmarks/score_follow.py [ROUNDS].

Simulated lifts of known course, looked at four times with a reading's usual doubt. Three kinds: as the model
expects them; two reactions one after the other (grains dissolve, then lose their colour), which the model does
not know; and a level that rises evenly until it stops. With one look in twenty off by some two levels, or none.
Printed: share of 95 % intervals that hold the truth, and how often the advice errs either way.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from readings import reading, zone
from strandgauge.hair.levels import load_ladder
from strandgauge.judge.follow import follow
from strandgauge.lift.kinetics import Lifts, fit_lift, load_kinetics, pigment_scale

LOOKS = (5.0, 12.0, 20.0, 28.0)
LATER = 40.0
SD = 0.3
"""Level, one standard deviation: about what a single photo has (docs/accuracy.md)."""
LADDER = load_ladder()
SCALE = pigment_scale(LADDER)
KINETICS = load_kinetics()

Course = Callable[[float], float]
"""Level at a time, minutes."""


def as_expected(generator: np.random.Generator) -> Course:
    first = generator.uniform(2.0, 8.0)
    values = (
        first,
        first + generator.beta(1.0 + KINETICS.plateau_pull, 1.0) * (10.5 - first),
        KINETICS.half_life * KINETICS.half_life_spread ** generator.normal(),
        generator.choice(KINETICS.orders, p=KINETICS.order_shares),
    )
    lifts = Lifts(LOOKS[0], *(np.array([value]) for value in values))
    return lambda minutes: float(lifts.levels_at(minutes, SCALE)[0])


def two_reactions(generator: np.random.Generator) -> Course:
    first, time = generator.uniform(2.0, 7.0), generator.uniform(4.0, 15.0)
    plateau = first + generator.beta(2.0, 1.0) * (10.0 - first)
    start, end = SCALE.pigment(first), SCALE.pigment(plateau)

    def level(minutes: float) -> float:
        left = (1.0 + minutes / time) * np.exp(-minutes / time)
        return float(SCALE.level(end + (start - end) * left))

    return level


def evenly(generator: np.random.Generator) -> Course:
    first, slope = generator.uniform(2.0, 7.0), generator.uniform(0.03, 0.2)
    plateau = first + generator.beta(2.0, 1.0) * (10.0 - first)
    return lambda minutes: min(first + slope * minutes, plateau)


def score(kind: Callable[[np.random.Generator], Course], wrong: float, rounds: int) -> str:
    """Return one line of the table."""
    generator = np.random.default_rng(41)
    now = later = early = stops = missed = stalls = 0
    for _ in range(rounds):
        course = kind(generator)
        truth = np.array([course(minutes) for minutes in LOOKS])
        off = np.where(generator.random(len(LOOKS)) < wrong, generator.normal(0.0, 2.0, len(LOOKS)), 0.0)
        seen = np.clip(truth + off + generator.normal(0.0, SD, len(LOOKS)), 1.0, 10.0)
        fit = fit_lift(LOOKS, seen, [SD] * len(LOOKS), LADDER)
        now += _holds(fit.levels_at(LOOKS[-1]), course(LOOKS[-1]))
        later += _holds(fit.levels_at(LATER), course(LATER))
        curve = follow(
            [reading(overall=zone(level=level, level_sd=SD)) for level in seen], LOOKS, ladder=LADDER
        )
        ahead = course(LOOKS[-1] + 10.0) - course(LOOKS[-1])
        stops += curve.state == "stalled"
        early += curve.state == "stalled" and ahead > 0.5
        stalls += ahead < 0.1
        missed += curve.state == "lifting" and ahead < 0.1
    return (
        f"{kind.__name__:14} {100 * wrong:3.0f} %  holds now {100 * now / rounds:3.0f} %, at minute {LATER:.0f} "
        f"{100 * later / rounds:3.0f} %; stop advised {100 * stops / rounds:3.0f} %, with more than half a level "
        f"to come {100 * early / rounds:4.1f} %; stalled lifts called lifting {missed} of {stalls}"
    )


def _holds(samples: np.ndarray, truth: float) -> bool:
    low, high = np.quantile(samples, [0.025, 0.975])
    return bool(low <= truth <= high)


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    print(
        f"{rounds} lifts each, looks at minutes {', '.join(f'{look:.0f}' for look in LOOKS)}, ± {SD} level (1 sd)"
    )
    for kind in (as_expected, two_reactions, evenly):
        for wrong in (0.0, 0.05):
            print(score(kind, wrong, rounds))


if __name__ == "__main__":
    main()
