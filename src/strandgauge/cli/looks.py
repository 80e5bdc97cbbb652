"""What commands are given to look at: a photo, a saved reading, or a photo on standard input."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strandgauge.kit import Kit
    from strandgauge.reading.model import Reading
    from strandgauge.reading.pipeline import Measurement

STANDARD_INPUT = Path("-")


def source(photo: Path) -> Path | bytes:
    """Return what to read a photo from: its file, or the bytes on standard input for ``-``."""
    return sys.stdin.buffer.read() if photo == STANDARD_INPUT else photo


@dataclass(frozen=True, slots=True)
class Look:
    """A photo that was read, or a reading that was saved."""

    name: str
    reading: Reading
    measurement: Measurement | None
    """None for a saved reading."""

    @property
    def taken(self) -> datetime | None:
        """When the photo was taken, where it tells."""
        return self.reading.taken

    def strip(self) -> bytes | None:
        """Return the strand in true colour, a small JPEG; None for a saved reading."""
        if self.measurement is None:
            return None
        from strandgauge.show.picture.strip import strip_jpeg

        return strip_jpeg(self.measurement)


def look_at(file: Path, kit: Kit, *, wet: bool = False) -> Look:
    """Read a photo, or load the reading that was saved as ``.json``.

    Raises
    ------
    StrandgaugeError : the file cannot be used; the subclass says why.
    """
    if file.suffix.lower() == ".json":
        from strandgauge.reading.model import Reading
        from strandgauge.show.json import load

        return Look(file.name, load(Reading, file), None)
    measurement = kit.measure(source(file), wet=wet)
    return Look(file.name, measurement.reading, measurement)
