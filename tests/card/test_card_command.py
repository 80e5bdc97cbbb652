"""The card command: what it writes, says and refuses."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from strandgauge.cli.app import run


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_without_options_the_page_is_written_for_a4(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["card"]) == 0
    assert Path("card.pdf").read_bytes().startswith(b"%PDF-")
    said = capsys.readouterr().out
    assert "148 x 105 mm on A4 paper" in said
    assert "100 mm" in said


def test_the_picture_alone_at_another_scale(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["card", "--png", "card.png", "--scale", "8"]) == 0
    with Image.open("card.png") as picture:
        assert picture.size == (1184, 840)
    assert not Path("card.pdf").exists()
    assert "8 pixels per mm" in capsys.readouterr().out


def test_what_cannot_be_done_has_its_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    Path("bad.toml").write_text("[card]\nilluminant = 'D65'\nsise = [1, 2]\n")
    assert run(["card", "--card", "bad.toml"]) == 50
    assert "bad.toml:3: unknown key 'sise'" in capsys.readouterr().err
    assert run(["card", "--out", "none/card.pdf"]) == 60
    assert run(["card", "--out", "same", "--png", "same"]) == 2
    assert run(["card", "--card", "bad.toml", "--out", "bad.toml"]) == 2
    assert Path("bad.toml").read_text().startswith("[card]")
