"""The commands of the outlook: their JSON keeps to the schemas, their errors are one line with a code."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest

import publishedschemas
from readings import reading, zone
from strandgauge.cli.app import run
from strandgauge.show.json import document_of
from strandgauge.words import say


def _document(capsys, name):
    document = json.loads(capsys.readouterr().out)
    publishedschemas.schema(name).validate(document)
    return document


def _saved_reading(path, schema="strandgauge.reading/1"):
    labs = {"root": (57, 8, 36), "mids": (66, 5, 32), "ends": (75, 1, 25)}
    found = reading(
        zones=tuple(zone(name, lab=lab, lab_sd=(1, 1, 1)) for name, lab in labs.items()),
        overall=zone(lab=(66, 5, 31), lab_sd=(1, 1, 1)),
    )
    path.write_text(json.dumps(document_of(found) | {"schema": schema}))
    return str(path)


def test_reach_from_a_colour(capsys):
    assert run(["reach", "76,0.8,24.5", "--target", "pastel pink", "--bowl", "40", "--json", "-"]) == 0
    document = _document(capsys, "outlook-1.json")
    assert document["verdict"] in ("true", "may")
    assert document["chance"] == document["probability_true"] > 0.3
    assert document["needs"]["low"] <= document["needs"]["level"] <= document["needs"]["high"]
    assert [(one["zone"], one["do"]) for one in document["advice"]] == [("overall", "dye")]
    assert [step["level"] for step in document["strip"]] == [6, 7, 8, 9, 10, 11, 12]
    assert sum(part["grams"] for part in document["zones"][0]["formula"]) == pytest.approx(40)


def test_reach_from_a_saved_reading_with_a_picture(capsys, tmp_path):
    picture = tmp_path / "outlook.png"
    saved = _saved_reading(tmp_path / "reading.json")
    assert run(["reach", saved, "--target", "56,16,-9", "--picture", str(picture), "--json", "-"]) == 0
    document = _document(capsys, "outlook-1.json")
    assert [zone["name"] for zone in document["zones"]] == ["root", "mids", "ends", "overall"]
    assert document["evenness"] is not None
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert (
        run(["reach", saved, "--target", "lilac", "--zone", "ends", "--pretone", "none", "--json", "-"]) == 0
    )
    assert [zone["name"] for zone in _document(capsys, "outlook-1.json")["zones"]] == ["ends"]


def test_mix_and_a_learned_dye(capsys, tmp_path):
    own = str(tmp_path / "own.toml")
    learn = ["learn", "dye", "--name", "own", "--base", "76,0.8,24.5", "--dyed", "64,0.2,5.4"]
    assert run([*learn, "--mix", "dye=1:clear=9", "--out", own, "--json", "-"]) == 0
    assert _document(capsys, "learned-dye-1.json")["file"] == own
    base = ["mix", "--base", "76,0.8,24.5", "--json", "-", "--dyes", own]
    assert run([*base, "--dye", "own=1", "--dye", "clear=9"]) == 0
    assert _document(capsys, "mix-1.json")["predicted_lab"] == pytest.approx([64, 0.2, 5.4], abs=0.5)


def test_text_output_names_verdict_formula_and_cautions(capsys):
    assert run(["reach", "36,13,28", "--target", "pastel pink"]) == 0
    text = capsys.readouterr().out
    assert text.startswith(say("outlook.headline", shade="Pastel pink", do=say("do.ask-history")))
    assert say("verdict-word.out-beside") in text
    cautions = [line.removeprefix("! ") for line in text.splitlines() if line.startswith("! ")]
    assert cautions[0] == say("note.strand-test-first")
    assert len(cautions) == 2
    shadow = say("outlook.shadow", zone="…", level=0, formula="", word="").split("…")[0]
    assert shadow not in text
    assert run(["reach", "76,1,25", "--target", "peach", "--full"]) == 0
    assert shadow in capsys.readouterr().out


def test_what_was_told_changes_the_advice(capsys, tmp_path):
    asked = ["reach", "47,6,17", "--target", "lilac", "--json", "-"]

    def advised(*told):
        assert run([*asked, *told]) == 0
        return {one["do"] for one in _document(capsys, "outlook-1.json")["advice"]}

    assert advised() == {"ask-history", "lift"}
    assert advised("--told", "virgin") == {"lift"}
    assert advised("--told", "metallic=yes") == {"metal-test", "stop-history", "choose-another"}
    file = tmp_path / "history.toml"
    file.write_text('schema = "strandgauge.history/1"\nvirgin = true\nscalp = "broken"\n')
    assert advised("--history", str(file)) == {"stop-condition"}
    assert advised("--history", str(file), "--told", "scalp=fine") == {"lift"}
    assert run([*asked, "--history", "henna=yes"]) == 2
    assert say("usage.history-file", told="henna=yes") in capsys.readouterr().err


def test_lists_print(capsys):
    assert run(["targets", "--json", "-"]) == 0
    assert len(_document(capsys, "targets-list-1.json")["targets"]) >= 24
    assert run(["dyes", "--json", "-"]) == 0
    assert len(_document(capsys, "dyes-list-1.json")["dyes"]) >= 10


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["reach", "66,4,32", "--target", "lilax"], 64),
        (["reach", "66,4,32", "--target", "missing.jpg"], 10),
        (["reach", "66,4,32", "--target", "lilac", "--pick", "1,2"], 2),
        (["reach", "66,4,200", "--target", "lilac"], 63),
        (["reach", "50,60,-100", "--target", "lilac"], 62),
        (["mix", "--base", "66,4,32", "--dye", "violet=-1"], 66),
        (["mix", "--base", "66,4,32", "--dye", "plaid=1"], 65),
        (["mix", "--base", "66,4,32", "--dye", "violet=1", "--dyes", "missing.toml"], 52),
        (["reach", "missing.json", "--target", "lilac"], 67),
        (["reach", "66,4,32", "--target", "lilac", "--told", "hena=yes"], 85),
        (["learn", "dye", "--name", "x", "--base", "60,5,20", "--dyed", "75,5,20"], 68),
        (["reach", "66,4,32", "--target", "lilac", "--bowl", "-5"], 66),
    ],
)
def test_bad_input_gets_one_clear_line(capsys, arguments, code):
    assert run(arguments) == code
    captured = capsys.readouterr()
    assert captured.out == ""
    assert len(captured.err.strip().splitlines()) == 1


def test_a_reading_of_another_schema_is_refused(capsys, tmp_path):
    saved = _saved_reading(tmp_path / "reading.json", "strandgauge.reading/9")
    assert run(["reach", saved, "--target", "lilac"]) == 67
    said = "its schema is 'strandgauge.reading/9'"
    refusal = say("refusal.bad-reading", fault="schema", said=said, schema="strandgauge.reading/1")
    assert refusal in capsys.readouterr().err


def test_a_swatch_without_a_card_is_a_wish_and_said_to_be_unmeasured(capsys, tmp_path):
    swatch = tmp_path / "wish.png"
    picture = np.full((300, 400, 3), 90, dtype=np.uint8)
    picture[120:180, 160:240] = (160, 140, 216)  # blue, green, red
    cv2.imwrite(str(swatch), picture)
    assert run(["reach", "76,0.8,24.5", "--target", str(swatch), "--json", "-"]) == 0
    target = _document(capsys, "outlook-1.json")["target"]
    assert target["name"] == say("swatch.unmeasured", file="wish.png")
    # CIELAB of sRGB 216, 140, 160 by colour-science 0.4.7.
    assert target["lab"] == pytest.approx([66.44, 31.58, 1.5], abs=0.1)
