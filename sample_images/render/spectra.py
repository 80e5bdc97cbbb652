"""Spectra on one grid: lamps, the observer, camera sensitivities, inks of a printed card, hair and dyes.

Grid: 400-700 nm by 5 nm (61 values). CIE illuminants, the CIE 1931 2 degree observer and two measured camera
sensitivity sets come from the library colour-science; inks, dyes and the other cameras are invented here.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
GRID = np.arange(400.0, 701.0, 5.0)


@cache
def _colour() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def _on_grid(wavelengths: Array, values: Array) -> Array:
    return np.asarray(np.interp(GRID, wavelengths, values, left=0.0, right=0.0))


@cache
def illuminant(name: str) -> Array:
    """Return a CIE illuminant's relative power (61,), mean 1.

    ``NAME off PAINT`` is it after a painted wall, ``NAME + SHARE OTHER`` mixed with another lamp.
    """
    first, _, blend = name.partition(" + ")
    if blend:
        share, _, other = blend.partition(" ")
        mixed = (1 - float(share)) * illuminant(first) + float(share) * illuminant(other)
        return np.asarray(mixed / mixed.mean())
    lamp, _, paint = name.partition(" off ")
    d = _colour().SDS_ILLUMINANTS[lamp]
    power = _on_grid(d.wavelengths, d.values)
    if paint:
        power = power * wall_paint(paint)
    return np.asarray(power / power.mean())


PAINTS = {  # reflectance at 400, 475, 550, 625 and 700 nm: invented, smooth
    "white": (0.62, 0.78, 0.80, 0.80, 0.80),
    "cream": (0.40, 0.58, 0.74, 0.78, 0.80),
    "rose": (0.38, 0.42, 0.46, 0.66, 0.72),
    "sage": (0.28, 0.40, 0.52, 0.44, 0.46),
    "sky": (0.48, 0.56, 0.48, 0.40, 0.42),
    "wood": (0.10, 0.16, 0.28, 0.42, 0.50),
}


@cache
def wall_paint(name: str) -> Array:
    """Return a painted wall's reflectance (61,)."""
    return np.asarray(np.interp(GRID, [400, 475, 550, 625, 700], PAINTS[name]))


@cache
def observer() -> Array:
    """Return the CIE 1931 2 degree colour matching functions (61, 3)."""
    c = _colour().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return np.stack([_on_grid(c.wavelengths, c.values[:, i]) for i in range(3)], axis=1)


def lab_of(reflectance: Array) -> Array:
    """Return CIELAB (..., 3) for D65 and the 2 degree observer of reflectances (..., 61), white = 1."""
    weight = illuminant("D65")[:, None] * observer()
    xyz = reflectance @ weight / weight[:, 1].sum()
    white = weight.sum(0) / weight[:, 1].sum()
    r = xyz / white
    f = np.where(r > (6 / 29) ** 3, np.cbrt(np.maximum(r, 1e-12)), r / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1
    )


def _bump(centre: float, width: float) -> Array:
    return np.asarray(np.exp(-(((GRID - centre) / width) ** 2)))


WIDE_SENSORS = 100_000
"""Numbers from here on are of a wider world: one sensor in three has channels that overlap much."""


def camera_sensitivity(number: int) -> Array:
    """Return camera ``number``'s sensitivities (61, 3): 0 and 1 measured, higher ones plausible
    inventions."""
    if number >= WIDE_SENSORS:
        rng = np.random.default_rng(number)
        own = camera_sensitivity(9 + number % 4000)
        leak = rng.exponential(0.22 if rng.random() < 0.35 else 0.05, (3, 3)) * (1 - np.eye(3))
        bent = own @ (np.eye(3) + leak) * np.exp(rng.normal(0, 0.12, 3) * ((GRID - 550) / 150)[:, None])
        return np.asarray(bent / bent[:, 1].sum())
    sets = list(_colour().MSDS_CAMERA_SENSITIVITIES.values())
    if number < len(sets):
        m = sets[number]
        s = np.stack([_on_grid(m.wavelengths, m.values[:, i]) for i in range(3)], axis=1)
    else:
        rng = np.random.default_rng(900 + number)
        wide = 1.0 if number < 9 else 1.5

        def n(mean: float, sd: float) -> float:
            return float(rng.normal(mean, wide * sd))

        red = (
            _bump(598 + n(0, 6), 42 + n(0, 4)) + 0.10 * rng.random() * _bump(455, 30) + 0.12 * _bump(530, 40)
        )
        green = _bump(534 + n(0, 5), 48 + n(0, 4)) + 0.08 * rng.random() * _bump(610, 40)
        blue = _bump(459 + n(0, 5), 36 + n(0, 4)) + 0.10 * rng.random() * _bump(530, 45)
        cut = 1 / (1 + np.exp((GRID - 662 - n(0, 6)) / 8))
        s = np.stack([0.9 * red, green, 0.85 * blue], axis=1) * cut[:, None]
    return np.asarray(s / s[:, 1].sum())


