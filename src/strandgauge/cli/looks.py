"""What commands are given to look at: a photo, a saved reading, or a photo on standard input."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from strandgauge.errors import UnreadableFileError

if TYPE_CHECKING:
    from strandgauge.kit import Look

STANDARD_INPUT = Path("-")


def source(photo: Path) -> Path | bytes:
    """Return what to read a photo from: its file, or the bytes on standard input for ``-``.

    Raises
    ------
    UnreadableFileError : nothing came.
    """
    if photo != STANDARD_INPUT:
        return photo
    if content := sys.stdin.buffer.read():
        return content
    raise UnreadableFileError(where="standard input", fault="pipe")


def strip_of(look: Look) -> bytes | None:
    """Return the strand in true colour, a small JPEG; None for a saved reading."""
    if not look.measured:
        return None
    from strandgauge.show.picture.strip import strip_jpeg

    return strip_jpeg(look.measured[0])
