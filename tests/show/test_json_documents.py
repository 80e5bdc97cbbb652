"""Records become documents that keep to their published schemas, and come back from them whole."""

from __future__ import annotations

import copy
import dataclasses
import json
import math
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from types import UnionType
from typing import Annotated, Union, get_args, get_origin, get_type_hints

import jsonschema
import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

import publishedschemas
import readings
from refused import refused
from strandgauge.change.compare import Change
from strandgauge.cli.schemas import schema_files
from strandgauge.codes.facts import Fact, Note, Severity
from strandgauge.errors import BadReadingError, Told
from strandgauge.judge.outlook import Outlook
from strandgauge.lift.curve import Estimate, LiftCurve
from strandgauge.reading.model import CardCheck, CardFit, Reading, ZoneReading
from strandgauge.show.json import document_of, load, record_of
from strandgauge.show.json.batch import BatchRow
from strandgauge.show.json.serialiser import published
from strandgauge.words import said

SCHEMAS = Path(__file__).parents[2] / "docs" / "schemas"
RECORDS = (Reading, Outlook, Change, LiftCurve, CardCheck, BatchRow)


def any_of(kind) -> st.SearchStrategy:
    """Draw what a type allows, its limits included; numbers as documents round them."""
    if kind in SPECIAL:
        return SPECIAL[kind]()
    if dataclasses.is_dataclass(kind) or hasattr(kind, "_fields"):
        hints = get_type_hints(kind, include_extras=True)
        return st.builds(kind, **{name: any_of(hint) for name, hint in hints.items()})
    origin, parts = get_origin(kind), get_args(kind)
    low = high = None
    if origin is Annotated:
        kind, *limits = parts
        for limit in limits:
            low = next((getattr(limit, n) for n in ("ge", "min_length") if hasattr(limit, n)), low)
            high = next((getattr(limit, n) for n in ("le", "max_length") if hasattr(limit, n)), high)
        origin, parts = get_origin(kind), get_args(kind)
    if kind is float:
        return st.floats(-1e6 if low is None else low, 1e6 if high is None else high).map(
            lambda x: round(x, 3)
        )
    if kind is int:
        return st.integers(low, high)
    if kind is str:
        return st.text(min_size=low or 0, max_size=high)
    if origin is tuple and parts[1:] == (...,):
        # Facts are pairs of a name and a value, and no name comes twice.
        unique = {"unique_by": lambda pair: pair[0]} if parts[0] == tuple[str, Fact] else {}
        return st.lists(any_of(parts[0]), min_size=low or 0, max_size=(low or 0) + 2, **unique).map(tuple)
    if origin is tuple:
        return st.tuples(*map(any_of, parts))
    if origin in (Union, UnionType):
        return st.one_of(*map(any_of, parts))
    if origin is dict:
        return st.dictionaries(st.sampled_from("123456789"), any_of(parts[1]))
    return st.from_type(kind)


def a_reading():
    zones = [
        any_of(ZoneReading).map(partial(replace, name=name)) for name in ("overall", "root", "mids", "ends")
    ]
    fields = {"card_fit": any_of(CardFit), "notes": any_of(tuple[Note, ...]), "wet": st.booleans()}
    return st.builds(
        lambda zones, **more: Reading(overall=zones[0], zones=zones[1:], **more),
        st.tuples(*zones),
        **dict.fromkeys(("photo", "card", "ladder"), st.text()),
        **fields,
    )


def a_row():
    common = {
        "digest": st.sampled_from(["", "0" * 64]),
        "taken": st.none() | st.datetimes(),
        "taken_from": st.none(),
        "wet": st.booleans(),
        "wanted": st.none(),
        **dict.fromkeys(("target", "client", "group", "strip"), st.none() | st.text()),
    }
    read = st.builds(BatchRow, st.text(min_size=1), reading=a_reading(), error=st.none(), **common)
    return read | st.builds(BatchRow, st.text(min_size=1), reading=st.none(), error=any_of(Told), **common)


CODES = st.from_regex(r"[a-z0-9-]+", fullmatch=True)
SENTENCES = st.text(min_size=1)


def a_change():
    """Draw every step; the readings, which are drawn by themselves, are two that are known."""
    hints = get_type_hints(Change, include_extras=True)
    known = (readings.reading(), readings.reading(overall=readings.zone(stain=readings.STAIN), wet=True))
    return st.builds(
        Change, **{name: any_of(hint) for name, hint in hints.items()} | {"readings": st.just(known)}
    )


SPECIAL = {
    Reading: a_reading,
    Change: a_change,
    BatchRow: a_row,
    Note: lambda: st.builds(
        Note,
        CODES,
        st.sampled_from(get_args(Severity)),
        st.tuples(st.tuples(st.just("said"), SENTENCES), st.tuples(st.just("times"), any_of(float))),
    ),
    Told: lambda: st.builds(Told, CODES, SENTENCES, st.text(), st.none() | st.text()),
}


