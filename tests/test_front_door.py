"""The front door for Python: what it takes, what its results can do, and that the page about it tells the truth."""

from __future__ import annotations

import doctest
import io
import json
import subprocess
import sys
from pathlib import Path

import pytest

import readings
import strandgauge as sg
from strandgauge import _front
from strandgauge.change.compare import compare
from strandgauge.errors import SamePhotoError
from strandgauge.hair.levels import load_ladder
from strandgauge.judge.follow import follow

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "sample_images" / "turned-a.jpg"


def test_importing_the_package_loads_nothing_heavy():
    heavy = {"numpy", "cv2", "scipy", "typer", "pydantic"}
    report = f"import sys, strandgauge; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", report], capture_output=True, check=True, text=True)
    assert done.stdout.strip() == "[]"


def test_a_reading_loads_nothing_that_it_does_not_need():
    heavy = {"scipy", "typer", "pydantic", "rich", "jinja2", "colour", "skimage"}
    report = (
        f"import sys, strandgauge as sg; sg.read({str(SAMPLE)!r}); print(sorted({heavy} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", report], capture_output=True, check=True, text=True)
    assert done.stdout.strip() == "[]"


def test_every_public_name_is_there_and_others_are_missed():
    assert all(getattr(sg, name) is not None and name in dir(sg) for name in sg.__all__)
    with pytest.raises(AttributeError, match="'reed'"):
        sg.reed  # noqa: B018 - the access is what is tested


@pytest.mark.holds_words
def test_the_page_about_python_tells_the_truth(monkeypatch):
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testfile(str(ROOT / "docs" / "python.md"), module_relative=False)
    assert failed == 0
    assert tried > 15


def test_a_photo_is_a_path_bytes_or_an_open_file(tmp_path):
    expected = sg.read(SAMPLE)
    data = SAMPLE.read_bytes()
    with SAMPLE.open("rb") as file:
        assert sg.read(file) == expected
    assert sg.read(str(SAMPLE)) == expected
    for nameless in (data, bytearray(data), memoryview(data), io.BytesIO(data)):
        found = sg.read(nameless)
        assert found.photo == "photo"
        assert found["root"] == expected["root"]
    saved = tmp_path / "saved.json"
    saved.write_text(json.dumps(expected.to_dict()))
    assert sg.read(saved) == expected
    for wrong in (io.StringIO("text"), 3, None):
        with pytest.raises(TypeError, match="binary mode"):
            sg.read(wrong)


def results():
    one, two = readings.reading(), readings.reading(levels=(8.0, 9.0, 9.2))
    yield _front.filled(sg.Reading, one)
    yield _front.filled(sg.Change, compare([one, two]))
    yield _front.filled(sg.LiftCurve, follow([one, two], [5, 20], ladder=load_ladder(), needs_level=9.5))
    yield _front.filled(sg.CardCheck, readings.check())
    yield sg.reach("70,2,26", "lilac")
    yield sg.mix("70,2,26", {"violet": 1, "clear": 9})


@pytest.fixture(scope="module", params=range(6))
def result(request):
    return list(results())[request.param]


def test_a_result_is_short_equal_to_itself_and_comes_back_from_its_document(result):
    again = type(result).from_dict(json.loads(json.dumps(result.to_dict())))
    assert again == result
    assert {again, result} == {result}
    assert result != 0
    assert "\n" not in repr(result)
    assert len(repr(result)) < 160


def test_a_result_shows_its_colours_and_no_markup_of_a_name(result):
    page = result._repr_html_()
    assert page.count("background:#") >= 2
    named = _front.filled(sg.Reading, readings.reading(photo="<script>.jpg"))
    assert "<script>" not in named._repr_html_()


def test_zones_are_found_by_name():
    reading = _front.filled(sg.Reading, readings.reading())
    assert [zone.name for zone in reading] == ["root", "mids", "ends"]
    assert reading["overall"].level == reading.overall.level
    assert repr(reading["root"]).startswith("<Zone root: level ")
    with pytest.raises(KeyError, match="no zone"):
        reading["tips"]


def test_follow_takes_photos_with_their_own_times():
    photos = [ROOT / "sample_images" / f"marta-{time}.jpg" for time in ("1005", "1041")]
    curve = sg.follow(photos, start="10:00", target="lilac")
    assert [round(look.minutes) for look in curve.looks] == [5, 41]
    assert curve.target == "lilac"


def test_one_photo_followed_twice_is_refused():
    look = _front.filled(sg.Reading, readings.reading())
    with pytest.raises(SamePhotoError):
        sg.follow([look, look], minutes=[5, 20])


def test_a_batch_leaves_the_name_to_the_function(tmp_path):
    folder = tmp_path / "photos"
    folder.mkdir()
    (folder / "a.jpg").write_bytes(SAMPLE.read_bytes())
    summary = sg.batch(str(folder), str(tmp_path / "out"), jobs=1)
    assert (summary.photos, summary.read) == (1, 1)
    assert callable(sg.batch)
