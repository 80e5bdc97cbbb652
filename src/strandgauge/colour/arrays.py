"""The kinds of arrays that numbers are handed on in."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def median(values: NDArray[Any]) -> Any:  # noqa: ANN401 - a number, or a row of them
    """Return the median over the first axis; see `quantile`."""
    return quantile(values, 0.5)


def quantile(values: NDArray[Any], share: float) -> Any:  # noqa: ANN401
    """Return the quantile over the first axis of finite numbers, one at least, linear between two of them.

    NumPy's own loads its masked arrays, a thirtieth of a first reading.
    """
    ordered, at = np.sort(values, axis=0), share * (len(values) - 1)
    low, high = ordered[math.floor(at)], ordered[math.ceil(at)]
    return low + (high - low) * (at % 1)
