"""Which language is spoken: English, or one that ships with strandgauge, or the user's own.

A language is one file, ``words/CODE.toml``: in the package, in the user's calibration folder, or in both. What the
user's own lacks is said as the shipped one says it, and what that lacks in English, entry by entry; so a file of one
entry changes one sentence. Only the outermost layer chooses: the command line, and each worker process as it begins.

``python -m strandgauge.learn.language CODE`` lists what a language still lacks.
"""

from __future__ import annotations

import os
import re
import string
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from strandgauge.codes import catalogue
from strandgauge.codes.catalogue import ENGLISH, Entry
from strandgauge.errors import BadLanguageError
from strandgauge.files.toml import TomlFile, read_toml
from strandgauge.learn.kept import home

VARIABLE = "STRANDGAUGE_LANGUAGE"
_FORMATTER = string.Formatter()
_CODE = re.compile(r"[a-z]{2,3}(-[a-z0-9]{2,8})*", re.IGNORECASE)


def choose(language: str | None = None) -> None:
    """Say everything in a language from now on, here and in every process that is started from here.

    Parameters
    ----------
    language : its code, such as ``de``; that of the environment variable ``STRANDGAUGE_LANGUAGE`` when None.

    Raises
    ------
    BadLanguageError : there is no such language, or its file cannot be used; the line is named.
    """
    wanted = language if language is not None else os.environ.get(VARIABLE, "")
    if wanted:
        catalogue.speak(wanted, read_language(wanted))
        os.environ[VARIABLE] = wanted


def languages() -> tuple[str, ...]:
    """Return the code of every language that there is."""
    return tuple(sorted({file.stem for folder in _folders() for file in folder.glob("*.toml")}))


def read_language(language: str) -> dict[str, Entry]:
    """Return the entries of a language by their dotted keys, the user's own before those that ship.

    Raises
    ------
    BadLanguageError : there is no such language, or a file of it cannot be used; the line is named.
    """
    files = [folder / f"{language}.toml" for folder in _folders()] if _CODE.fullmatch(language) else []
    there = [file for file in files if file.exists()]
    if not there:
        raise BadLanguageError(fault="none", language=language, languages=", ".join(languages()))
    found: dict[str, Entry] = {}
    for file in there:
        toml = read_toml(file, BadLanguageError, "catalogue", name=str(file))
        found |= dict(_checked(toml, catalogue.flat(toml.data), found))
    return found


def lacking(language: str) -> tuple[str, ...]:
    """Return the keys of the entries that a language lacks, which are said in English."""
    there = read_language(language)
    return tuple(key for key in catalogue.english() if key not in there)


def _folders() -> tuple[Path, Path]:
    """Return where catalogues lie, the one that counts last."""
    return catalogue.FOLDER, home() / "words"


def _checked(
    file: TomlFile, table: Mapping[str, object], before: Mapping[str, Entry]
) -> Iterator[tuple[str, Entry]]:
    """Yield the entries of a file, each once it is sure that it can be said wherever the one it replaces is."""
    known = catalogue.english() | catalogue.FORMATS
    tables = {key.split(".")[0] for key in (*known, *before, *table)}
    for key, entry in table.items():
        replaced = before.get(key) or known.get(key, "")
        choices = {"other": replaced} if isinstance(replaced, str) else replaced
        by = choices.get("by")
        if not isinstance(entry, Mapping):
            wrong = _misfit(entry, [text for choice, text in choices.items() if choice != "by"], by, tables)
            if wrong:
                raise BadLanguageError(wrong, where=file.where(*key.split(".")))
            yield key, str(entry)
            continue
        chosen_by = str(entry["by"])
        for choice, text in entry.items():
            if choice != "by":
                wrong = _misfit(text, [choices.get(choice, choices["other"])], by, tables)
            else:
                wrong = "" if by == text else _misfit(f"{{{text}}}", [choices["other"]], by, tables)
            if wrong:
                raise BadLanguageError(wrong, where=file.where(*key.split("."), choice))
        if by != chosen_by and "other" not in entry:
            raise BadLanguageError("a choice needs an 'other'", where=file.where(*key.split(".")))
        yield key, {**choices, **entry} if by == chosen_by else {**entry}


def _misfit(text: object, english: Sequence[str], by: str | None, tables: set[str]) -> str:
    """Say what in a sentence cannot be said with the facts that each of the English ones is given; else nothing."""
    if not isinstance(text, str):
        return "an entry must be a sentence, or a choice of sentences"
    written = [
        {fact: (spec or "")[-1:] for _, fact, spec, _ in _FORMATTER.parse(one) if fact} for one in english
    ]
    ways = {fact: {"", *(one[fact] for one in written)} for fact in set.intersection(*map(set, written))}
    if by is not None:
        ways.setdefault(by.partition(":")[0], {"", by.partition(":")[2][-1:]})
    try:
        named = [(fact, spec or "") for _, fact, spec, _ in _FORMATTER.parse(text) if fact is not None]
    except ValueError as error:
        return f"its braces do not fit: {error}"
    for fact, spec in named:
        if fact not in ways:
            return f"'{{{fact}}}' is no fact of this sentence; known: {', '.join(ways) or 'none'}"
        if spec not in tables and spec[-1:] not in ways[fact]:
            return f"'{spec}' is no way to write '{fact}', and no table of words"
    return ""


if __name__ == "__main__":
    import sys

    for missing in lacking(sys.argv[1] if len(sys.argv) > 1 else ENGLISH):
        print(missing)
