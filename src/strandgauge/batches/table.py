"""The records of a batch as a table: CSV for spreadsheets, Parquet for programs, one set of columns for both."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from strandgauge.errors import Told, WorkersUnavailableError
from strandgauge.files.write import replacing
from strandgauge.reading.evenness import evenness
from strandgauge.reading.model import COVERAGE, Reading, ZoneReading
from strandgauge.sheet.record import Record, WantedShade
from strandgauge.words import reading as words

if TYPE_CHECKING:
    import pyarrow

Cell = str | float | bool | datetime | None
Kind = Literal["text", "number", "flag", "time"]
BYTE_ORDER_MARK = b"\xef\xbb\xbf"
"""Tells spreadsheets that the text is UTF-8."""
ACTIVE = "=+-@\t\r\n'＝＋－＠"
"""A text that starts with one of these could be taken for a formula, or for a text protected already."""
_PARQUET_ROWS = 1000


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the table."""

    name: str
    kind: Kind
    value: Callable[[Record], Cell]


def _of_reading(get: Callable[[Reading], Cell]) -> Callable[[Record], Cell]:
    return lambda record: None if record.reading is None else get(record.reading)


def _of_refusal(get: Callable[[Told], Cell]) -> Callable[[Record], Cell]:
    return lambda record: None if record.refusal is None else get(record.refusal)


def _zone_columns() -> Iterator[Column]:
    places = tuple(enumerate(("root", "mids", "ends")))
    for place, zone in places:
        yield Column(f"{zone}_level", "number", _of_zone(place, lambda z: z.level))
    for place, zone in places:
        yield Column(f"{zone}_L", "number", _of_zone(place, lambda z: z.lab[0]))
        yield Column(f"{zone}_a", "number", _of_zone(place, lambda z: z.lab[1]))
        yield Column(f"{zone}_b", "number", _of_zone(place, lambda z: z.lab[2]))


def _of_zone(place: int, get: Callable[[ZoneReading], Cell]) -> Callable[[Record], Cell]:
    return _of_reading(lambda reading: get(reading.zones[place]))


def _of_wanted(get: Callable[[WantedShade], Cell]) -> Callable[[Record], Cell]:
    return lambda record: None if record.wanted is None else get(record.wanted)


COLUMNS: tuple[Column, ...] = (
    Column("file", "text", lambda record: record.file),
    Column("client", "text", lambda record: record.client),
    Column("group", "text", lambda record: record.group),
    Column("taken", "time", lambda record: record.taken),
    Column("result", "text", lambda record: "read" if record.reading is not None else "refused"),
    Column("level", "number", _of_reading(lambda r: r.overall.level)),
    Column("level_plus_minus", "number", _of_reading(lambda r: round(COVERAGE * r.overall.level_sd, 3))),
    Column("evenness", "text", _of_reading(lambda r: words.evenness_word(evenness(r)))),
    Column("level_range", "number", _of_reading(lambda r: round(evenness(r).level_range, 3))),
    Column("undertone", "text", _of_reading(lambda r: r.overall.undertone)),
    Column("warmth", "text", _of_reading(lambda r: words.warmth(r.overall))),
    Column("stain", "text", _of_reading(lambda r: "; ".join(words.stains(r)) or None)),
    Column("target", "text", _of_wanted(lambda w: w.target)),
    Column("verdict", "text", _of_wanted(lambda w: w.verdict)),
    Column("outlook", "text", _of_wanted(lambda w: w.saying)),
    Column("needs_level", "number", _of_wanted(lambda w: w.needs_level)),
    Column("L", "number", _of_reading(lambda r: r.overall.lab[0])),
    Column("a", "number", _of_reading(lambda r: r.overall.lab[1])),
    Column("b", "number", _of_reading(lambda r: r.overall.lab[2])),
    Column("L_sd", "number", _of_reading(lambda r: r.overall.lab_sd[0])),
    Column("a_sd", "number", _of_reading(lambda r: r.overall.lab_sd[1])),
    Column("b_sd", "number", _of_reading(lambda r: r.overall.lab_sd[2])),
    Column("chroma", "number", _of_reading(lambda r: r.overall.chroma)),
    Column("hue_deg", "number", _of_reading(lambda r: r.overall.hue_deg)),
    Column("yellowness_e313", "number", _of_reading(lambda r: r.overall.yellowness_e313)),
    *_zone_columns(),
    Column("wet", "flag", _of_reading(lambda r: r.wet)),
    Column("card_fit", "number", _of_reading(lambda r: r.card_fit.delta_e00_median)),
    Column("light_unevenness_percent", "number", _of_reading(lambda r: r.card_fit.light_unevenness_percent)),
    Column("notes", "text", _of_reading(lambda r: " ".join(note.code for note in r.notes) or None)),
    Column("refused_because", "text", _of_refusal(lambda r: r.code)),
    Column("what_is_wrong", "text", _of_refusal(lambda r: r.message)),
    Column("what_to_do", "text", _of_refusal(lambda r: r.remedy)),
    Column("ladder", "text", _of_reading(lambda r: r.ladder)),
    Column("card", "text", _of_reading(lambda r: r.card)),
    Column("digest", "text", lambda record: record.digest or None),
)
"""In this order; new ones come at the end, before those that :func:`rows` adds."""
ADDED = ("same_as", "strip")


