"""Small photos of strands, what they are read with, and schemas to hold documents against."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from batchhelp import Here, fill

import publishedschemas
from strandgauge.batches import run
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.kit import Kit
from strandphoto import jpeg, strand_photo


@pytest.fixture(scope="session")
def strands(card, sheet) -> list[bytes]:
    """Three different strands as JPEG files."""
    return [jpeg(strand_photo(card, sheet, seed=seed)) for seed in (3, 4, 5)]


@pytest.fixture(scope="session")
def kit(card) -> Kit:
    return Kit(card, load_ladder(), load_shelf(), load_targets())


@pytest.fixture
def here(monkeypatch) -> None:
    """Read in this process. That workers give the same is held by tests which start them."""
    monkeypatch.setattr(run, "Processes", Here)


@pytest.fixture
def photos(tmp_path, strands) -> Path:
    return fill(tmp_path / "photos", strands)


@pytest.fixture
def valid() -> Callable[[dict[str, Any]], dict[str, Any]]:
    """Return a function that checks a document against the schema it names and hands it back."""

    return publishedschemas.valid
