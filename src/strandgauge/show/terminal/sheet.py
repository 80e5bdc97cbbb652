"""What became of a folder of photos, as a table for a terminal: the readings, then what was refused and why."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from rich.console import Console

from strandgauge.sheet.record import Record
from strandgauge.show.terminal.console import Printer
from strandgauge.words import say
from strandgauge.words.judge import in_one_line
from strandgauge.words.reading import in_short

Order = Literal["file", "level", "evenness"]
MOST_LINES = 40
"""Of readings, and of refusals; the rest is in the table on disk."""


@dataclass(frozen=True, slots=True)
class Line:
    """What the terminal shows of a photo."""

    file: str
    cells: tuple[str, ...]
    level: float
    uneven: float
    refused: str
    """Why there is no reading; empty where there is one."""


_ORDERS: dict[Order, Callable[[Line], tuple[float, str]]] = {
    "file": lambda line: (0.0, line.file),
    "level": lambda line: (-line.level, line.file),
    "evenness": lambda line: (line.uneven, line.file),
}


def print_sheet(records: Iterable[Record], order: Order = "file", console: Console | None = None) -> None:
    """Print the readings in order, cut to the width of the terminal, then the photos that were refused."""
    out = Printer(console)
    lines = [_line(record) for record in records]
    read = sorted((line for line in lines if not line.refused), key=_ORDERS[order])
    refused = sorted((line for line in lines if line.refused), key=_ORDERS["file"])
    if read:
        heads = ["photo", "level", "evenness", "colour", "shade"]
        if not any(line.cells[-1] for line in read):
            del heads[-1]
        out.table(heads, [(line.file, *line.cells) for line in read[:MOST_LINES]])
        if len(read) > MOST_LINES:
            out.line(say("sheet.more", count=len(read) - MOST_LINES))
    if refused:
        if read:
            out.line()
        out.line(say("sheet.refused"))
        for line in refused[:MOST_LINES]:
            out.line(f"  {line.file}: {line.refused}")
        if len(refused) > MOST_LINES:
            out.line(say("sheet.more-refused", count=len(refused) - MOST_LINES))


def _line(record: Record) -> Line:
    files = record.file if record.second is None else f"{record.file} + {record.second.file}"
    file = "".join(sign if sign.isprintable() else "?" for sign in files)
    if record.reading is None:
        why = "" if record.refusal is None else record.refusal.message
        return Line(file, (), 0.0, 0.0, " ".join(why.split()) or say("sheet.no-reading"))
    shown, wanted = in_short(record.reading), record.wanted
    shade = "" if wanted is None else f"{wanted.saying}: {in_one_line(wanted.advice)}"
    cells = (shown.interval, shown.evenness, shown.colour, shade)
    return Line(file, cells, record.reading.overall.level, shown.level_range, "")
