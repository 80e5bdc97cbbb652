"""JSON output of a command: one document, or one a line for several photos."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from strandgauge.files.write import cannot_write


class JsonLines:
    """Writes JSON documents to a file, or to standard output for ``-``.

    Parameters
    ----------
    target : a file, or ``-``.
    several : whether several documents may come; each is then one line, so that a reader can go line by line.

    Raises
    ------
    CannotWriteError : the file cannot be opened for writing; found out before any work is done.
    """

    def __init__(self, target: str, *, several: bool) -> None:
        self.to_standard_output = target == "-"
        self._several = several
        self._target = target
        if not self.to_standard_output:
            self._begin()

    def write(self, document: dict[str, Any]) -> None:
        """Write one document.

        Raises
        ------
        CannotWriteError : no space left, or the file is gone.
        """
        text = json.dumps(document, indent=None if self._several else 2, allow_nan=False) + "\n"
        if self.to_standard_output:
            sys.stdout.write(text)
            sys.stdout.flush()
            return
        try:
            with Path(self._target).open("a", encoding="utf-8") as file:
                file.write(text)
        except OSError as error:
            raise cannot_write(self._target, error) from error

    def _begin(self) -> None:
        try:
            Path(self._target).write_bytes(b"")
        except OSError as error:
            raise cannot_write(self._target, error) from error
