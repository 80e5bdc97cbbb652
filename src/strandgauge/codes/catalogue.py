"""Looks up what is said: sentences by code, with their facts put in, in English or the language that was chosen.

It stands on the ground so that errors can speak; how entries work is told in `strandgauge.words`. Which language is
spoken is chosen once, by the outermost layer (`strandgauge.learn.language`); whoever says something never asks.
"""

from __future__ import annotations

import string
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from strandgauge.codes.facts import Note

ENGLISH = "en"
FOLDER = Path(__file__).parents[1] / "words"
"""The catalogues that ship with the package."""

Entry = str | Mapping[str, str]
"""A sentence, or a choice of sentences by one fact."""

FORMATS = {"format.decimal": ".", "format.percent": "%", "format.date": "{day} {month} {year}"}
"""How English writes numbers and days; no sentences, so that they stand in no catalogue but another language's."""

_chosen: tuple[str, Mapping[str, Entry]] | None = None
_for_programs: ContextVar[bool] = ContextVar("for programs", default=False)


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


def named(table: str, word: str) -> str:
    """Return a word of a calibration file as the language has it in a table of its own, else as it stands."""
    found = entries().get(f"{table}.{word}", word)
    return found if isinstance(found, str) else word


def meant(table: str, typed: str) -> str:
    """Return the word of a calibration file that a word of the language stands for; else what was typed."""
    wanted = " ".join(typed.split()).casefold()
    for key, text in entries().items():
        if key.startswith(f"{table}.") and isinstance(text, str) and text.casefold() == wanted:
            return key.removeprefix(f"{table}.")
    return typed


def figure(value: float, spec: str = "") -> str:
    """Write a number for people: as Python formats it, with the decimal and per cent sign of the language."""
    text = format(value, spec).replace(".", _format("decimal"))
    return text.removesuffix("%") + _format("percent") if text.endswith("%") else text


def date(at: datetime) -> str:
    """Write a day, such as '26 November 2026'."""
    return _format("date").format(day=at.day, month=named("month", f"{at:%B}"), year=at.year)


def _format(name: str) -> str:
    return named("format", name) if f"format.{name}" in entries() else FORMATS[f"format.{name}"]


def language() -> str:
    """Return the code of the language that is spoken, as HTML has it."""
    return ENGLISH if _chosen is None or _for_programs.get() else _chosen[0]


def entries() -> Mapping[str, Entry]:
    """Return every entry by its dotted key."""
    return english() if _chosen is None or _for_programs.get() else _chosen[1]


def speak(language: str, spoken: Mapping[str, Entry]) -> None:
    """Say everything in a language from now on; whatever its entries lack is said in English."""
    global _chosen
    _chosen = (language, {**english(), **spoken})


@contextmanager
def for_programs() -> Iterator[None]:
    """Say in English what a program reads, whatever the language: a table's cells are what scripts look for."""
    before = _for_programs.set(True)
    try:
        yield
    finally:
        _for_programs.reset(before)


@cache
def english() -> dict[str, Entry]:
    """Return every entry in English."""
    import tomllib

    return flat(tomllib.loads((FOLDER / f"{ENGLISH}.toml").read_text(encoding="utf-8")))


def flat(table: Mapping[str, Any], above: str = "") -> dict[str, Any]:
    """Return the entries of a catalogue's file by their dotted keys."""
    found: dict[str, Any] = {}
    for name, value in table.items():
        if isinstance(value, Mapping) and "by" not in value:
            found |= flat(value, f"{above}{name}.")
        else:
            found[above + name] = value
    return found


class _Formatter(string.Formatter):
    """Python's own formatting, and ``{fact:table}`` for a code, a word of a file, or a list of them."""

    def format_field(self, value: Any, format_spec: str) -> str:  # noqa: ANN401 - whatever a fact may be
        key = f"{format_spec}.{value}"
        if key in entries():
            return say(key)
        if isinstance(value, str) and any(one.startswith(f"{format_spec}.") for one in entries()):
            return ", ".join(named(format_spec, one) for one in value.split(", "))
        return figure(value, format_spec) if format_spec or isinstance(value, float) else str(value)


_FORMATTER = _Formatter()
