"""Facts before words: what the package has found out, as a code, its weight and the numbers behind it.

Nothing here is a sentence. `strandgauge.words` says a note in words, on its way to a screen, a page or a picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Fact = str | int | float
Severity = Literal["note", "caution", "refusal"]
"""A note only informs; a caution has widened the uncertainty; a refusal forbids a reading."""


@dataclass(frozen=True, slots=True)
class Note:
    """Something the user should know about a result."""

    code: str
    severity: Severity = "note"
    facts: tuple[tuple[str, Fact], ...] = ()
    """Names and values that its sentence may use; ``said`` is a sentence that came from elsewhere as it stands."""


def note(code: str, **facts: Fact) -> Note:
    """Return a note that only informs."""
    return Note(code, "note", tuple(facts.items()))


def caution(code: str, **facts: Fact) -> Note:
    """Return a note on what has made a result less sure."""
    return Note(code, "caution", tuple(facts.items()))
