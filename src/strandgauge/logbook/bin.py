"""Taking entries out of the logbook: into the bin, from which they can be put back, or for good."""

from __future__ import annotations

import itertools
import json
from datetime import UTC, datetime, timedelta
from typing import Literal

from strandgauge.errors import BadEntryError, UnknownEntryError
from strandgauge.logbook import entries
from strandgauge.logbook.core import PARENT, WITH_ALL_BELOW, Core
from strandgauge.logbook.records import Binned, Deletion, Kind

UNDO_FOR = timedelta(hours=1)
"""How long what was taken out can be put back; then it goes for good."""

KINDS: tuple[Kind, ...] = ("client", "visit", "strand", "check")


class Bin(Core):
    """The part of the logbook that takes entries out of it."""

    def bin(self) -> tuple[Binned, ...]:
        """Return what can be put back, the last first."""
        rows = self._rows("SELECT id, at, kind, entry_id, why FROM bin ORDER BY id DESC")
        return tuple(
            Binned(row[0], entries.time_from(row[1]), row[2], row[3], row[4], self._name_of(row[2], row[3]))
            for row in rows
        )

    def put_in_bin(self, kind: Kind, entry_id: int, why: Literal["deleted", "damaged"] = "deleted") -> int:
        """Take an entry out with all that belongs to it; return the number by which it can be put back."""
        with self._change():
            return self._bin(kind, entry_id, why, [])

    def merge(self, kind: Literal["client", "visit", "strand"], entry_id: int, into: int) -> int:
        """Give everything of one entry to another, and put it into the bin; return its number there.

        Raises
        ------
        BadEntryError : both are the same.
        """
        if entry_id == into:
            raise BadEntryError(fault="same", kind=kind)
        child = KINDS[KINDS.index(kind) + 1]
        column = f"{kind}_id"
        with self._change() as connection:
            self._row(kind, "id", into)
            found = connection.execute(f"SELECT id FROM living_{child}s WHERE {column} = ?", (entry_id,))
            moved = [row[0] for row in found.fetchall()]
            number = self._bin(kind, entry_id, "merged", moved)
            connection.execute(
                f"UPDATE {child}s SET {column} = ? WHERE {column} = ? AND bin IS NULL", (into, entry_id)
            )
            return number

    def put_back(self, number: int) -> tuple[Kind, int]:
        """Put back what lies in the bin; return what it is and its id.

        Raises
        ------
        UnknownEntryError : it is gone for good.
        BadEntryError : what it belongs to lies in the bin itself, or its alias was given to another client.
        """
        with self._change() as connection:
            rows = self._rows("SELECT kind, entry_id, moved FROM bin WHERE id = ?", (number,))
            if not rows:
                raise UnknownEntryError(fault="gone")
            kind: Kind = rows[0][0]
            entry_id, moved = rows[0][1], json.loads(rows[0][2])
            if (parent := PARENT[kind]) is not None:
                (owner,) = self._row(kind, parent[1], entry_id, gone=True)
                try:
                    self._row(parent[0], "id", owner)
                except UnknownEntryError as error:
                    raise BadEntryError(fault="owner-gone", owner=parent[0]) from error
            else:
                (alias,) = self._row(kind, "alias", entry_id, gone=True)
                key = entries.key_of(alias)
                if self._rows("SELECT 1 FROM clients WHERE alias_key = ?", (key,)):
                    raise BadEntryError(fault="alias-given", alias=alias)
                connection.execute("UPDATE clients SET alias_key = ? WHERE id = ?", (key, entry_id))
            for each in KINDS:
                connection.execute(f"UPDATE {each}s SET bin = NULL WHERE bin = ?", (number,))
            if moved:
                child = KINDS[KINDS.index(kind) + 1]
                marks = ", ".join("?" * len(moved))
                connection.execute(
                    f"UPDATE {child}s SET {kind}_id = ? WHERE id IN ({marks})", (entry_id, *moved)
                )
            connection.execute("DELETE FROM bin WHERE id = ?", (number,))
            return kind, entry_id

    def empty_bin(self, number: int | None = None) -> bool:
        """Delete for good what was taken out: one thing, or all that is past being put back.

        What was set aside because it is damaged stays until it is named.

        Returns
        -------
        True where no byte of it is left in the files; see :attr:`Deletion.erased`.
        """
        if number is None:
            until = entries.stored_time(datetime.now(UTC) - UNDO_FOR)
            old = self._rows("SELECT id, kind, entry_id FROM bin WHERE why <> 'damaged' AND at < ?", (until,))
        else:
            old = self._rows("SELECT id, kind, entry_id FROM bin WHERE id = ?", (number,))
        if not old:
            return True
        with self._change() as connection:
            for _, kind, entry_id in old:
                connection.execute(f"DELETE FROM {kind}s WHERE id = ?", (entry_id,))
            self._drop_empty()
            connection.execute("INSERT INTO erasures DEFAULT VALUES")
        return self.erase()

    def delete(self, kind: Kind, entry_id: int) -> Deletion:
        """Delete an entry with all that belongs to it and all pictures, for good.

        The bytes are overwritten and the tables written anew. Where another program is reading the logbook just
        then, that has to wait: see :attr:`Deletion.erased`.
        """
        with self._change() as connection:
            self._row(kind, "id", entry_id)
            ((visits, strands, checks, photos),) = connection.execute(
                f"""
                SELECT count(DISTINCT visits.id), count(DISTINCT strands.id), count(DISTINCT checks.id),
                    count(photos.check_id)
                FROM {WITH_ALL_BELOW} LEFT JOIN photos ON photos.check_id = checks.id
                WHERE {kind}s.id = ?
                """,
                (entry_id,),
            ).fetchall()
            connection.execute(f"DELETE FROM {kind}s WHERE id = ?", (entry_id,))
            self._drop_empty()
            connection.execute("INSERT INTO erasures DEFAULT VALUES")
        above = KINDS.index(kind)
        return Deletion(
            visits=visits if above <= 1 else 0,
            strands=strands if above <= 2 else 0,
            checks=checks,
            photos=photos,
            erased=self.erase(),
        )

    def _bin(self, kind: Kind, entry_id: int, why: str, moved: list[int]) -> int:
        self._row(kind, "id", entry_id)
        connection = self._connection
        at = entries.stored_time(datetime.now(UTC))
        number = self._insert("bin", at=at, kind=kind, entry_id=entry_id, why=why, moved=json.dumps(moved))
        connection.execute(f"UPDATE {kind}s SET bin = ? WHERE id = ?", (number, entry_id))
        if kind == "client":  # its alias is free again
            connection.execute("UPDATE clients SET alias_key = ? WHERE id = ?", (f"\x00{number}", entry_id))
        if why != "merged":
            for above, below in itertools.pairwise(KINDS):
                connection.execute(
                    f"UPDATE {below}s SET bin = ? WHERE bin IS NULL "
                    f"AND {above}_id IN (SELECT id FROM {above}s WHERE bin = ?)",
                    (number, number),
                )
        for each in ("strand", "check"):  # what is sent again is entered anew
            connection.execute(f"UPDATE {each}s SET request = NULL WHERE bin = ?", (number,))
        return number

    def _drop_empty(self) -> None:
        """Forget what lay in the bin and was deleted with what it belonged to."""
        for kind in KINDS:
            self._connection.execute(
                f"DELETE FROM bin WHERE kind = '{kind}' AND entry_id NOT IN (SELECT id FROM {kind}s)"
            )

    def _name_of(self, kind: Kind, entry_id: int) -> str:
        """Return what an entry is called, also where it lies in the bin."""
        name = {
            "client": "clients.alias",
            "visit": "clients.alias || ', ' || substr(visits.started, 1, 10)",
        }.get(kind, "clients.alias || ', ' || strands.name")
        sql = f"SELECT {name} FROM {WITH_ALL_BELOW} WHERE {kind}s.id = ? LIMIT 1"
        rows = self._rows(sql, (entry_id,))
        return str(rows[0][0]) if rows else ""
