"""Looks up what is said: the sentences of ``words/en.toml`` by code, with their facts put in.

It stands on the ground so that errors can speak; how entries work is told in `strandgauge.words`.
"""

from __future__ import annotations

import string
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from strandgauge.codes.facts import Note

LANGUAGE = "en"

Entry = str | Mapping[str, str]
"""A sentence, or a choice of sentences by one fact."""


def say(key: str, /, **facts: object) -> str:
    """Return the sentence that the catalogue has for a key, with its facts put in.

    Raises
    ------
    KeyError : no such entry, or a fact that the sentence names was not given.
    """
    entry = entries()[key]
    if not isinstance(entry, str):
        fact, _, spec = entry["by"].partition(":")
        chosen = format(facts[fact], spec) if fact in facts else "other"
        entry = entry[chosen] if chosen in entry and chosen != "by" else entry["other"]
    return _FORMATTER.vformat(entry, (), facts)


def said(note: Note) -> str:
    """Return what a note says."""
    facts = dict(note.facts)
    if "said" in facts:
        return str(facts["said"])
    return say(f"{'refusal' if note.severity == 'refusal' else 'note'}.{note.code}", **facts)


def sentence(text: str) -> str:
    """Return a phrase with its first letter raised."""
    return text[:1].upper() + text[1:]


@cache
def entries() -> dict[str, Entry]:
    """Return every entry by its dotted key."""
    import tomllib

    text = (Path(__file__).parents[1] / "words" / f"{LANGUAGE}.toml").read_text(encoding="utf-8")
    return dict(_flat(tomllib.loads(text), ""))


def _flat(table: Mapping[str, Any], above: str) -> list[tuple[str, Entry]]:
    found: list[tuple[str, Entry]] = []
    for name, value in table.items():
        if isinstance(value, str) or "by" in value:
            found.append((above + name, value))
        else:
            found += _flat(value, f"{above}{name}.")
    return found


class _Formatter(string.Formatter):
    """Python's own formatting, and ``{fact:table}`` for a fact that is a code."""

    def format_field(self, value: Any, format_spec: str) -> str:  # noqa: ANN401 - whatever a fact may be
        key = f"{format_spec}.{value}"
        return say(key) if key in entries() else str(super().format_field(value, format_spec))


_FORMATTER = _Formatter()
