"""Files written whole or not at all, line by line so that memory stays flat; and a folder for one run alone."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from strandgauge.errors import BatchFolderError
from strandgauge.files.write import cannot_write

LOCK = ".lock"
_PART = ".{}.part"
UNFINISHED = ".*.part"
"""Pattern of what a killed run may leave beside a file."""


@contextmanager
def replacing(path: Path) -> Iterator[IO[bytes]]:
    """Open a file for writing that takes the place of ``path`` at the end of the block, if all went well.

    The unfinished file has a fixed name beside it, so that what a killed run left there is written over. Only
    the run that holds the folder writes in it.

    Raises
    ------
    CannotWriteError : no space, no permission.
    """
    part = path.with_name(_PART.format(path.name))
    try:
        with part.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise cannot_write(path, error) from error
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise


def write_small(path: Path, content: bytes) -> None:
    """Write a small file whole or not at all, without waiting for the disk.

    Raises
    ------
    CannotWriteError : no space, no permission.
    """
    part = path.with_name(_PART.format(path.name))
    try:
        part.write_bytes(content)
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise cannot_write(path, error) from error


@contextmanager
def held(folder: Path) -> Iterator[None]:
    """Hold a folder for this process alone; the system lets go of it when the process ends, however it ends.

    Raises
    ------
    BatchFolderError : another run holds it.
    CannotWriteError : nothing can be written there.
    """
    try:
        file = (folder / LOCK).open("ab")
    except OSError as error:
        raise cannot_write(folder, error) from error
    with file:
        try:
            _lock(file.fileno())
        except OSError as error:
            if error.errno in (errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS):
                yield  # a file system without locks: nobody can be kept out
                return
            raise BatchFolderError(
                "Another batch is writing into this folder.",
                where=str(folder),
                remedy="Wait until it has ended, or name another folder with --out.",
            ) from error
        yield


def _lock(descriptor: int) -> None:
    if os.name == "nt":  # pragma: no cover - no such system here
        import msvcrt

        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined, unused-ignore]
    else:
        import fcntl

        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
