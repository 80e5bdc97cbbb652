"""What is to be done with one photo."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from strandgauge.errors import Told
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
    pair: bool = True
    """Whether it may be read as one with a photo of the same strand, the card turned."""
    second: Task | None = None
    """The photo that this one is thought to be a turned pair with: both are to be read as one, if they are."""

    @property
    def asked(self) -> Asked:
        """How it is to be read, as its row keeps it."""
        return Asked(self.wet, self.target, self.client, self.group, self.taken)
