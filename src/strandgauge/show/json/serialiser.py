"""Turns records into JSON documents and back, and says in JSON Schema what the documents look like.

A record, which is a frozen dataclass or a named tuple, is written as an object with its fields as keys, so that a
new field or a new record needs nothing here. Where a published document differs from its record, a `Shape` says in
what; `strandgauge.show.json.shapes` holds those of the readings and of what follows from them.

Writing needs no library. Reading back and the schemas are pydantic's, which is imported when they are first asked
for.
"""

from __future__ import annotations

import ast
import dataclasses
import inspect
import json
import math
import textwrap
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, is_dataclass
from datetime import datetime
from functools import cache, partial
from itertools import pairwise
from numbers import Integral
from operator import attrgetter
from pathlib import Path
from types import UnionType
from typing import (
    TYPE_CHECKING,
    Annotated,
    Any,
    Literal,
    TypeVar,
    Union,
    get_args,
    get_origin,
    get_type_hints,
)

from strandgauge.errors import BadReadingError

if TYPE_CHECKING:
    from pydantic import BaseModel, TypeAdapter

Document = dict[str, Any]
R = TypeVar("R")

DECIMALS = 3
"""Of a number in a document: short to read, far below any uncertainty."""
DIALECT = "https://json-schema.org/draft/2020-12/schema"


@dataclass(frozen=True, slots=True)
class Shape:
    """In what a document differs from its record."""

    schema: str | None = None
    """What the document states under ``schema``; None where it is only ever a part of another."""
    title: str = ""
    order: str = ""
    """Keys that come first; the others follow in the order of the record's fields."""
    names: Mapping[str, str] = field(default_factory=dict)
    """Key of a field that is not called like it."""
    hidden: str = ""
    """Fields that are not written, and are not needed to read a record back."""
    added: Mapping[str, object] = field(default_factory=dict)
    """Further keys, which reading back passes over: a constant, or a type and a function of the record."""
    pairs: str = ""
    """Fields that hold pairs of name and value, and are written as an object."""
    endless: str = ""
    """Fields whose number may be infinite, which is written as null."""
    decimals: Mapping[str, int] = field(default_factory=dict)
    """Of fields with others than `DECIMALS`."""
    mend: Callable[[Document], Document] | None = None
    """Brings a part of a document of an earlier version up to this one; the part may hold no list."""
    renew: Callable[[Document], Document] | None = None
    """Brings a whole document of an earlier version up to this one, its parts included."""
    more: Mapping[str, Any] = field(default_factory=dict)
    """What its JSON Schema says beyond the types."""

    def key(self, name: str) -> str:
        """Return the key under which a field is written."""
        return self.names.get(name, name)


_SHAPES: dict[type, Shape] = {}


def shape(record: type, **differences: Any) -> None:  # noqa: ANN401 - the fields of `Shape`
    """Say in what the documents of a record differ from it; see `Shape`."""
    _SHAPES[record] = Shape(**differences)


def published() -> dict[str, type]:
    """Return the records whose documents state a schema, by its name."""
    return {one.schema: record for record, one in _SHAPES.items() if one.schema is not None}


def shape_of(record: type) -> Shape:
    """Return the shape of a record's documents; a subclass has that of its parent."""
    return next((_SHAPES[parent] for parent in record.__mro__ if parent in _SHAPES), Shape())


# --- writing --------------------------------------------------------------------------------------------


def document_of(record: object) -> Document:
    """Return a record as a document, ready for JSON; numbers are rounded."""
    return {key: _plain(get(record), digits) for key, get, digits in _plan(type(record))}  # type: ignore[arg-type]  # a class is hashable


def short(value: float, digits: int = DECIMALS) -> float:
    """Return a number as documents hold it."""
    return round(float(value), digits)  # float(): numpy's own numbers are no JSON


def _plain(value: Any, digits: int = DECIMALS) -> Any:  # noqa: ANN401 - whatever a record holds
    if value is None or isinstance(value, str | bool):
        return value
    if _is_record(type(value)):
        return document_of(value)
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): _plain(one, digits) for key, one in value.items()}
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, Iterable):
        return [_plain(one, digits) for one in value]
    return int(value) if isinstance(value, Integral) else short(value, digits)


