"""Names of files as text that any program can read, still one name for one file."""

from __future__ import annotations

import os
import re
from pathlib import Path

_LOOKS_ESCAPED = re.compile(r"\\x[0-9a-f]{2}")


def shown_name(relative: Path) -> str:
    r"""Return a path with forward slashes, as valid Unicode, different for different paths.

    A byte that is no UTF-8 becomes ``\xNN``; where a name has such a byte, or looks as if it had, its own
    backslashes are doubled, so that no two names become one.
    """
    name = relative.as_posix()
    escaped = os.fsencode(name).decode("utf-8", errors="backslashreplace")
    if escaped == name and not _LOOKS_ESCAPED.search(name):
        return name
    doubled = os.fsencode(name.replace("\\", "\\\\"))
    return doubled.decode("utf-8", errors="backslashreplace")
