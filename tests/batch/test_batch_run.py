"""A whole batch: every photo accounted for, the same result however it came about, refusals before harm."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest
from batchhelp import Here, as_written, contents, fill, lines, table

import strandgauge
from refused import refused
from strandgauge.batches import one, run
from strandgauge.cli import app
from strandgauge.errors import (
    BadManifestError,
    BatchFolderError,
    CannotWriteError,
    UnknownTargetError,
    UnreadableFileError,
    WorkersUnavailableError,
)
from strandgauge.words import say

FILES = [
    "a.jpg",
    "b.JPG",
    "broken.jpg",
    "copy of a.jpeg",
    "monday visit/=côté.jpg",
    "monday visit/without ending",
    "monday visit/z.jpg",
    "text.png",
]
MANIFEST = """\
File;Student;Class;Time;Wet;Target
a.jpg;Ömer;spring;2026-03-05 14:00;no;
b.JPG;Ömer;spring;2026-03-05 14:20;;copper
monday visit/z.jpg;=Lea;spring;2026-03-05 14:05;yes;
gone.jpg;Lea;spring;;;
"""


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory, strands):
    """A batch that went through in this process: its photos, its results, its summary."""
    scratch = tmp_path_factory.mktemp("undisturbed")
    folder = fill(scratch / "photos", strands)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "Processes", Here)
        summary = strandgauge.batch(folder, scratch / "out", target="rose", parquet=True)
    return folder, scratch / "out", summary


def test_every_photo_has_its_row_and_every_row_is_valid(undisturbed, valid):
    _, out, summary = undisturbed
    rows = lines(out)
    assert [row["file"] for row in rows] == FILES
    for row in rows:
        valid(row)
        assert (row["reading"] is None) != (row["error"] is None)
        if row["reading"] is not None:
            valid(row["reading"])
            assert (out / row["strip"]).read_bytes().startswith(b"\xff\xd8")
            assert row["wanted"]["target"] == "rose"
    assert [row["file"] for row in rows if row["error"]] == ["broken.jpg", "text.png"]
    assert (summary.photos, summary.read, summary.refused, summary.duplicates) == (8, 6, 2, 3)
    assert summary.refused_because == {"unreadable-file": 2}
    assert (summary.other_files, summary.not_reached, summary.from_before) == (1, 0, 0)


def test_the_tables_hold_what_the_rows_hold(undisturbed):
    import pandas

    _, out, _ = undisturbed
    rows, cells, frame = lines(out), table(out), pandas.read_parquet(out / "readings.parquet")
    assert [as_written(cell["file"]) for cell in cells] == frame["file"].tolist() == FILES
    for row, cell, level in zip(rows, cells, frame["level"], strict=True):
        assert cell["digest"] == row["digest"]
        if row["reading"] is None:
            assert (cell["result"], cell["what_is_wrong"]) == ("refused", row["error"]["message"])
        else:
            assert float(cell["level"]) == level == row["reading"]["overall"]["level"]
            assert float(cell["ends_b"]) == row["reading"]["zones"][2]["lab"][2]
            assert (cell["strip"], cell["verdict"]) == (row["strip"], row["wanted"]["verdict"])
    same = {as_written(cell["file"]): as_written(cell["same_as"]) for cell in cells if cell["same_as"]}
    assert same == {
        "copy of a.jpeg": "a.jpg",
        "monday visit/without ending": "b.JPG",
        "monday visit/z.jpg": "monday visit/=côté.jpg",
    }


def test_the_gallery_shows_every_photo(undisturbed):
    folder, out, _ = undisturbed
    page = (out / "gallery.html").read_text()
    assert folder.name in page
    for file in FILES:
        assert Path(file).name in page
    assert page.count("data:image/jpeg;base64,") == 6


def test_two_workers_give_the_same_bytes(undisturbed, tmp_path):
    folder, out, summary = undisturbed
    again = strandgauge.batch(folder, tmp_path / "out", target="rose", jobs=2, parquet=True)
    assert contents(tmp_path / "out") == contents(out)
    assert (again.read, again.refused) == (summary.read, summary.refused)


@pytest.mark.usefixtures("here")
def test_results_inside_the_folder_of_photos_are_not_read_as_photos(undisturbed, photos):
    _, out, _ = undisturbed
    inside = photos / "results"
    for resume in (False, True):
        summary = strandgauge.batch(photos, inside, target="rose", jobs=1, parquet=True, resume=resume)
        assert contents(inside) == contents(out)
    assert summary.from_before == len(FILES)


@pytest.mark.usefixtures("here")
def test_only_what_is_new_or_changed_or_lost_is_read_again(photos, tmp_path, strands):
    out = tmp_path / "out"
    strandgauge.batch(photos, out, jobs=1)
    (photos / "new.jpg").write_bytes(strands[0])
    (photos / "a.jpg").write_bytes(strands[1])
    (photos / "copy of a.jpeg").unlink()
    strip = {row["file"]: row["strip"] for row in lines(out)}["b.JPG"]
    (out / strip).unlink()
    (out / "strips" / "gone-00000000.jpg").write_bytes(b"of a photo that is gone")
    (out / "strips" / ".unfinished.jpg.part").write_bytes(b"of a run that was killed")
    summary = strandgauge.batch(photos, out, jobs=1, resume=True)
    assert summary.from_before == len(FILES) + 1 - len({"new", "a", "copy", "b"})
    assert summary.notes == (say("batch.gone", count=1),)
    assert [row["file"] for row in lines(out)] == sorted([*FILES, "new.jpg"])
    assert {row["file"]: row["digest"] for row in lines(out)}["a.jpg"] == lines(out)[1]["digest"]
    assert sorted(path.name for path in (out / "strips").iterdir()) == sorted(
        {Path(row["strip"]).name for row in lines(out) if row["strip"]}
    )


@pytest.mark.usefixtures("here")
def test_a_manifest_tells_clients_times_and_wishes(photos, tmp_path, valid):
    manifest, out = tmp_path / "tests.csv", tmp_path / "out"
    manifest.write_text(MANIFEST)
    summary = strandgauge.batch(photos, out, manifest=manifest, target="rose", jobs=1)
    rows = {row["file"]: valid(row) for row in lines(out)}
    assert sorted(rows) == sorted([*FILES, "gone.jpg"])
    assert (rows["a.jpg"]["client"], rows["a.jpg"]["group"]) == ("Ömer", "spring")
    assert rows["a.jpg"]["taken"] == "2026-03-05T14:00:00"
    assert (rows["a.jpg"]["wanted"]["target"], rows["b.JPG"]["wanted"]["target"]) == ("rose", "copper")
    assert rows["monday visit/z.jpg"]["reading"]["wet"] is True
    assert rows["monday visit/=côté.jpg"]["client"] is None
    assert say("batch.no-file", line=5) in rows["gone.jpg"]["error"]["message"]
    assert summary.refused == 3
    page = (out / "gallery.html").read_text()
    assert "Ömer" in page
    assert "<svg" in page
    # A corrected manifest: only the rows it changes are read again, whoever they were of before.
    manifest.write_text(MANIFEST.replace("a.jpg;Ömer", "a.jpg;Anna").replace("gone.jpg;Lea;spring;;;\n", ""))
    summary = strandgauge.batch(photos, out, manifest=manifest, target="rose", jobs=1, resume=True)
    assert summary.from_before == len(FILES) - 1
    assert {row["file"]: row["client"] for row in lines(out)}["a.jpg"] == "Anna"
    assert "gone.jpg" not in {row["file"] for row in lines(out)}


@pytest.mark.parametrize("changes", [{"target": "copper"}, {"wet": True}], ids=["target", "wet"])
def test_other_settings_than_before_are_refused(undisturbed, changes):
    folder, out, _ = undisturbed
    before = contents(out)
    with refused(BatchFolderError, "differs", differing=next(iter(changes))):
        strandgauge.batch(folder, out, resume=True, **({"target": "rose"} | changes))
    assert contents(out) == before


@pytest.mark.usefixtures("here")
def test_another_version_is_refused(photos, tmp_path, monkeypatch):
    (photos / "one").mkdir()
    (photos / "one" / "text.png").write_text("not a picture")
    strandgauge.batch(photos / "one", tmp_path / "out", jobs=1)
    monkeypatch.setattr("strandgauge.batches.folder.__version__", "99")
    with refused(BatchFolderError, "differs", differing="version"):
        strandgauge.batch(photos / "one", tmp_path / "out", jobs=1, resume=True)


def test_nothing_is_written_over(undisturbed, photos, tmp_path):
    _, out, _ = undisturbed
    before = contents(out)
    with refused(BatchFolderError, "holds-batch"):
        strandgauge.batch(photos, out)
    assert contents(out) == before
    for resume in (False, True):
        with refused(BatchFolderError, "not-empty"):
            strandgauge.batch(photos, photos, resume=resume)
    assert not {"readings.csv", "batch.json", ".lock"} & {path.name for path in photos.iterdir()}


@pytest.mark.parametrize(
    ("changes", "error"),
    [
        ({"target": "no such shade"}, UnknownTargetError),
        ({"manifest": Path("none.csv")}, BadManifestError),
        ({"folder": Path("none")}, UnreadableFileError),
        ({"out": Path("/proc/none/out")}, CannotWriteError),
    ],
)
def test_what_cannot_work_is_told_before_anything_is_made(photos, tmp_path, changes, error):
    out = tmp_path / "out"
    with pytest.raises(error):
        strandgauge.batch(**({"folder": photos, "out": out} | changes))
    assert not out.exists()


@pytest.mark.usefixtures("here")
def test_a_batch_that_came_to_nothing_does_not_stand_in_the_way_of_the_next(photos, tmp_path, monkeypatch):
    out = tmp_path / "out"

    def nobody(kit, address):
        raise WorkersUnavailableError(fault="no-answer", address=address)

    monkeypatch.setattr(run, "Cluster", nobody)
    with refused(WorkersUnavailableError, "no-answer"):
        strandgauge.batch(photos, out, cluster="tcp://nobody:8786")
    strandgauge.batch(photos, out, jobs=1)
    with refused(BatchFolderError, "holds-batch"):
        strandgauge.batch(photos, out, jobs=1)


@pytest.mark.skipif(os.name == "nt", reason="names are bytes only on POSIX systems")
@pytest.mark.usefixtures("here")
def test_names_that_are_no_unicode_go_all_the_way(tmp_path, strands):
    folder = os.fsencode(tmp_path) + b"/f\xe9"
    os.mkdir(folder)
    with open(folder + b"/\xff.jpg", "wb") as file:
        file.write(strands[0])
    out = Path(os.fsdecode(folder + b"/out"))
    assert app.run(["batch", os.fsdecode(folder), "--out", str(out), "--jobs", "1", "--parquet"]) == 0
    assert [row["file"] for row in lines(out)] == [cell["file"] for cell in table(out)] == ["\\xff.jpg"]
    assert "\\xff.jpg" in (out / "gallery.html").read_text()


def test_parquet_without_its_package_is_told(photos, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.delitem(sys.modules, "pyarrow.parquet", raising=False)
    with refused(WorkersUnavailableError, "no-parquet"):
        strandgauge.batch(photos, tmp_path / "out", parquet=True)


@pytest.mark.usefixtures("here")
def test_a_disk_that_fills_up_is_told_and_leaves_valid_files(photos, tmp_path, monkeypatch):
    out = tmp_path / "out"
    add, count = run.Store.add, []

    def filling(store, row):
        count.append(row)
        if len(count) > 3:
            raise CannotWriteError("It cannot be written (no space left on device).")
        add(store, row)

    with monkeypatch.context() as patch:
        patch.setattr(run.Store, "add", filling)
        with pytest.raises(CannotWriteError, match="no space left"):
            strandgauge.batch(photos, out)
    kept = [row["file"] for row in lines(out)]
    assert len(kept) == 3
    assert kept == sorted(kept) == [as_written(cell["file"]) for cell in table(out)]
    strandgauge.batch(photos, out, resume=True)
    assert [row["file"] for row in lines(out)] == FILES


@pytest.mark.usefixtures("here")
def test_a_fault_in_one_photo_is_a_row_and_tried_again_the_next_time(photos, tmp_path, monkeypatch):
    out = tmp_path / "out"

    def failing(*_, **__):
        raise ZeroDivisionError

    with monkeypatch.context() as patch:
        patch.setattr(one, "_measured", failing)
        summary = strandgauge.batch(photos, out)
    assert summary.refused_because == {"internal-error": len(FILES)}
    summary = strandgauge.batch(photos, out, resume=True)
    assert (summary.read, summary.from_before) == (6, 0)


def test_a_folder_without_a_photo_is_refused_and_nothing_is_made(tmp_path, capsys):
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "notes.txt").write_text("nothing to see")
    assert app.run(["batch", str(tmp_path / "photos"), "--out", str(tmp_path / "out")]) == 86
    assert say("refusal.no-photos") in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.usefixtures("here")
def test_the_command_line_says_what_became_of_them(photos, tmp_path, capsys, valid):
    command = ["batch", str(photos), "--out", str(tmp_path / "out"), "--jobs", "1"]
    assert app.run(command) == 3
    told = capsys.readouterr()
    *shown, _, last = told.out.splitlines()
    assert [line.split("  ")[0] for line in shown[1:7]] == sorted(set(FILES) - {"broken.jpg", "text.png"})
    not_read = [line.split(":")[0].strip() for line in shown[-2:]]
    assert (shown[-3], not_read) == (say("sheet.refused"), ["broken.jpg", "text.png"])
    assert not any(line.endswith(" ") for line in shown)
    parts = [
        say("batch.photos", count=8, read=6, refused=2) + " (2 unreadable-file)",
        say("batch.duplicates", count=3),
        say("batch.other-files", count=1),
    ]
    files = "readings.jsonl, readings.csv, gallery.html, strips"
    results = say("batch.results", folder=tmp_path / "out", files=files)
    assert last == f"{'; '.join(parts)}. {results}"
    assert told.err == ""
    assert app.run(command) == 73
    assert app.run([*command, "--resume", "--json", str(photos / "a.jpg")]) == 2
    for name in ("broken.jpg", "text.png"):
        (photos / name).unlink()
    capsys.readouterr()
    assert app.run([*command, "--resume", "--json", "-"]) == 3  # their rows are still there
    summary = valid(json.loads(capsys.readouterr().out))
    assert (summary["from_before"], summary["refused"], summary["photos"]) == (6, 2, 8)


@pytest.mark.usefixtures("here")
def test_a_folder_that_cannot_be_looked_into_has_a_row(photos, tmp_path, monkeypatch):
    scandir = os.scandir

    def refusing(path):
        if Path(path).name == "monday visit":
            raise PermissionError(13, "Permission denied")
        return scandir(path)

    with monkeypatch.context() as patch:
        patch.setattr(os, "scandir", refusing)
        strandgauge.batch(photos, tmp_path / "out")
    rows = {row["file"]: row for row in lines(tmp_path / "out")}
    assert say("batch.unlisted") in rows["monday visit/"]["error"]["message"]
    strandgauge.batch(photos, tmp_path / "out", resume=True)
    assert [row["file"] for row in lines(tmp_path / "out")] == FILES
