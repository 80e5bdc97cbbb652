"""The table: read back by Python's csv and by pandas, and harmless in a spreadsheet."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import datetime

import pytest
from batchhelp import as_written
from hypothesis import given
from hypothesis import strategies as st

from readings import STAIN, reading, zone
from strandgauge.errors import Told
from strandgauge.hair.likely import WhiteHair
from strandgauge.lift.advice import Advice
from strandgauge.sheet.record import Record, Second, WantedShade
from strandgauge.show.cells import cell_text
from strandgauge.show.table import Table, write_csv, write_parquet
from strandgauge.words import say

NASTY_NAMES = (
    '=HYPERLINK("http://x","y").jpg',
    "+1.jpg",
    "-2+3.jpg",
    "@SUM(A1).jpg",
    "\tx.jpg",
    "\rx.jpg",
    "'quoted.jpg",
    "a,b;c.jpg",
    "line\nbreak.jpg",
    "côté 染髪.jpg",
    "007.jpg",
    "＝1.jpg",
)


CHANCES = {
    "undertone_chances": {"yellow-orange": 0.8, "orange": 0.2},
    "stain_chances": {"violet": 1.0},
    "dye_probability": 0.4,
    "hair_chances": {"grey": 0.6, "dyed": 0.4},
    "white": WhiteHair(0.3, 0.2, 0.5),
}
ASK_THEN_LIFT = (
    Advice("overall", "ask-history", ("lift-unknown",)),
    Advice("root", "lift", ("too-dark",)),
    Advice("mids", "lift", ("too-dark",)),
)


def record(file: str, *, refused: bool = False, **changes) -> Record:
    values = {
        "file": file,
        "digest": "ab" * 32,
        "reading": None if refused else reading(overall=zone(lab=(57.5, -8.2, 35.9), stain=STAIN, **CHANCES)),
        "refusal": Told("blur", "The picture is blurred.", "Hold still.") if refused else None,
        "wanted": None
        if refused
        else WantedShade("rose", "#d08090", "#c07050", "turns", "turns apricot", 9.25, 0.25, ASK_THEN_LIFT),
        "client": "@nora",
        "group": None,
        "taken": datetime(2026, 3, 5, 14, 30),
        "strip": None,
    }
    return Record(**(values | changes))


@pytest.fixture
def records() -> list[Record]:
    return [record(name, refused=number % 3 == 2) for number, name in enumerate(sorted(NASTY_NAMES))]


def table(records, **changes):
    values = {
        "first_of": {"ab" * 32: records[0].file} if records else {},
        "strip_of": lambda one: "strips/x.jpg" if one.reading else None,
    }
    return Table(**(values | changes))


def heads(records=()):
    return [column.name for column in table(records).columns()]


def test_python_and_pandas_read_back_what_was_written(tmp_path, records):
    import pandas

    path = tmp_path / "t.csv"
    write_csv(path, table(records), records)
    with path.open(encoding="utf-8-sig", newline="") as file:
        plain = list(csv.DictReader(file, strict=True))
    frame = pandas.read_csv(path, keep_default_na=False, dtype=str, encoding="utf-8-sig")
    assert list(frame.columns) == heads() == list(plain[0])
    for number, (one, row) in enumerate(zip(records, plain, strict=True)):
        assert as_written(row["file"]) == as_written(frame["file"][number]) == one.file
        assert as_written(row["client"]) == "@nora"
        assert row["taken"] == "2026-03-05 14:30:00"
        assert row["same_as"] == ("" if number == 0 else cell_text(records[0].file))
        if one.reading is None:
            assert (row["result"], row["refused_because"], row["level"]) == ("refused", "blur", "")
        else:
            assert row["result"] == "read"
            assert (float(row["level"]), float(row["a"])) == (8.2, -8.2)
            assert (row["stain"], row["verdict"], row["outlook"]) == (
                say(
                    "reading.somewhere",
                    what=say("reading.stain", hue="violet"),
                    places=say("zone.overall"),
                ),
                "turns",
                "turns apricot",
            )
    numbers = pandas.read_csv(path, encoding="utf-8-sig")
    assert numbers["a"].dropna().unique().tolist() == [-8.2]
    assert numbers["level_plus_minus"].dtype.kind == "f"


def test_the_file_is_made_for_spreadsheets(tmp_path, records):
    path = tmp_path / "t.csv"
    write_csv(path, table(records), records)
    data = path.read_bytes()
    assert data.startswith(b"\xef\xbb\xbffile,")
    assert data.endswith(b"\r\n")
    text = data.decode("utf-8-sig")
    for row in csv.reader(io.StringIO(text, newline="")):
        for cell in row:
            if cell.startswith(("=", "+", "-", "@", "\t", "\r", "＝")):
                float(cell)  # only a number may look so


def test_parquet_holds_the_same_texts_and_numbers(tmp_path, records):
    import pandas

    path = tmp_path / "t.parquet"
    write_parquet(path, table(records), records)
    frame = pandas.read_parquet(path)
    assert list(frame.columns) == heads()
    assert frame["file"].tolist() == sorted(NASTY_NAMES)  # nothing to protect from here
    assert frame["taken"][0] == datetime(2026, 3, 5, 14, 30)
    assert frame["wet"].dropna().unique().tolist() == [False]
    assert frame["a"].dropna().unique().tolist() == [-8.2]


def test_an_empty_table_has_its_columns(tmp_path):
    import pandas

    write_csv(tmp_path / "t.csv", table(()), ())
    write_parquet(tmp_path / "t.parquet", table(()), ())
    assert list(pandas.read_csv(tmp_path / "t.csv", encoding="utf-8-sig").columns) == heads()
    assert list(pandas.read_parquet(tmp_path / "t.parquet").columns) == heads()


def test_each_column_keeps_to_its_kind(records):
    kinds = {"text": str, "number": float, "flag": bool, "time": datetime}
    seen = set()
    for one in [
        *records,
        record("x", reading=replace(records[0].reading, notes=()), second=Second("y", "", None)),
    ]:
        for column in table(records).columns():
            value = column.value(one)
            if value is not None:
                assert type(value) is kinds[column.kind], column.name
                seen.add(column.name)
    assert seen >= set(heads()) - {"group"}


@given(st.text(max_size=20))
def test_no_text_is_a_formula_and_each_comes_back(text):
    cell = cell_text(text)
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert as_written(cell) == text
    line = io.StringIO(newline="")
    csv.writer(line).writerow([cell, "next"])
    assert next(csv.reader(io.StringIO(line.getvalue(), newline=""))) == [cell, "next"]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_stay_numbers(value):
    assert float(cell_text(value)) == value


def test_the_lists_own_heads_and_columns_are_kept(tmp_path, records):
    import pandas

    own = table(
        records,
        heads={"client": "student", "taken": "time"},
        extra={one.file: {"grade": "B", "level": "they say 9"} for one in records},
    )
    write_csv(tmp_path / "t.csv", own, records)
    frame = pandas.read_csv(tmp_path / "t.csv", encoding="utf-8-sig", dtype=str)
    assert {"student", "time", "grade", "level (list)"} < set(frame.columns)
    assert not {"client", "taken"} & set(frame.columns)
    assert frame["grade"].unique().tolist() == ["B"]


def test_semicolons_come_with_decimal_commas(tmp_path, records):
    import pandas

    write_csv(tmp_path / "t.csv", table(records), records, "semicolon")
    frame = pandas.read_csv(tmp_path / "t.csv", encoding="utf-8-sig", sep=";", decimal=",")
    assert frame["level"].dropna().unique().tolist() == [8.2]
    assert frame["chance_true"].dropna().unique().tolist() == [0.25]
    assert frame["advice"].dropna().unique().tolist() == [
        "; ".join(say(f"do.{code}") for code in ("ask-history", "lift"))
    ]
