"""The colours that hair can have: mixtures of pigment around a ladder, each as likely as the trade finds it.

Before a photo is looked at, hair may be lifted, never lifted, red, greying, toned or dyed, anywhere along the
ladder. ``calibration/hair-family.toml`` says how often and how far apart. The family is a fixed cloud of such
mixtures with their colours; a measurement then weighs them (:mod:`strandgauge.hair.posterior`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import WHITE_D65, lab_from_xyz, xyz_from_lab
from strandgauge.files.calibration import calibration_file, read_calibration
from strandgauge.hair.law import Law
from strandgauge.hair.levels import Ladder
from strandgauge.hair.pigment import load_pigments
from strandgauge.hair.spectra import GRID, observer_weights

Kind = Literal["natural", "lifted", "red", "grey", "toned", "dyed", "any"]
KINDS: tuple[Kind, ...] = ("natural", "lifted", "red", "grey", "toned", "dyed", "any")
DYED = ("toned", "dyed", "any")
MEMBERS = 8192
DARKEST = 2e-4
"""Least X/Xn, Y/Yn, Z/Zn that is told apart from black."""
_POWERS = np.log(GRID / 550.0)
_TERMS = np.stack([np.ones_like(_POWERS), _POWERS, _POWERS**2])


@dataclass(frozen=True, eq=False)
class Family:
    """A cloud of hair colours, all alike likely: the prior of a measurement."""

    ratio: Array = field(repr=False)
    """(N, 3) X/Xn, Y/Yn, Z/Zn under diffuse D65."""
    lab: Array = field(repr=False)
    """(N, 3) CIELAB."""
    place: Array = field(repr=False)
    """(N, 3) `scale_and_tint` of ``ratio``."""
    kind: NDArray[np.intp] = field(repr=False)
    """(N,) row of `KINDS`."""
    white: Array = field(repr=False)
    """(N,) share of white hairs."""
    any_share: float
    """How likely a colour is that no mixture explains."""


def scale_and_tint(ratio: ArrayLike) -> Array:
    """Return (..., 3) of X/Xn, Y/Yn, Z/Zn (..., 3): ln(Y/Yn), and how far X and Z lie from Y on CIELAB's scale.

    Scaling a colour moves the first and leaves the other two: (f_X - f_Y) / f_Y and (f_Y - f_Z) / f_Y with the
    cube root f, which are a* and b* in units of L* + 16, but for constants.
    """
    root = np.cbrt(np.maximum(np.asarray(ratio, dtype=float), DARKEST))
    light = root[..., 1]
    return np.stack([3.0 * np.log(light), root[..., 0] / light - 1.0, 1.0 - root[..., 2] / light], axis=-1)


def ratio_of(place: ArrayLike) -> Array:
    """Return X/Xn, Y/Yn, Z/Zn (..., 3) of `scale_and_tint` (..., 3)."""
    place = np.asarray(place, dtype=float)
    light = np.exp(place[..., 0] / 3.0)
    root = np.stack([light * (1.0 + place[..., 1]), light, light * (1.0 - place[..., 2])], axis=-1)
    return np.asarray(np.maximum(root, 0.0) ** 3)


def ratio_from_lab(lab: ArrayLike) -> Array:
    """Return X/Xn, Y/Yn, Z/Zn (..., 3) of CIELAB (..., 3)."""
    return np.asarray(xyz_from_lab(lab) / WHITE_D65)


def lab_from_ratio(ratio: ArrayLike) -> Array:
    """Return CIELAB (..., 3) of X/Xn, Y/Yn, Z/Zn (..., 3)."""
    return lab_from_xyz(np.asarray(ratio, dtype=float) * WHITE_D65)


def hair_family(ladder: Ladder, members: int = MEMBERS) -> Family:
    """Return the family of hair colours around a ladder; the same ladder always gives the same family.

    Raises
    ------
    BadCalibrationError : ``calibration/hair-family.toml`` lacks something; the line is named.
    """
    return _family(tuple(map(tuple, ladder.lab.tolist())), members)


@lru_cache(maxsize=4)
def _family(rungs: tuple[tuple[float, ...], ...], members: int) -> Family:
    table = read_calibration(calibration_file("hair-family.toml"), "strandgauge.hair-family/1")
    law = load_pigments().law
    lab = np.array(rungs)
    mixture, floor, miss = _mixtures(lab, law)
    even = evenly_spread(members, 9)
    normal = normal_deviates(even)
    own = [table.number(kind, "share", low=0.0, high=1.0) for kind in KINDS]
    edges = np.cumsum(own[:-1]) / sum(own[:-1])
    kind = np.minimum(np.searchsorted(edges, even[:, 2]), len(edges) - 1)

    def spread(name: Kind, key: str, column: int) -> Array:
        low, high = table.numbers(name, key, count=2)
        return np.asarray(low + (high - low) * even[:, column])

    def strength(name: Kind) -> Array:
        low, high = np.log(table.numbers(name, "strength", count=2, low=1e-6))
        return np.asarray(np.exp(low + (high - low) * even[:, 7]))

    below, above = (table.number("range", side, low=0.0, high=6.0) for side in ("below", "above"))
    level = -below + even[:, 0] * (len(lab) - 1 + below + above)  # 0 at the first rung
    grey = kind == KINDS.index("grey")
    level[grey] *= table.number("grey", "up_to", low=1.0) / (len(lab) + above)
    at = np.clip(level, 0.0, len(lab) - 1.0)
    steps = np.arange(len(lab))
    amounts = np.stack([np.interp(at, steps, column) for column in mixture.T], axis=-1)
    amounts[:, 0] += np.maximum(-level, 0.0)
    amounts[:, 0] += np.maximum(level - steps[-1], 0.0) * (mixture[-1, 0] - mixture[-2, 0])
    amounts[:, 1] += table.number("person", "steepness", low=0.0) * normal[:, 3]
    amounts[:, 2] += table.number("person", "curvature", low=0.0) * normal[:, 4]
    natural, red = (kind == KINDS.index("natural")) | grey, kind == KINDS.index("red")
    share = spread("natural", "mixture", 5)[natural]
    pure = table.number("natural", "eumelanin")
    amounts[natural, 1] = pure + (amounts[natural, 1] - pure) * share
    amounts[natural, 2] *= share
    amounts[red, 1] -= spread("red", "steeper", 5)[red]
    absorption = np.exp(np.clip(amounts @ _TERMS, -30.0, 8.0))
    for name in ("toned", "dyed"):
        there = kind == KINDS.index(name)
        width = 45.0 + 30.0 * even[there, 5]
        absorption[there] += strength(name)[there, None] * _band(spread(name, "peak", 6)[there], width)
    there = kind == KINDS.index("dyed")  # most dyes are mixtures: a second, weaker band
    second = 420.0 + 260.0 * ((7.3 * even[there, 8]) % 1.0)
    weaker = 0.6 * strength("dyed")[there] * even[there, 8] ** 2
    absorption[there] += weaker[:, None] * _band(second, np.full(len(second), 55.0))
    surface = np.interp(at, steps, floor) * np.exp(table.number("person", "surface", low=0.0) * normal[:, 1])
    reflectance = law.reflectance(absorption, surface)
    white = np.where(grey, spread("grey", "white", 6), 0.0)
    amount = white[grey, None]
    reflectance[grey] = (1.0 - amount) * reflectance[grey] + amount * _white_hair(law, even[grey, 7])
    fixed = np.stack([np.interp(at, steps, column) for column in miss.T], axis=-1)
    ratio = (reflectance @ observer_weights()) / WHITE_D65 * np.exp(fixed)
    return Family(ratio, lab_from_ratio(ratio), scale_and_tint(ratio), kind, white, own[-1])


def _mixtures(lab: Array, law: Law) -> tuple[Array, Array, Array]:
    """Return, for CIELAB (K, 3), the mixtures (K, 3), surface floors (K,) and what they miss, ln ratio (K, 3).

    The mixture is (ln c, s, k) of c * (nm / 550)^(s + k ln(nm / 550)); damped least squares, held weakly to a
    plain power of -4, since black hair does not tell its own.
    """
    target = ratio_from_lab(lab)
    floor = law.floor_for(target)
    inner = np.clip((target[:, 1] - floor) / (1.0 - floor), 1e-4, 0.999)
    found = np.stack([2.0 * np.log(-np.log(inner)), np.full(len(lab), -4.0), np.zeros(len(lab))], axis=1)
    hold, usual = np.diag([0.0, 5e-4, 4e-3]), np.array([0.0, -4.0, 0.0])
    weights = observer_weights() / WHITE_D65
    for _ in range(40):
        absorption = np.exp(np.clip(found @ _TERMS, -30.0, 8.0))
        ratio = law.reflectance(absorption, floor) @ weights
        by_log = law.slope(absorption, floor) * absorption
        slope = np.einsum("nl,kl,lc->nck", by_log, _TERMS, weights)
        root = np.cbrt(ratio)
        slope = 100.0 * slope / (3.0 * root**2)[..., None]
        miss = 100.0 * (np.cbrt(target) - root)
        normal = np.einsum("nck,ncj->nkj", slope, slope) + hold
        pull = np.einsum("nck,nc->nk", slope, miss) - (found - usual) @ hold
        found = found + np.clip(np.linalg.solve(normal, pull[..., None])[..., 0], -1.5, 1.5)
    ratio = law.reflectance(np.exp(np.clip(found @ _TERMS, -30.0, 8.0)), floor) @ weights
    return found, floor, np.log(target / ratio)


def _white_hair(law: Law, place: Array) -> Array:
    """Return reflectances (N, 31) of hair without melanin: keratin's yellow alone, a little more or less."""
    absorption = 0.25 * np.exp(0.8 * (place - 0.5))[:, None] * (GRID / 550.0) ** -5.0
    return law.reflectance(absorption)


def _band(peak: Array, width: Array) -> Array:
    return np.asarray(np.exp(-(((GRID - peak[:, None]) / width[:, None]) ** 2)))


def evenly_spread(count: int, columns: int) -> Array:
    """Return (count, columns) points evenly spread over the unit cube: the R sequence (Roberts 2018)."""
    root = 2.0
    for _ in range(40):
        root = (1.0 + root) ** (1.0 / (columns + 1))
    return np.asarray(
        (0.5 + np.arange(1, count + 1)[:, None] * (1.0 / root) ** np.arange(1, columns + 1)) % 1.0
    )


def normal_deviates(even: Array) -> Array:
    """Return standard normal deviates of even ones, cut at 3.2."""
    at = np.linspace(-3.2, 3.2, 321)
    return np.asarray(np.interp(even, [NormalDist().cdf(x) for x in at], at))
