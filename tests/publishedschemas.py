"""Holds documents against the schemas that are published."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema

SCHEMAS = Path(__file__).parents[1] / "docs" / "schemas"


@cache
def schema(file: str) -> jsonschema.Draft202012Validator:
    """Return what checks documents by a file of docs/schemas; that it is a schema is held in tests/show."""
    return jsonschema.Draft202012Validator(json.loads((SCHEMAS / file).read_text()))


def schema_of(document: dict[str, Any]) -> jsonschema.Draft202012Validator:
    """Return what checks documents of the kind that one names itself."""
    kind, version = document["schema"].removeprefix("strandgauge.").split("/")
    return schema(f"{kind}-{version}.json")


def valid(document: dict[str, Any]) -> dict[str, Any]:
    """Check a document against the schema it names, and hand it back."""
    schema_of(document).validate(document)
    return document
