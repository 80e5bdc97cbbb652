"""What became of a folder of photos, as a table for a terminal: the readings, then what was refused and why."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from rich.console import Console

from strandgauge.reading.evenness import evenness
from strandgauge.reading.model import Reading
from strandgauge.sheet.record import Record
from strandgauge.show.terminal.reading import plain_console, plain_table
from strandgauge.words import reading as words
from strandgauge.words.sheet import advice

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
    console = console or plain_console()
    lines = [_line(record) for record in records]
    read = sorted((line for line in lines if not line.refused), key=_ORDERS[order])
    refused = sorted((line for line in lines if line.refused), key=_ORDERS["file"])
    if read:
        table = plain_table()
        heads = ("photo", "level", "evenness", "colour", "shade")
        shown = len(heads) if any(line.cells[-1] for line in read) else len(heads) - 1
        for head in heads[:shown]:
            table.add_column(head, no_wrap=True, overflow="ellipsis")
        for line in read[:MOST_LINES]:
            table.add_row(line.file, *line.cells[: shown - 1])
        console.print(table)
        _print_rest(console, len(read), "more readings")
    if refused:
        console.print("Refused:" if not read else "\nRefused:")
        for line in refused[:MOST_LINES]:
            console.print(f"  {line.file}: {line.refused}", markup=False, highlight=False)
        _print_rest(console, len(refused), "more refused")


def _print_rest(console: Console, count: int, what: str) -> None:
    if count > MOST_LINES:
        console.print(f"… and {count - MOST_LINES} {what}.", highlight=False)


def _line(record: Record) -> Line:
    files = record.file if record.second is None else f"{record.file} + {record.second.file}"
    file = "".join(sign if sign.isprintable() else "?" for sign in files)
    if record.reading is None:
        why = "" if record.refusal is None else record.refusal.message
        return Line(file, (), 0.0, 0.0, " ".join(why.split()) or "no reading")
    reading, wanted = record.reading, record.wanted
    shade = "" if wanted is None else f"{wanted.saying}: {advice(wanted.verdict, wanted.needs_level)}"
    even = evenness(reading)
    cells = (words.level_interval(reading.overall), words.evenness_word(even), _colour(reading), shade)
    return Line(file, cells, reading.overall.level, even.level_range, "")


def _colour(reading: Reading) -> str:
    return "; ".join(words.stains(reading)) or words.undertone(reading.overall)
