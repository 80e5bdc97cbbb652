"""JSON output of a command: one document, or one a line for several photos."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from strandgauge.files.write import cannot_write


class JsonLines:
    """Writes JSON documents to a file, or to standard output for ``-``.

    What the file held before is gone with the first document, not earlier.

    Raises
    ------
    CannotWriteError : the file cannot be opened for writing; found out before any work is done.
    """

    def __init__(self, target: str) -> None:
        self.to_standard_output = target == "-"
        self._target = target
        self._begun = False
        if not self.to_standard_output:
            self._append("")

    def write(self, document: dict[str, Any], *, one_line: bool) -> None:
        """Write one document; on one line where several come, so that a reader can go line by line.

        Raises
        ------
        CannotWriteError : no space left, or the file is gone.
        """
        import json

        text = json.dumps(document, indent=None if one_line else 2, allow_nan=False) + "\n"
        if self.to_standard_output:
            sys.stdout.write(text)
            sys.stdout.flush()
            return
        self._append(text, anew=not self._begun)
        self._begun = True

    def _append(self, text: str, *, anew: bool = False) -> None:
        try:
            with Path(self._target).open("w" if anew else "a", encoding="utf-8") as file:
                file.write(text)
        except OSError as error:
            raise cannot_write(self._target, error) from error
