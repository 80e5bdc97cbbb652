"""A strand's photo on disk, and a way to run the command line inside the test."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import publishedschemas
from strandgauge.cli.app import run
from strandphoto import jpeg, strand_photo


@dataclass(frozen=True)
class Outcome:
    """What a run of the command line left behind."""

    code: int
    out: str
    err: str

    def documents(self) -> list[dict[str, Any]]:
        """Return the JSON documents on standard output, one or one a line."""
        try:
            return [json.loads(self.out)]
        except json.JSONDecodeError:
            return [json.loads(line) for line in self.out.splitlines()]


@pytest.fixture
def strandgauge(capsys) -> Callable[..., Outcome]:
    """Return a function that runs a command line and tells how it went."""

    def command_line(*arguments: str | Path) -> Outcome:
        code = run([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return Outcome(code, captured.out, captured.err)

    return command_line


@pytest.fixture
def valid() -> Callable[[dict[str, Any]], dict[str, Any]]:
    """Return a function that checks a document against the schema it names and hands it back."""

    return publishedschemas.valid


@pytest.fixture(scope="session")
def strand_jpeg(card, sheet) -> bytes:
    return jpeg(strand_photo(card, sheet))


@pytest.fixture
def photo(tmp_path: Path, strand_jpeg: bytes) -> Path:
    file = tmp_path / "strand.jpg"
    file.write_bytes(strand_jpeg)
    return file
