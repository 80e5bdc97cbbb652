from __future__ import annotations

import numpy as np
import pytest

from simulated import simulated
from strandgauge.hair.posterior import Posterior


@pytest.fixture(scope="session")
def strands() -> list[tuple[np.ndarray, Posterior]]:
    """Return 400 simulated strands: true CIELAB and what is made of it."""
    return simulated()
