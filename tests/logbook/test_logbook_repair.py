"""What was entered wrongly is mended, what was taken out is put back, and damage costs what is damaged."""

from __future__ import annotations

import sqlite3
import threading
import time
from datetime import timedelta

import pytest
from logbookdata import NOON

from refused import refused
from strandgauge.errors import BadEntryError, UnknownEntryError, UnusableLogbookError
from strandgauge.logbook import bin as bins
from strandgauge.logbook.book import open_logbook


@pytest.fixture
def check(logbook, strand, document):
    return logbook.add_look(strand.id, NOON + timedelta(minutes=10), False, document, photo=b"photo")


def _all(logbook):
    """Return everything that can be seen of a logbook."""
    return [
        (
            client,
            [
                (visit, [(one, logbook.looks(one.id)) for one in logbook.strands(visit.id)])
                for visit in logbook.visits(client.id)
            ],
        )
        for client in logbook.clients()
    ]


@pytest.mark.parametrize("kind", ["client", "visit", "strand", "check"])
def test_what_was_taken_out_is_nowhere_and_comes_back_whole(logbook, strand, check, kind):
    before, visit = _all(logbook), logbook.visit(strand.visit_id)
    entry = {"client": visit.client_id, "visit": visit.id, "strand": strand.id, "check": check.id}[kind]
    number = logbook.put_in_bin(kind, entry)
    with pytest.raises(UnknownEntryError):
        getattr(logbook, "look" if kind == "check" else kind)(entry)
    with pytest.raises(UnknownEntryError):
        logbook.look(check.id)
    assert sum(one.checks for one in logbook.client_summaries()) == 0
    assert sum(one.checks for one in logbook.recent_strands()) == 0
    (binned,) = logbook.bin()
    assert (binned.id, binned.kind, binned.entry_id) == (number, kind, entry)
    assert "north window" in binned.name
    assert logbook.put_back(number) == (kind, entry)
    assert _all(logbook) == before
    assert logbook.bin() == ()
    assert logbook.photo(check.id) == b"photo"


def test_what_was_taken_out_one_by_one_comes_back_in_the_order_that_it_needs(logbook, strand, check):
    one = logbook.put_in_bin("check", check.id)
    two = logbook.put_in_bin("strand", strand.id)
    with refused(BadEntryError, "owner-gone", owner="strand"):
        logbook.put_back(one)
    logbook.put_back(two)
    assert logbook.looks(strand.id) == ()
    logbook.put_back(one)
    assert logbook.looks(strand.id) == (check,)


def test_an_alias_is_free_while_its_client_lies_in_the_bin(logbook, strand):
    number = logbook.put_in_bin("client", logbook.visit(strand.visit_id).client_id)
    other = logbook.add_client("North Window")
    with refused(BadEntryError, "alias-given", alias="north window"):
        logbook.put_back(number)
    logbook.rename_client(other.id, "south window")
    logbook.put_back(number)
    assert logbook.find_client("north window") is not None


def test_the_bin_empties_itself_after_its_time_and_leaves_no_byte(
    logbook, strand, check, all_bytes, monkeypatch
):
    logbook.put_in_bin("client", logbook.visit(strand.visit_id).client_id)
    kept = logbook.put_in_bin("client", logbook.add_client("damaged one").id, "damaged")
    assert logbook.empty_bin()
    assert len(logbook.bin()) == 2  # it is not time yet
    monkeypatch.setattr(bins, "UNDO_FOR", timedelta(0))
    time.sleep(0.002)
    assert logbook.empty_bin()
    assert [one.id for one in logbook.bin()] == [kept]
    assert b"north window" not in all_bytes()
    assert b"damaged one" in all_bytes()
    logbook.empty_bin(kept)
    assert b"damaged one" not in all_bytes()
    logbook.verify()


def test_what_belongs_to_a_client_that_is_deleted_for_good_goes_from_the_bin_too(logbook, strand):
    logbook.put_in_bin("strand", strand.id)
    logbook.delete("client", logbook.visit(strand.visit_id).client_id)
    assert logbook.bin() == ()