@cache
def _plan(record: type) -> tuple[tuple[str, Callable[[Any], Any], int], ...]:
    """Return the keys of a record's documents in order, how to get each one's value, and its decimals."""
    told = shape_of(record)
    steps: dict[str, tuple[Callable[[Any], Any], int]] = {}
    for name in _fields(record):
        if name not in told.hidden.split():
            steps[told.key(name)] = (_getter(name, told), told.decimals.get(name, DECIMALS))
    added = {**told.added, **({} if told.schema is None else {"schema": told.schema})}
    for key, source in added.items():
        steps[key] = (source[1] if isinstance(source, tuple) else partial(_constant, source), DECIMALS)
    first = ["schema"] * (told.schema is not None) + told.order.split()
    return tuple((key, *steps[key]) for key in (*first, *(key for key in steps if key not in first)))


def _getter(name: str, told: Shape) -> Callable[[Any], Any]:
    get = attrgetter(name)
    if name in told.pairs.split():
        return lambda record: dict(get(record))
    if name in told.endless.split():
        return lambda record: value if math.isfinite(value := get(record)) else None
    return get


def _constant(value: object, _: object) -> object:
    return value


def _is_record(kind: object) -> bool:
    """Tell dataclasses and named tuples from all else; a tuple without names is a list."""
    return isinstance(kind, type) and (is_dataclass(kind) or hasattr(kind, "_fields"))


def _fields(record: type) -> dict[str, Any]:
    """Return a record's fields with their defaults; ``...`` where there is none."""
    if not is_dataclass(record):
        defaults = record._field_defaults  # type: ignore[attr-defined]
        return {name: defaults.get(name, ...) for name in record._fields}  # type: ignore[attr-defined]
    missing = dataclasses.MISSING
    return {
        one.name: one.default_factory()
        if one.default_factory is not missing
        else ...
        if one.default is missing
        else one.default
        for one in dataclasses.fields(record)
    }


def filled(record: type[R], *sources: object, **values: object) -> R:
    """Return a record with the fields of others that are called the same; ``values`` come first."""
    for name in _fields(record):
        for source in sources:
            if name not in values and hasattr(source, name):
                values[name] = getattr(source, name)
    return record(**values)


# --- reading back ---------------------------------------------------------------------------------------


def record_of(record: type[R], document: object, where: str) -> R:
    """Return the record that a document holds; ``where`` names the document in errors.

    Raises
    ------
    BadReadingError : it is of another schema, or a value is missing or impossible; the first such is named.
    """
    schema = shape_of(record).schema
    if not isinstance(document, Mapping):
        raise BadReadingError(where=where, fault="no-object")
    if schema is not None and document.get("schema") != schema:
        stated = document.get("schema")
        said = "it does not say its schema" if stated is None else f"its schema is {stated!r}"
        raise BadReadingError(where=where, fault="schema", said=said, schema=schema)
    from pydantic import ValidationError

    renew = shape_of(record).renew
    document = document if renew is None else renew(dict(document))
    try:
        # By way of JSON, where pydantic's strictness takes lists for tuples and texts for times, but nothing else.
        found: R = _reader(record).validate_json(json.dumps(document), strict=True)  # type: ignore[arg-type]
    except ValidationError as error:
        raise BadReadingError(_first_misfit(error), where=where) from error
    return found


def load(record: type[R], path: Path) -> R:
    """Return the record that a JSON file holds.

    Raises
    ------
    BadReadingError : the file cannot be read, is not JSON, of another schema, or lacks a value.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        reason = (error.strerror or "").lower()
        raise BadReadingError(where=str(path), fault="unreadable", reason=reason) from error
    except ValueError as error:
        raise BadReadingError(where=str(path), fault="no-json") from error
    return record_of(record, document, str(path))


def _first_misfit(error: Any) -> str:  # noqa: ANN401 - pydantic is imported late
    first = error.errors(include_url=False)[0]
    place = ".".join(str(part) for part in first["loc"])
    if first["type"] == "missing":
        return f"'{place}' is missing"
    return f"'{place}' is not what it should be: {first['msg'][:1].lower()}{first['msg'][1:]}"


@cache
def _reader(record: type) -> TypeAdapter[Any]:
    from pydantic import TypeAdapter

    return TypeAdapter(_type_of(record, False))


def model_of(record: type) -> Any:  # noqa: ANN401 - a type, made at run time
    """Return a record's document as a pydantic model, as whoever describes an interface needs it."""
    return _model(record, True)


