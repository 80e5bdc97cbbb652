"""``follow`` on photos, saved readings and what the user may get wrong."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from readings import reading, zone
from strandgauge.show.json import document_of
from strandgauge.words import say

SAMPLES = Path(__file__).parents[2] / "sample_images"
MARTA = [SAMPLES / f"marta-{clock}.jpg" for clock in (1005, 1022, 1041)]


@pytest.fixture
def stalled(tmp_path):
    """Three saved readings of a strand that has stopped lifting."""
    files = []
    for clock, level in ((1015, 7.0), (1030, 7.9), (1045, 7.95)):
        made = reading((level, level, level), overall=zone(level=level, level_sd=0.25))
        file = tmp_path / f"strand-{clock}.json"
        file.write_text(json.dumps(document_of(made)))
        files.append(file)
    return files


def test_times_from_the_camera_and_a_start(strandgauge, valid):
    outcome = strandgauge("follow", *MARTA, "--start", "10:00", "--limit", "50", "--json", "-")
    assert outcome.code == 0, outcome.err
    (document,) = outcome.documents()
    valid(document)
    assert [look["minutes"] for look in document["looks"]] == pytest.approx([5.35, 22.65, 41.05], abs=0.5)
    levels = [look["level"] for look in document["looks"]]
    assert levels == sorted(levels)
    assert document["curve"][-1]["minutes"] <= 50


def test_a_stalled_strand_stops_and_names_shades_that_read_true_now(strandgauge, stalled):
    outcome = strandgauge("follow", *stalled, "--start", "10:00", "--target", "pastel pink", "--limit", "60")
    assert outcome.code == 0
    assert outcome.out.startswith(say("lift-off.stalled"))
    assert say("lift.instead", shades="…").split("…")[0] in outcome.out
    assert say("sign.gummy") in outcome.out


def test_a_refused_photo_in_the_series_is_told_and_left_out(strandgauge):
    outcome = strandgauge(
        "follow", MARTA[0], SAMPLES / "refuse-blur.jpg", MARTA[1], "--at", "5,12,22", "--json", "-"
    )
    assert outcome.code == 0
    assert f"{say('command.left-out')}: refuse-blur.jpg" in outcome.err
    assert [look["minutes"] for look in outcome.documents()[0]["looks"]] == [5, 22]


def test_one_photo_given_as_two_looks_is_no_standstill(strandgauge, tmp_path):
    (tmp_path / "later.jpg").write_bytes(MARTA[0].read_bytes())
    outcome = strandgauge("follow", MARTA[0], tmp_path / "later.jpg", "--at", "5,22")
    assert outcome.code == 44
    assert say("refusal.same-photo", photos=f"{MARTA[0].name} + later.jpg") in outcome.err


def test_a_limit_needs_to_know_when_the_lightener_went_on(strandgauge, stalled):
    outcome = strandgauge("follow", *stalled, "--limit", "45")
    assert outcome.code == 71
    assert say("remedy.bad-times", fault="no-start") in outcome.err


@pytest.mark.parametrize(
    "options",
    [
        ["--at", "5,10"],
        ["--at", "5,10,x"],
        ["--start", "noon"],
        ["--start", "12:00"],
        ["--at", "5,10,15", "--limit", "-2"],
    ],
)
def test_times_that_cannot_be_are_one_line_and_code_71(strandgauge, stalled, options):
    outcome = strandgauge("follow", *stalled, *options)
    assert outcome.code == 71
    assert len(outcome.err.strip().splitlines()) == 1
    assert outcome.out == ""


@pytest.mark.parametrize(
    "arguments",
    [[], ["--folder", "nowhere"], ["x.jpg", "--folder", "."], ["x.jpg", "--at", "1", "--start", "9:00"]],
)
def test_wrong_usage(strandgauge, arguments):
    assert strandgauge("follow", *arguments).code == 2


def test_all_photos_of_a_folder(strandgauge, tmp_path):
    for photo in MARTA[:2]:
        (tmp_path / photo.name).symlink_to(photo)
    outcome = strandgauge("follow", "--folder", tmp_path, "--json", "-")
    assert len(outcome.documents()[0]["looks"]) == 2
