"""Writes a result to a file, whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from strandgauge.errors import CannotWriteError


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
    try:
        if path.exists() and not path.is_file():  # a device or a pipe is written to, not replaced
            if path.is_dir():
                raise CannotWriteError("This is a folder.", where=str(path))
            with path.open("wb") as device:
                device.writelines(parts)
            return
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        unfinished = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.writelines(parts)
            unfinished.chmod(0o666 & ~_umask())
            unfinished.replace(path)
        finally:
            unfinished.unlink(missing_ok=True)
    except OSError as error:
        raise cannot_write(path, error) from error


def cannot_write(path: Path | str, error: OSError) -> CannotWriteError:
    """Turn the system's refusal into an error of the family."""
    return CannotWriteError(
        f"It cannot be written ({(error.strerror or str(error)).lower()}).", where=str(path)
    )


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
