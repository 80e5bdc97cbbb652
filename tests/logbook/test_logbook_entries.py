"""What is entered comes back as it was entered, or is refused with a reason."""

from __future__ import annotations

import stat
from datetime import UTC, datetime, timedelta, timezone
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from logbookdata import NOON

from refused import refused
from strandgauge.errors import BadEntryError, UnknownEntryError
from strandgauge.logbook import entries
from strandgauge.logbook.book import open_logbook
from strandgauge.logbook.connect import default_path


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    with open_logbook(tmp_path_factory.mktemp("shared") / "logbook.sqlite3") as opened:
        yield opened


def test_a_visit_as_it_happens(logbook, document):
    ana = logbook.add_client("  north   window ")
    assert ana.alias == "north window"
    visit = logbook.add_visit(ana.id, "allergic to nothing\r\nhurried")
    strand = logbook.add_strand(visit.id, "left crown", target="rose")
    assert strand.minutes_at(NOON) is None
    strand = logbook.update_strand(strand.id, started=NOON, limit_minutes=45)
    assert (strand.target, strand.started, strand.limit_minutes) == ("rose", NOON, 45.0)
    late = logbook.add_look(strand.id, NOON + timedelta(minutes=20), True, document, photo=b"photo")
    early = logbook.add_look(strand.id, NOON + timedelta(minutes=10), False, document, thumbnail=b"small")
    assert logbook.looks(strand.id) == (early, late)
    assert strand.minutes_at(early.at) == 10
    assert (late.has_photo, logbook.photo(late.id)) == (True, b"photo")
    assert (early.has_photo, logbook.photo(early.id), early.thumbnail) == (False, None, b"small")
    assert early.reading == document
    assert logbook.visits(ana.id)[0].note == "allergic to nothing\nhurried"
    assert logbook.set_note(early.id, "feels dry").note == "feels dry"
    (summary,) = logbook.client_summaries()
    assert (summary.visits, summary.checks, summary.last_visit) == (1, 2, visit.started)
    (recent,) = logbook.recent_strands()
    assert (recent.client, recent.checks, recent.last.at) == (ana, 2, late.at)


def test_gummy_in_any_check_marks_the_strand_until_it_is_taken_back(logbook, strand, document):
    first = logbook.add_look(strand.id, NOON, True, document, stretch="gummy")
    logbook.add_look(strand.id, NOON + timedelta(minutes=5), True, document, stretch="springs back")
    assert logbook.recent_strands()[0].gummy
    with refused(BadEntryError, "gummy-stays"):
        logbook.set_stretch(first.id, "slow")
    assert logbook.recent_strands()[0].gummy
    logbook.set_stretch(first.id, "slow", on_purpose=True)
    assert not logbook.recent_strands()[0].gummy
    assert [event.what for event in logbook.events(strand.id)] == ["gummy taken back; stretch: slow"]
    with refused(BadEntryError, "stretch"):
        logbook.set_stretch(first.id, "Gummy")


def test_an_alias_is_one_persons_however_it_is_spelled(logbook):
    logbook.add_client("Frau Groß é")
    for same in ("FRAU GROSS É", "frau  groß e\u0301"):
        assert logbook.find_client(same).id == 1
        with refused(BadEntryError, "alias-taken"):
            logbook.add_client(same)
    assert logbook.rename_client(1, "frau groß é").alias == "frau groß é"
    assert logbook.find_client("nobody") is None


@pytest.mark.parametrize("alias", ["", " \n ", "x" * 81, "a\x00b", "a\x1b[2J", "a\u202eb", "\ud800"])
def test_an_alias_that_cannot_be_read_is_refused(logbook, alias):
    with pytest.raises(BadEntryError):
        logbook.add_client(alias)
    assert logbook.clients() == ()


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("at", datetime(2024, 5, 14)),
        ("note", "x" * 4001),
        ("note", "bell \x07"),
        ("reading", {"schema": "strandgauge.reading/2", "overall": {"level": 8.0}}),
        ("reading", {"schema": "strandgauge.reading/1", "overall": {"level": float("nan")}}),
        ("outlook", {"schema": "strandgauge.reading/1"}),
        ("stretch", "gum"),
    ],
)
def test_a_check_that_cannot_be_told_later_is_refused(logbook, strand, document, field, value):
    values = {"at": NOON, "wet": False, "reading": document, field: value}
    with pytest.raises(BadEntryError):
        logbook.add_look(strand.id, **values)
    assert logbook.looks(strand.id) == ()


