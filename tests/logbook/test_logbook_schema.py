"""Every earlier version of the tables becomes the newest, with everything that stood in it."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest

from strandgauge.logbook import schema
from strandgauge.logbook.book import open_logbook

VERSIONS = Path(__file__).parent / "versions"
"""A logbook of each version as SQL text, each with the same visit in it."""


def _tables(connection: sqlite3.Connection) -> set[tuple[str, str]]:
    rows = connection.execute(
        "SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%'"
    )
    return {(name, " ".join(sql.split())) for name, sql in rows if not name.startswith("sqlite_")}


def test_there_is_a_logbook_of_every_version():
    assert sorted(file.stem for file in VERSIONS.glob("*.sql")) == sorted(
        f"version-{number}" for number in range(1, len(schema.STEPS) + 1)
    )


@pytest.mark.parametrize("file", sorted(VERSIONS.glob("*.sql")), ids=lambda file: file.stem)
def test_a_logbook_of_an_earlier_version_opens_with_all_that_is_in_it(file, path, document):
    path.parent.mkdir()
    database = sqlite3.connect(path)
    database.executescript(file.read_text())
    number = int(file.stem.removeprefix("version-"))
    assert (schema.version_of(database), schema.belongs_to_us(database)) == (number, True)
    # What was released is never changed: the step of today makes the tables of then.
    fresh = sqlite3.connect(":memory:", isolation_level=None)
    schema.upgrade(fresh, schema.STEPS[:number])
    assert _tables(database) == _tables(fresh)
    database.close()
    with open_logbook(path) as logbook:
        logbook.verify()
        (client,) = logbook.clients()
        (visit,) = logbook.visits(client.id)
        (strand,) = logbook.strands(visit.id)
        first, second = logbook.looks(strand.id)
        assert (client.alias, visit.note, strand.name) == ("north window", "hurried", "left crown")
        assert (strand.target, strand.limit_minutes) == ("rose", 45.0)
        assert (strand.minutes_at(first.at), strand.minutes_at(second.at)) == (10, 20)
        assert (first.wet, second.wet, second.stretch, second.note) == (False, True, "slow", "warm")
        assert first.reading["overall"]["level"] == document["overall"]["level"]
        assert first.outlook["verdict"] == "close"
        assert (first.thumbnail, logbook.photo(first.id)) == (b"\xff\xd8small", b"\xff\xd8photo")
        assert schema.version_of(logbook._connection) == len(schema.STEPS)


TOMORROW = (
    "ALTER TABLE clients ADD COLUMN birthday TEXT",
    "CREATE TABLE recipes (id INTEGER PRIMARY KEY)",
    "INSERT INTO recipes VALUES (1)",
)


def test_a_further_step_is_taken_once(path):
    with open_logbook(path) as logbook:
        logbook.add_client("x")
        for _ in range(2):
            schema.upgrade(logbook._connection, (*schema.STEPS, TOMORROW))
            assert schema.version_of(logbook._connection) == len(schema.STEPS) + 1
            assert logbook._connection.execute("SELECT count(*) FROM recipes").fetchall() == [(1,)]
        assert logbook.client(1).alias == "x"


def test_a_step_that_fails_leaves_what_was_there(path):
    failing = (*TOMORROW, "INSERT INTO missing VALUES (1)")
    with open_logbook(path) as logbook:
        before = _tables(logbook._connection)
        with pytest.raises(sqlite3.OperationalError, match="missing"):
            schema.upgrade(logbook._connection, (*schema.STEPS, failing))
        assert _tables(logbook._connection) == before
        assert schema.version_of(logbook._connection) == len(schema.STEPS)
        logbook.add_client("goes on")


def test_an_interrupted_first_opening_leaves_a_file_that_can_become_a_logbook(path, monkeypatch):
    monkeypatch.setattr(schema, "STEPS", ((*schema.VERSION_1, "SELECT nonsense()"),))
    with pytest.raises(sqlite3.OperationalError):
        open_logbook(path)
    monkeypatch.undo()
    with open_logbook(path) as logbook:
        assert logbook.add_client("x").id == 1


def test_the_stored_documents_are_plain_json(logbook, strand, document):
    from logbookdata import NOON

    logbook.add_look(strand.id, NOON, False, document)
    ((text,),) = logbook._connection.execute("SELECT reading FROM checks").fetchall()
    assert json.loads(text) == document
