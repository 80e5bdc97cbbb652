"""The user's own folder: names stay inside it, what is in use is used, what is broken is named."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from strandgauge.errors import UnknownCalibrationError
from strandgauge.hair.levels import load_ladder
from strandgauge.learn import kept as usercalibration
from strandgauge.learn.dyes import Observation, dye_file, learn_dye
from strandgauge.learn.levels import Swatch, ladder_toml, learn_ladder
from strandgauge.words import say

OURS = load_ladder()


def ladder_text(name="mine", lift=1.0) -> str:
    own = [
        Swatch(level, (lab[0] + lift, lab[1], lab[2]), (0.3, 0.4, 0.4), ("x.jpg",))
        for level, lab in enumerate(OURS.lab.tolist(), start=1)
    ]
    return ladder_toml(learn_ladder(name, own, OURS), "a test")


@given(st.text(max_size=80))
@example("../../etc/passwd")
@example("..")
@example("a/b")
@example("a\\b")
@example("C:evil")
@example("/absolute")
@example("nul.txt")
@example("line\nbreak")
@example("x" * 81)
def test_a_name_is_refused_or_stays_inside_the_folder(name):
    try:
        tidy = usercalibration.check_name(name)
    except UnknownCalibrationError:
        return
    path = usercalibration.home() / "levels" / f"{tidy}.toml"
    assert path.resolve().parent == (usercalibration.home() / "levels").resolve()
    assert tidy == name.strip()


@pytest.mark.parametrize("name", ["../out", "a/b", "..", "a\\b", "", " ", "con", ".hidden", "x:y"])
@pytest.mark.parametrize("command", [("remove",), ("use",)])
def test_the_commands_refuse_such_names(strandgauge, command, name, home):
    code, _, err = strandgauge("learn", *command, "--", name)
    assert code in (2, 61)
    assert len(err.splitlines()) == 1
    assert not home.exists()


def test_what_is_saved_is_listed_chosen_and_removed(document, strandgauge, home):
    assert document("learn", "list")["learned"] == []
    usercalibration.save("levels", "salon ring", ladder_text())
    usercalibration.save("levels", "old ring", ladder_text("old ring", 2.0))
    dye = learn_dye("own blue", [Observation((76, 0.8, 24.5), (64, 0.2, 5.4), 0.1)])
    usercalibration.save("dye", "own blue", dye_file([dye]))
    listed = document("learn", "list")["learned"]
    assert [(one["kind"], one["name"], one["in_use"]) for one in listed] == [
        ("levels", "old ring", False),
        ("levels", "salon ring", False),
        ("dye", "own blue", True),
    ]
    assert usercalibration.current_ladder().name == OURS.name
    assert strandgauge("learn", "use", "salon ring")[0] == 0
    assert usercalibration.current_ladder().name == "mine"
    assert "own blue" in strandgauge("dyes")[1]
    code, out, _ = strandgauge("learn", "remove", "salon ring")
    assert code == 0
    assert say("learned.shipped-again") in out
    assert usercalibration.current_ladder().name == OURS.name
    assert strandgauge("learn", "remove", "salon ring")[0] == 61
    assert sorted(path.name for path in home.rglob("*.toml")) == [
        "in-use.toml",
        "old ring.toml",
        "own blue.toml",
    ]


def test_a_name_of_two_kinds_needs_its_kind(strandgauge, home):
    usercalibration.save("levels", "mine", ladder_text())
    usercalibration.save("dye", "Mine", "nonsense")
    code, _, err = strandgauge("learn", "remove", "mine")
    assert code == 61
    assert say("refusal.unknown-calibration", fault="which", wanted="mine", kinds="levels, dye") in err
    assert strandgauge("learn", "remove", "mine", "--kind", "dye")[0] == 0
    assert strandgauge("learn", "remove", "mine")[0] == 0


def test_saving_again_replaces_whatever_the_capitals(home):
    usercalibration.save("levels", "Ring", ladder_text(lift=1.0))
    usercalibration.save("levels", "ring", ladder_text(lift=2.0))
    (only,) = usercalibration.saved()
    assert load_ladder(only.path).lab[0, 0] == pytest.approx(OURS.lab[0, 0] + 2.0)


def test_a_broken_ladder_in_use_is_named_with_its_line(strandgauge, home, tmp_path):
    saved = usercalibration.save("levels", "ring", ladder_text())
    usercalibration.put_in_use(saved)
    lines = saved.path.read_text().splitlines()
    place = next(n for n, line in enumerate(lines, start=1) if line.startswith("lab ="))
    lines[place - 1] = "lab = [16.0, x]"
    saved.path.write_text("\n".join(lines))
    code, out, err = strandgauge("read", tmp_path / "any.jpg", "--json", "-")
    assert code == 52
    assert f"{saved.path}:{place}" in err
    assert '"bad-calibration"' in out
    # it is still listed, can be left, and can be removed
    assert "ring" in strandgauge("learn", "list")[1]
    assert strandgauge("learn", "use", "ring")[0] == 52
    assert strandgauge("learn", "remove", "ring")[0] == 0
    assert strandgauge("read", tmp_path / "any.jpg")[0] == 10


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('schema = "strandgauge.in-use/1"\nlevels = 7\n', 2),
        ('schema = "strandgauge.in-use/1"\n\nlevels = "gone"\n', 3),
        ('schema = "strandgauge.in-use/1"\nlevels = "half\n', 2),
    ],
)
def test_a_broken_choice_is_named_with_its_line_and_can_be_mended(strandgauge, home, tmp_path, text, line):
    home.mkdir()
    (home / "in-use.toml").write_text(text)
    code, _, err = strandgauge("read", tmp_path / "any.jpg")
    assert code == 52
    assert f"in-use.toml:{line}" in err
    assert "learn use --shipped" in err
    assert strandgauge("learn", "use", "--shipped")[0] == 0
    assert strandgauge("read", tmp_path / "any.jpg")[0] == 10


def test_a_broken_dye_on_the_shelf_is_named(strandgauge, home):
    usercalibration.save("dye", "own", 'schema = "strandgauge.dyes/1"\n[[dye]]\nname = 3\n')
    code, _, err = strandgauge("mix", "--base", "66,4,32", "--dye", "violet=1")
    assert code == 52
    assert "own.toml:3" in err


def test_a_learned_dye_is_on_the_shelf_at_once(document, strandgauge, home):
    learn = ["learn", "dye", "--name", "own", "--base", "76,0.8,24.5", "--dyed", "64,0.2,5.4"]
    learned = document(*learn, "--mix", "dye=1:clear=9")
    assert learned["file"] == str(home / "dyes" / "own.toml")
    mixed = document("mix", "--base", "76,0.8,24.5", "--dye", "own=1", "--dye", "clear=9")
    assert mixed["predicted_lab"] == pytest.approx([64, 0.2, 5.4], abs=0.5)


def test_a_folder_that_cannot_be_made_is_told(strandgauge, home):
    home.write_text("a file where the folder should be")
    learn = ["learn", "dye", "--base", "76,0.8,24.5", "--dyed", "64,0.2,5.4", "--mix", "dye=1:clear=9"]
    assert strandgauge(*learn, "--name", "own")[0] == 60
    assert strandgauge(*learn, "--name", "../own")[0] == 61
