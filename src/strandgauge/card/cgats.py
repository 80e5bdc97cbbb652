"""Reads the CGATS.17 (ISO 28178) text format in which measuring instruments export colours.

Writers differ, so the reading is tolerant: tabs or spaces, quoted texts, decimal commas, any line ends, any
of the usual encodings, and several tables in one file. What a column means is left to the caller.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from strandgauge.errors import BadProfileError
from strandgauge.files.read import read_file

MAX_BYTES = 20_000_000
_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(\S+)')


class Keyword(NamedTuple):
    """A line of a header, such as ``ILLUMINANT "D50"``."""

    name: str
    """In capitals."""
    value: str
    line: int


class Row(NamedTuple):
    """One row of data."""

    cells: tuple[str, ...]
    line: int


class Table(NamedTuple):
    """One table of a file, with every header line that stands before it."""

    file: str
    keywords: tuple[Keyword, ...]
    columns: tuple[str, ...]
    """In capitals."""
    rows: tuple[Row, ...]
    line: int
    """Line on which its columns are named."""

    def error(self, message: str, line: int | None = None, remedy: str | None = None) -> BadProfileError:
        """Return (not raise) the error that names a line of the file, or that of the columns."""
        return _error(message, self.file, self.line if line is None else line, remedy)


def _error(message: str, file: str, line: int, remedy: str | None = None) -> BadProfileError:
    return BadProfileError(message, where=f"{file}:{line}", remedy=remedy)


def read_tables(path: Path) -> tuple[Table, ...]:
    """Read all tables of a CGATS file.

    Raises
    ------
    BadProfileError
        The file cannot be read or is not CGATS; ``where`` names file and line.
    """
    text = _decoded(read_file(path, BadProfileError, "print-profile", MAX_BYTES), path.name)
    tables = tuple(_tables(re.split(r"\r\n|\r|\n", text), path.name))
    if not tables:
        raise _error("this is not a CGATS file: it has no BEGIN_DATA_FORMAT and BEGIN_DATA.", path.name, 1)
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
        raise _error("the file is empty.", name, 1)
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return raw.decode("utf-16")
        except UnicodeDecodeError as problem:
            raise _error("the text is cut short.", name, 1) from problem
    if b"\x00" in raw:
        raise _error("this is not a text file.", name, raw.count(b"\n", 0, raw.index(b"\x00")) + 1)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _tables(lines: list[str], name: str) -> Iterator[Table]:
    """Yield the tables; a later table keeps the header lines and columns it does not give anew."""
    keywords: list[Keyword] = []
    columns: tuple[str, ...] = ()
    columns_line = 1
    opened, inside = "", []  # the section that is open, and its numbered lines
    for at, line in enumerate(lines, start=1):
        if not (tokens := _tokens(line)):
            continue
        word = tokens[0].upper()
        if opened and word != opened.replace("BEGIN", "END"):
            inside.append((at, line))
        elif opened == "BEGIN_DATA_FORMAT":
            columns_line = inside[0][0] if inside else at
            columns = tuple(token.upper() for _, line in inside for token in _tokens(line))
            opened = ""
        elif opened:
            rows = tuple(_rows(inside, len(columns), name))
            yield Table(name, tuple(keywords), columns, rows, columns_line)
            opened = ""
        elif word not in ("BEGIN_DATA_FORMAT", "BEGIN_DATA"):
            keywords.append(Keyword(word, " ".join(tokens[1:]), at))
        elif word == "BEGIN_DATA" and not columns:
            raise _error("BEGIN_DATA stands before any BEGIN_DATA_FORMAT.", name, at)
        else:  # some writers go on in the line of the opening word
            opened, inside = word, [(at, " ".join(tokens[1:]))] if tokens[1:] else []
    if opened:
        message = f"the file is cut short: {opened.replace('BEGIN', 'END')} is missing."
        raise _error(message, name, len(lines), "Export the measurement again.")


def _tokens(line: str) -> list[str]:
    """Split a line at blanks, texts in quotes kept whole, the comment left out."""
    tokens = []
    for quoted, plain in _TOKEN.findall(line):
        if plain.startswith("#"):
            break
        tokens.append(plain or quoted.replace('""', '"'))
    return tokens


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
        if len(pending) == count:
            yield Row(tuple(pending), begun)
            pending = []
        elif len(pending) > count:
            break
    if pending:
        raise _error(f"this row has {len(pending)} values for {count} columns.", name, begun)