@pytest.mark.parametrize("limit", [0, -1, 1441, float("nan"), float("inf")])
def test_an_impossible_time_limit_is_refused(logbook, strand, limit):
    with pytest.raises(BadEntryError):
        logbook.update_strand(strand.id, limit_minutes=limit)
    assert logbook.strand(strand.id) == strand


@pytest.mark.parametrize("entry_id", [0, -1, 7, 2**63, 10**30])
def test_an_id_that_was_never_given_is_unknown(logbook, entry_id, document):
    for use in (
        logbook.client,
        logbook.visits,
        logbook.add_visit,
        logbook.strands,
        logbook.looks,
        logbook.photo,
        partial(logbook.delete, "client"),
        partial(logbook.delete, "check"),
    ):
        with pytest.raises(UnknownEntryError):
            use(entry_id)
    with pytest.raises(UnknownEntryError):
        logbook.add_look(entry_id, NOON, False, document)


def test_ids_are_never_given_again(logbook):
    gone = logbook.add_client("one")
    logbook.delete("client", gone.id)
    assert logbook.add_client("two").id > gone.id


@hypothesis_settings(max_examples=60, deadline=None)
@given(note=st.text(max_size=60), alias=st.text(max_size=20), name=st.text(min_size=1, max_size=20))
def test_texts_come_back_whatever_they_are(shared, note, alias, name):
    try:
        client = shared.add_client(alias)
    except BadEntryError:
        client = shared.find_client(alias) or shared.add_client(f"client {len(shared.clients())}")
    assert shared.client(client.id) == client
    assert shared.find_client(client.alias.swapcase().swapcase()) in (client, None)
    assert shared.find_client(f" {client.alias} ") == client
    try:
        visit = shared.add_visit(client.id, note)
        strand = shared.add_strand(visit.id, name, target=name)
    except BadEntryError:
        return
    assert shared.visit(visit.id).note == entries.note_of(note) == entries.note_of(visit.note)
    assert shared.strand(strand.id).name == entries.name_of(name, "name") == strand.target


@hypothesis_settings(max_examples=40, deadline=None)
@given(
    time=st.datetimes(
        timezones=st.timezones()
        | st.builds(
            timezone, st.timedeltas(timedelta(-1), timedelta(1)).filter(lambda d: abs(d) < timedelta(1))
        )
    ),
    later=st.timedeltas(timedelta(microseconds=1), timedelta(days=1)),
)
def test_times_come_back_and_sort_as_text(time, later):
    try:
        stored, after = entries.stored_time(time), entries.stored_time(time.astimezone(UTC) + later)
    except (BadEntryError, OverflowError):
        return
    # In UTC: a time that a clock shows twice equals none in another zone, as Python sees it.
    assert entries.time_from(stored) == time.astimezone(UTC)
    assert entries.time_from(stored).tzinfo is not None
    assert stored < after


def test_the_file_is_its_users_alone(path, logbook):
    logbook.add_client("x")
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    modes = {file.name: stat.S_IMODE(file.stat().st_mode) for file in path.parent.iterdir()}
    assert modes == {path.name: 0o600, f"{path.name}-wal": 0o600, f"{path.name}-shm": 0o600}


def test_the_environment_names_another_place(monkeypatch, tmp_path):
    monkeypatch.delenv("STRANDGAUGE_LOGBOOK", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert default_path() != Path("x.sqlite3")
    assert default_path().parent.name == "strandgauge"
    monkeypatch.setenv("STRANDGAUGE_LOGBOOK", str(tmp_path / "x.sqlite3"))
    with open_logbook() as opened:
        assert opened.path == tmp_path / "x.sqlite3"


def test_a_copy_is_whole_and_a_logbook(logbook, strand, document, tmp_path):
    logbook.add_look(strand.id, NOON, False, document, photo=b"p" * 20_000)
    copy = tmp_path / "copy.sqlite3"
    logbook.back_up(copy)
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    with refused(BadEntryError, "file-there"):
        logbook.back_up(copy)
    with open_logbook(copy) as opened:
        opened.verify()
        assert opened.looks(strand.id) == logbook.looks(strand.id)
        assert opened.photo(1) == b"p" * 20_000
    assert sorted(file.name for file in tmp_path.iterdir()) == ["book", "copy.sqlite3"]
