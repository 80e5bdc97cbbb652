"""Writes a result to a file, whole or not at all; the one way in which this package writes files."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from strandgauge.errors import CannotWriteError

UNFINISHED = ".*.part"
"""Pattern of what a killed run may leave beside a file."""


@contextmanager
def replacing(path: Path, *, on_disk: bool = False) -> Iterator[IO[bytes]]:
    """Open a file for writing that takes the place of ``path`` at the end of the block, if all went well.

    A device or a pipe is written to, not replaced.

    Parameters
    ----------
    path : the file to write.
    on_disk : whether to wait until the content is on the disk, so that not even a power cut leaves it torn.

    Raises
    ------
    CannotWriteError : no such folder, no permission, no space, or a folder of that name.
    """
    try:
        if path.exists() and not path.is_file():
            if path.is_dir():
                raise CannotWriteError(where=str(path), fault="folder")
            with path.open("wb") as device:
                yield device
            return
        part = path.with_name(f".{path.name[:60]}.{os.urandom(4).hex()}.part")
        try:
            with part.open("xb") as file:
                yield file
                if on_disk:
                    file.flush()
                    os.fsync(file.fileno())
            part.replace(path)
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)
    except OSError as error:
        raise cannot_write(path, error) from error


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path``; a failure leaves what was there before.

    Raises
    ------
    CannotWriteError : no such folder, no permission, no space, or a folder of that name.
    """
    write_parts(path, (content,))


def write_parts(path: Path, parts: Iterable[bytes]) -> None:
    """Write a file part by part, so that it need not fit into memory; a failure leaves what was there before.

    Raises
    ------
    CannotWriteError : no such folder, no permission, no space, or a folder of that name.
    """
    with replacing(path) as file:
        file.writelines(parts)


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it, where it is not there yet.

    Raises
    ------
    CannotWriteError : it cannot be made, or something else has its name.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise cannot_write(folder, error) from error


def cannot_write(path: Path | str, error: OSError | ValueError) -> CannotWriteError:
    """Turn the system's refusal into an error of the family."""
    reason = getattr(error, "strerror", None) or str(error)
    return CannotWriteError(where=str(path), fault="system", reason=reason.lower())
