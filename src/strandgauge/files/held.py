"""A folder for one run alone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from strandgauge.errors import BatchFolderError
from strandgauge.files.write import cannot_write

LOCK = ".lock"


@contextmanager
def held(folder: Path) -> Iterator[None]:
    """Hold a folder for this process alone; the system lets go of it when the process ends, however it ends.

    Where a file system has no locks nobody can be kept out, and the folder is used without one.

    Raises
    ------
    BatchFolderError : another run holds it.
    CannotWriteError : nothing can be written there.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(folder / LOCK, timeout=0)
    try:
        lock.acquire()
    except Timeout as error:
        raise BatchFolderError(where=str(folder), fault="in-use") from error
    except NotImplementedError:
        yield
        return
    except OSError as error:
        raise cannot_write(folder, error) from error
    try:
        yield
    finally:
        lock.release()
