"""What commands take to look at: photos, saved readings and standard input; and the tables they write."""

from __future__ import annotations

import csv
import io
import json
import sys
from dataclasses import replace
from datetime import datetime

import pytest

from readings import reading
from strandgauge.errors import UnreadableFileError
from strandgauge.show.json import document_of
from strandgauge.words import say


def rows(path, delimiter=","):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, delimiter=delimiter))


def test_a_photo_on_standard_input_reads_as_its_file_does(strandgauge, photo, monkeypatch):
    from_file = json.loads(strandgauge("read", photo, "--json", "-").out)
    for command in ("read", "check"):
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(photo.read_bytes())))
        told = strandgauge(command, "-", "--json", "-")
        assert told.code == 0
        if command == "read":
            assert json.loads(told.out) == {**from_file, "photo": "photo"}


def test_an_empty_pipe_is_told_as_one(strandgauge, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO()))
    told = strandgauge("read", "-")
    assert told.code == UnreadableFileError.exit_code
    assert told.err.startswith("strandgauge: standard input: ")


def test_read_and_compare_write_the_table_of_a_batch(strandgauge, photo, tmp_path):
    strandgauge("read", photo, "--csv", tmp_path / "r.csv")
    strandgauge("compare", photo, photo, "--csv", tmp_path / "c.csv", "--separator", "semicolon")
    (alone,), compared = rows(tmp_path / "r.csv"), rows(tmp_path / "c.csv", ";")
    assert len(compared) == 2
    assert list(alone) == list(compared[0])
    assert float(alone["level"]) == float(compared[0]["level"].replace(",", "."))
    assert alone["undertone"] in alone["undertone_95"].split("; ")


def test_a_saved_reading_keeps_the_time_of_its_photo(strandgauge, tmp_path):
    saved = [tmp_path / "m1.json", tmp_path / "m2.json"]
    for file, clock in zip(saved, ("10:05", "10:22"), strict=True):
        document = document_of(replace(reading(), taken=datetime.fromisoformat(f"2026-03-14T{clock}")))
        file.write_text(json.dumps(document))
    told = strandgauge("follow", *saved, "--json", "-")
    assert told.code == 0
    assert [look["minutes"] for look in json.loads(told.out)["looks"]] == [0, 17]


def test_several_pictures_go_into_a_folder_that_is_made(strandgauge, photo, tmp_path):
    again = tmp_path / "again.jpg"
    again.write_bytes(photo.read_bytes())
    assert strandgauge("read", photo, again, "--picture", tmp_path / "new" / "results").code == 0
    assert len(list((tmp_path / "new" / "results").iterdir())) == 2


def test_wet_hair_counts_in_every_outlook(strandgauge, photo):
    for command in (
        ["mix", "--dye", "violet=1", "--dye", "clear=9", "--base"],
        ["reach", "--target", "rose"],
    ):
        dry, wet = (strandgauge(*command, photo, "--json", "-", *wet).out for wet in ([], ["--wet"]))
        bases = [json.loads(text)["zones"][0]["base_lab"][0] for text in (dry, wet)]
        assert bases[1] > bases[0] + 2  # wet hair dries lighter than it looks


@pytest.mark.parametrize(("name", "start"), [("c.png", b"\x89PNG"), ("c.pdf", b"%PDF")])
def test_the_card_is_what_its_name_says(strandgauge, tmp_path, name, start):
    assert strandgauge("card", "--out", tmp_path / name, "--scale", "2").code == 0
    assert (tmp_path / name).read_bytes().startswith(start)


def test_a_photo_is_entered_once(strandgauge, photo, tmp_path):
    entering = ["log", "add", "Marta", photo, "--logbook", tmp_path / "log.sqlite"]
    assert strandgauge(*entering).code == 0
    again = strandgauge(*entering)
    assert again.code == 75
    assert say("refusal.bad-entry", fault="known-photo", check=1) in again.err
