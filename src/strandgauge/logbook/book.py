"""The logbook itself: reads and changes one file, safe from several threads and processes at once.

Every change is one transaction: it is there as a whole when the method returns, or not at all when it raises.
"""

from __future__ import annotations

import contextlib
import enum
import json
import os
import sqlite3
import tempfile
import threading
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self, cast

from strandgauge.errors import BadEntryError, LogbookNotWrittenError, UnknownEntryError
from strandgauge.logbook import entries
from strandgauge.logbook.connect import WAIT_SECONDS, connect, default_path, may_pass, refuse_damaged, told
from strandgauge.logbook.records import (
    CheckRecord,
    Client,
    ClientSummary,
    Deletion,
    Strand,
    StrandSummary,
    Stretch,
    Visit,
)
from strandgauge.logbook.rewrite import rewrite

ERASE_WAIT_SECONDS = 2.0
"""How long an erasure waits for other programs that read the logbook."""

Row = tuple[Any, ...]


class Keep(enum.Enum):
    """Stands for a value that is left as it is."""

    KEEP = enum.auto()


KEEP: Final = Keep.KEEP

_CLIENT = "clients.id, clients.alias, clients.created"
_VISIT = "visits.id, visits.client_id, visits.started, visits.note"
_STRAND = "strands.id, strands.visit_id, strands.name, strands.target, strands.started, strands.limit_minutes"
_CHECK = (
    "checks.id, checks.strand_id, checks.at, checks.wet, checks.reading, checks.outlook, checks.thumbnail, "
    "EXISTS (SELECT 1 FROM photos WHERE photos.check_id = checks.id), checks.stretch, checks.note"
)


def open_logbook(path: Path | None = None, *, wait: float = WAIT_SECONDS) -> Logbook:
    """Open a logbook, made first where there is none.

    Parameters
    ----------
    path : the file; when left out the one that ``STRANDGAUGE_LOGBOOK`` names, or else the one in the user's data
        folder.
    wait : seconds to wait for another program's changes.

    Raises
    ------
    UnusableLogbookError : no logbook, damaged, or of a newer version; the file is as it was.
    LogbookNotWrittenError : it cannot be opened or made, or another program kept it for too long.
    """
    path = default_path() if path is None else path
    logbook = Logbook(path, connect(path, wait), wait)
    try:
        logbook.erase(wait=0.0)  # what a killed or disturbed deletion left behind
    except BaseException:
        logbook.close()
        raise
    return logbook


