"""The log command: lists, shows, exports that read back, and deletes."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
import subprocess
from datetime import timedelta

import numpy as np
import pytest
from logbookdata import NOON

import publishedschemas
from strandgauge.cli.app import run
from strandgauge.logbook.book import open_logbook
from strandgauge.show.cells import cell_text
from strandgauge.show.export import COLUMNS
from strandgauge.words import say
from strandphoto import jpeg, strand_photo

NOTE = 'two lines,\n"quoted"; über'
FORMULA = '=HYPERLINK("http://example.invalid")'
OUTLOOK = {
    "schema": "strandgauge.outlook/1",
    "target": {"name": "rose", "lab": [60, 22, 8]},
    "verdict": "turns",
    "probability_true": 0.12,
    "zones": [
        {"name": "ends", "delta_e00": 2.0, "saying": "reads true"},
        {"name": "root", "delta_e00": 9.0, "saying": "turns coral"},
    ],
}


@pytest.fixture(autouse=True)
def _own_logbook(path, monkeypatch):
    monkeypatch.setenv("STRANDGAUGE_LOGBOOK", str(path))
    monkeypatch.setenv("COLUMNS", "120")


@pytest.fixture
def filled(path, document):
    with open_logbook(path) as logbook:
        ana = logbook.add_client("Ana [bold]")
        strand = logbook.add_strand(logbook.add_visit(ana.id).id, "left crown", "rose", NOON, 45)
        for minutes, stretch in ((10, None), (20, "gummy")):
            logbook.add_look(
                strand.id,
                NOON + timedelta(minutes=minutes),
                minutes == 20,
                document,
                OUTLOOK,
                thumbnail=b"\xff\xd8small",
                photo=b"\xff\xd8photo" if minutes == 20 else None,
                note=NOTE,
                stretch=stretch,
            )
        odd = logbook.add_client(FORMULA)
        bare = logbook.add_strand(logbook.add_visit(odd.id, "-1+1").id, "@ends")
        logbook.add_look(bare.id, NOON, False, document)
        logbook.add_client("nobody yet")
    return path


def _document(text: str) -> dict:
    return publishedschemas.valid(json.loads(text))


def test_the_list_shows_everybody_with_how_much_there_is(filled, capsys):
    assert run(["log"]) == 0
    text = capsys.readouterr().out
    assert "Ana [bold]" in text
    assert str(filled) in text.replace("\n", "")
    assert run(["log", "--json", "-"]) == 0
    clients = _document(capsys.readouterr().out)["clients"]
    assert {(one["alias"], one["visits"], one["checks"]) for one in clients} == {
        ("Ana [bold]", 1, 2),
        (FORMULA, 1, 1),
        ("nobody yet", 0, 0),
    }
    assert [one["last_visit"] is None for one in clients if one["alias"] == "nobody yet"] == [True]


def test_a_client_is_shown_with_every_check(filled, capsys):
    assert run(["log", "show", "ana [BOLD]"]) == 0
    text = capsys.readouterr().out
    for words in (
        "left crown",
        say("log.limit", minutes=45),
        "turns coral",
        "gummy",
        say("log.gummy"),
    ):
        assert words in text
    assert re.search(rf"8\.2 ± 0\.4 +{re.escape(say('column.wet'))}", text)
    assert run(["log", "show", "ana [bold]", "--json", "-"]) == 0
    (visit,) = _document(capsys.readouterr().out)["visits"]
    first, second = visit["strands"][0]["checks"]
    assert (first["minutes"], first["level"], first["verdict"], first["stretch"]) == (10, 8.2, "turns", None)
    assert (second["wet"], second["photo_kept"], second["stretch"]) == (True, True, "gummy")
    assert run(["log", "show", "nobody yet"]) == 0
    assert say("log.no-visit") in capsys.readouterr().out


def test_nobody_of_that_alias_is_told_with_the_nearest(filled, capsys):
    assert run(["log", "show", "nobody yes"]) == 74
    assert say("remedy.unknown-entry", fault="near-client", near="nobody yet") in capsys.readouterr().err


def test_a_table_reads_back_in_full_and_no_cell_is_a_formula(filled, tmp_path):
    import pandas as pd

    file = tmp_path / "checks.csv"
    assert run(["log", "export", "--csv", str(file)]) == 0
    content = file.read_bytes()
    assert content.startswith(b"\xef\xbb\xbfclient,")
    assert content.count(b"\r\n") == 4
    rows = list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))
    assert all(list(row) == [column.name for column in COLUMNS] for row in rows)
    by_alias = {row["client"]: row for row in rows}
    assert by_alias.keys() == {"Ana [bold]", f"'{FORMULA}"}
    odd = by_alias[f"'{FORMULA}"]
    assert (odd["visit_note"], odd["strand"], odd["minutes"], odd["verdict"]) == ("'-1+1", "'@ends", "", "")
    table = pd.read_csv(file, parse_dates=["time_utc"])
    gummy = table[table["stretch"] == "gummy"].iloc[0]
    assert gummy["note"] == NOTE
    assert gummy["time_utc"] == NOON.replace(tzinfo=None) + timedelta(minutes=20)
    assert (gummy["minutes"], gummy["level"], gummy["root_level"], gummy["photo_kept"]) == (
        20,
        8.2,
        7.4,
        "yes",
    )
    assert gummy["wanted"] == "rose"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "|", "＝"])
def test_text_that_a_spreadsheet_would_run_is_led_by_an_apostrophe(start):
    assert cell_text(f"{start}1+1") == f"'{start}1+1"
    assert cell_text("1+1") == "1+1"
    assert cell_text(-1.5) == "-1.5"


def test_lines_of_json_hold_everything(filled, tmp_path, document, capsys):
    file = tmp_path / "checks.jsonl"
    assert run(["log", "export", "ana [bold]", "--jsonl", str(file), "--pictures"]) == 0
    client, first, second = (_document(line) for line in file.read_text().splitlines())
    assert client["client"]["alias"] == "Ana [bold]"
    assert first["reading"] == document
    assert second["outlook"] == OUTLOOK
    assert second["check"]["note"] == NOTE
    assert base64.b64decode(second["pictures"]["photo"]) == b"\xff\xd8photo"
    assert first["pictures"]["photo"] is None
    assert run(["log", "export", "--jsonl", "-"]) == 0
    lines = [_document(line) for line in capsys.readouterr().out.splitlines()]
    assert len(lines) == 6  # three clients, one of them without a check, and three checks
    assert "nobody yet" in [line["client"]["alias"] for line in lines]
    assert not any("pictures" in line for line in lines)


def test_an_export_does_not_write_over_the_logbook(filled, capsys):
    before = filled.read_bytes()
    assert run(["log", "export", "--csv", str(filled)]) == 2
    assert run(["log", "export"]) == 2
    assert filled.read_bytes() == before
    assert run(["log", "export", "--csv", str(filled.parent / "missing" / "x.csv")]) == 60
    assert capsys.readouterr().err.count("\n") == 3


def counted(visits: int, checks: int) -> str:
    return say("log.counts", visits=say("log.visits", visits=visits), checks=say("log.checks", checks=checks))


def test_delete_asks_and_then_deletes_for_good(filled, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    assert run(["log", "delete", "ana [bold]"]) == 130
    asked = say("log.delete", client="Ana [bold]", counts=counted(1, 2))
    assert asked in capsys.readouterr().err
    with open_logbook(filled) as logbook:
        assert logbook.find_client("ana [bold]")
    assert run(["log", "delete", "ana [bold]", "--yes", "--json", "-"]) == 0
    deletion = _document(capsys.readouterr().out)
    assert (deletion["checks"], deletion["photos"], deletion["erased"]) == (2, 1, True)
    files = sorted(filled.parent.iterdir())
    assert b"left crown" not in subprocess.run(["cat", *files], capture_output=True, check=True).stdout
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert run(["log", "delete", "nobody yet"]) == 130
    monkeypatch.setattr("sys.stdin", io.StringIO("y\n"))
    assert run(["log", "delete", "nobody yet"]) == 0
    assert say("log.deleted", client="nobody yet", counts=counted(0, 0)) in capsys.readouterr().out


@pytest.fixture(scope="module")
def strand_jpeg(card, sheet) -> bytes:
    return jpeg(strand_photo(card, sheet))


def test_photos_are_read_and_entered_as_checks_of_one_visit(path, strand_jpeg, tmp_path, capsys):
    photo, blank = tmp_path / "strand.jpg", tmp_path / "blank.jpg"
    photo.write_bytes(strand_jpeg)
    blank.write_bytes(jpeg(np.ones((600, 800, 3), dtype=np.float32)))
    add = ["log", "add", "north window", str(photo), "--strand"]
    assert run([*add, "left crown", "--target", "rose", "--stretch", "gummy", "--json", "-"]) == 0
    entered = _document(capsys.readouterr().out)
    assert (entered["strand"]["target"], entered["outlook"]["target"]["name"]) == ("rose", "rose")
    photo.write_bytes(strand_jpeg + b"2")  # another photo of the same hair
    assert run([*add, "LEFT  crown", "--wet", "--keep-photo", "--note", "rinsed"]) == 0
    entered = say("log.entered", client="north window", strand="left crown", what="…").split("…")[0]
    assert capsys.readouterr().out.startswith(entered)
    photo.write_bytes(strand_jpeg + b"3")
    assert run([*add, "nape", str(blank)]) == 20
    photo.write_bytes(strand_jpeg + b"4")
    assert run([*add, "nape", "--target", "no such shade"]) == 64
    capsys.readouterr()
    with open_logbook(path) as logbook:
        (client,) = logbook.clients()
        (visit,) = logbook.visits(client.id)
        crown, nape = logbook.strands(visit.id)
        dry, wet = logbook.looks(crown.id)
        assert (dry.stretch, dry.wet, wet.wet, wet.note) == ("gummy", False, True, "rinsed")
        assert wet.outlook["target"]["name"] == "rose"  # the strand's own, not named again
        assert (logbook.photo(dry.id), logbook.photo(wet.id)) == (None, strand_jpeg + b"2")
        assert dry.thumbnail.startswith(b"\xff\xd8")
        assert len(logbook.looks(nape.id)) == 1  # the photo that could be read, of two


def test_a_copy_is_made_and_checked(filled, tmp_path, capsys):
    copy = tmp_path / "copy.sqlite3"
    assert run(["log", "backup", str(copy)]) == 0
    # The outlook of this logbook is a stub, and so counts as damaged: named, set aside, and put back.
    assert run(["log", "check", "--logbook", str(copy)]) == 1
    damaged = say("log.damaged", check=2, client="Ana [bold]", when="…", strand="", damage="").split("…")[0]
    assert damaged in capsys.readouterr().out
    assert run(["log", "check", "--set-aside", "--logbook", str(copy)]) == 1
    assert say("log.set-aside", number=1) in capsys.readouterr().out
    assert run(["log", "check", "--logbook", str(copy)]) == 0
    assert say("log.no-damage", path=copy) in capsys.readouterr().out
    assert run(["log", "bin", "--logbook", str(copy)]) == 0
    assert f"{say('kind.check')} 2: Ana [bold]" in capsys.readouterr().out
    assert run(["log", "restore", "1", "--logbook", str(copy)]) == 0
    assert run(["log", "rename", "nobody yet", "somebody", "--logbook", str(copy)]) == 0
    assert run(["log", "merge", "somebody", "ana [bold]", "--logbook", str(copy)]) == 0
    assert "somebody" in [one.name for one in open_logbook(copy).bin()]
    assert run(["log", "backup", str(copy)]) == 75
    assert run(["log", "--logbook", str(copy), "show", "ana [bold]"]) == 0  # named before the part, or behind
    assert run(["log", "check", "--logbook", str(tmp_path / "typo.sqlite3")]) == 2
    assert not (tmp_path / "typo.sqlite3").exists()
