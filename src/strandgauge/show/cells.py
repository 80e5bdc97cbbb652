"""Cells of a table as CSV holds them: read alike by a spreadsheet and by a program, and never a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Literal

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


def csv_lines(
    heads: Sequence[str], rows: Iterable[Sequence[Cell]], separator: Separator = "comma"
) -> Iterator[bytes]:
    """Yield a table as CSV (RFC 4180: double quotes, CRLF; UTF-8 with a byte order mark), line by line."""
    line = io.StringIO(newline="")
    writer = csv.writer(line, delimiter=_SIGNS[separator], lineterminator="\r\n")
    writer.writerow([cell_text(head) for head in heads])
    yield BYTE_ORDER_MARK + line.getvalue().encode("utf-8")
    for row in rows:
        line.seek(0)
        line.truncate()
        writer.writerow([cell_text(cell, separator) for cell in row])
        yield line.getvalue().encode("utf-8")
