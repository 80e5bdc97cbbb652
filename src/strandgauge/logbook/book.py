"""The logbook itself: clients, their visits, the strands followed in them, and the checks of each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypedDict, Unpack, cast

from strandgauge.errors import BadEntryError
from strandgauge.hair.stretch import STRETCH_ANSWERS, Stretch
from strandgauge.logbook import entries
from strandgauge.logbook.bin import Bin
from strandgauge.logbook.connect import WAIT_SECONDS, connect, default_path, read_along
from strandgauge.logbook.core import Row
from strandgauge.logbook.records import (
    Client,
    ClientSummary,
    Event,
    LookRecord,
    Strand,
    StrandSummary,
    Visit,
)


class StrandChanges(TypedDict, total=False):
    """What can be changed of a strand."""

    name: str
    target: str | None
    started: datetime | None
    limit_minutes: float | None
    rinsed: datetime | None


_CLIENT = "clients.id, clients.alias, clients.created, clients.history"
_VISIT = "visits.id, visits.client_id, visits.started, visits.note"
_STRAND = (
    "strands.id, strands.visit_id, strands.name, strands.target, strands.started, strands.limit_minutes, "
    "strands.rinsed"
)
_GLANCE = (
    "checks.id, checks.strand_id, checks.at, checks.wet, {}, {}, {}, {}, checks.stretch, checks.note, {}, {}"
)
_CHECK = _GLANCE.format(
    "checks.reading",
    "checks.outlook",
    "checks.thumbnail",
    "EXISTS (SELECT 1 FROM photos WHERE photos.check_id = checks.id)",
    "checks.result",
    "checks.answer",
)
_LIVING = """
    living_clients AS clients
    {join} living_visits AS visits ON visits.client_id = clients.id
    {join} living_strands AS strands ON strands.visit_id = visits.id
    LEFT JOIN living_checks AS checks ON checks.strand_id = strands.id
