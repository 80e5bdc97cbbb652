"""A folder of one's own for what is learned, and the command line inside the test."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from twocards import load_trusted

import publishedschemas
from strandgauge.card.model import CardDefinition
from strandgauge.cli.app import run


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the user's calibration folder, not there yet."""
    folder = tmp_path / "own"
    monkeypatch.setenv("STRANDGAUGE_HOME", str(folder))
    return folder


@pytest.fixture
def strandgauge(home, capsys) -> Callable[..., tuple[int, str, str]]:
    """Return a function that runs a command line: exit code, standard output, standard error."""

    def command_line(*arguments: str | Path) -> tuple[int, str, str]:
        code = run([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return command_line


@pytest.fixture
def document(strandgauge) -> Callable[..., dict[str, Any]]:
    """Return a function that runs a command line with ``--json -`` and checks what it prints against its schema."""

    def command_line(*arguments: str | Path) -> dict[str, Any]:
        code, out, err = strandgauge(*arguments, "--json", "-")
        assert code == 0, err
        return publishedschemas.valid(json.loads(out))

    return command_line


@pytest.fixture(scope="session")
def trusted(tmp_path_factory) -> CardDefinition:
    return load_trusted(tmp_path_factory.mktemp("chart"))
