"""What read and check print and write, from a photo to the last character."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

import readings
from strandgauge.cli.app import COMMANDS, JOBS
from strandgauge.words import say

SAMPLES = Path(__file__).parents[2] / "sample_images"


def test_read_says_the_answer_first(strandgauge, photo, tmp_path):
    told = strandgauge("read", photo, "--json", tmp_path / "reading.json")
    assert told.code == 0
    assert told.err == ""
    first, second, *_ = told.out.splitlines()
    assert first == "strand.jpg"
    document = json.loads((tmp_path / "reading.json").read_text())
    level = f"{document['overall']['level']:.1f} ± {1.96 * document['overall']['level_sd']:.1f}"
    assert second.startswith(say("reading.level", interval=level))
    assert document["evenness"]["code"] in ("uneven", "very-uneven")
    zones = [say(f"zone.{zone}") for zone in ("root", "mids", "ends", "overall")]
    for word in (*zones, "orange", say("reading.caution").split()[-1]):
        assert word in told.out
    assert "\x1b" not in told.out, "no escape codes where there is no terminal"


def test_json_goes_to_standard_output_alone(strandgauge, valid, photo):
    told = strandgauge("read", photo, "--json", "-")
    assert told.code == 0
    (document,) = told.documents()
    valid(document)
    assert document["photo"] == "strand.jpg"
    assert [zone["name"] for zone in document["zones"]] == ["root", "mids", "ends"]
    assert document["zones"][0]["level"] < document["zones"][2]["level"]


def test_json_goes_to_a_file_beside_the_words(strandgauge, valid, photo, tmp_path):
    told = strandgauge("read", photo, "--json", tmp_path / "reading.json")
    assert told.out.splitlines()[0] == photo.name
    valid(json.loads((tmp_path / "reading.json").read_text()))


def test_several_photos_are_one_document_a_line(strandgauge, valid, photo):
    told = strandgauge("read", photo, photo, "--json", "-")
    lines = told.out.splitlines()
    assert len(lines) == 2
    for line in lines:
        valid(json.loads(line))


@pytest.mark.parametrize("ending", ["png", "jpg"])
def test_the_picture_opens_and_states_its_colours(ending, strandgauge, photo, tmp_path):
    file = tmp_path / f"result.{ending}"
    assert strandgauge("read", photo, "--picture", file).code == 0
    with Image.open(file) as picture:
        assert picture.width == 1200
        assert picture.height > 1000
        assert "icc_profile" in picture.info
        assert picture.format == {"png": "PNG", "jpg": "JPEG"}[ending]
    assert list(tmp_path.glob(".*")) == [], "nothing unfinished is left behind"


def test_pictures_of_several_photos_go_into_a_folder(strandgauge, photo, tmp_path):
    second = tmp_path / "later.jpg"
    second.write_bytes(photo.read_bytes())
    results = tmp_path / "results"
    results.mkdir()
    assert strandgauge("read", photo, second, "--picture", results).code == 0
    assert sorted(file.name for file in results.iterdir()) == ["later-reading.png", "strand-reading.png"]


def test_check_lists_every_patch(strandgauge, valid, photo, card):
    told = strandgauge("check", photo, "--json", "-")
    assert told.code == 0
    (document,) = told.documents()
    valid(document)
    assert document["trusted"] is True
    assert [patch["id"] for patch in document["patches"]] == [patch.id for patch in card.patches]
    reference = np.array([patch["lab_reference"] for patch in document["patches"]])
    assert np.allclose(reference, card.patch_labs, atol=0.001)
    assert document["cautions"] == document["remedies"] == []
    words = strandgauge("check", photo).out
    assert say("check.trusted") in words
    assert say("check.full") in words
    assert "D12 " not in words
    full = strandgauge("check", photo, "--full").out
    assert all(f"{patch.id} " in full for patch in card.patches)


def test_several_photos_are_checked_one_by_one(strandgauge, valid, photo, tmp_path):
    none, pictures = tmp_path / "none.png", tmp_path / "pictures"
    Image.new("RGB", (400, 300), (128, 128, 128)).save(none)
    told = strandgauge("check", none, photo, "--json", "-", "--picture", pictures)
    failed, good = told.documents()
    assert (told.code, failed["code"], valid(good)["trusted"]) == (20, "no-card", True)
    assert [file.name for file in pictures.iterdir()] == ["strand-check.png"]
    assert strandgauge("check", photo, none, "--picture", tmp_path / "one.png").code == 2


def test_the_users_own_card_is_used(strandgauge, photo, card, tmp_path):
    own = tmp_path / "own.toml"
    text = card.source_path.read_text().replace('name = "strand card A6"', 'name = "my own card"')
    own.write_text(text)
    told = strandgauge("check", photo, "--card", own, "--json", "-")
    assert told.documents()[0]["card"].startswith("my own card")


@pytest.mark.parametrize("option", ["--card", "--profile", "--ladder"])
def test_a_named_file_that_is_missing_is_said_to_be_missing(option, strandgauge, photo, tmp_path):
    told = strandgauge("read", photo, option, tmp_path / "missing.file")
    assert told.code in (50, 51, 52)
    assert "missing.file" in told.err
    assert told.err.count("\n") == 1


def test_help_names_every_command_and_version_is_told(strandgauge):
    helped = strandgauge("--help")
    assert helped.code == 0
    assert all(command in helped.out for command in COMMANDS)
    assert all(job in helped.out for job in JOBS)
    assert "bool" not in helped.out
    assert strandgauge().out == helped.out
    assert strandgauge("--version").out.startswith("strandgauge ")


@pytest.mark.parametrize(("command", "example"), [pair for job in JOBS.values() for pair in job.items()])
def test_the_help_of_each_command_has_an_example_that_it_takes(strandgauge, command, example, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    assert example in strandgauge(command, "--help").out
    told = strandgauge(*shlex.split(example)[1:], "--help")  # all its options are known
    assert told.code == 0


def test_a_shell_is_told_how_to_complete(strandgauge, monkeypatch, capsys):
    monkeypatch.setenv("_STRANDGAUGE_COMPLETE", "complete_bash")
    monkeypatch.setenv("COMP_WORDS", "strandgauge re")
    monkeypatch.setenv("COMP_CWORD", "1")
    with pytest.raises(SystemExit):
        strandgauge()
    assert capsys.readouterr().out.split() == ["read", "reach"]


def test_photos_read_together_with_a_picture_are_each_measured_once(strandgauge, tmp_path, monkeypatch):
    from strandgauge import kit

    measured = []
    measure = kit.measure_photo

    def counted(source, **options):
        measured.append(source)
        return measure(source, **options)

    monkeypatch.setattr(kit, "measure_photo", counted)
    picture = tmp_path / "both.png"
    pair = (SAMPLES / "turned-a.jpg", SAMPLES / "turned-b.jpg")
    outcome = strandgauge("read", *pair, "--together", "--picture", picture, "--json", "-")
    assert outcome.code == 0, outcome.err
    assert len(measured) == 2
    assert picture.read_bytes().startswith(b"\x89PNG")
    alone = strandgauge("read", *pair, "--together", "--json", "-")
    assert outcome.documents() == alone.documents()


def test_the_outlook_of_the_wanted_shade_tells_what_would_settle_it_and_no_outlook_spoils_a_reading():
    from strandgauge.cli.read import _surer
    from strandgauge.errors import OutsideModelError
    from strandgauge.kit import shipped

    class Open:
        def reach(self, zones, shade, settings):
            assert {zone.name for zone in zones} >= {"root", "mids", "ends"}
            if shade.name == "rose":
                return SimpleNamespace(surer="turn-card")
            raise OutsideModelError("none")

    rose, lilac = shipped().target("rose"), shipped().target("lilac")
    assert _surer(readings.reading(), rose, Open()) == "turn-card"
    assert _surer(readings.reading(), lilac, Open()) is None
    assert _surer(readings.reading(), None, Open()) is None
