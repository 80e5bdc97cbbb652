"""Every error has its own code, exit code and place in the manual, and is told in one line."""

from __future__ import annotations

import errno
import gc
import re
from pathlib import Path

import pytest
import typer

import readings
from strandgauge.cli.outcome import EXIT_USAGE, Session, guarded
from strandgauge.codes.facts import Note
from strandgauge.errors import (
    EXIT_BROKEN_PIPE,
    EXIT_INTERNAL,
    EXIT_INTERRUPTED,
    error_classes,
    exit_code_of,
)
from strandgauge.files.endings import WRITTEN_PICTURES
from strandgauge.words import say

MANUAL = Path(__file__).parents[2] / "docs" / "errors.md"


def remedy_of(error_class) -> str:
    return error_class("It is so.").remedy


@pytest.fixture
def pipeline_raises(monkeypatch):
    """Make every reading end in an exception."""

    def arrange(error: BaseException) -> None:
        def fail(*_, **__):
            raise error

        monkeypatch.setattr("strandgauge.kit.measure_photo", fail)

    return arrange


def test_a_command_runs_with_the_collector_that_was_off_while_all_was_loaded():
    gc.disable()
    with pytest.raises(typer.Exit) as left:
        guarded(lambda: 0 if gc.isenabled() else 1, Session())()
    assert left.value.exit_code == 0


def test_codes_are_distinct_and_keep_clear_of_the_systems_own():
    classes = error_classes()
    codes = [c.code for c in classes]
    exits = [c.exit_code for c in classes]
    assert len(set(codes)) == len(codes)
    assert len(set(exits)) == len(exits)
    assert not set(exits) & {0, EXIT_USAGE, EXIT_INTERNAL, EXIT_INTERRUPTED, EXIT_BROKEN_PIPE}
    assert all(10 <= code < 126 for code in exits)
    assert all(re.fullmatch("[a-z0-9]+(-[a-z0-9]+)*", code) for code in codes)
    assert all(exit_code_of(c.code) == c.exit_code for c in classes)


@pytest.mark.holds_words
def test_the_manual_lists_every_error_as_it_is():
    rows = re.findall(r"^\| (\d+) \| `([a-z0-9-]+)` \| (.+?) \| (.+?) \|$", MANUAL.read_text(), re.MULTILINE)
    listed = {code: (int(exit_code), remedy) for exit_code, code, _, remedy in rows}
    assert listed == {c.code: (c.exit_code, remedy_of(c)) for c in error_classes()}


@pytest.mark.parametrize("error_class", error_classes(), ids=lambda c: c.code)
def test_every_error_is_one_line_and_its_exit_code(error_class, pipeline_raises, strandgauge, valid, photo):
    pipeline_raises(error_class("The card is\nunder a cup.", where="strand.jpg"))
    told = strandgauge("read", photo)
    assert told.code == error_class.exit_code
    assert told.out == ""
    assert told.err == f"strandgauge: strand.jpg: The card is under a cup. {remedy_of(error_class)}\n"
    document = valid(strandgauge("read", photo, "--json", "-").documents()[0])
    assert document["code"] == error_class.code
    assert document["remedy"] == remedy_of(error_class)
    assert document["where"] == "strand.jpg"


def test_the_unforeseen_is_one_line_too_and_details_are_a_flag_away(pipeline_raises, strandgauge, photo):
    pipeline_raises(ZeroDivisionError("inner matters"))
    told = strandgauge("read", photo)
    assert told.code == EXIT_INTERNAL
    assert told.err.count("\n") == 1
    assert say("unforeseen.again") in told.err
    assert "inner matters" not in told.err
    detailed = strandgauge("read", photo, "--debug")
    assert detailed.code == EXIT_INTERNAL
    assert "Traceback" in detailed.err
    assert "inner matters" in detailed.err


def test_stopping_with_the_keyboard(pipeline_raises, strandgauge, photo):
    pipeline_raises(KeyboardInterrupt())
    told = strandgauge("read", photo)
    assert told.code == EXIT_INTERRUPTED
    assert told.err == f"strandgauge: {say('command.stopped')}\n"


def test_no_memory_and_no_space(pipeline_raises, strandgauge, photo):
    pipeline_raises(MemoryError())
    assert say("unforeseen.memory") in strandgauge("read", photo).err
    pipeline_raises(OSError(errno.ENOSPC, "No space left on device"))
    told = strandgauge("read", photo)
    assert told.code == 60
    assert say("refusal.cannot-write", fault="full") in told.err


@pytest.mark.parametrize(
    ("arguments", "key", "facts"),
    [
        (["read"], "usage.missing", {"what": "'PHOTO...'"}),
        (["read", "x.jpg", "--bright"], "usage.no-such-option", {"option": "--bright"}),
        (["read", "x.jpg", "--picture", "x.gif"], "usage.no-picture", {"picture": "x.gif"}),
        (["read", "x.jpg", "y.jpg", "--picture", "x.png"], "usage.several-photos", {"picture": "x.png"}),
        (["check"], "usage.missing", {"what": "'PHOTO...'"}),
        # A number may have a decimal comma, but only one.
        (["follow", "x.jpg", "--level", "6,5", "--target", "lilac"], "usage.target-or-level", {}),
        (["follow", "x.jpg", "--level", "6,5,5"], "usage.bad-value", {"option": "'--level'", "why": "…"}),
    ],
)
def test_wrong_usage_is_one_line(arguments, key, facts, strandgauge):
    told = strandgauge(*arguments)
    assert told.code == EXIT_USAGE
    assert told.err.count("\n") == 1
    facts = {"endings": ", ".join(WRITTEN_PICTURES)} | facts if key == "usage.no-picture" else facts
    assert say(key, **facts).partition("…")[0] in told.err


