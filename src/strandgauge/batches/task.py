"""What is to be done with one photo, and what all photos of a batch are read with."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from strandgauge.card.model import CardDefinition
from strandgauge.dye.palette import Palette
from strandgauge.dye.targets import Target
from strandgauge.errors import Told
from strandgauge.hair.levels import Ladder
from strandgauge.sheet.record import Asked


@dataclass(frozen=True, slots=True)
class Task:
    """One photo to be read."""

    file: str
    """Its name in the results."""
    path: Path
    wet: bool
    target: str | None
    """The wanted shade's name, or a colour typed in."""
    client: str | None = None
    group: str | None = None
    taken: datetime | None = None
    """From the manifest; the photo's own time where None."""
    trouble: Told | None = None
    """Why there is nothing to read, where that is known before looking."""
    known: str | None = None
    """Digest with which it was read before, in the same way; nothing is to be done while it still has it."""

    @property
    def asked(self) -> Asked:
        """How it is to be read, as its row keeps it."""
        return Asked(self.wet, self.target, self.client, self.group, self.taken)


@dataclass(frozen=True, eq=False)
class Tools:
    """What every photo of a batch is read with, loaded once."""

    card: CardDefinition
    ladder: Ladder
    palette: Palette
    targets: tuple[Target, ...]

    def fingerprints(self) -> dict[str, str]:
        """Return a short digest of each tool's content, the same wherever its file lies."""
        card = repr(replace(self.card, source_path=Path()))
        return {
            "card": _digest(card.encode()),
            "ladder": _digest(self.ladder.name.encode(), _rounded(self.ladder.lab)),
            "dyes": _digest(repr(self.palette.names).encode(), _rounded(self.palette.curves)),
            "shades": _digest(repr(self.targets).encode()),
        }


def _digest(*parts: bytes) -> str:
    return hashlib.sha256(b"\0".join(parts)).hexdigest()[:16]


def _rounded(values: np.ndarray) -> bytes:
    # Computed curves may differ in their last digits between machines.
    return (np.round(values, 6) + 0.0).astype("<f8").tobytes()