def rows(
    records: Iterable[Record], first_of: Mapping[str, str], strip_of: Callable[[Record], str | None]
) -> Iterator[list[Cell]]:
    """Yield each record's cells.

    Parameters
    ----------
    records : in the order of the table.
    first_of : by digest, the first file of that content.
    strip_of : a record's strip, as a path beside the table.
    """
    for record in records:
        first = first_of.get(record.digest)
        yield [
            *(column.value(record) for column in COLUMNS),
            None if first == record.file else first,
            strip_of(record),
        ]


def header() -> list[str]:
    """Return the names of the columns."""
    return [*(column.name for column in COLUMNS), *ADDED]


def write_csv(path: Path, table: Iterable[list[Cell]]) -> None:
    """Write the table so that a spreadsheet opens it right: UTF-8 with its mark, CRLF, no formulas.

    Raises
    ------
    CannotWriteError : no space, no permission.
    """
    with replacing(path, on_disk=True) as file:
        file.write(BYTE_ORDER_MARK)
        line = io.StringIO(newline="")
        writer = csv.writer(line, lineterminator="\r\n")
        writer.writerow(header())
        for cells in table:
            writer.writerow([cell_text(cell) for cell in cells])
            file.write(line.getvalue().encode("utf-8"))
            line.seek(0)
            line.truncate()
        file.write(line.getvalue().encode("utf-8"))


def cell_text(cell: Cell) -> str:
    """Return a cell as CSV holds it: numbers plain, times as spreadsheets know them, texts never a formula."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ", timespec="seconds")
    if isinstance(cell, float):
        return repr(cell)
    return f"'{cell}" if cell.startswith(tuple(ACTIVE)) else cell


def need_parquet() -> None:
    """Make sure that Parquet can be written.

    Raises
    ------
    WorkersUnavailableError : the optional package is missing.
    """
    try:
        import pyarrow.parquet  # noqa: F401
    except ImportError as error:
        raise WorkersUnavailableError(
            "Parquet needs a package that is not installed.",
            remedy="Run: pip install 'strandgauge[parquet]'",
        ) from error


def write_parquet(path: Path, table: Iterable[list[Cell]]) -> None:
    """Write the table as Parquet, a thousand rows at a time; texts as they are.

    Raises
    ------
    CannotWriteError : no space, no permission.
    """
    import pyarrow
    import pyarrow.parquet as parquet

    kinds: dict[Kind, Any] = {
        "text": pyarrow.string(),
        "number": pyarrow.float64(),
        "flag": pyarrow.bool_(),
        "time": pyarrow.timestamp("us"),
    }
    shape: pyarrow.Schema = pyarrow.schema(
        [
            *((column.name, kinds[column.kind]) for column in COLUMNS),
            *((name, kinds["text"]) for name in ADDED),
        ]
    )
    cells = iter(table)
    with replacing(path, on_disk=True) as file, parquet.ParquetWriter(file, shape) as writer:
        while some := list(islice(cells, _PARQUET_ROWS)):
            columns = zip(*some, strict=True)
            arrays = [pyarrow.array(column, field.type) for column, field in zip(columns, shape, strict=True)]
            writer.write_table(pyarrow.Table.from_arrays(arrays, schema=shape))