@cache
def _model(record: type, told: bool) -> type[BaseModel]:
    """Return a record's document as a pydantic model; ``told`` adds what is written but not read back."""
    from pydantic import ConfigDict, Field, create_model

    like = shape_of(record)
    hints = get_type_hints(record, include_extras=True)
    docs = _field_docs(record)
    fields: dict[str, Any] = {}
    if like.schema is not None:
        fields["schema_"] = (Literal[like.schema], Field(alias="schema"))
    for name, default in _fields(record).items():
        if name in like.hidden.split() or (told and like.key(name) in like.added):
            continue
        kind = hints[name]
        if name in like.pairs.split():
            kind = dict[get_args(get_args(kind)[0])]  # type: ignore[misc]
        elif name in like.endless.split():
            kind = kind | None
        about = Field(default, alias=like.key(name), description=docs.get(name))
        fields[f"{name}_"] = (_type_of(kind, told), about)
    if told:
        for key, source in like.added.items():
            kind = source[0] if isinstance(source, tuple) else Literal[source]
            fields[f"{key}_"] = (_type_of(kind, told), Field(alias=key))
    more = {**like.more, "description": inspect.cleandoc(record.__doc__ or "")}
    config = ConfigDict(
        title=record.__name__,
        allow_inf_nan=False,
        json_schema_extra=lambda schema: _merge(schema, more),
    )
    return create_model(record.__name__, __config__=config, **fields)


def _type_of(kind: Any, told: bool) -> Any:  # noqa: ANN401 - types are told apart here
    """Return a type with pydantic models in place of the records in it."""
    if _is_record(kind):
        return _record_type(kind, told)
    origin, parts = get_origin(kind), get_args(kind)
    if origin is None or origin is Literal:
        return kind
    if origin is Annotated:
        return Annotated[(_type_of(parts[0], told), *parts[1:])]
    inner = tuple(_type_of(part, told) for part in parts)
    return Union[inner] if origin in (Union, UnionType) else origin[inner]  # noqa: UP007 - told at run time


def _record_type(record: type, told: bool) -> Any:  # noqa: ANN401 - a type
    from pydantic import AfterValidator, BeforeValidator

    if told:
        return _model(record, told)
    mend = shape_of(record).mend
    checks = [AfterValidator(partial(_made, record)), *([BeforeValidator(mend)] if mend else [])]
    return Annotated[(_model(record, told), *checks)]


def _made(record: type, model: BaseModel) -> Any:  # noqa: ANN401 - a record
    like, given = shape_of(record), model.model_fields_set
    values = {name[:-1]: value for name, value in model if name in given and name != "schema_"}
    for name in like.pairs.split():
        if name in values:
            values[name] = tuple(values[name].items())
    for name in like.endless.split():
        if name in values and values[name] is None:
            values[name] = math.inf
    return record(**values)


# --- schemas --------------------------------------------------------------------------------------------


def schema_of(record: type) -> Document:
    """Return the JSON Schema (draft 2020-12) of a record's documents."""
    from pydantic import TypeAdapter
    from pydantic.json_schema import GenerateJsonSchema

    class Untitled(GenerateJsonSchema):
        def field_title_should_be_set(self, schema: Any) -> bool:  # noqa: ANN401
            return False  # a title that repeats the key says nothing

    told = shape_of(record)
    found = TypeAdapter(_type_of(record, True)).json_schema(schema_generator=Untitled)
    head = {"$schema": DIALECT, "$id": told.schema, "title": told.title}
    parts = {"$defs": found.pop("$defs")} if "$defs" in found else {}
    return {**head, **{key: value for key, value in found.items() if key not in head}, **parts}


def _merge(into: Document, more: Mapping[str, Any]) -> None:
    for key, value in more.items():
        if isinstance(value, Mapping) and isinstance(into.get(key), dict):
            _merge(into[key], value)
        else:
            into[key] = value


def _field_docs(record: type) -> dict[str, str]:
    """Return what the source says below each field."""
    found: dict[str, str] = {}
    for parent in reversed(record.__mro__[:-1]):
        try:
            tree = ast.parse(textwrap.dedent(inspect.getsource(parent)))
        except (OSError, TypeError):
            continue
        body = tree.body[0].body if isinstance(tree.body[0], ast.ClassDef) else []
        for before, after in pairwise(body):
            if isinstance(before, ast.AnnAssign) and isinstance(after, ast.Expr):
                name, text = ast.unparse(before.target), after.value
                if isinstance(text, ast.Constant) and isinstance(text.value, str):
                    found[name] = " ".join(text.value.replace("``", "").split())
    return found