@pytest.mark.parametrize("kind", ["client", "visit", "strand"])
def test_two_that_are_one_become_one_and_two_again(logbook, strand, check, kind):
    visit = logbook.visit(strand.visit_id)
    other = {
        "client": lambda: logbook.add_client("twin"),
        "visit": lambda: logbook.add_visit(visit.client_id),
        "strand": lambda: logbook.add_strand(visit.id, "twin"),
    }[kind]()
    mine = {"client": visit.client_id, "visit": visit.id, "strand": strand.id}[kind]
    before = _all(logbook)
    number = logbook.merge(kind, mine, other.id)
    assert logbook.look(check.id).reading == check.reading
    with pytest.raises(UnknownEntryError):
        getattr(logbook, kind)(mine)
    assert sum(one.checks for one in logbook.client_summaries()) == 1
    logbook.put_back(number)
    assert _all(logbook) == before
    with refused(BadEntryError, "same", kind=kind):
        logbook.merge(kind, mine, mine)


def test_what_is_sent_twice_is_entered_once(logbook, strand, document):
    form, photo = "0a1b2c3d-form", "0a1b2c3d-photo"
    twice = [logbook.add_strand(strand.visit_id, "left", request=form) for _ in range(2)]
    assert twice[0] == twice[1]
    looks = [logbook.add_look(twice[0].id, NOON, False, document, request=photo) for _ in range(2)]
    assert looks[0] == looks[1]
    assert len(logbook.looks(twice[0].id)) == 1
    logbook.put_in_bin("check", looks[0].id)
    assert logbook.add_look(twice[0].id, NOON, False, document, request=photo).id != looks[0].id
    with pytest.raises(BadEntryError):
        logbook.add_strand(strand.visit_id, "left", request="'; DROP")


def test_an_answer_is_kept_once_and_stays(logbook, check):
    logbook.set_answer(check.id, {"schema": "strandgauge.answer/1", "word": "Go on"})
    logbook.set_answer(check.id, {"schema": "strandgauge.answer/1", "word": "Stop"})
    assert logbook.look(check.id).answer["word"] == "Go on"


def test_times_that_are_changed_leave_a_trace(logbook, strand):
    logbook.update_strand(strand.id, rinsed=NOON + timedelta(minutes=38))
    logbook.update_strand(strand.id, limit_minutes=50, target="copper")
    assert [event.what for event in logbook.events(strand.id)] == [
        "lightener off: none → 2024-05-14 12:38Z",
        "time limit: 45 min → 50 min",
    ]


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [
        ("reading", '{"schema":"strandg', "the reading is no JSON"),
        ("reading", "[1]", "the reading is no document"),
        ("outlook", "\x00", "the outlook is no JSON"),
        ("answer", "null?", "the answer is no JSON"),
        ("at", "2024-05-14T12:1x", "the time is none"),
        ("reading", b"\xff\xfe", "the reading is no JSON"),
    ],
)
def test_one_damaged_check_costs_itself(path, logbook, strand, check, document, column, value, said):
    good = logbook.add_look(strand.id, NOON + timedelta(minutes=20), False, document)
    other = sqlite3.connect(path)
    text = "CAST(? AS TEXT)" if isinstance(value, bytes) else "?"
    other.execute(f"UPDATE checks SET {column} = {text} WHERE id = ?", (value, check.id))
    other.commit()
    other.close()
    assert {one.id: one.damage for one in logbook.looks(strand.id)} == {check.id: said, good.id: None}
    assert logbook.recent_strands()[0].checks == 2
    logbook.put_in_bin("check", check.id, "damaged")
    assert logbook.looks(strand.id) == (good,)


def test_who_reads_does_not_wait_for_a_change_that_waits(path, strand):
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with open_logbook(path, wait=60.0) as logbook:
        said = []

        def write():
            said.append(logbook.add_client("late").alias)

        writer = threading.Thread(target=write)
        writer.start()
        time.sleep(0.1)
        assert logbook.strand(strand.id) == strand
        assert not said  # the change still waits
        other.execute("ROLLBACK")
        writer.join()
        assert said == ["late"]
    other.close()


def test_a_joined_pictograph_is_an_alias_and_hidden_letters_are_none(logbook):
    family = "Ana \N{MAN}\u200d\N{WOMAN}\u200d\N{GIRL}"
    assert logbook.find_client(logbook.add_client(family).alias).alias == family
    for hidden in ("An\u200da", "\u200dAna", "Ana\u200d"):
        with refused(BadEntryError, "unseen"):
            logbook.add_client(hidden)


def test_a_link_that_leads_nowhere_is_told_as_one(tmp_path):
    link = tmp_path / "logbook.sqlite3"
    link.symlink_to(tmp_path / "away.sqlite3")
    with refused(UnusableLogbookError, "link"):
        open_logbook(link)
    assert not (tmp_path / "away.sqlite3").exists()
