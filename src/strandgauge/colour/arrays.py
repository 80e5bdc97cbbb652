"""The kinds of arrays that numbers are handed on in."""

from __future__ import annotations

import math
from collections.abc import Iterable
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
    return _ordered_quantile(np.sort(values, axis=0), share)


def quantiles(values: NDArray[Any], shares: Iterable[float]) -> list[Any]:
    """Return several of them; see `quantile`."""
    ordered = np.sort(values, axis=0)
    return [_ordered_quantile(ordered, share) for share in shares]


def _ordered_quantile(ordered: NDArray[Any], share: float) -> Any:  # noqa: ANN401
    at = share * (len(ordered) - 1)
    low, high = ordered[math.floor(at)], ordered[math.ceil(at)]
    return low + (high - low) * (at % 1)
