"""Reads a file whole, or says in plain words why not."""

from __future__ import annotations

import os
import stat
from pathlib import Path

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
    what : what the file should be, for the message, such as "card definition".
    most : bytes beyond which it cannot be that.
    too_large : the class to raise then; ``error`` when left out.
    """
    try:
        with open(path, "rb", opener=_open_without_waiting) as file:
            status = os.fstat(file.fileno())
            if not stat.S_ISREG(status.st_mode):
                raise error(f"This is a device or a pipe, not a {what}.", where=str(path))
            if status.st_size > most:
                message = f"The file is larger than {most / 1e6:g} MB; no {what} is."
                raise (too_large or error)(message, where=path.name)
            return file.read()
    except FileNotFoundError:
        message, remedy = f"There is no such {what}.", "Check the name and the folder."
    except IsADirectoryError:
        message, remedy = f"This is a folder, not a {what}.", "Name a file in it."
    except PermissionError:
        message, remedy = f"You may not read this {what}.", "Change its permissions, or copy it elsewhere."
    except (OSError, ValueError) as problem:
        message, remedy = f"The {what} cannot be read ({problem}).", None
    raise error(message, where=str(path), remedy=remedy)


def _open_without_waiting(path: str, flags: int) -> int:
    # Without this flag, opening a named pipe would wait for ever for someone to write into it.
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))
