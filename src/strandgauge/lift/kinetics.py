"""How a strand lifts over time: the kinetics of bleaching, fitted to a few uncertain looks.

The pigment left in the hair approaches a plateau::

    pigment(t) = plateau + (start - plateau) 0.5 ^ ((t / half_life) ^ order)

with order 1 for a first-order reaction, and more for a lift that starts slowly. Pigment is measured by the
absorption at 550 nm that the pigment algebra gives the ladder's hair, in which pigments add; a level or an L*
does not fall off exponentially, pigment may.

Two or three looks cannot fix four unknowns. So nothing is fixed: every combination of start, plateau, half-life
and order is weighed by how well it explains the looks and how usual it is (``calibration/lift.toml``), and what
is told is the spread of all that remain plausible. A look that is plainly wrong counts little, since each look
has a small chance of being so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strandgauge.colour.arrays import Array
from strandgauge.files.calibration import calibration_file, read_calibration
from strandgauge.hair.levels import Ladder
from strandgauge.hair.pigment import lift_path
from strandgauge.hair.spectra import GRID

WAVELENGTH = 550
"""Where pigment is measured, nm: about where the eye is most sensitive, so that it goes with lightness."""
PAST_THE_LADDER = 0.5
"""Levels beyond the ladder's lightest at which a lift may end: the ladder ends where the words end."""
_SAMPLES = 4000
_COARSE, _FINE = 16, 24
"""Steps along each of first level, plateau and half-life: over everything, and where it matters."""
_NEGLIGIBLE = 1e-4
"""Weight, as a share of the best, below which a lift is left out of the second, finer look."""


@dataclass(frozen=True, slots=True)
class Kinetics:
    """What is assumed of a strand before it has been looked at."""

    half_life: float
    """Minutes; the usual one."""
    half_life_spread: float
    """Factor within which two strands in three lie."""
    orders: tuple[float, ...]
    order_shares: tuple[float, ...]
    """How usual each order is; summing to 1."""
    plateau_pull: float
    """0 where a lift may end at any level alike; more where light ends are more usual."""
    beyond_ten: float
    """How much less usual each level past 10 is as an end."""
    bad_look_share: float
    bad_look_sd: float
    """Levels."""
    shared_error: float
    """Share of a reading's variance that is common to all looks at one strand."""


@cache
def load_kinetics(path: Path | None = None) -> Kinetics:
    """Read the assumptions; those that ship with the package where no path is given.

    Raises
    ------
    BadCalibrationError : a value is missing or impossible; the line is named.
    """
    table = read_calibration(path or calibration_file("lift.toml"), "strandgauge.lift/1")
    half_life = table.number("kinetics", "half_life", low=0.5, high=240.0)
    spread = table.number("kinetics", "half_life_spread", low=1.05, high=20.0)
    orders = table.numbers("kinetics", "orders", low=0.25, high=4.0)
    shares = table.numbers("kinetics", "order_shares", count=len(orders), low=1e-6, high=1.0)
    return Kinetics(
        half_life,
        spread,
        orders,
        tuple(share / sum(shares) for share in shares),
        table.number("kinetics", "plateau_pull", low=0.0, high=10.0),
        table.number("kinetics", "beyond_ten", low=1e-3, high=1.0, default=1.0),
        table.number("kinetics", "bad_look_share", low=0.0, high=0.5),
        table.number("kinetics", "bad_look_sd", low=0.1, high=10.0),
        table.number("kinetics", "shared_error", low=0.0, high=1.0),
    )


def halvings(minutes: ArrayLike, half_life: ArrayLike, order: ArrayLike) -> Array:
    """Return how often (...) the removable pigment has been halved ``minutes`` after the lightener went on."""
    time = np.maximum(np.asarray(minutes, dtype=float), 0.0) / np.asarray(half_life, dtype=float)
    return np.asarray(time ** np.asarray(order, dtype=float))


@dataclass(frozen=True, eq=False)
class PigmentScale:
    """Pigment as a function of the level, on one ladder."""

    levels: Array
    """(K,), rising."""
    log_pigment: Array
    """(K,), falling."""
    lightest: float
    """Highest level at which a lift may end."""

    def pigment(self, level: ArrayLike) -> Array:
        """Return the absorption at 550 nm (...) of hair at levels (...)."""
        logs = np.interp(np.asarray(level, dtype=float), self.levels, self.log_pigment)
        return np.asarray(np.exp(logs))

    def level(self, pigment: ArrayLike) -> Array:
        """Return the level (...) of hair with pigment (...)."""
        logs = np.log(np.maximum(np.asarray(pigment, dtype=float), 1e-12))
        return np.asarray(np.interp(-logs, -self.log_pigment, self.levels))