"""


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
    connection = connect(path, wait)
    logbook = Logbook(path, connection, read_along(path, wait), wait)
    try:
        logbook.erase(wait=0.0)  # what a killed or disturbed deletion left behind
    except BaseException:
        logbook.close()
        raise
    return logbook


class Logbook(Bin):
    """An open logbook; :func:`open_logbook` gives one.

    A method raises UnknownEntryError where no entry has the id that it is given, and BadEntryError where a value
    cannot stand in the logbook (:mod:`strandgauge.logbook.entries` says which can). Any may raise
    LogbookNotWrittenError (another program kept the file too long, the disk is full or may not be written) or
    UnusableLogbookError (the file is damaged).
    """

    # --- clients ----------------------------------------------------------------------------------------

    def clients(self) -> tuple[Client, ...]:
        """Return all clients, in the order of their aliases."""
        sql = f"SELECT {_CLIENT} FROM living_clients AS clients ORDER BY alias_key"
        return tuple(map(_client, self._rows(sql)))

    def client_summaries(self, search: str = "") -> tuple[ClientSummary, ...]:
        """Return the clients with how much there is of each, whoever came last first.

        Parameters
        ----------
        search : part of an alias, in any case; all clients when empty.
        """
        rows = self._rows(
            f"""
            SELECT {_CLIENT}, count(DISTINCT visits.id), count(checks.id), max(visits.started)
            FROM {_LIVING.format(join="LEFT JOIN")}
            WHERE instr(clients.alias_key, ?)
            GROUP BY clients.id
            ORDER BY coalesce(max(visits.started), clients.created) DESC, clients.alias_key
            """,
            (entries.lookup_key(search),),
        )
        return tuple(ClientSummary(_client(row[:4]), row[4], row[5], _time_or_none(row[6])) for row in rows)

    def client(self, client_id: int) -> Client:
        """Return a client."""
        return _client(self._row("client", _CLIENT, client_id))

    def find_client(self, alias: str) -> Client | None:
        """Return the client of an alias, however it is spelled in upper and lower case; None where there is none."""
        sql = f"SELECT {_CLIENT} FROM living_clients AS clients WHERE alias_key = ?"
        rows = self._rows(sql, (entries.lookup_key(alias),))
        return _client(rows[0]) if rows else None

    def add_client(self, alias: str) -> Client:
        """Enter a client; refused where the alias is taken."""
        alias = entries.name_of(alias, "alias")
        created = entries.stored_time(_now())
        with self._change():
            self._refuse_taken(alias)
            return self.client(
                self._insert("clients", alias=alias, alias_key=entries.key_of(alias), created=created)
            )

    def rename_client(self, client_id: int, alias: str) -> Client:
        """Give a client another alias; refused where it is taken."""
        alias = entries.name_of(alias, "alias")
        with self._change() as connection:
            self.client(client_id)
            self._refuse_taken(alias, but=client_id)
            connection.execute(
                "UPDATE clients SET alias = ?, alias_key = ? WHERE id = ?",
                (alias, entries.key_of(alias), client_id),
            )
            return self.client(client_id)

    def set_history(self, client_id: int, history: Mapping[str, Any] | None) -> Client:
        """Keep what the consultation asked about a client's hair; None takes it away."""
        stored = entries.stored_document(history, "history")
        with self._change() as connection:
            self.client(client_id)
            connection.execute("UPDATE clients SET history = ? WHERE id = ?", (stored, client_id))
            return self.client(client_id)

    # --- visits -----------------------------------------------------------------------------------------

    def visits(self, client_id: int) -> tuple[Visit, ...]:
        """Return a client's visits, the latest first."""
        self.client(client_id)
        sql = (
            f"SELECT {_VISIT} FROM living_visits AS visits WHERE client_id = ? ORDER BY started DESC, id DESC"
        )
        return tuple(map(_visit, self._rows(sql, (client_id,))))

    def visit(self, visit_id: int) -> Visit:
        """Return a visit."""
        return _visit(self._row("visit", _VISIT, visit_id))

    def add_visit(self, client_id: int, note: str = "", started: datetime | None = None) -> Visit:
        """Enter a visit; it starts now, unless another time is given."""
        values = {"started": entries.stored_time(started or _now()), "note": entries.note_of(note)}
        with self._change():
            self.client(client_id)
            return self.visit(self._insert("visits", client_id=client_id, **values))

    # --- strands ----------------------------------------------------------------------------------------

    def strands(self, visit_id: int) -> tuple[Strand, ...]:
        """Return the strands of a visit, in the order they were entered."""
        self.visit(visit_id)
        sql = f"SELECT {_STRAND} FROM living_strands AS strands WHERE visit_id = ? ORDER BY id"
        return tuple(map(_strand, self._rows(sql, (visit_id,))))

    def recent_strands(self, most: int = 20) -> tuple[StrandSummary, ...]:
        """Return the strands that were last looked at, entered or started, the latest first.

        Parameters
        ----------
        most : how many to return.
        """
        last = _GLANCE.format(
            "CASE WHEN json_valid(checks.reading) THEN '{}' ELSE '' END",
            "NULL",
            "NULL",
            "0",
            "checks.result",
            "checks.answer",
        )
        rows = self._rows(
            f"""
            WITH recent AS (
                SELECT strands.id AS strand_id, count(checks.id) AS looks,
                    coalesce(max(checks.stretch = 'gummy'), 0) AS gummy,
                    coalesce(max(checks.stretch = 'slow'), 0) AS slow,
                    coalesce(max(checks.at), strands.started, visits.started) AS touched
                FROM {_LIVING.format(join="JOIN")}
                GROUP BY strands.id
                ORDER BY touched DESC, strands.id DESC
                LIMIT ?
            )
            SELECT {_CLIENT}, {_VISIT}, {_STRAND}, looks, gummy, slow, {last}
            FROM recent
            JOIN strands ON strands.id = recent.strand_id
            JOIN visits ON visits.id = strands.visit_id
            JOIN clients ON clients.id = visits.client_id
            LEFT JOIN checks ON checks.id = (
                SELECT id FROM living_checks WHERE strand_id = recent.strand_id ORDER BY at DESC, id DESC LIMIT 1
            )
            ORDER BY touched DESC, strands.id DESC
            """,
            (most,),
        )
        return tuple(
            StrandSummary(
                _client(row[:4]),
                _visit(row[4:8]),
                _strand(row[8:15]),
                row[15],
                bool(row[16]),
                None if row[18] is None else _check(row[18:]),
                bool(row[17]),
            )
            for row in rows
        )

    def recent_targets(self, most: int = 6) -> tuple[str, ...]:
        """Return the shades that were wished for last, the latest first, each once."""
        rows = self._rows(
            "SELECT target FROM living_strands WHERE target IS NOT NULL "
            "GROUP BY target ORDER BY max(id) DESC LIMIT ?",
            (most,),
        )
        return tuple(row[0] for row in rows)

    def recent_limit(self) -> float | None:
        """Return the time limit that was entered last, minutes; None where none ever was."""
        rows = self._rows(
            "SELECT limit_minutes FROM living_strands WHERE limit_minutes IS NOT NULL ORDER BY id DESC LIMIT 1"
        )
        return rows[0][0] if rows else None

    def strand(self, strand_id: int) -> Strand:
        """Return a strand."""
        return _strand(self._row("strand", _STRAND, strand_id))

    def add_strand(
        self,
        visit_id: int,
        name: str,
        target: str | None = None,
        started: datetime | None = None,
        limit_minutes: float | None = None,
        request: str | None = None,
    ) -> Strand:
        """Enter a strand.

        Parameters
        ----------
        visit_id : the visit it belongs to.
        name : such as 'left crown'; need not be unique.
        target : the wanted shade.
        started : when the lightener went on.
        limit_minutes : the maker's time limit.
        request : the number of the form it was sent with; one that was entered already gives what it was then.
        """
        known_of = {"name": name, "target": target, "started": started, "limit_minutes": limit_minutes}
        values = {column: _STORED[column](value) for column, value in known_of.items()}
        values["request"] = entries.request_of(request)
        with self._change():
            if request is not None and (known := self.find_strand(request)) is not None:
                return known
            self.visit(visit_id)
            return self.strand(self._insert("strands", visit_id=visit_id, **values))

    def find_strand(self, request: str) -> Strand | None:
        """Return the strand that was entered with a form's number; None where none was."""
        rows = self._rows(f"SELECT {_STRAND} FROM living_strands AS strands WHERE request = ?", (request,))
        return _strand(rows[0]) if rows else None

    def update_strand(self, strand_id: int, **changes: Unpack[StrandChanges]) -> Strand:
        """Change what is known of a strand; what is left out stays as it is, None takes it away.

        What is changed of the lightener's times leaves its trace in :meth:`events`.
        """
        stored = {column: _STORED[column](value) for column, value in changes.items()}
        with self._change() as connection:
            before = self.strand(strand_id)
            if stored:
                columns = ", ".join(f"{column} = ?" for column in stored)
                connection.execute(
                    f"UPDATE strands SET {columns} WHERE id = ?", (*stored.values(), strand_id)
                )
            after = self.strand(strand_id)
            for what, old, new in (
                ("lightener on", before.started, after.started),
                ("lightener off", before.rinsed, after.rinsed),
                ("time limit", before.limit_minutes, after.limit_minutes),
            ):
                if old != new:
                    self._note_event(strand_id, f"{what}: {_said(old)} → {_said(new)}")
            return after

    def events(self, strand_id: int) -> tuple[Event, ...]:
        """Return what was done to a strand, the earliest first."""
        rows = self._rows("SELECT at, what FROM events WHERE strand_id = ? ORDER BY id", (strand_id,))
        return tuple(Event(entries.time_from(at), what) for at, what in rows)

    # --- checks -----------------------------------------------------------------------------------------

    def looks(self, strand_id: int) -> tuple[LookRecord, ...]:
        """Return the checks of a strand, the earliest first."""
        self.strand(strand_id)
        sql = f"SELECT {_CHECK} FROM living_checks AS checks WHERE strand_id = ? ORDER BY at, id"
        return tuple(map(_check, self._rows(sql, (strand_id,))))

    def look(self, look_id: int) -> LookRecord:
        """Return a check."""
        return _check(self._row("check", _CHECK, look_id))

    def find_look(self, request: str) -> LookRecord | None:
        """Return the check that was entered with a photo's number; None where none was."""
        rows = self._rows(f"SELECT {_CHECK} FROM living_checks AS checks WHERE request = ?", (request,))
        return _check(rows[0]) if rows else None

    def photo(self, look_id: int) -> bytes | None:
        """Return the photo of a check as it was sent; None where it was not kept."""
        self._row("check", "id", look_id)
        rows = self._rows("SELECT content FROM photos WHERE check_id = ?", (look_id,))
        return bytes(rows[0][0]) if rows else None

    def add_look(
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
        result: bool = False,
        request: str | None = None,
    ) -> LookRecord:
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
        result : whether it shows the finished shade.
        request : the photo's number; one that was entered already gives what it was then.
        """
        values = {
            "at": entries.stored_time(at),
            "wet": int(wet),
            "reading": entries.stored_reading(reading),
            "outlook": entries.stored_outlook(outlook),
            "thumbnail": thumbnail,
            "stretch": entries.stretch_of(stretch),
            "note": entries.note_of(note),
            "result": int(result),
            "request": entries.request_of(request),
        }
        with self._change():
            if request is not None and (known := self.find_look(request)) is not None:
                return known
            self.strand(strand_id)
            look_id = self._insert("checks", strand_id=strand_id, **values)
            if photo is not None:
                self._insert("photos", check_id=look_id, content=photo)
            return self.look(look_id)

    def set_answer(self, look_id: int, answer: Mapping[str, Any]) -> None:
        """Keep what was answered to a check when it was taken; what was kept once stays."""
        stored = entries.stored_document(answer, "answer")
        with self._change() as connection:
            connection.execute(
                "UPDATE checks SET answer = ? WHERE id = ? AND answer IS NULL", (stored, look_id)
            )

    def set_stretch(self, look_id: int, answer: Stretch | None, *, on_purpose: bool = False) -> LookRecord:
        """Enter the answer of a stretch test; None takes it away. Each answer leaves its trace in :meth:`events`.

        Parameters
        ----------
        on_purpose : whether an answer of gummy may be changed: it is refused otherwise, as the answer that is no
            slip of the finger until somebody says so.
        """
        value = entries.stretch_of(answer)
        with self._change() as connection:
            check = self.look(look_id)
            if check.stretch == "gummy" and answer != "gummy" and not on_purpose:
                raise BadEntryError(fault="gummy-stays")
            if check.stretch != answer:
                what = f"stretch: {answer or 'taken back'}"
                self._note_event(
                    check.strand_id, f"gummy taken back; {what}" if check.stretch == "gummy" else what
                )
            connection.execute("UPDATE checks SET stretch = ? WHERE id = ?", (value, look_id))
            return self.look(look_id)

    def set_note(self, look_id: int, note: str) -> LookRecord:
        """Replace the note of a check."""
        stored = entries.note_of(note)
        with self._change() as connection:
            self._row("check", "id", look_id)
            connection.execute("UPDATE checks SET note = ? WHERE id = ?", (stored, look_id))
            return self.look(look_id)

    # --- inside -----------------------------------------------------------------------------------------

    def _refuse_taken(self, alias: str, but: int | None = None) -> None:
        other = self.find_client(alias)
        if other is not None and other.id != but:
            raise BadEntryError(fault="alias-taken", alias=other.alias)

    def _note_event(self, strand_id: int, what: str) -> None:
        self._insert("events", strand_id=strand_id, at=entries.stored_time(_now()), what=what)


def _stored_or_none(time: datetime | None) -> str | None:
    return None if time is None else entries.stored_time(time)


_STORED: Mapping[str, Callable[[Any], str | float | None]] = {
    "name": lambda name: entries.name_of(name, "strand-name"),
    "target": entries.target_of,
    "started": _stored_or_none,
    "limit_minutes": entries.minutes_of,
    "rinsed": _stored_or_none,
}


def _client(row: Row) -> Client:
    client_id, alias, created, history = row
    try:
        known = entries.document_from(history, "history")
    except ValueError:
        known = None  # it is asked again
    return Client(client_id, alias, entries.time_from(created), known)


def _visit(row: Row) -> Visit:
    visit_id, client_id, started, note = row
    return Visit(visit_id, client_id, entries.time_from(started), note)


def _strand(row: Row) -> Strand:
    strand_id, visit_id, name, target, started, limit, rinsed = row
    try:
        limit = entries.minutes_of(limit)
    except (BadEntryError, TypeError):
        limit = None  # damaged: it is asked again
    return Strand(strand_id, visit_id, name, target, _time_or_none(started), limit, _time_or_none(rinsed))


def _check(row: Row) -> LookRecord:
    look_id, strand_id, at, wet, reading, outlook, thumbnail, has_photo, stretch, note, result, answer = row
    damage = None
    when = entries.time_from(at)
    documents: list[dict[str, Any] | None] = []
    for text, what in ((reading, "reading"), (outlook, "outlook"), (answer, "answer")):
        try:
            documents.append(entries.document_from(text, what))
        except ValueError as error:
            documents.append(None)
            damage = str(error)
    if when == entries.LOST:
        damage = "the time is none"
    if stretch is not None and stretch not in STRETCH_ANSWERS:
        damage = "the answer of the stretch test is none"
    return LookRecord(
        look_id,
        strand_id,
        when,
        bool(wet),
        documents[0] or {},
        documents[1],
        thumbnail,
        bool(has_photo),
        cast("Stretch | None", stretch),
        note,
        bool(result),
        documents[2],
        damage,
    )


def _said(value: datetime | float | None) -> str:
    """Write a value of a strand as an event tells it: times in UTC, minutes as they are."""
    if value is None:
        return "none"
    return f"{value:%Y-%m-%d %H:%M}Z" if isinstance(value, datetime) else f"{value:g} min"


def _time_or_none(stored: str | None) -> datetime | None:
    return None if stored is None else entries.time_from(stored)


def _now() -> datetime:
    return datetime.now(UTC)