def misfits(document: dict) -> list[str]:
    found = publishedschemas.schema_of(document).iter_errors(json.loads(json.dumps(document)))
    return [error.message for error in found]


made_schemas = cache(schema_files)


@pytest.mark.parametrize("file", sorted(path.name for path in SCHEMAS.glob("*.json")))
def test_the_published_schemas_are_those_of_the_shapes(file):
    assert (SCHEMAS / file).read_text() == made_schemas()[file], (
        "python -m strandgauge.cli.schemas docs/schemas"
    )
    meta = jsonschema.Draft202012Validator(jsonschema.Draft202012Validator.META_SCHEMA)
    assert list(meta.iter_errors(json.loads((SCHEMAS / file).read_text()))) == []


@pytest.mark.parametrize("record", RECORDS)
@settings(max_examples=5, deadline=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_record_fits_its_schema_and_comes_back_whole(record, data):
    made = data.draw(any_of(record))
    document = json.loads(json.dumps(document_of(made)))
    assert misfits(document) == []
    again = record_of(record, document, "here")
    assert again == made, document_of(again)


def test_every_document_that_is_published_states_its_name_and_lies_in_the_docs():
    names = {f"{name.removeprefix('strandgauge.').replace('/', '-')}.json" for name in published()}
    assert names == set(made_schemas()) == {path.name for path in SCHEMAS.glob("*.json")}


def test_numbers_are_rounded_those_of_numpy_too_and_what_never_ends_is_null():
    document = document_of(readings.zone(level=np.float64(8.25049), chroma=np.float32(30)))
    assert (document["level"], document["chroma"]) == (8.25, 30.0)
    never = Estimate(12.0, 3.0, math.inf)
    assert document_of(never) == {"value": 12.0, "low": 3.0, "high": None}
    assert record_of(Estimate, document_of(never), "here") == never


@pytest.mark.parametrize("missing", ["lab", "level_shares", "stain", "lab_as_lit"])
def test_the_schema_misses_what_is_missing(missing):
    document = document_of(readings.reading())
    del document["zones"][1][missing]
    assert misfits(document)
    with pytest.raises(BadReadingError, match=f"'zones.1.{missing}' is missing"):
        record_of(Reading, document, "wish.json")


def test_the_schema_minds_the_order_of_the_zones():
    document = document_of(readings.reading())
    document["zones"].reverse()
    assert misfits(document)


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("schema",), None, "does not say its schema"),
        (("schema",), "strandgauge.reading/9", "strandgauge.reading/9"),
        (("zones",), [], "'zones"),
        (("zones", 1, "name"), "ends", "root, mids and ends"),
        (("zones", 0, "level"), 0, "'zones.0.level'"),
        (("zones", 0, "level"), "8", "'zones.0.level'"),
        (("zones", 2, "lab"), [1, 2, "x"], "'zones.2.lab.2'"),
        (("zones", 2, "lab_sd"), [1, -2, 1], "'zones.2.lab_sd.1'"),
        (("overall", "level_sd"), float("nan"), "'overall.level_sd'"),
        (("overall", "stain"), 3, "'overall.stain'"),
        (("wet",), "yes", "'wet'"),
        (("notes",), {}, "'notes'"),
        (("card_fit",), None, "'card_fit'"),
    ],
)
def test_a_document_with_a_wrong_value_is_refused_by_name(path, value, said):
    document = copy.deepcopy(document_of(readings.reading()))
    place = document
    for part in path[:-1]:
        place = place[part]
    if value is None and path == ("schema",):
        del place["schema"]
    else:
        place[path[-1]] = value
    with pytest.raises(BadReadingError, match="wish") as caught:
        record_of(Reading, document, "wish.json")
    assert said in dict(caught.value.facts)["said"]


def test_a_file_that_is_no_saved_reading_is_refused(tmp_path):
    good, bad = tmp_path / "good.json", tmp_path / "bad.json"
    made = readings.reading(overall=readings.zone(stain=readings.STAIN), wet=True)
    good.write_text(json.dumps(document_of(made)))
    assert load(Reading, good) == made
    bad.write_bytes(b"\xff{")
    for path, fault in ((bad, "no-json"), (tmp_path / "none.json", "unreadable")):
        with refused(BadReadingError, fault):
            load(Reading, path)


def test_a_note_saved_before_notes_had_facts_keeps_its_sentence():
    document = document_of(readings.reading())
    document["notes"] = [{"code": "gloss", "message": "Some of the gloss was left out."}]
    (note,) = record_of(Reading, document, "here").notes
    assert (note.code, said(note)) == ("gloss", "Some of the gloss was left out.")
