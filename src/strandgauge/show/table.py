"""Photos as a table, a row each: CSV for spreadsheets, Parquet for programs, one set of columns for both."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strandgauge.codes.catalogue import for_programs
from strandgauge.errors import WorkersUnavailableError
from strandgauge.files.write import replacing, write_parts
from strandgauge.hair.likely import NO_STAIN
from strandgauge.reading.evenness import evenness
from strandgauge.reading.model import COVERAGE, Reading
from strandgauge.sheet.record import Record
from strandgauge.show.cells import Cell, Column, Kind, Separator, csv_lines, of
from strandgauge.words import reading as words
from strandgauge.words.judge import in_one_line

if TYPE_CHECKING:
    import pyarrow

_PARQUET_ROWS = 1000


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
            Column("undertone_95", "text", of("reading", _undertones)),
            Column("same_as", "text", self._same_as),
            Column("strip", "text", lambda record: self.strip_of(record)),
            Column("undertone_chance", "number", of("reading", _undertone_chance)),
            Column("stain_chance", "number", of("reading", _stain_chance)),
            Column("dye_chance", "number", of("reading.overall.dye_probability")),
            Column("white_hair", "text", of("reading", lambda r: words.white_hair(r.overall) or None)),
            Column("warmth_beside_level", "text", of("reading", lambda r: words.warmth_beside(r.overall))),
        )
        named = tuple(Column(self.heads.get(one.name, one.name), one.kind, one.value) for one in own)
        taken = {one.name for one in named}
        further = (
            Column(f"{name} (list)" if name in taken else name, "text", self._extra(name))
            for name in next(iter(self.extra.values()), {})
        )
        return (*named, *further)

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


def _numbers(name: str, path: str) -> tuple[Column, ...]:
    """Return the columns of L*, a* and b*."""
    return tuple(
        Column(name.format(axis), "number", of(f"{path}.{at}")) for at, axis in enumerate(("L", "a", "b"))
    )


_ZONES = tuple(enumerate(("root", "mids", "ends")))
_COLUMNS: tuple[Column, ...] = (
    Column("file", "text", of("file")),
    Column("client", "text", of("client")),
    Column("group", "text", of("group")),
    Column("taken", "time", of("taken")),
    Column("result", "text", lambda record: "read" if record.reading is not None else "refused"),
    Column("level", "number", of("reading.overall.level")),
    Column("level_plus_minus", "number", of("reading.overall.level_sd", lambda sd: round(COVERAGE * sd, 3))),
    Column("evenness", "text", of("reading", lambda r: words.evenness_word(evenness(r)))),
    Column("level_range", "number", of("reading", lambda r: round(evenness(r).level_range, 3))),
    Column("undertone", "text", of("reading.overall.undertone")),
    Column("warmth", "text", of("reading", lambda r: words.warmth(r.overall))),
    Column("stain", "text", of("reading", lambda r: "; ".join(words.stains(r)) or None)),
    Column("target", "text", of("wanted.target")),
    Column("verdict", "text", of("wanted.verdict")),
    Column("outlook", "text", of("wanted.saying")),
    Column("needs_level", "number", of("wanted.needs_level")),
    *_numbers("{}", "reading.overall.lab"),
    *_numbers("{}_sd", "reading.overall.lab_sd"),
    Column("chroma", "number", of("reading.overall.chroma")),
    Column("hue_deg", "number", of("reading.overall.hue_deg")),
    Column("yellowness_e313", "number", of("reading.overall.yellowness_e313")),
    *(Column(f"{zone}_level", "number", of(f"reading.zones.{at}.level")) for at, zone in _ZONES),
    *(column for at, zone in _ZONES for column in _numbers(f"{zone}_{{}}", f"reading.zones.{at}.lab")),
    Column("wet", "flag", of("reading.wet")),
    Column("card_fit", "number", of("reading.card_fit.delta_e00_median")),
    Column("light_unevenness_percent", "number", of("reading.card_fit.light_unevenness_percent")),
    Column("notes", "text", of("reading", lambda r: " ".join(note.code for note in r.notes) or None)),
    Column("refused_because", "text", of("refusal.code")),
    Column("what_is_wrong", "text", of("refusal.message")),
    Column("what_to_do", "text", of("refusal.remedy")),
    Column("ladder", "text", of("reading.ladder")),
    Column("card", "text", of("reading.card")),
    Column("digest", "text", lambda record: record.digest or None),
    Column("chance_true", "number", of("wanted.chance_true")),
    Column("advice", "text", of("wanted.advice", lambda told: in_one_line(told) or None)),
    Column("turned_with", "text", of("second.file")),
)


@for_programs()
def write_csv(path: Path, table: Table, records: Iterable[Record], separator: Separator = "comma") -> None:
    """Write the table so that a spreadsheet opens it right.

    Raises
    ------
    CannotWriteError : no space, no permission.
    """
    write_parts(path, csv_lines(table.columns(), records, separator))


def need_parquet() -> None:
    """Make sure that Parquet can be written.

    Raises
    ------
    WorkersUnavailableError : the optional package is missing.
    """
    try:
        import pyarrow.parquet  # noqa: F401
    except ImportError as error:
        raise WorkersUnavailableError(fault="no-parquet") from error


@for_programs()
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
    columns, rest = table.columns(), iter(records)
    shape: pyarrow.Schema = pyarrow.schema([(one.name, kinds[one.kind]) for one in columns])
    with replacing(path, on_disk=True) as file, parquet.ParquetWriter(file, shape) as writer:
        while some := list(islice(rest, _PARQUET_ROWS)):
            arrays = [pyarrow.array(map(one.value, some), kinds[one.kind]) for one in columns]
            writer.write_table(pyarrow.Table.from_arrays(arrays, schema=shape))