def test_what_the_library_alone_knows_of_is_in_its_words(strandgauge):
    told = strandgauge("reed", "x.jpg")
    assert told.code == EXIT_USAGE
    assert "'reed'" in told.err


def test_the_worst_of_several_photos_decides(strandgauge, valid, photo, tmp_path):
    (tmp_path / "text.jpg").write_text("no picture")
    told = strandgauge("read", tmp_path / "missing.jpg", photo, tmp_path / "text.jpg", "--json", "-")
    assert told.code == 10
    schemas = [valid(document)["schema"] for document in told.documents()]
    assert schemas == ["strandgauge.error/1", "strandgauge.reading/1", "strandgauge.error/1"]
    assert told.err.count("\n") == 2


@pytest.mark.parametrize(
    ("content", "code"),
    [
        pytest.param(b"", 10, id="empty"),
        pytest.param(b"no picture at all", 10, id="text"),
        pytest.param(b"\x89PNG\r\n\x1a\n" + bytes(100), 10, id="damaged"),
    ],
)
def test_bad_files_end_in_their_code(content, code, strandgauge, tmp_path):
    file = tmp_path / "strand.jpg"
    file.write_bytes(content)
    for command in ("read", "check"):
        told = strandgauge(command, file)
        assert told.code == code
        assert told.err.startswith("strandgauge: strand.jpg: ")
        assert told.err.count("\n") == 1


def test_a_photo_cut_short_or_huge(strandgauge, photo, tmp_path):
    photo.write_bytes(photo.read_bytes()[:-5000])
    assert strandgauge("read", photo).code == 10
    huge = tmp_path / "huge.jpg"
    with huge.open("wb") as sparse:
        sparse.truncate(300_000_000)
    assert strandgauge("read", huge).code == 11


def test_a_hostile_file_name_cannot_command_the_terminal(strandgauge, tmp_path):
    told = strandgauge("read", tmp_path / "a\x1b[2Jb\n.jpg")
    assert told.code == 10
    assert "\x1b" not in told.err
    assert told.err.count("\n") == 1


def test_an_untrusted_check_ends_in_the_code_of_its_first_problem(monkeypatch, strandgauge, valid, photo):
    result = readings.check(
        trusted=False, problems=[Note("uneven-light", "refusal", (("said", "The light changes by 62 %."),))]
    )
    monkeypatch.setattr("strandgauge.reading.cardcheck.card_check", lambda _: result)
    told = strandgauge("check", photo, "--json", "-")
    assert told.code == 34
    assert valid(told.documents()[0])["trusted"] is False


# --- results that cannot be written ---------------------------------------------------------------------


@pytest.mark.parametrize("option", ["--json", "--picture"])
def test_a_result_that_cannot_be_written(option, strandgauge, photo, tmp_path):
    told = strandgauge("read", photo, option, tmp_path / "no such folder" / "result.png")
    assert told.code == 60
    assert told.err.count("\n") == 1


def test_the_photo_is_never_overwritten(strandgauge, photo):
    before = photo.read_bytes()
    for option in ("--json", "--picture"):
        assert strandgauge("read", photo, option, photo).code == EXIT_USAGE
    assert photo.read_bytes() == before


def test_a_folder_is_sent_on_to_batch(strandgauge, tmp_path):
    told = strandgauge("read", tmp_path)
    assert told.code == 2
    assert say("usage.folder", folder=tmp_path) in told.err


@pytest.mark.parametrize("option", ["--json", "--picture"])
def test_nothing_is_written_over_what_is_read(option, strandgauge, photo, tmp_path):
    before, own = photo.read_bytes(), tmp_path / "own.toml"
    own.write_text("mine")
    assert strandgauge("read", photo, option, photo).code == 2
    assert photo.read_bytes() == before
    told = strandgauge("read", photo, "--ladder", own, "--json", own)
    assert told.code == 2
    assert say("usage.is-read", file=own) in told.err
    assert own.read_text() == "mine"


CHART = """
[card]
illuminant = "D65"
[[marker]]
id = 0
dictionary = "DICT_4X4_50"
box = [0, 0, 20, 20]
[[grid]]
origin = [30, 0]
pitch = 12
size = 10
columns = 6
labs = [[95, 0, 0], [80, 0, 0], [60, 0, 0], [40, 0, 0], [30, 20, 20], [50, -20, 30]]
"""


@pytest.mark.parametrize(
    "command", [("read",), ("batch", "--out", "out"), ("watch", "--page", "page.html", "--once"), ("serve",)]
)
def test_a_chart_without_a_place_for_a_strand_is_refused_before_any_photo_is_looked_at(
    strandgauge, tmp_path, monkeypatch, command
):
    monkeypatch.chdir(tmp_path)
    Path("chart.toml").write_text(CHART, encoding="utf-8")
    photos = Path("photos")
    photos.mkdir()
    (photos / "none.jpg").write_bytes(b"no photo")
    name, *options = command
    what = {"read": [photos / "none.jpg"], "serve": []}.get(name, [photos])
    told = strandgauge(name, *what, *options, "--card", "chart.toml")
    assert told.code == exit_code_of("bad-card-definition")
    assert "chart.toml" in told.err
    assert not {"out", "page.html"} & {path.name for path in tmp_path.iterdir()}
