"""The light's unevenness across the card, as a smooth factor on each channel.

``log factor_c(x, y) = sum_ij f_ij P_i(x) P_j(y) + sum_ij g_ijc P_i(x) P_j(y)``: Legendre polynomials over the card,
up to fourth order for the brightness all channels share (``f``) and up to second for the differences of red
and blue from it (``g``). The priors shrink with the order, so few neutrals give a simple field, many a finer one.
To it comes what phones do to large areas: where it is dark around, they brighten, as a power of that.
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array

ORDERS = tuple((i, j) for total in range(1, 5) for i in range(total, -1, -1) for j in [total - i] if j <= 3)
"""(order in x, order in y) of each brightness term."""
_IN_X, _IN_Y = np.transpose(ORDERS)
COLOUR_ORDERS = tuple(order for order in ORDERS if sum(order) <= 2)
"""Orders of the terms in which red and blue may differ from green: the first ones of `ORDERS`."""
BRIGHTNESS_SD = 0.2
"""Prior standard deviation of a first-order brightness term, log units; falls with the square of the order."""
COLOUR_SD = 0.03
"""The same for the colour terms."""
LOCAL_SD = 0.15
"""Prior standard deviation of how far a camera draws large bright and dark areas together, a power of `around`."""


def basis(places: Array, size: tuple[float, float]) -> Array:
    """Return (N, len(ORDERS)) terms at (N, 2) card millimetres; `size` is the card's width and height."""
    terms = np.polynomial.legendre.legvander((2 * places / np.asarray(size) - 1).T, 4)
    return np.asarray(terms[0][:, _IN_X] * terms[1][:, _IN_Y])


@cache
def prior_sd() -> tuple[Array, Array]:
    """Return prior standard deviations of the brightness and of the colour terms."""
    brightness = np.array([BRIGHTNESS_SD / (i + j) ** 2 for i, j in ORDERS])
    colour = np.array([COLOUR_SD / (i + j) ** 1.5 for i, j in COLOUR_ORDERS])
    return brightness, colour


def around(surround: NDArray[np.float32] | None, places: Array, size: tuple[float, float]) -> Array:
    """Return (N,) how bright it is around (N, 2) card millimetres, from the card's map ``Samples.surround``."""
    if surround is None:
        return np.zeros(len(places))
    rows, columns = surround.shape
    at = (places / np.asarray(size) * (columns - 1, rows - 1)).astype(np.float32)
    found = cv2.remap(surround, at[:, :1], at[:, 1:], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found[:, 0], dtype=np.float64)
