"""JSON documents keep to their published schemas, whatever numbers a reading holds."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import readings
from strandgauge.errors import Told
from strandgauge.show.json.error import error_document
from strandgauge.show.json.reading import check_document, reading_document

SCHEMAS = Path(__file__).parents[2] / "docs" / "schemas"


def schema(name: str):
    return json.loads((SCHEMAS / f"{name}.json").read_text())


@pytest.mark.parametrize("name", ["reading-1", "check-1", "error-1"])
def test_the_schemas_are_schemas(name):
    meta = jsonschema.Draft202012Validator(jsonschema.Draft202012Validator.META_SCHEMA)
    assert list(meta.iter_errors(schema(name))) == []


@pytest.mark.parametrize(
    ("name", "document"),
    [
        ("reading-1", reading_document(readings.reading())),
        (
            "reading-1",
            reading_document(readings.reading(overall=readings.zone(stain=readings.STAIN), notes=())),
        ),
        ("check-1", check_document(readings.check())),
        ("error-1", error_document(Told("no-card", "No mark was found.", "Take it again."))),
    ],
)
def test_documents_fit_their_schema(name, document):
    validator = jsonschema.Draft202012Validator(schema(name))
    assert list(validator.iter_errors(json.loads(json.dumps(document)))) == []


@pytest.mark.parametrize("missing", ["lab", "level_shares", "stain", "lab_as_lit"])
def test_the_schema_misses_what_is_missing(missing):
    document = reading_document(readings.reading())
    del document["zones"][1][missing]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, schema("reading-1"), cls=jsonschema.Draft202012Validator)


def test_the_schema_minds_the_order_of_the_zones():
    document = reading_document(readings.reading())
    document["zones"].reverse()
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, schema("reading-1"), cls=jsonschema.Draft202012Validator)


def test_values_are_those_of_the_reading():
    reading = readings.reading()
    document = reading_document(reading)
    for zone, written in zip(
        (reading.overall, *reading.zones), (document["overall"], *document["zones"]), strict=True
    ):
        assert np.allclose(written["lab"], zone.lab, atol=5e-4)
        assert np.isclose(written["level"], zone.level, atol=5e-4)
        assert written["undertone"] == zone.undertone
        assert written["level_shares"] == zone.level_shares


def test_numbers_of_numpy_are_written():
    document = reading_document(
        readings.reading(overall=readings.zone(level=np.float64(8.25), chroma=np.float32(30)))
    )
    assert json.loads(json.dumps(document))["overall"]["level"] == 8.25
