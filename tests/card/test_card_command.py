"""The card command: what it writes, says and refuses."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from strandgauge.card.model import CardDefinition
from strandgauge.cli.app import run
from strandgauge.words import say


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_without_options_the_page_is_written_for_a4(
    capsys: pytest.CaptureFixture[str], card: CardDefinition
) -> None:
    assert run(["card"]) == 0
    assert Path("card.pdf").read_bytes().startswith(b"%PDF-")
    said = capsys.readouterr().out
    size = say("card-file.size", width=148, height=105)
    facts = {"name": card.name, "version": card.version, "size": size, "paper": "A4"}
    assert say("card-file.page", file="card.pdf", **facts) in said
    assert say("card-file.scale", length=100) in said


def test_the_picture_alone_at_another_scale(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["card", "--png", "card.png", "--scale", "8"]) == 0
    with Image.open("card.png") as picture:
        assert picture.size == (1184, 840)
    assert not Path("card.pdf").exists()
    size = say("card-file.size", width=148, height=105)
    facts = {"width": 1184, "height": 840, "scale": 8, "size": size}
    assert say("card-file.picture", file="card.png", **facts) in capsys.readouterr().out


def test_what_cannot_be_done_has_its_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    Path("bad.toml").write_text("[card]\nilluminant = 'D65'\nsise = [1, 2]\n")
    assert run(["card", "--card", "bad.toml"]) == 50
    assert "bad.toml:3: unknown key 'sise'" in capsys.readouterr().err
    assert run(["card", "--out", "none/card.pdf"]) == 60
    assert run(["card", "--out", "same", "--png", "same"]) == 2
    assert run(["card", "--card", "bad.toml", "--out", "bad.toml"]) == 2
    assert Path("bad.toml").read_text().startswith("[card]")
