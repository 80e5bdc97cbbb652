"""The description of the card format keeps its word."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from strandgauge.card.definition import load_card
from strandgauge.card.form import FORMS
from strandgauge.colour.cielab import chroma
from strandgauge.colour.illuminant import ILLUMINANTS
from strandgauge.light.correction import NEUTRAL_CHROMA

DOCUMENT = (Path(__file__).parents[2] / "docs" / "card-format.md").read_text(encoding="utf-8")


def test_the_example_chart_can_be_used(tmp_path: Path) -> None:
    (example,) = re.findall(r"```toml\n(.*?)```", DOCUMENT, re.DOTALL)
    path = tmp_path / "chart.toml"
    path.write_text(example)
    card = load_card(path)
    assert (len(card.markers), len(card.patches)) == (4, 13)
    assert card.size == (120.0, 60.0)
    assert sum(chroma(patch.lab) < NEUTRAL_CHROMA for patch in card.patches) >= 6


@pytest.mark.parametrize("table", FORMS)
def test_every_key_is_described(table: str) -> None:
    assert f"[{table}]" in DOCUMENT
    missing = [key for key in FORMS[table].keys if not re.search(rf"`{key}\b|^{key} =", DOCUMENT, re.M)]
    assert not missing


def test_every_illuminant_is_described() -> None:
    assert all(f"`{name}`" in DOCUMENT for name in ILLUMINANTS)
