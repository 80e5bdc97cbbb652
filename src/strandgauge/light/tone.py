"""The camera's tone curve: fitted to the card's greys, undone for every pixel.

A camera writes ``v`` (0 to 1) for linear light ``l``. Most curves are close to that of sRGB (IEC 61966-2-1), so
the inverse is written as that one times a smooth factor, less an offset for veiling glare::

    l_c(v) = srgb_decode(v) * exp(sum_k B_k(v) (w_k + d_kc)) - o_c

with cubic B-splines ``B_k`` over ``v``, weights ``w`` shared by the channels, small departures ``d`` of each
channel and an offset ``o``. Priors pull ``w`` towards smooth and ``d``, ``o`` towards zero, so that where the
card says little (below its black, above its white) the curve stays that of sRGB.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array
from strandgauge.colour.srgb import srgb_decode

SPLINES = 9
"""Number of B-splines over the encoded range."""
TABLE = 1024
"""Steps at which the splines are tabulated; between them they are interpolated linearly."""

SMOOTHNESS_SD = 0.22
"""Prior standard deviation of the second differences of ``w`` (log units)."""
SLOPE_SD = 0.35
"""Prior standard deviation of the first differences of ``w`` (log units)."""
CHANNEL_SD = 0.015
"""Prior standard deviation of ``d``, and of its first differences, a third of that."""
OFFSET_SD = 0.004
"""Prior standard deviation of ``o``, in units of linear light where white is 1."""


@cache
def _spline_table() -> Array:
    """Return (TABLE + 1, SPLINES) values of the clamped cubic B-splines at equal steps of v."""
    degree = 3
    inner = np.linspace(0.0, 1.0, SPLINES - degree + 1)
    knots = np.r_[[0.0] * degree, inner, [1.0] * degree]
    v = np.linspace(0.0, 1.0, TABLE + 1)
    basis = [((v >= a) & (v < b)).astype(float) for a, b in pairwise(knots)]
    basis[len(knots) - degree - 2][-1] = 1.0  # the right end belongs to the last interval
    for k in range(1, degree + 1):  # Cox-de Boor recursion
        basis = [
            _ratio(v - knots[i], knots[i + k] - knots[i]) * basis[i]
            + _ratio(knots[i + k + 1] - v, knots[i + k + 1] - knots[i + 1]) * basis[i + 1]
            for i in range(len(basis) - 1)
        ]
    return np.stack(basis, axis=1)


def _ratio(numerator: Array, denominator: float) -> Array:
    return numerator / denominator if denominator > 0 else np.zeros_like(numerator)


def splines(v: Array) -> Array:
    """Return (..., SPLINES) spline values for encoded values (...) between 0 and 1."""
    table = _spline_table()
    at = np.clip(v, 0.0, 1.0) * TABLE
    low = np.minimum(at.astype(np.intp), TABLE - 1)
    part = (at - low)[..., None]
    values: Array = table[low] * (1 - part) + table[low + 1] * part
    return values


def prior_rows() -> tuple[Array, Array]:
    """Return the priors on ``w`` (rows, SPLINES) and on one channel's ``d``, each row scaled to unit sd."""
    first = np.diff(np.eye(SPLINES), axis=0)
    second = np.diff(first, axis=0)
    shared = np.vstack([second / SMOOTHNESS_SD, first / SLOPE_SD])
    channel = np.vstack([np.eye(SPLINES) / CHANNEL_SD, first / (CHANNEL_SD / 3)])
    return shared, channel


def decode(v: Array, weights: Array, offsets: Array) -> Array:
    """Undo the curve for (..., 3) encoded values; `weights` is (SPLINES, 3), `offsets` (3,)."""
    exponent = np.einsum("...ck,kc->...c", splines(v), weights)
    return np.asarray(srgb_decode(v) * np.exp(exponent) - offsets)


def decoding_table(weights: Array, offsets: Array, steps: int) -> NDArray[np.float32]:
    """Return a (steps, 3) float32 table of linear light for codes 0 .. steps - 1, never falling with the code."""
    v = np.linspace(0.0, 1.0, steps)
    light = srgb_decode(v)[:, None] * np.exp(splines(v) @ weights) - offsets
    return np.maximum.accumulate(light, axis=0).astype(np.float32)
