"""Linear algebra kept to one thread: what one photo asks of it is done before a second one has been woken."""

from __future__ import annotations

import os

_SETTINGS = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)


def one_thread() -> None:
    """Tell the libraries that this process, and those it starts, have yet to load; loaded ones take no notice."""
    os.environ.update(dict.fromkeys(_SETTINGS, "1"))
