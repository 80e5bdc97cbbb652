"""Photos as a table, a row each: CSV for spreadsheets, Parquet for programs, one set of columns for both."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from strandgauge.errors import Told, WorkersUnavailableError
from strandgauge.files.write import replacing, write_parts
from strandgauge.hair.likely import NO_STAIN
from strandgauge.reading.evenness import evenness
from strandgauge.reading.model import COVERAGE, Reading, ZoneReading
from strandgauge.sheet.record import Record, WantedShade
from strandgauge.show.cells import Cell, Separator, csv_lines
from strandgauge.words import reading as words
from strandgauge.words.judge import in_one_line

if TYPE_CHECKING:
    import pyarrow

Kind = Literal["text", "number", "flag", "time"]
_PARQUET_ROWS = 1000


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the table."""

    name: str
    kind: Kind
    value: Callable[[Record], Cell]


@dataclass(frozen=True)
class Table:
    """What the columns are, and what they need to know beyond the record in the row.

    Parameters
    ----------
    heads : the list's own heads for ``client``, ``group`` and others, such as ``student``.
    extra : by file, cells of the list's further columns; all rows have the same ones.
    first_of : by digest, the first file of that content.
    strip_of : a record's strip, as a path beside the table.
    """

    heads: Mapping[str, str] = field(default_factory=dict)
    extra: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    first_of: Mapping[str, str] = field(default_factory=dict)
    strip_of: Callable[[Record], str | None] = lambda record: None

    def columns(self) -> tuple[Column, ...]:
        """Return the columns; new ones come at the end of the shipped ones."""
        own = (
            *_COLUMNS,
            Column("undertone_95", "text", _of_reading(_undertones)),
            Column("same_as", "text", self._same_as),
            Column("strip", "text", lambda record: self.strip_of(record)),
            Column("undertone_chance", "number", _of_reading(_undertone_chance)),
            Column("stain_chance", "number", _of_reading(_stain_chance)),
            Column("dye_chance", "number", _of_reading(lambda r: r.overall.dye_probability)),
            Column("white_hair", "text", _of_reading(lambda r: words.white_hair(r.overall) or None)),
            Column("warmth_beside_level", "text", _of_reading(lambda r: words.warmth_beside(r.overall))),
        )
        named = tuple(Column(self.heads.get(one.name, one.name), one.kind, one.value) for one in own)
        taken = {one.name for one in named}
        further = (
            Column(f"{name} (list)" if name in taken else name, "text", self._extra(name))
            for name in next(iter(self.extra.values()), {})
        )
        return (*named, *further)

    def rows(self, records: Iterable[Record]) -> Iterator[list[Cell]]:
        """Yield each record's cells."""
        columns = self.columns()
        for record in records:
            yield [column.value(record) for column in columns]

    def _same_as(self, record: Record) -> str | None:
        first = self.first_of.get(record.digest)
        return None if first == record.file else first

    def _extra(self, name: str) -> Callable[[Record], Cell]:
        return lambda record: self.extra.get(record.file, {}).get(name) or None


def _undertones(reading: Reading) -> str:
    """Return the likeliest undertones that together hold 95 %."""
    told, held = [], 0.0
    for word, chance in (reading.overall.undertone_chances or {reading.overall.undertone: 1.0}).items():
        if held < 0.95:
            told.append(word)
        held += chance
    return "; ".join(told)


def _undertone_chance(reading: Reading) -> float | None:
    return (reading.overall.undertone_chances or {}).get(reading.overall.undertone)


def _stain_chance(reading: Reading) -> float | None:
    chances = reading.overall.stain_chances
    return None if chances is None else round(1.0 - chances.get(NO_STAIN, 0.0), 3)


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


_COLUMNS: tuple[Column, ...] = (
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
    Column("chance_true", "number", _of_wanted(lambda w: w.chance_true)),
    Column("advice", "text", _of_wanted(lambda w: in_one_line(w.advice) or None)),
    Column("turned_with", "text", lambda record: None if record.second is None else record.second.file),
)


def write_csv(path: Path, table: Table, records: Iterable[Record], separator: Separator = "comma") -> None:
    """Write the table so that a spreadsheet opens it right.

    Raises
    ------
    CannotWriteError : no space, no permission.
    """
    heads = [column.name for column in table.columns()]
    write_parts(path, csv_lines(heads, table.rows(records), separator))


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


def write_parquet(path: Path, table: Table, records: Iterable[Record]) -> None:
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
    shape: pyarrow.Schema = pyarrow.schema([(one.name, kinds[one.kind]) for one in table.columns()])
    cells = table.rows(records)
    with replacing(path, on_disk=True) as file, parquet.ParquetWriter(file, shape) as writer:
        while some := list(islice(cells, _PARQUET_ROWS)):
            columns = zip(*some, strict=True)
            arrays = [pyarrow.array(column, field.type) for column, field in zip(columns, shape, strict=True)]
            writer.write_table(pyarrow.Table.from_arrays(arrays, schema=shape))
