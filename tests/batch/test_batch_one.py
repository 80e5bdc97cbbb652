"""One photo becomes one record, whatever happens."""

from __future__ import annotations

import hashlib
import io
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from PIL import Image

from strandgauge.batches.one import read_one, wanted_shade
from strandgauge.batches.task import Task
from strandgauge.dye.targets import find_target
from strandgauge.hair.levels import load_ladder
from strandgauge.judge.outlook import Settings
from strandgauge.judge.reach import reach
from strandgauge.words.judge import saying

SAMPLES = Path(__file__).parents[2] / "sample_images"


def task(path: Path, **changes) -> Task:
    return replace(Task(path.name, path, wet=False, target=None), **changes)


def test_a_record_holds_what_the_kit_reads(kit, tmp_path, strands):
    path = tmp_path / "strand.jpg"
    path.write_bytes(strands[0])
    record = read_one(task(path, client="Nora", group="spring"), kit)
    assert record.reading == kit.measure(path).reading
    assert record.refusal is None
    assert record.digest == hashlib.sha256(strands[0]).hexdigest()
    assert (record.client, record.group) == ("Nora", "spring")
    assert Image.open(io.BytesIO(record.strip)).format == "JPEG"
    assert read_one(task(Path("strand.jpg"), client="Nora", group="spring"), kit, strands[0]) == record


@pytest.mark.parametrize("wet", [True, False])
def test_wet_is_asked_for_each_photo(kit, tmp_path, strands, wet):
    record = read_one(task(tmp_path / "x.jpg", wet=wet), kit, strands[0])
    assert record.reading.wet is wet


def test_time_is_the_manifests_or_else_the_cameras_even_of_a_refused_photo(kit):
    sample = SAMPLES / "refuse-blur.jpg"
    with Image.open(sample) as picture:
        stamp = picture.getexif().get_ifd(0x8769)[0x9003]
    taken = datetime.strptime(stamp, "%Y:%m:%d %H:%M:%S")
    record = read_one(task(sample), kit)
    assert (record.refusal.code, record.taken) == ("blur", taken)
    told = datetime(2026, 3, 5, 14, 30)
    assert read_one(task(sample, taken=told), kit).taken == told


def test_a_refusal_says_what_is_wrong_but_not_where_the_file_lies(kit, tmp_path, strands):
    (tmp_path / "cut.jpg").write_bytes(strands[0][:4000])
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "folder.jpg").mkdir()
    codes = {}
    for name in ("cut.jpg", "empty.jpg", "folder.jpg", "missing.jpg"):
        record = read_one(task(tmp_path / name), kit)
        assert record.reading is None
        assert record.strip is None
        assert record.refusal.remedy
        assert str(tmp_path) not in record.refusal.message
        codes[name] = (record.refusal.code, bool(record.digest))
    assert codes == {
        "cut.jpg": ("unreadable-file", True),
        "empty.jpg": ("unreadable-file", True),
        "folder.jpg": ("unreadable-file", False),
        "missing.jpg": ("unreadable-file", False),
    }


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (ZeroDivisionError("x"), "internal-error"),
        (MemoryError(), "out-of-memory"),
        (OSError(5, "x"), "internal-error"),
    ],
)
def test_what_nobody_foresaw_is_a_refusal_too(kit, tmp_path, strands, monkeypatch, error, code):
    def failing(*_, **__):
        raise error

    monkeypatch.setattr("strandgauge.kit.measure_photo", failing)
    record = read_one(task(tmp_path / "x.jpg"), kit, strands[0])
    assert (record.reading, record.refusal.code) == (None, code)
    assert record.digest == hashlib.sha256(strands[0]).hexdigest()


@pytest.mark.usefixtures("worded")
@pytest.mark.parametrize("shade", ["copper", "66,21,5"])
def test_the_wanted_shades_verdict_is_that_of_reach(kit, strands, shade):
    reading = kit.measure(strands[0]).reading
    wanted = wanted_shade(reading, shade, kit)
    from strandgauge.judge.outlook import base_zones

    target = find_target(shade, kit.targets)
    outlook = reach(
        base_zones(reading), target, kit.shelf, kit.targets, load_ladder(), Settings(pretone=False)
    )
    assert (wanted.verdict, wanted.needs_level) == (outlook.verdict, outlook.needs_level)
    assert any(wanted.saying.startswith(saying(zone, outlook.target.lab)) for zone in outlook.zones)
    assert wanted.target == target.name


def test_a_strand_of_which_nothing_can_be_foretold_is_still_read(kit, strands):
    record = read_one(task(Path("x.jpg"), target="no such shade"), kit, strands[0])
    assert record.reading is not None
    assert record.wanted is None
    assert "no-outlook" in {note.code for note in record.reading.notes}