# --- the printed card ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Inks:
    """A printer's colorants as absorption shapes (4, 61) and its share of black in greys."""

    shapes: Array
    black_share: float


def draw_inks(seed: int) -> Inks:
    """Return one invented printer's inks."""
    rng = np.random.default_rng(seed)
    n = rng.normal
    cyan = _bump(645 + n(0, 10), 78 + n(0, 8)) + (0.10 + 0.06 * rng.random()) * _bump(425, 60)
    magenta = _bump(548 + n(0, 6), 44 + n(0, 5)) + (0.18 + 0.14 * rng.random()) * _bump(438, 48)
    yellow = 1 / (1 + np.exp((GRID - 489 - n(0, 5)) / (11 + 3 * rng.random()))) + 0.02
    black = 1 + 0.12 * n() * (550 - GRID) / 150
    return Inks(np.stack([cyan, magenta, yellow, black]), float(rng.uniform(0.15, 0.85)))


def paper_spectrum(lab: Array) -> Array:
    """Return a smooth paper reflectance (61,) of exactly this CIELAB (D65/2)."""
    from scipy.optimize import least_squares

    base = np.stack([np.ones_like(GRID), (GRID - 550) / 150, _bump(445, 28)])

    def miss(p: Array) -> Array:
        return lab_of(p @ base) - lab

    found = least_squares(miss, [0.87, 0.0, 0.0])
    return np.asarray(found.x @ base)


def printed_spectrum(lab: Array, paper: Array, inks: Inks) -> Array:
    """Return the reflectance (61,) of a patch printed with these inks that has this CIELAB (D65/2)."""
    from scipy.optimize import least_squares

    best, best_miss = paper, np.inf
    for share in (inks.black_share, 0.4 * inks.black_share, 0.0):
        y = ((lab[0] + 16) / 116) ** 3
        black = share * max(-np.log(max(y / 0.87, 0.012)), 0.0)

        def spectrum(p: Array, black: float = black) -> Array:
            return np.asarray(paper * np.exp(-(p @ inks.shapes[:3] + black * inks.shapes[3])))

        found = least_squares(
            lambda p, s=spectrum: lab_of(s(p)) - lab, [0.5, 0.5, 0.5], bounds=([-0.05] * 3, [6.0] * 3)
        )
        miss = float(np.abs(found.fun).max())
        if miss < best_miss:
            best, best_miss = spectrum(found.x), miss
        if miss < 0.05:
            break
    return best


def smooth_spectrum(lab: Array) -> Array:
    """Return a smooth reflectance (61,) of this CIELAB (D65/2): a sigmoid, after Jakob and Hanika 2019."""
    from scipy.optimize import least_squares

    x = (GRID - 550) / 150

    def spectrum(c: Array) -> Array:
        p = c[0] * x**2 + c[1] * x + c[2]
        return np.asarray(0.5 + p / (2 * np.sqrt(1 + p**2)))

    y = float(np.clip(((lab[0] + 16) / 116) ** 3, 0.01, 0.99))
    start = [0.0, 0.0, (2 * y - 1) / (2 * np.sqrt(y * (1 - y)))]
    return spectrum(least_squares(lambda c: lab_of(spectrum(c)) - lab, start).x)


# --- hair ---------------------------------------------------------------------------------------------------


def absorption(
    eumelanin: float, pheomelanin: float, remainder: float, dyes: tuple[tuple[float, float, float], ...] = ()
) -> Array:
    """Return absorption per fibre radius (61,).

    Melanin shapes and sizes as in the literature on rendering hair (d'Eon et al. 2011; Donner and Jensen
    2006):
    0.697 and 0.400 at 550 nm for concentration one, falling as the -3.33 and -4.75 power of wavelength. The
    remainder is the steep yellow-brown that bleaching leaves, taken as the -7 power. Dyes are Gaussian bands
    (amount, centre nm, width nm).
    """
    r = GRID / 550.0
    a = eumelanin * 0.697 * r**-3.33 + pheomelanin * 0.400 * r**-4.75 + remainder * 0.5 * r**-7.0
    for amount, centre, width in dyes:
        a = a + amount * _bump(centre, width)
    return np.asarray(a + 0.0015)
