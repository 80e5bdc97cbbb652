"""What hair a measured colour is: the family of hair colours weighed by how well each explains the colour as lit.

Light from one side makes a strand lighter or darker than light from all round does, far more than it turns its
hue. So the error of a colour as lit is told in `scale_and_tint`: one number for the scale, two for the tint, each
with its own spread, by lightness and by what the photo shows of the light (``calibration/as-lit.toml``, fitted to
path-traced photos). Bayes' rule then gives every member of the family its weight; level, CIELAB, their intervals
and how likely a dye is all come from these weights.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import EPSILON, KAPPA
from strandgauge.files.calibration import calibration_file, read_calibration
from strandgauge.hair.family import (
    DYED,
    KINDS,
    evenly_spread,
    hair_family,
    lab_from_ratio,
    normal_deviates,
    ratio_of,
    scale_and_tint,
)
from strandgauge.hair.levels import Ladder
from strandgauge.hair.wet import dry_reflectance, drying_sd, wet_reflectance

ANY_MEMBERS = 768
"""Colours around the measured one that stand for those no mixture explains."""
ANY_RANGE = np.array([[-4.3, -0.28, -1.0], [0.06, 0.40, 0.65]])
"""(2, 3) within which such a colour may lie, as scale and tint: wider than any dyed hair."""
LIGHTEST = 1.2
"""Most X/Xn, Y/Yn, Z/Zn of such a colour: gloss, or a bluish white."""
NEGLIGIBLE = 1e-5
LEAST_SD = np.array([0.6, 0.4, 0.4])
"""Hair laid anew reads differently by about this much (Scanavez et al. 2000: L* 0.3 to 1.2 by area measured)."""


@dataclass(frozen=True, eq=False)
class ErrorModel:
    """How a colour as lit scatters about the diffuse colour, as scale and tint (3 numbers)."""

    lightness: Array
    """(K,) L* at which the next two are told."""
    log_sd: Array
    """(K, 3) logarithm of the spread."""
    shift: Array
    """(K, 3) mean of as lit minus diffuse."""
    by_tint: Array
    """(2, 3) growth of the spread's logarithm with either tint."""
    correlation: Array
    """(3, 3)"""
    freedom: float
    """Degrees of freedom of the multivariate t distribution; small ones make far errors likelier."""

    def at(self, place: Array, lightness: Array) -> tuple[Array, Array]:
        """Return mean colours as lit (..., 3), and log spreads (..., 3), of diffuse colours (..., 3), L* (...)."""
        # Rows along the colours, not along three channels: several times faster.
        begin, steps = self.lightness[:-1, None], np.diff(self.lightness)[:, None]
        passed = np.clip((lightness[..., None, :] - begin) / steps, 0.0, 1.0)  # share of each step
        told = np.hstack([self.shift, self.log_sd]).T
        columns = (told[:, :1] + np.diff(told) @ passed).swapaxes(-1, -2)
        tint = np.minimum(np.abs(place[..., 1:] - (0.0, 0.15)) / (0.08, 0.25), 4.0)
        return place + columns[..., :3], columns[..., 3:] + tint @ self.by_tint

    @cached_property
    def mixing(self) -> Array:
        """(3, 3) what makes independent errors of unit spread correlated ones."""
        return np.asarray(np.linalg.cholesky(self.correlation), dtype=np.float64)

    @cached_property
    def whiten(self) -> Array:
        """(3, 3) the other way round."""
        return np.asarray(np.linalg.inv(self.mixing), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class AsLit:
    """A zone's colour in its photo's own light, and what the photo shows of that light."""

    ratio: Array
    """(3,) X/Xn, Y/Yn, Z/Zn."""
    shift: Array = field(default_factory=lambda: np.zeros((3, 3)))
    """(3, 3) by how much scale and tint (columns) are thought to be raised by the light's direction, per power of
    lightness (rows): see `shifted_by`."""
    widen: Array = field(default_factory=lambda: np.zeros(3))
    """(3,) added to the logarithm of each spread."""
    signs: Array = field(default_factory=lambda: np.array([1.0, 0.0, 0.0]))
    """(3,) what the error that no fit has seen goes with: one, fall of the light along the strand, zones' range."""


@dataclass(frozen=True, eq=False)
class Posterior:
    """The hair colours that a measurement leaves possible, with their weights."""

    lab: Array = field(repr=False)
    """(M, 3) diffuse CIELAB, of the dry strand."""
    weight: Array = field(repr=False)
    """(M,), summing to 1."""
    kind: NDArray[np.intp] = field(repr=False)
    """(M,) row of `KINDS`."""
    white: Array = field(repr=False)
    """(M,) share of white hairs."""

    @property
    def mean(self) -> Array:
        """Mean CIELAB (3,)."""
        return np.asarray(self.weight @ self.lab)

    @property
    def variance(self) -> Array:
        """Variance of L*, a* and b* (3,)."""
        return np.asarray(self.weight @ (self.lab - self.mean) ** 2)

    @property
    def dye_probability(self) -> float:
        """How likely the colour holds dye, toner or anything else that hair has not of itself."""
        by_kind = np.bincount(self.kind, self.weight, minlength=len(KINDS))
        return float(sum(by_kind[KINDS.index(kind)] for kind in DYED))

    def only(self, these: NDArray[np.bool_]) -> Posterior:
        """Return what is left possible if only some members (M,) are."""
        weight = self.weight[these]
        return Posterior(self.lab[these], weight / weight.sum(), self.kind[these], self.white[these])

    def draws(self, count: int) -> NDArray[np.intp]:
        """Return ``count`` members, each as often as its weight says: stands for the whole where that is slow."""
        at = (np.arange(count) + 0.5) / count
        return np.minimum(np.searchsorted(np.cumsum(self.weight), at), len(self.weight) - 1)

    def quantiles(self, values: Array, shares: tuple[float, ...]) -> Array:
        """Return the quantiles of one value (M,) a member, such as its level."""
        order = np.argsort(values)
        below = np.cumsum(self.weight[order])
        return np.asarray(np.interp(shares, below - self.weight[order] / 2.0, values[order]))


@dataclass(frozen=True, eq=False)
class Telling:
    """What makes the told intervals hold what they say, measured on places left out of the fit."""

    sd_growth: Array
    """(3,) factor on the standard deviations of L*, a*, b*."""
    together: float
    """Half-width, in standard deviations, of the intervals that hold L*, a* and b* all at once in 95 %."""
    zone_correlation: tuple[float, float]
    """Correlation of the errors of the level in two zones of a strand: neighbours, root and ends."""
    turned_zone_correlation: tuple[float, float]
    """The same where the card was turned between two photos."""
    turned_share: float
    """What a second photo with the card turned leaves of the level's uncertainty."""
    unseen: Array
    """(2, 3) standard deviation of L* that hair, light or camera not fitted to adds, in one photo and in turned ones:
    a constant, and per unit of `AsLit.signs`."""


@dataclass(frozen=True, eq=False)
class Told:
    """What a posterior comes to in numbers."""

    lab: Array
    """(3,) mean diffuse CIELAB."""
    sd: Array
    """(3,)"""
    together: Array
    """(3,) half-widths that hold all three at once in 95 %."""
    level: float
    level_sd: float
    """Half the 95 % interval of the level over 1.96."""


@cache
def load_telling() -> Telling:
    """Read what makes intervals hold what they say.

    Raises
    ------
    BadCalibrationError : the file is damaged; the line is named.
    """
    table = read_calibration(calibration_file("as-lit.toml"), "strandgauge.as-lit/1")
    near, far = table.numbers("told", "zone_correlation", count=2, low=-1.0, high=1.0)
    turned_near, turned_far = table.numbers("told", "turned_zone_correlation", count=2, low=-1.0, high=1.0)
    unseen = [table.numbers("told", name, count=3, low=0.0) for name in ("unseen", "turned_unseen")]
    return Telling(
        np.array(table.numbers("told", "sd_growth", count=3, low=0.1)),
        table.number("told", "together", low=0.1),
        (near, far),
        (turned_near, turned_far),
        table.number("told", "turned_share", low=0.1, high=1.0),
        np.array(unseen),
    )


@cache
def load_error_model() -> ErrorModel:
    """Read how colours as lit scatter.

    Raises
    ------
    BadCalibrationError : the file is damaged; the line is named.
    """
    table = read_calibration(calibration_file("as-lit.toml"), "strandgauge.as-lit/1")
    lightness = np.array(table.numbers("error", "lightness"))
    parts = ("scale", "x", "z")
    rows = [np.array(table.numbers("error", f"log_sd_{p}", count=len(lightness))) for p in parts]
    shift = [np.array(table.numbers("error", f"shift_{p}", count=len(lightness))) for p in parts]
    tint = [np.array(table.numbers("error", f"by_tint_{p}", count=2)) for p in parts]
    sx, sz, xz = table.numbers("error", "correlation", count=3, low=-0.95, high=0.95)
    return ErrorModel(
        lightness,
        np.stack(rows, axis=-1),
        np.stack(shift, axis=-1),
        np.stack(tint, axis=-1),
        np.array([[1.0, sx, sz], [sx, 1.0, xz], [sz, xz, 1.0]]),
        table.number("error", "freedom", low=1.0, high=100.0),
    )


def posterior(
    as_lit: AsLit, ladder: Ladder, *, wet: bool = False, model: ErrorModel | None = None
) -> Posterior:
    """Weigh the hair family by one colour as lit; see `posteriors`."""
    return posteriors([as_lit], ladder, wet=wet, model=model)[0]


def posteriors(
    every: Sequence[AsLit], ladder: Ladder, *, wet: bool = False, model: ErrorModel | None = None
) -> list[Posterior]:
    """Weigh the hair family by each of several colours as lit, in little more time than by one.

    Parameters
    ----------
    every : the measured colours; with ``wet`` those of a wet strand.
    ladder : around which the family lies.
    wet : the strand is wet; the posteriors are of the dry one.
    model : how colours as lit scatter; the shipped one when left out.
    """
    model = model or load_error_model()
    prior = _prior(tuple(map(tuple, ladder.lab.tolist())), wet, model)
    as_lit = AsLit(*(np.array([getattr(one, part) for one in every]) for part in ("ratio", "shift", "widen")))
    seen = scale_and_tint(as_lit.ratio)
    members = len(prior.lab)
    own = _log_likelihood(seen, prior.lit, as_lit, model) + np.log((1.0 - prior.any_share) / members)
    labs, other = _any_colours(seen, as_lit, model, wet)
    other = other + np.log(max(prior.any_share, 1e-12) / ANY_MEMBERS)
    found = []
    for lab, logs in zip(labs, np.concatenate([own, other], axis=-1), strict=True):
        likeliest = logs.max()
        kept = np.flatnonzero(logs > likeliest + np.log(NEGLIGIBLE))
        weight = np.exp(logs[kept] - likeliest)
        split = np.searchsorted(kept, members)
        these = [prior.lab.T.take(kept[:split], axis=1), lab.T.take(kept[split:] - members, axis=1)]
        weight /= weight.sum()
        both = np.concatenate(these, axis=1).T
        found.append(Posterior(both, weight, prior.kind.take(kept), prior.white.take(kept)))
    return found


@dataclass(frozen=True, eq=False)
class _Prior:
    lab: Array
    """(N, 3), members of the family; the next two go on to the colours that no mixture explains."""
    kind: NDArray[np.intp]
    white: Array
    lit: _Lit
    any_share: float


@dataclass(frozen=True, eq=False)
class _Lit:
    """How each of N colours would be lit, a row a channel, ready for weighing."""

    centre: Array
    """(..., 3, N)"""
    sharp: Array
    """(..., 3, N) one over the spread."""
    log_sharp: Array
    """(..., N) logarithm of the product of that."""
    powers: Array
    """(..., 3, N) of `shifted_by`."""


def shifted_by(lightness: Array) -> Array:
    """Return the (3, ...) powers of L* (...) by which a clue's shift goes: one, slope and bend about the middle."""
    middle = (lightness - 50.0) / 25.0
    return np.stack([np.ones_like(middle), middle, middle**2 - 1.0])


def _lit(place: Array, lightness: Array, model: ErrorModel) -> _Lit:
    centre, log_sd = (np.ascontiguousarray(part.swapaxes(-1, -2)) for part in model.at(place, lightness))
    return _Lit(centre, np.exp(-log_sd), -log_sd.sum(-2), np.moveaxis(shifted_by(lightness), 0, -2))


@lru_cache(maxsize=8)
def _prior(rungs: tuple[tuple[float, ...], ...], wet: bool, model: ErrorModel) -> _Prior:
    family = hair_family(Ladder("", np.array(rungs)))
    ratio = wet_reflectance(np.clip(family.ratio, 0.0, 1.0)) if wet else family.ratio
    place = scale_and_tint(ratio) if wet else family.place
    lit = _lit(place, lab_from_ratio(ratio)[:, 0], model)
    kind = np.append(family.kind, np.full(ANY_MEMBERS, KINDS.index("any")))
    return _Prior(
        np.asfortranarray(family.lab),
        kind,
        np.append(family.white, np.zeros(ANY_MEMBERS)),
        lit,
        family.any_share,
    )


def _log_likelihood(seen: Array, lit: _Lit, as_lit: AsLit, model: ErrorModel) -> Array:
    """Return the log density (..., N) of a colour (..., 3) for each centre: a multivariate t, but for a constant."""
    whiten = model.whiten * np.exp(-as_lit.widen)[..., None, :]
    off = whiten @ ((seen[..., None] - lit.centre - as_lit.shift.swapaxes(-1, -2) @ lit.powers) * lit.sharp)
    far = np.log1p((off * off).sum(-2) / model.freedom)
    return np.asarray(lit.log_sharp - as_lit.widen.sum(-1)[..., None] - (model.freedom + 3.0) / 2.0 * far)


@cache
def _around() -> tuple[Array, Array]:
    """Return (ANY_MEMBERS, 3) places about zero, wider than a normal's, and their log density."""
    even = evenly_spread(ANY_MEMBERS, 4)
    place = normal_deviates(even[:, :3]) * (1.6 / np.sqrt(0.55 + 0.9 * even[:, 3:]))
    spread = 1.6 / np.sqrt(0.55 + 0.9 * (np.arange(32) + 0.5) / 32)
    squared = (place**2).sum(1)[:, None]
    density = np.mean(np.exp(-squared / 2.0 / spread**2) / spread**3, axis=1) / (2.0 * np.pi) ** 1.5
    return place, np.log(density)


def _lightness(place: Array) -> Array:
    """Return L* (...) of `scale_and_tint` (..., 3)."""
    light = np.exp(place[..., 0])
    return np.where(light > EPSILON, 116.0 * np.cbrt(light) - 16.0, KAPPA * light)


def _any_colours(seen: Array, as_lit: AsLit, model: ErrorModel, wet: bool) -> tuple[Array, Array]:
    """Return CIELAB (..., M, 3) of colours about the measured one (..., 3), and their log weights (..., M).

    They are drawn by importance. Each is as likely as any other within `ANY_RANGE` before the photo is looked at.
    """
    about, density = _around()
    powers = shifted_by(_lightness(seen))
    unshifted = seen - np.einsum("...pc,p...->...c", as_lit.shift, powers)
    centre, log_sd = model.at(unshifted[..., None, :], _lightness(unshifted)[..., None])
    log_sd = log_sd[..., 0, :] + as_lit.widen
    spread = np.exp(log_sd)
    rows = (2.0 * unshifted - centre[..., 0, :])[..., None] + (model.mixing @ about.T) * spread[..., None]
    place = rows.swapaxes(-1, -2)
    ratio = np.minimum(ratio_of(place), LIGHTEST)
    lab = lab_from_ratio(ratio)
    likely = _log_likelihood(seen, _lit(place, lab[..., 0], model), as_lit, model)
    drawn = density - (log_sd.sum(-1) + np.log(np.diag(model.mixing)).sum())[..., None]
    inside = ((place > ANY_RANGE[0]) & (place < ANY_RANGE[1])).all(-1)
    evenly = -float(np.log(np.prod(ANY_RANGE[1] - ANY_RANGE[0])))
    logs = np.where(inside, likely - drawn + evenly, -np.inf)
    return lab_from_ratio(dry_reflectance(np.minimum(ratio, 1.0))) if wet else lab, logs


def tell(
    found: Posterior,
    ladder: Ladder,
    *,
    wet: bool = False,
    turned: bool = False,
    signs: Array | None = None,
    telling: Telling | None = None,
) -> Told:
    """Return the numbers that stand for a posterior.

    Parameters
    ----------
    turned : the card was, between photos.
    signs : (3,) of `AsLit`, from which the posterior is.
    """
    telling = telling or load_telling()
    constant = telling.unseen[int(turned)]
    unseen = np.array([constant[0] if signs is None else float(constant @ signs), 0.0, 0.0])
    lab = found.mean
    least = drying_sd(lab) if wet else LEAST_SD
    sd = np.sqrt(found.variance) * telling.sd_growth
    sd = np.hypot(np.hypot(sd, least) if wet else np.maximum(sd, least), unseen)
    low, high = found.quantiles(ladder.level_of(found.lab), (0.025, 0.975))
    level_sd = np.hypot(float(high - low) / 2.0 / 1.96, ladder.level_sd(lab, np.diag(least**2 + unseen**2)))
    return Told(lab, sd, sd * telling.together, float(ladder.level_of(lab)), float(level_sd))