def pigment_scale(ladder: Ladder) -> PigmentScale:
    """Return the pigment along a ladder, carried on a little past its lightest rung."""
    path = lift_path(ladder.lab)
    logs = np.log(path.base.absorption[:, int(np.flatnonzero(GRID == WAVELENGTH)[0])])
    logs = np.minimum.accumulate(logs - 1e-6 * np.arange(len(logs)))
    slope = (logs[-1] - logs[-3]) / (path.levels[-1] - path.levels[-3])
    lightest = ladder.lightest + PAST_THE_LADDER
    beyond = lightest + 0.5
    return PigmentScale(
        np.append(path.levels, beyond),
        np.append(logs, logs[-1] + slope * (beyond - path.levels[-1])),
        lightest,
    )


def minutes_at_soonest(
    level: float, needed: float, ladder: Ladder, kinetics: Kinetics | None = None
) -> float:
    """Return the minutes in which hair that lifts faster than five in six comes from one level to another."""
    kinetics, scale = kinetics or load_kinetics(), pigment_scale(ladder)
    times = float(np.log2(scale.pigment(level) / scale.pigment(max(needed, level))))
    return times * kinetics.half_life / kinetics.half_life_spread


@dataclass(frozen=True, eq=False)
class Lifts:
    """Many lifts at once, each (S,)."""

    first_minute: float
    """Time of the first look, minutes since the lightener went on."""
    first_level: Array = field(repr=False)
    """At the first look."""
    plateau_level: Array = field(repr=False)
    half_life: Array = field(repr=False)
    """Minutes."""
    order: Array = field(repr=False)

    def at(self, chosen: NDArray[np.intp]) -> Lifts:
        """Return some of these lifts."""
        return Lifts(
            self.first_minute,
            self.first_level[chosen],
            self.plateau_level[chosen],
            self.half_life[chosen],
            self.order[chosen],
        )

    def levels_at(self, minutes: float, scale: PigmentScale) -> Array:
        """Return the level (S,) at a time, minutes."""
        start, end = scale.pigment(self.first_level), scale.pigment(self.plateau_level)
        since = halvings(minutes, self.half_life, self.order) - self.before
        return scale.level(end + (start - end) * np.exp2(-since))

    def minutes_when(self, level: Array, scale: PigmentScale) -> Array:
        """Return the time (S,) at which each lift comes to a level (S,); infinite where it never does."""
        wanted = scale.pigment(level)
        start, end = scale.pigment(self.first_level), scale.pigment(self.plateau_level)
        with np.errstate(divide="ignore", invalid="ignore"):
            since = -np.log2((wanted - end) / (start - end))
            when = self.half_life * (self.before + since) ** (1.0 / self.order)
        when = np.where(wanted <= end, np.inf, when)
        return np.where(wanted >= start, self.first_minute, when)

    @property
    def before(self) -> Array:
        """Halvings before the first look, (S,)."""
        return halvings(self.first_minute, self.half_life, self.order)


@dataclass(frozen=True, eq=False)
class LiftFit:
    """All lifts that the looks leave plausible, as equally weighted samples."""

    scale: PigmentScale
    lifts: Lifts
    shared_offset: Array = field(repr=False)
    """(S,) levels by which all readings of this strand may be off together."""
    wrong: Array = field(repr=False)
    """(N,) probability of each look to be wrong."""

    def levels_at(self, minutes: float) -> Array:
        """Return the true level (S,) at a time, minutes since the lightener went on."""
        return np.asarray(self.lifts.levels_at(minutes, self.scale) + self.shared_offset)

    def gain(self, start: float, end: float) -> Array:
        """Return the levels gained (S,) between two times."""
        return np.asarray(self.lifts.levels_at(end, self.scale) - self.lifts.levels_at(start, self.scale))

    def minutes_when(self, level: float) -> Array:
        """Return the time (S,) at which the true level is reached, minutes; infinite where it never is."""
        return self.lifts.minutes_when(level - self.shared_offset, self.scale)

    @property
    def plateau(self) -> Array:
        """The true level (S,) at which the lift ends."""
        return np.asarray(self.lifts.plateau_level + self.shared_offset)