class Logbook:
    """An open logbook; :func:`open_logbook` gives one. It closes itself at the end of a ``with`` block.

    Any thread may use it; one connection behind a lock serves them all, since every call takes milliseconds.
    Processes each open their own, after they were forked.

    Any method may raise LogbookNotWrittenError (another program kept the file too long, the disk is full or may
    not be written) or UnusableLogbookError (the file is damaged).
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, wait: float) -> None:
        self.path = path
        self._connection = connection
        self._wait = wait
        self._lock = threading.RLock()
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
                self._connection.close()

    # --- clients ----------------------------------------------------------------------------------------

    def clients(self) -> tuple[Client, ...]:
        """Return all clients, in the order of their aliases."""
        return tuple(map(_client, self._rows(f"SELECT {_CLIENT} FROM clients ORDER BY alias_key")))

    def client_summaries(self) -> tuple[ClientSummary, ...]:
        """Return all clients with how much there is of each, whoever came last first."""
        rows = self._rows(
            f"""
            SELECT {_CLIENT}, count(DISTINCT visits.id), count(checks.id), max(visits.started)
            FROM clients
            LEFT JOIN visits ON visits.client_id = clients.id
            LEFT JOIN strands ON strands.visit_id = visits.id
            LEFT JOIN checks ON checks.strand_id = strands.id
            GROUP BY clients.id
            ORDER BY coalesce(max(visits.started), clients.created) DESC, clients.alias_key
            """
        )
        return tuple(ClientSummary(_client(row[:3]), row[3], row[4], _time_or_none(row[5])) for row in rows)

    def client(self, client_id: int) -> Client:
        """Return a client.

        Raises
        ------
        UnknownEntryError : no client has this id.
        """
        return _client(self._row("client", _CLIENT, client_id))

    def find_client(self, alias: str) -> Client | None:
        """Return the client of an alias, however it is spelled in upper and lower case; None where there is none."""
        rows = self._rows(f"SELECT {_CLIENT} FROM clients WHERE alias_key = ?", (entries.lookup_key(alias),))
        return _client(rows[0]) if rows else None

    def add_client(self, alias: str) -> Client:
        """Enter a client.

        Raises
        ------
        BadEntryError : the alias is empty, longer than 80 characters, holds unseen characters, or is taken.
        """
        alias = entries.name_of(alias, "alias")
        created = _now()
        with self._change() as connection:
            self._refuse_taken(alias)
            row = connection.execute(
                "INSERT INTO clients (alias, alias_key, created) VALUES (?, ?, ?)",
                (alias, entries.key_of(alias), entries.stored_time(created)),
            )
            return Client(_id(row), alias, created)

    def rename_client(self, client_id: int, alias: str) -> Client:
        """Give a client another alias.

        Raises
        ------
        UnknownEntryError : no client has this id.
        BadEntryError : as for :meth:`add_client`.
        """
        alias = entries.name_of(alias, "alias")
        with self._change() as connection:
            self.client(client_id)
            self._refuse_taken(alias, but=client_id)
            connection.execute(
                "UPDATE clients SET alias = ?, alias_key = ? WHERE id = ?",
                (alias, entries.key_of(alias), client_id),
            )
            return self.client(client_id)

    # --- visits -----------------------------------------------------------------------------------------

    def visits(self, client_id: int) -> tuple[Visit, ...]:
        """Return a client's visits, the latest first.

        Raises
        ------
        UnknownEntryError : no client has this id.
        """
        self.client(client_id)
        sql = f"SELECT {_VISIT} FROM visits WHERE client_id = ? ORDER BY started DESC, id DESC"
        return tuple(map(_visit, self._rows(sql, (client_id,))))

    def visit(self, visit_id: int) -> Visit:
        """Return a visit.

        Raises
        ------
        UnknownEntryError : no visit has this id.
        """
        return _visit(self._row("visit", _VISIT, visit_id))

    def add_visit(self, client_id: int, note: str = "", started: datetime | None = None) -> Visit:
        """Enter a visit; it starts now, unless another time is given.

        Raises
        ------
        UnknownEntryError : no client has this id.
        BadEntryError : the note is longer than 4000 characters or holds control characters; the time has no zone.
        """
        values = (client_id, entries.stored_time(started or _now()), entries.note_of(note))
        with self._change() as connection:
            self.client(client_id)
            row = connection.execute("INSERT INTO visits (client_id, started, note) VALUES (?, ?, ?)", values)
            return self.visit(_id(row))

    # --- strands ----------------------------------------------------------------------------------------

    def strands(self, visit_id: int) -> tuple[Strand, ...]:
        """Return the strands of a visit, in the order they were entered.

        Raises
        ------
        UnknownEntryError : no visit has this id.
        """
        self.visit(visit_id)
        sql = f"SELECT {_STRAND} FROM strands WHERE visit_id = ? ORDER BY id"
        return tuple(map(_strand, self._rows(sql, (visit_id,))))

    def recent_strands(self, most: int = 20) -> tuple[StrandSummary, ...]:
        """Return the strands that were last looked at, entered or started, the latest first.

        Parameters
        ----------
        most : how many to return.
        """
        rows = self._rows(
            f"""
            SELECT {_CLIENT}, {_VISIT}, {_STRAND}, count(checks.id), max(checks.at),
                coalesce(max(checks.stretch = 'gummy'), 0)
            FROM strands
            JOIN visits ON visits.id = strands.visit_id
            JOIN clients ON clients.id = visits.client_id
            LEFT JOIN checks ON checks.strand_id = strands.id
            GROUP BY strands.id
            ORDER BY coalesce(max(checks.at), strands.started, visits.started) DESC, strands.id DESC
            LIMIT ?
            """,
            (most,),
        )
        return tuple(
            StrandSummary(
                _client(row[:3]),
                _visit(row[3:7]),
                _strand(row[7:13]),
                row[13],
                _time_or_none(row[14]),
                bool(row[15]),
            )
            for row in rows
        )

    def strand(self, strand_id: int) -> Strand:
        """Return a strand.

        Raises
        ------
        UnknownEntryError : no strand has this id.
        """
        return _strand(self._row("strand", _STRAND, strand_id))

    def add_strand(
        self,
        visit_id: int,
        name: str,
        target: str | None = None,
        started: datetime | None = None,
        limit_minutes: float | None = None,
    ) -> Strand:
        """Enter a strand.

        Parameters
        ----------
        visit_id : the visit it belongs to.
        name : such as 'left crown'; need not be unique.
        target : the wanted shade.
        started : when the lightener went on.
        limit_minutes : the maker's time limit.

        Raises
        ------
        UnknownEntryError : no visit has this id.
        BadEntryError : a value that cannot stand in the logbook.
        """
        values = (
            visit_id,
            entries.name_of(name, "strand's name"),
            entries.target_of(target),
            None if started is None else entries.stored_time(started),
            entries.minutes_of(limit_minutes),
        )
        with self._change() as connection:
            self.visit(visit_id)
            row = connection.execute(
                "INSERT INTO strands (visit_id, name, target, started, limit_minutes) VALUES (?, ?, ?, ?, ?)",
                values,
            )
            return self.strand(_id(row))

    def update_strand(
        self,
        strand_id: int,
        *,
        name: str | Keep = KEEP,
        target: str | Keep | None = KEEP,
        started: datetime | Keep | None = KEEP,
        limit_minutes: float | Keep | None = KEEP,
    ) -> Strand:
        """Change what is known of a strand; what is left out stays as it is, None takes it away.

        Raises
        ------
        UnknownEntryError : no strand has this id.
        BadEntryError : a value that cannot stand in the logbook.
        """
        changes: dict[str, str | float | None] = {}
        if not isinstance(name, Keep):
            changes["name"] = entries.name_of(name, "strand's name")
        if not isinstance(target, Keep):
            changes["target"] = entries.target_of(target)
        if not isinstance(started, Keep):
            changes["started"] = None if started is None else entries.stored_time(started)
        if not isinstance(limit_minutes, Keep):
            changes["limit_minutes"] = entries.minutes_of(limit_minutes)
        with self._change() as connection:
            self.strand(strand_id)
            if changes:
                columns = ", ".join(f"{column} = ?" for column in changes)
                connection.execute(
                    f"UPDATE strands SET {columns} WHERE id = ?", (*changes.values(), strand_id)
                )
            return self.strand(strand_id)

    def gummy_seen(self, strand_id: int) -> bool:
        """Tell whether any stretch test of a strand was answered with gummy: then the answer is to stop.

        Raises
        ------
        UnknownEntryError : no strand has this id.
        """
        self.strand(strand_id)
        sql = "SELECT 1 FROM checks WHERE strand_id = ? AND stretch = 'gummy' LIMIT 1"
        return bool(self._rows(sql, (strand_id,)))

    # --- checks -----------------------------------------------------------------------------------------

    def checks(self, strand_id: int) -> tuple[CheckRecord, ...]:
        """Return the checks of a strand, the earliest first.

        Raises
        ------
        UnknownEntryError : no strand has this id.
        """
        self.strand(strand_id)
        sql = f"SELECT {_CHECK} FROM checks WHERE strand_id = ? ORDER BY at, id"
        return tuple(map(_check, self._rows(sql, (strand_id,))))

    def check(self, check_id: int) -> CheckRecord:
        """Return a check.

        Raises
        ------
        UnknownEntryError : no check has this id.
        """
        return _check(self._row("check", _CHECK, check_id))

    def photo(self, check_id: int) -> bytes | None:
        """Return the photo of a check as it was sent; None where it was not kept.

        Raises
        ------
        UnknownEntryError : no check has this id.
        """
        self._row("check", "id", check_id)
        rows = self._rows("SELECT content FROM photos WHERE check_id = ?", (check_id,))
        return bytes(rows[0][0]) if rows else None

    def add_check(
        self,
        strand_id: int,
        at: datetime,
        wet: bool,
        reading: Mapping[str, Any],
        outlook: Mapping[str, Any] | None = None,
        thumbnail: bytes | None = None,
        photo: bytes | None = None,
        note: str = "",
        stretch: Stretch | None = None,
    ) -> CheckRecord:
        """Enter a check.

        Parameters
        ----------
        strand_id : the strand that was looked at.
        at : when; aware.
        wet : whether the strand was wet.
        reading : a ``strandgauge.reading/1`` document.
        outlook : a ``strandgauge.outlook/1`` document.
        thumbnail : a small JPEG of the strand.
        photo : the photo itself, only where whoever took it said to keep it.
        note, stretch : the stylist's own words and the answer of the stretch test.

        Raises
        ------
        UnknownEntryError : no strand has this id.
        BadEntryError : a value that cannot stand in the logbook.
        """
        values = (
            strand_id,
            entries.stored_time(at),
            int(wet),
            entries.stored_reading(reading),
            entries.stored_outlook(outlook),
            thumbnail,
            entries.stretch_of(stretch),
            entries.note_of(note),
        )
        with self._change() as connection:
            self.strand(strand_id)
            row = connection.execute(
                "INSERT INTO checks (strand_id, at, wet, reading, outlook, thumbnail, stretch, note) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                values,
            )
            check_id = _id(row)
            if photo is not None:
                connection.execute("INSERT INTO photos (check_id, content) VALUES (?, ?)", (check_id, photo))
            return self.check(check_id)

    def set_stretch(self, check_id: int, answer: Stretch | None) -> CheckRecord:
        """Enter the answer of a stretch test; None takes it away.

        Raises
        ------
        UnknownEntryError : no check has this id.
        BadEntryError : none of the three answers.
        """
        return self._set_on_check(check_id, "stretch", entries.stretch_of(answer))

    def set_note(self, check_id: int, note: str) -> CheckRecord:
        """Replace the note of a check.

        Raises
        ------
        UnknownEntryError : no check has this id.
        BadEntryError : longer than 4000 characters, or with control characters.
        """
        return self._set_on_check(check_id, "note", entries.note_of(note))

    # --- deleting ---------------------------------------------------------------------------------------

    def delete_client(self, client_id: int) -> Deletion:
        """Delete a client with all visits, strands, checks and pictures, for good.

        The bytes are overwritten and the tables written anew. Where another program is reading the logbook just
        then, that has to wait: see :attr:`Deletion.erased`.

        Raises
        ------
        UnknownEntryError : no client has this id.
        """
        return self._delete("client", client_id, "clients.id")

    def delete_visit(self, visit_id: int) -> Deletion:
        """Delete a visit with all its strands and checks, for good, as :meth:`delete_client` does.

        Raises
        ------
        UnknownEntryError : no visit has this id.
        """
        return self._delete("visit", visit_id, "visits.id")

    def delete_strand(self, strand_id: int) -> Deletion:
        """Delete a strand with all its checks, for good, as :meth:`delete_client` does.

        Raises
        ------
        UnknownEntryError : no strand has this id.
        """
        return self._delete("strand", strand_id, "strands.id")

    def delete_check(self, check_id: int) -> Deletion:
        """Delete a check with its pictures, for good, as :meth:`delete_client` does.

        Raises
        ------
        UnknownEntryError : no check has this id.
        """
        return self._delete("check", check_id, "checks.id")

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
        with self._lock, told(self.path):
            ((newest,),) = self._rows("SELECT max(id) FROM erasures")
            if newest is None:
                return True
            connection = self._connection
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

    # --- care -------------------------------------------------------------------------------------------

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
            raise BadEntryError(
                "There is a file of that name already.", where=str(target), remedy="Name a new file."
            )
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

    # --- inside -----------------------------------------------------------------------------------------

    def _rows(self, sql: str, values: Sequence[object] = ()) -> list[Row]:
        # All rows at once: a statement left half read would hold on to an old state of the file.
        with self._lock, told(self.path):
            return self._connection.execute(sql, values).fetchall()

    def _row(self, kind: str, columns: str, entry_id: int) -> Row:
        # An id beyond SQLite's integers is that of no entry.
        rows = (
            self._rows(f"SELECT {columns} FROM {kind}s WHERE id = ?", (entry_id,))
            if 0 < entry_id < 2**63
            else []
        )
        if not rows:
            raise UnknownEntryError(f"The logbook has no {kind} number {entry_id}.")
        return rows[0]

    @contextlib.contextmanager
    def _change(self) -> Iterator[sqlite3.Connection]:
        """Make whatever is done within the block one transaction."""
        with self._lock, told(self.path):
            connection = self._connection
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                # After a full disk SQLite may have rolled back by itself already.
                with contextlib.suppress(sqlite3.Error):
                    connection.execute("ROLLBACK")
                raise

    def _refuse_taken(self, alias: str, but: int | None = None) -> None:
        other = self.find_client(alias)
        if other is not None and other.id != but:
            raise BadEntryError(
                f"There is a client called '{other.alias}' already.", remedy="Choose another alias."
            )

    def _set_on_check(self, check_id: int, column: str, value: str | None) -> CheckRecord:
        with self._change() as connection:
            self._row("check", "id", check_id)
            connection.execute(f"UPDATE checks SET {column} = ? WHERE id = ?", (value, check_id))
            return self.check(check_id)

    def _delete(self, kind: str, entry_id: int, column: str) -> Deletion:
        with self._change() as connection:
            self._row(kind, "id", entry_id)
            ((visits, strands, checks, photos),) = connection.execute(
                f"""
                SELECT count(DISTINCT visits.id), count(DISTINCT strands.id), count(DISTINCT checks.id),
                    count(photos.check_id)
                FROM clients
                LEFT JOIN visits ON visits.client_id = clients.id
                LEFT JOIN strands ON strands.visit_id = visits.id
                LEFT JOIN checks ON checks.strand_id = strands.id
                LEFT JOIN photos ON photos.check_id = checks.id
                WHERE {column} = ?
                """,
                (entry_id,),
            ).fetchall()
            connection.execute(f"DELETE FROM {kind}s WHERE id = ?", (entry_id,))
            connection.execute("INSERT INTO erasures DEFAULT VALUES")
        above = {"client": 0, "visit": 0, "strand": 1, "check": 2}[kind]
        return Deletion(
            visits=visits if above == 0 else 0,
            strands=strands if above <= 1 else 0,
            checks=checks,
            photos=photos,
            erased=self.erase(),
        )


def _client(row: Row) -> Client:
    client_id, alias, created = row
    return Client(client_id, alias, entries.time_from(created))


def _visit(row: Row) -> Visit:
    visit_id, client_id, started, note = row
    return Visit(visit_id, client_id, entries.time_from(started), note)


def _strand(row: Row) -> Strand:
    strand_id, visit_id, name, target, started, limit = row
    return Strand(strand_id, visit_id, name, target, _time_or_none(started), limit)


def _check(row: Row) -> CheckRecord:
    check_id, strand_id, at, wet, reading, outlook, thumbnail, has_photo, stretch, note = row
    return CheckRecord(
        check_id,
        strand_id,
        entries.time_from(at),
        bool(wet),
        json.loads(reading),
        None if outlook is None else json.loads(outlook),
        thumbnail,
        bool(has_photo),
        cast("Stretch | None", stretch),
        note,
    )


def _time_or_none(stored: str | None) -> datetime | None:
    return None if stored is None else entries.time_from(stored)


def _id(cursor: sqlite3.Cursor) -> int:
    assert cursor.lastrowid is not None  # an INSERT always sets it
    return cursor.lastrowid


def _now() -> datetime:
    return datetime.now(UTC)
