"""Shared by all tests: the card that ships, painted once, and the synthetic camera."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from strandgauge.card.model import CardDefinition
from strandgauge.pipeline import default_card
from synthetic import paint


@pytest.fixture(scope="session")
def card() -> CardDefinition:
    return default_card()


@pytest.fixture(scope="session")
def sheet(card: CardDefinition) -> np.ndarray:
    """The card as linear sRGB."""
    return paint(card)
