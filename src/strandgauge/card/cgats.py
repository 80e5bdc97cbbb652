"""Reads the CGATS.17 (ISO 28178) text format in which measuring instruments export colours.

Writers differ, so the reading is tolerant: tabs or spaces, quoted texts, decimal commas, any line ends, any
of the usual encodings, and several tables in one file. What a column means is left to the caller.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from strandgauge.errors import BadProfileError
from strandgauge.files.read import read_file

MAX_BYTES = 20_000_000
_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(\S+)')


@dataclass(frozen=True, slots=True)
class Keyword:
    """A line of a header, such as ``ILLUMINANT "D50"``."""

    name: str
    """In capitals."""
    value: str
    line: int


@dataclass(frozen=True, slots=True)
class Row:
    """One row of data."""

    cells: tuple[str, ...]
    line: int


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a file, with every header line that stands before it."""

    keywords: tuple[Keyword, ...]
    columns: tuple[str, ...]
    """In capitals."""
    rows: tuple[Row, ...]
    line: int
    """Line on which its columns are named."""


def read_tables(path: Path) -> tuple[Table, ...]:
    """Read all tables of a CGATS file.

    Raises
    ------
    BadProfileError
        The file cannot be read or is not CGATS; ``where`` names file and line.
    """
    text = _decoded(read_file(path, BadProfileError, "print profile", MAX_BYTES), path.name)
    tables = tuple(_tables(re.split(r"\r\n|\r|\n", text), path.name))
    if not tables:
        raise BadProfileError(
            "this is not a CGATS file: it has no BEGIN_DATA_FORMAT and BEGIN_DATA.", where=f"{path.name}:1"
        )
    return tables


def number(text: str) -> float:
    """Return a number, its decimals after a point or a comma.

    Raises
    ------
    ValueError
        It is none.
    """
    if re.fullmatch(r"[-+]?\d*,\d+([eE][-+]?\d+)?", text):
        text = text.replace(",", ".")
    return float(text)


def _decoded(raw: bytes, name: str) -> str:
    """Return the text, in the encoding its byte order mark names, UTF-8, or else Latin-1."""
    if not raw.strip():
        raise BadProfileError("the file is empty.", where=f"{name}:1")
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return raw.decode("utf-16")
        except UnicodeDecodeError as problem:
            raise BadProfileError("the text is cut short.", where=f"{name}:1") from problem
    if b"\x00" in raw:
        line = raw.count(b"\n", 0, raw.index(b"\x00")) + 1
        raise BadProfileError("this is not a text file.", where=f"{name}:{line}")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _tables(lines: list[str], name: str) -> Iterator[Table]:
    """Yield the tables; a later table keeps the header lines and columns it does not give anew."""
    keywords: list[Keyword] = []
    columns: tuple[str, ...] = ()
    columns_line = 1
    at = 0
    while at < len(lines):
        tokens = _tokens(lines[at])
        word = tokens[0].upper() if tokens else ""
        if word == "BEGIN_DATA_FORMAT":
            found, at = _until(lines, at, "END_DATA_FORMAT", name)
            columns_line = found[0][0] if found else at + 1
            columns = tuple(token.upper() for _, line in found for token in _tokens(line))
        elif word == "BEGIN_DATA":
            if not columns:
                raise BadProfileError(
                    "BEGIN_DATA stands before any BEGIN_DATA_FORMAT.", where=f"{name}:{at + 1}"
                )
            found, at = _until(lines, at, "END_DATA", name)
            rows = tuple(_rows(found, len(columns), name))
            yield Table(tuple(keywords), columns, rows, columns_line)
        elif tokens:
            keywords.append(Keyword(word, " ".join(tokens[1:]), at + 1))
        at += 1


def _tokens(line: str) -> list[str]:
    """Split a line at blanks, texts in quotes kept whole, the comment left out."""
    tokens = []
    for quoted, plain in _TOKEN.findall(line):
        if plain.startswith("#"):
            break
        tokens.append(plain or quoted.replace('""', '"'))
    return tokens


def _until(lines: list[str], start: int, end: str, name: str) -> tuple[list[tuple[int, str]], int]:
    """Return the numbered lines from `start` to a closing word, and where that word stands."""
    inside = []
    first = " ".join(_tokens(lines[start])[1:])
    if first:  # some writers go on in the line of the opening word
        inside.append((start + 1, first))
    for at in range(start + 1, len(lines)):
        tokens = _tokens(lines[at])
        if tokens and tokens[0].upper() == end:
            return inside, at
        if tokens:
            inside.append((at + 1, lines[at]))
    raise BadProfileError(
        f"the file is cut short: {end} is missing.",
        where=f"{name}:{len(lines)}",
        remedy="Export the measurement again.",
    )


def _rows(lines: list[tuple[int, str]], count: int, name: str) -> Iterator[Row]:
    """Yield rows of `count` cells; a row may go on in the next line."""
    pending: list[str] = []
    begun = 0
    for at, line in lines:
        cells = [cell.strip().strip('"') for cell in line.rstrip("\t ").split("\t")]
        if pending or len(cells) != count or "\t" not in line:
            cells = _tokens(line)
        begun = begun if pending else at
        pending += cells
        if len(pending) > count:
            raise BadProfileError(
                f"this row has {len(pending)} values for {count} columns.", where=f"{name}:{begun}"
            )
        if len(pending) == count:
            yield Row(tuple(pending), begun)
            pending = []
    if pending:
        raise BadProfileError(
            f"this row has {len(pending)} values for {count} columns.", where=f"{name}:{begun}"
        )
