"""Writes the tables of a logbook anew, so that no copy of a deleted entry stays beside the living ones.

SQLite's ``secure_delete`` zeros an entry where it stands, and every page that becomes free. What it does not zero
are the copies left behind when entries are moved from page to page to keep the tree of a table balanced; those go
when the pages of the table are all written anew. The pictures need not be: they lie on pages of their own, which
are never moved within (see version 2 in :mod:`strandgauge.logbook.schema`).
"""

from __future__ import annotations

import sqlite3

WHOLE_BYTES = 64_000_000
"""Files up to this size are rebuilt as a whole, which also makes them smaller; it takes under a second."""

_TABLES = ("bin", "clients", "visits", "strands", "checks", "events")


def rewrite(connection: sqlite3.Connection, size: int) -> None:
    """Write everything anew that may have copies of deleted entries beside it.

    Parameters
    ----------
    connection : in autocommit mode, with ``secure_delete`` and ``foreign_keys`` on.
    size : of the file, bytes.

    Raises
    ------
    sqlite3.Error : it could not be done now; nothing has changed.
    """
    if size <= WHOLE_BYTES:
        connection.execute("PRAGMA temp_store = MEMORY")
        connection.execute("VACUUM")
    else:
        connection.execute("PRAGMA temp_store = FILE")
        _rewrite_all_but_pictures(connection)


def _rewrite_all_but_pictures(connection: sqlite3.Connection) -> None:
    # With foreign keys on, emptying a table would empty those that refer to it.
    connection.execute("PRAGMA foreign_keys = OFF")
    try:
        connection.execute("BEGIN IMMEDIATE")
        for table in _TABLES:
            connection.execute(f"CREATE TEMP TABLE aside AS SELECT * FROM main.{table}")
            connection.execute(f"DELETE FROM main.{table}")  # frees, and so zeros, every page
            connection.execute(f"INSERT INTO main.{table} SELECT * FROM temp.aside ORDER BY id")
            connection.execute("DROP TABLE temp.aside")
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        connection.execute("PRAGMA foreign_keys = ON")
