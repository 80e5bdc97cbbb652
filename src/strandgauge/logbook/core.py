"""The open file beneath the logbook: two connections, transactions, care, and deleting for good.

Every change is one transaction: it is there as a whole when the method returns, or not at all when it raises.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from strandgauge.errors import BadEntryError, LogbookNotWrittenError, UnknownEntryError
from strandgauge.logbook.connect import may_pass, refuse_damaged, told
from strandgauge.logbook.records import Kind
from strandgauge.logbook.rewrite import rewrite

ERASE_WAIT_SECONDS = 2.0
"""How long an erasure waits for other programs that read the logbook."""

Row = tuple[Any, ...]

PARENT: dict[Kind, tuple[Kind, str] | None] = {
    "client": None,
    "visit": ("client", "client_id"),
    "strand": ("visit", "visit_id"),
    "check": ("strand", "strand_id"),
}
"""What each kind of entry belongs to, and the column that says to which."""


WITH_ALL_BELOW = """
    clients
    LEFT JOIN visits ON visits.client_id = clients.id
    LEFT JOIN strands ON strands.visit_id = visits.id
    LEFT JOIN checks ON checks.strand_id = strands.id
"""
"""Every entry with what belongs to it, in the bin or not."""


class Core:
    """An open file. It closes itself at the end of a ``with`` block.

    Any thread may use it. Changes go through one connection and wait for each other, and for other programs;
    what is read comes through another one, which waits for nobody: the log of SQLite keeps both apart.
    Processes each open their own, after they were forked.
    """

    def __init__(
        self, path: Path, connection: sqlite3.Connection, reader: sqlite3.Connection, wait: float
    ) -> None:
        self.path = path
        self._connection, self._reader = connection, reader
        self._wait = wait
        self._lock, self._reading = threading.RLock(), threading.Lock()
        self._changing: int | None = None
        self._closed = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; does nothing when closed already."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
            try:
                with contextlib.suppress(LogbookNotWrittenError):
                    self.erase()
            finally:
                with self._reading:
                    self._reader.close()
                self._connection.close()

    def erase(self, *, wait: float | None = None) -> bool:
        """Remove the last bytes of what was deleted from the files of the logbook.

        Deleted entries are zeros in the newest state of the file; their bytes may still stand in its write-ahead
        log, in the pages that the log will replace, and as copies left where entries were moved. Writing the tables
        anew and emptying the log removes them, once no other program reads an older state.

        Parameters
        ----------
        wait : seconds to wait for other programs; two when left out.

        Returns
        -------
        True where nothing is left to erase.
        """
        wait = ERASE_WAIT_SECONDS if wait is None else wait
        with self._lock, self._reading, told(self.path):
            connection = self._connection
            ((newest,),) = connection.execute("SELECT max(id) FROM erasures").fetchall()
            if newest is None:
                return True
            try:
                connection.execute(f"PRAGMA busy_timeout = {round(1000 * wait)}").fetchall()
                rewrite(connection, self.path.stat().st_size)
                ((unfinished, *_),) = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
                if not unfinished:
                    connection.execute("DELETE FROM erasures WHERE id <= ?", (newest,))
            except sqlite3.Error as error:
                if may_pass(error):
                    return False
                raise
            finally:
                connection.execute(f"PRAGMA busy_timeout = {round(1000 * self._wait)}").fetchall()
            return not unfinished

    def verify(self) -> None:
        """Check the whole file for damage.

        Raises
        ------
        UnusableLogbookError : it is damaged.
        """
        with self._lock, told(self.path):
            refuse_damaged(self._connection, self.path)

    def back_up(self, target: Path) -> None:
        """Write a copy of the logbook, whole at one point in time, while others go on using it.

        Parameters
        ----------
        target : a file that is not there yet.

        Raises
        ------
        BadEntryError : there is a file of that name.
        LogbookNotWrittenError : it cannot be written.
        """
        if target.exists():
            raise BadEntryError(where=str(target), fault="file-there")
        with told(target):
            handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
            os.close(handle)
            unfinished = Path(name)
            try:
                with self._lock:
                    self._connection.execute("VACUUM INTO ?", (str(unfinished),))
                with unfinished.open("r+b") as file:  # on the disk before it gets its name
                    os.fsync(file.fileno())
                unfinished.replace(target)
            finally:
                unfinished.unlink(missing_ok=True)

    def _rows(self, sql: str, values: Sequence[object] = ()) -> list[Row]:
        # All rows at once: a statement left half read would hold on to an old state of the file.
        with told(self.path):
            if (
                self._changing == threading.get_ident()
            ):  # what a change has done so far, only its thread may see
                return self._connection.execute(sql, values).fetchall()
            with self._reading:
                return self._reader.execute(sql, values).fetchall()

    def _row(self, kind: Kind, columns: str, entry_id: int, *, gone: bool = False) -> Row:
        """Return a row of a living entry, or with ``gone`` also of one that lies in the bin."""
        # An id beyond SQLite's integers is that of no entry.
        view = f"{kind}s" if gone else f"living_{kind}s AS {kind}s"
        rows = (
            self._rows(f"SELECT {columns} FROM {view} WHERE id = ?", (entry_id,))
            if 0 < entry_id < 2**63
            else []
        )
        if not rows:
            raise UnknownEntryError(fault="no-entry", kind=kind, entry_id=entry_id)
        return rows[0]

    def _insert(self, table: str, **values: object) -> int:
        """Enter a row, as part of a change; return its id."""
        marks = ", ".join("?" * len(values))
        sql = f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})"
        added = self._connection.execute(sql, tuple(values.values())).lastrowid
        assert added is not None  # an INSERT always sets it
        return added

    @contextlib.contextmanager
    def _change(self) -> Iterator[sqlite3.Connection]:
        """Make whatever is done within the block one transaction."""
        with self._lock, told(self.path):
            connection = self._connection
            connection.execute("BEGIN IMMEDIATE")
            self._changing = threading.get_ident()
            try:
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                # After a full disk SQLite may have rolled back by itself already.
                with contextlib.suppress(sqlite3.Error):
                    connection.execute("ROLLBACK")
                raise
            finally:
                self._changing = None
