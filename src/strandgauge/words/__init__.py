"""The catalogue: what is said, for terminal, page and picture alike; the only place where sentences stand.

Domain code hands on codes and numbers (`strandgauge.facts.Note`, verdicts, enumerations). Whoever shows them asks
for the words::

    say("change.levels", levels=1.6, verdict="lighter")      # by code, with the facts that the sentence names
    said(note)                                               # a Note, from the table [note]

The sentences are data, one file a language (``en.toml``): tables of ``code = "sentence"``. A sentence names its
facts in braces, formatted as Python formats them (``{levels:.1f}``). Two things more are known:

- ``{zone:zone}`` says a fact that is itself a code, by the table after the colon: here ``[zone]``.
- A table with the key ``by`` is a choice: ``by = "zone"`` takes the entry named like that fact, and ``other`` where
  there is none; ``by = "levels:.1f"`` formats the fact first, so that "1.0 level" and "1.6 levels" can differ.

To add sentences, add a table to ``en.toml`` and say them with a literal key, or an f-string that begins with its
table (``say(f"zone.{name}")``); `tests/words` holds that every key said has an entry, every entry is said, and every
fact is given. Names from calibration files (undertones, hues, shades, dyes) are data and are said as they stand.
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from strandgauge.facts import Note

LANGUAGE = "en"

Entry = str | Mapping[str, str]
"""A sentence, or a choice of sentences by one fact."""


def say(key: str, **facts: object) -> str:
    """Return the sentence that the catalogue has for a key, with its facts put in.

    Raises
    ------
    KeyError : no such entry, or a fact that the sentence names was not given.
    """
    entry = catalogue()[key]
    if not isinstance(entry, str):
        fact, _, spec = entry["by"].partition(":")
        chosen = format(facts[fact], spec)
        entry = entry[chosen] if chosen in entry and chosen != "by" else entry["other"]
    return _FORMATTER.vformat(entry, (), facts)


def said(note: Note) -> str:
    """Return what a note says."""
    facts = dict(note.facts)
    return str(facts["said"]) if "said" in facts else say(f"note.{note.code}", **facts)


def sentence(text: str) -> str:
    """Return a phrase with its first letter raised."""
    return text[:1].upper() + text[1:]


@cache
def catalogue() -> dict[str, Entry]:
    """Return every entry by its dotted key."""
    text = Path(__file__).with_name(f"{LANGUAGE}.toml").read_text(encoding="utf-8")
    return dict(_entries(tomllib.loads(text), ""))


def _entries(table: Mapping[str, Any], above: str) -> list[tuple[str, Entry]]:
    found: list[tuple[str, Entry]] = []
    for name, value in table.items():
        if isinstance(value, str) or "by" in value:
            found.append((above + name, value))
        else:
            found += _entries(value, f"{above}{name}.")
    return found


class _Formatter(string.Formatter):
    """Python's own formatting, and ``{fact:table}`` for a fact that is a code."""

    def format_field(self, value: Any, format_spec: str) -> str:  # noqa: ANN401 - whatever a fact may be
        key = f"{format_spec}.{value}"
        return say(key) if key in catalogue() else str(super().format_field(value, format_spec))


_FORMATTER = _Formatter()
