"""Reads a file whole, or says in plain words why not."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from strandgauge.codes.catalogue import say
from strandgauge.errors import StrandgaugeError


def read_file(
    path: Path,
    error: type[StrandgaugeError],
    what: str,
    most: int,
    *,
    too_large: type[StrandgaugeError] | None = None,
) -> bytes:
    """Return the content of a file.

    Parameters
    ----------
    path : the file.
    error : the class to raise when it cannot be read.
    what : what the file should be, a code of ``[file-kind]``, such as "card-definition".
    most : bytes beyond which it cannot be that.
    too_large : the class to raise then; ``error`` when left out.
    """
    try:
        with open(path, "rb", opener=_open_without_waiting) as file:
            status = os.fstat(file.fileno())
            if not stat.S_ISREG(status.st_mode):
                raise error(say("file.device", what=what), where=str(path))
            if status.st_size > most:
                message = say("file.large", what=what, most=most / 1e6)
                raise (too_large or error)(message, where=path.name)
            return file.read()
    except FileNotFoundError:
        message, remedy = say("file.missing", what=what), say("file.check-name")
    except IsADirectoryError:
        message, remedy = say("file.folder", what=what), say("file.name-file")
    except PermissionError:
        message, remedy = say("file.forbidden", what=what), say("file.permissions")
    except (OSError, ValueError) as problem:
        message, remedy = say("file.unreadable", what=what, reason=problem), None
    raise error(message, where=str(path), remedy=remedy)


def _open_without_waiting(path: str, flags: int) -> int:
    # Without this flag, opening a named pipe would wait for ever for someone to write into it.
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))
