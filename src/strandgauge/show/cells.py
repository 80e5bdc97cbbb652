"""Columns of a table, and their cells as CSV holds them: alike to a spreadsheet and a program, never a formula."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

Kind = Literal["text", "number", "flag", "time"]
Cell = str | float | bool | datetime | None
Separator = Literal["comma", "semicolon", "tab"]

BYTE_ORDER_MARK = b"\xef\xbb\xbf"
"""Tells spreadsheets that the text is UTF-8."""
_SIGNS: dict[Separator, str] = {"comma": ",", "semicolon": ";", "tab": "\t"}
_ACTIVE = tuple("=+-@|%\t\r\n'＝＋－＠")
"""A text that starts with one of these could be taken for a formula, East Asian full-width ones included, or for a
text protected already."""


def cell_text(cell: Cell, separator: Separator = "comma") -> str:
    """Return a cell as CSV holds it: numbers plain, times as spreadsheets know them, texts never a formula.

    Numbers between semicolons have a decimal comma: whoever's spreadsheet wants the one wants the other.
    """
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ", timespec="seconds")
    if isinstance(cell, int | float):
        return repr(cell).replace(".", ",") if separator == "semicolon" else repr(cell)
    return f"'{cell}" if cell.startswith(_ACTIVE) else cell


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its head, what its cells are, and how to get the one of a record."""

    name: str
    kind: Kind
    value: Callable[[Any], Cell]


def of(path: str, make: Callable[[Any], Cell] | None = None) -> Callable[[Any], Cell]:
    """Return how to get a cell: what lies on a path of attributes, keys and places, such as ``overall.lab.0``.

    Nothing, where something on the way is None or missing from a document; else what ``make`` makes of it.
    """
    steps = path.split(".")

    def get(record: Any) -> Cell:  # noqa: ANN401 - records and documents
        found = record
        for step in steps:
            if isinstance(found, Mapping):
                found = found.get(step)
            elif found is not None:
                found = found[int(step)] if step.isdigit() else getattr(found, step)
        return found if make is None or found is None else make(found)

    return get


def csv_lines(
    columns: Sequence[Column], records: Iterable[Any], separator: Separator = "comma"
) -> Iterator[bytes]:
    """Yield a table as CSV (RFC 4180: double quotes, CRLF; UTF-8 with a byte order mark), line by line."""
    import csv

    line = io.StringIO(newline="")
    writer = csv.writer(line, delimiter=_SIGNS[separator], lineterminator="\r\n")
    writer.writerow([cell_text(column.name) for column in columns])
    yield BYTE_ORDER_MARK + line.getvalue().encode("utf-8")
    for record in records:
        line.seek(0)
        line.truncate()
        writer.writerow([cell_text(column.value(record), separator) for column in columns])
        yield line.getvalue().encode("utf-8")