def fit_lift(
    minutes: Sequence[float],
    levels: Sequence[float],
    level_sds: Sequence[float],
    ladder: Ladder,
    kinetics: Kinetics | None = None,
    seed: int = 20,
) -> LiftFit:
    """Weigh every plausible lift against the looks.

    Parameters
    ----------
    minutes : (N,) rising times of the looks, since the lightener went on.
    levels, level_sds : (N,) level and its standard uncertainty at each.
    ladder : to which the levels refer.

    Notes
    -----
    Posterior on a grid: level at the first look even over the ladder; plateau from there to the lightest, rather
    light than dark; half-life log-normal; order as usual. Likelihood of a look: normal, mixed with a wide normal
    for the chance of a wrong look.
    """
    kinetics = kinetics or load_kinetics()
    scale = pigment_scale(ladder)
    times, seen = np.asarray(minutes, dtype=float), np.asarray(levels, dtype=float)
    told = np.maximum(np.asarray(level_sds, dtype=float), 0.02)
    sds = told * np.sqrt(1.0 - kinetics.shared_error)  # what they are off by together moves all looks alike
    box = _Box(
        (max(1.0, float(np.min(seen - 4.0 * told))), min(scale.lightest, float(np.max(seen + 4.0 * told)))),
        (0.0, 1.0),
        (-3.0, 3.0),
    )
    # Once over everything, then once more, finer, where it matters.
    grid = _weighed(box, _COARSE, times, seen, told, scale, kinetics)
    grid = _weighed(grid.narrowed(), _FINE, times, seen, sds, scale, kinetics)

    generator = np.random.default_rng(seed)
    shared = float(np.sqrt(kinetics.shared_error * np.mean(told**2)))
    return LiftFit(
        scale,
        grid.lifts.at(_systematic(grid.weight.ravel(), _SAMPLES, generator)),
        # At evenly spaced quantiles, shuffled: the same spread on every run, with no stray tail.
        generator.permutation(_normal_quantiles(_SAMPLES)) * shared,
        grid.wrong,
    )


Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Box:
    """The lifts that are weighed: ranges of three unknowns."""

    level: Range
    """At the first look."""
    way: Range
    """Of the plateau, as a share of the way from there to the lightest."""
    unusual: Range
    """Of the half-life, in standard deviations from the usual one, on a logarithmic scale."""


@dataclass(frozen=True, eq=False)
class _Grid:
    """Lifts spread evenly over a box, and their weights."""

    box: _Box
    axes: tuple[Array, Array, Array]
    """Level (L,), way (W,), unusual (U,)."""
    lifts: Lifts
    """Of all combinations and orders, (L W U O,)."""
    weight: Array
    """(L, W, U, O), summing to 1."""
    wrong: Array
    """(N,) probability of each look to be wrong."""

    def narrowed(self) -> _Box:
        """Return the box that holds all lifts of weight, and one step around them."""
        kept = self.weight > _NEGLIGIBLE * self.weight.max()
        whole = (self.box.level, self.box.way, self.box.unusual)
        ranges = []
        for place, (axis, (low, high)) in enumerate(zip(self.axes, whole, strict=True)):
            step = (high - low) / len(axis)
            here = axis[kept.any(axis=tuple(other for other in range(4) if other != place))]
            ranges.append((max(low, float(here[0]) - step), min(high, float(here[-1]) + step)))
        return _Box(*ranges)


def _weighed(
    box: _Box, steps: int, times: Array, seen: Array, sds: Array, scale: PigmentScale, kinetics: Kinetics
) -> _Grid:
    """Spread lifts over a box and weigh each by how usual it is and how well it explains the looks."""
    axes = [_middles(part, steps) for part in (box.level, box.way, box.unusual)]
    level, way, unusual, order = np.ix_(*axes, np.asarray(kinetics.orders, dtype=float))
    plateau = level + way * np.maximum(scale.lightest - level, 0.0)
    half_life = kinetics.half_life * np.exp(np.log(kinetics.half_life_spread) * unusual)
    usual = np.log(np.asarray(kinetics.order_shares)) + kinetics.plateau_pull * np.log(way)
    usual = usual + np.log(kinetics.beyond_ten) * np.maximum(plateau - 10.0, 0.0)
    log_weight = usual - 0.5 * unusual**2
    # The same as `Lifts.levels_at`, each part no larger than what it hangs on.
    start, end = scale.pigment(level), scale.pigment(plateau)
    before = halvings(float(times[0]), half_life, order)
    odds = []
    for when, here, sd in zip(times, seen, sds, strict=True):
        left = np.exp2(before - halvings(float(when), half_life, order))
        away = here - scale.level(end + (start - end) * left)
        right = _normal(away, sd) * (1.0 - kinetics.bad_look_share)
        wrong = _normal(away, float(np.hypot(sd, kinetics.bad_look_sd))) * kinetics.bad_look_share
        either = right + wrong
        log_weight = log_weight + np.log(either)
        odds.append(wrong / either)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    told = (np.broadcast_to(one, weight.shape).ravel() for one in (level, plateau, half_life, order))
    chances = [float(np.sum(weight * one)) for one in odds]
    return _Grid(
        box, (axes[0], axes[1], axes[2]), Lifts(float(times[0]), *told), weight, np.clip(chances, 0, 1)
    )


def _middles(part: Range, steps: int) -> Array:
    low, high = part
    return np.asarray(low + (high - low) * (np.arange(steps) + 0.5) / steps)


def _normal(away: Array, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * (away / sd) ** 2) / sd)


def _systematic(weight: Array, count: int, generator: np.random.Generator) -> NDArray[np.intp]:
    """Return ``count`` indices drawn in proportion to the weights (G,), evenly spaced."""
    places = (np.arange(count) + generator.random()) / count
    found = np.searchsorted(np.cumsum(weight), places)
    return np.asarray(np.minimum(found, len(weight) - 1), dtype=np.intp)


@cache
def _normal_quantiles(count: int) -> Array:
    from scipy.special import ndtri

    return np.asarray(ndtri((np.arange(count) + 0.5) / count))
