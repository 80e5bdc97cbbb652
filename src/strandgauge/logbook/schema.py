"""The tables of the logbook, and the steps from each version of them to the next.

A step, once released, is never changed: a change of the tables is a further step. The version in use stands in
SQLite's ``user_version``, the mark that a file is a logbook at all in its ``application_id``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

APPLICATION_ID = 0x53474C42
"""The letters SGLB."""

VERSION_1 = (
    """
    CREATE TABLE clients (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        alias TEXT NOT NULL,
        alias_key TEXT NOT NULL UNIQUE,  -- the alias as it is compared: without regard to case
        created TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE visits (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        client_id INTEGER NOT NULL REFERENCES clients (id) ON DELETE CASCADE,
        started TEXT NOT NULL,
        note TEXT NOT NULL
    )
    """,
    "CREATE INDEX visits_of_client ON visits (client_id, started)",
    """
    CREATE TABLE strands (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        visit_id INTEGER NOT NULL REFERENCES visits (id) ON DELETE CASCADE,
        name TEXT NOT NULL,
        target TEXT,
        started TEXT,
        limit_minutes REAL
    )
    """,
    "CREATE INDEX strands_of_visit ON strands (visit_id)",
    """
    CREATE TABLE checks (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        strand_id INTEGER NOT NULL REFERENCES strands (id) ON DELETE CASCADE,
        at TEXT NOT NULL,
        wet INTEGER NOT NULL CHECK (wet IN (0, 1)),
        reading TEXT NOT NULL,
        outlook TEXT,
        thumbnail BLOB,
        stretch TEXT CHECK (stretch IN ('springs back', 'slow', 'gummy')),
        note TEXT NOT NULL
    )
    """,
    "CREATE INDEX checks_of_strand ON checks (strand_id, at)",
    """
    -- In a table of their own, so that a list of checks does not read past megabytes of pictures.
    CREATE TABLE photos (
        check_id INTEGER PRIMARY KEY REFERENCES checks (id) ON DELETE CASCADE,
        content BLOB NOT NULL
    )
    """,
    """
    -- A row for each deletion whose bytes are not known to be gone from the files yet.
    CREATE TABLE erasures (
        id INTEGER PRIMARY KEY AUTOINCREMENT
    )
    """,
)

VERSION_2 = (
    """
    -- A row's beginning lies on a page that it shares with other rows, and is copied when those are moved; what
    -- follows lies on pages of its own, zeroed when the row is deleted. So a photo stands behind a page's worth of
    -- nothing, and can be deleted for good without writing gigabytes of other photos anew.
    CREATE TABLE padded_photos (
        check_id INTEGER PRIMARY KEY REFERENCES checks (id) ON DELETE CASCADE,
        padding BLOB NOT NULL DEFAULT (zeroblob(4096)),
        content BLOB NOT NULL
    )
    """,
    "INSERT INTO padded_photos (check_id, content) SELECT check_id, content FROM photos ORDER BY check_id",
    "DROP TABLE photos",
    "ALTER TABLE padded_photos RENAME TO photos",
)

VERSION_3 = (
    """
    -- What was taken out on the page, and can be put back for a while; or was set aside because it is damaged.
    -- Whatever belongs to it has its number in the column `bin`, and is in no view.
    CREATE TABLE bin (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('client', 'visit', 'strand', 'check')),
        entry_id INTEGER NOT NULL,
        why TEXT NOT NULL CHECK (why IN ('deleted', 'merged', 'damaged')),
        moved TEXT NOT NULL  -- JSON list: ids of what went to another entry when this one was merged into it
    )
    """,
    "ALTER TABLE clients ADD COLUMN bin INTEGER REFERENCES bin (id)",
    "ALTER TABLE clients ADD COLUMN history TEXT",
    "ALTER TABLE visits ADD COLUMN bin INTEGER REFERENCES bin (id)",
    "ALTER TABLE strands ADD COLUMN bin INTEGER REFERENCES bin (id)",
    "ALTER TABLE strands ADD COLUMN rinsed TEXT",
    "ALTER TABLE strands ADD COLUMN request TEXT",
    "ALTER TABLE checks ADD COLUMN bin INTEGER REFERENCES bin (id)",
    "ALTER TABLE checks ADD COLUMN answer TEXT",
    "ALTER TABLE checks ADD COLUMN result INTEGER NOT NULL DEFAULT 0 CHECK (result IN (0, 1))",
    "ALTER TABLE checks ADD COLUMN request TEXT",
    # What a phone sends again after a dropped answer carries the same number, and is not entered twice.
    "CREATE UNIQUE INDEX strands_of_request ON strands (request) WHERE request IS NOT NULL",
    "CREATE UNIQUE INDEX checks_of_request ON checks (request) WHERE request IS NOT NULL",
    """
    CREATE TABLE events (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        strand_id INTEGER NOT NULL REFERENCES strands (id) ON DELETE CASCADE,
        at TEXT NOT NULL,
        what TEXT NOT NULL
    )
    """,
    "CREATE INDEX events_of_strand ON events (strand_id)",
    *(
        f"CREATE VIEW living_{table} AS SELECT * FROM {table} WHERE bin IS NULL"
        for table in ("clients", "visits", "strands", "checks")
    ),
)

PAGE_BYTES = 4096
"""Size of a page of the file; the padding of version 2 counts on it."""

Step = Sequence[str]
"""SQL statements, run one after the other."""

STEPS: tuple[Step, ...] = (VERSION_1, VERSION_2, VERSION_3)
"""Step number n, counted from zero, leads from version n to version n + 1."""


def version_of(connection: sqlite3.Connection) -> int:
    """Return the version of the tables; 0 for an empty file."""
    return _number(connection, "PRAGMA user_version")


def belongs_to_us(connection: sqlite3.Connection) -> bool:
    """Tell whether a database is a logbook, or empty and free to become one."""
    mark = _number(connection, "PRAGMA application_id")
    if mark == APPLICATION_ID:
        return True
    return mark == 0 and _number(connection, "SELECT count(*) FROM sqlite_schema") == 0


def upgrade(connection: sqlite3.Connection, steps: Sequence[Step]) -> None:
    """Bring the tables to the newest version, each step whole or not at all.

    Several processes may do so at once: whoever comes second finds the step done.

    Parameters
    ----------
    connection : in autocommit mode.
    steps : all there are, from version 0 on.

    Raises
    ------
    sqlite3.Error : a step failed; the tables are as the step before left them.
    """
    while version_of(connection) < len(steps):
        connection.execute("BEGIN IMMEDIATE")
        try:
            version = version_of(connection)
            if version < len(steps):
                for statement in steps[version]:
                    connection.execute(statement)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {version + 1}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def _number(connection: sqlite3.Connection, sql: str) -> int:
    ((value,),) = connection.execute(sql).fetchall()
    return int(value)
