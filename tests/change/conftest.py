"""The command line inside the test, as the tests of ``cli`` have it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import publishedschemas
from browser import browse, chromium  # noqa: F401 - fixtures
from strandgauge.cli.app import run


@pytest.fixture
def strandgauge(capsys) -> Callable[..., tuple[int, str, str]]:
    """Return a function that runs a command line: exit code, standard output, standard error."""

    def command_line(*arguments: str | Path) -> tuple[int, str, str]:
        code = run([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return command_line


@pytest.fixture
def valid() -> Callable[[dict[str, Any]], dict[str, Any]]:
    """Return a function that checks a document against the schema of a change and hands it back."""

    def validate(document: dict[str, Any]) -> dict[str, Any]:
        publishedschemas.schema("change-1.json").validate(document)
        return document

    return validate
