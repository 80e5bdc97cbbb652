"""Several photos of one strand make one reading, and their disagreement is part of its uncertainty."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest

from strandgauge.errors import DifferentStrandsError, SamePhotoError
from strandgauge.kit import shipped
from strandgauge.reading.evenness import difference_sd
from strandgauge.reading.pipeline import shot_of
from strandgauge.reading.together import is_turned, is_turned_pair

pytestmark = pytest.mark.whole

SAMPLES = Path(__file__).parents[2] / "sample_images"


def read(*photos, wet=False):
    return shipped().look(*photos, wet=wet).reading


@pytest.fixture(scope="module")
def shots():
    return [SAMPLES / "turned-a.jpg", SAMPLES / "turned-b.jpg"]


def test_the_joined_colour_is_nearer_than_the_worse_and_surer_than_either(shots):
    truth = json.loads((SAMPLES / "truth.json").read_text())["samples"]
    zones = next(s for s in truth if s["photo"] == "turned-a.jpg")["zones"]
    single, joined = [read(shot) for shot in shots], read(*shots)
    for k, zone in enumerate(joined.zones):
        true = np.array(zones[zone.name]["lab_diffuse"])
        parts = np.array([reading.zones[k].lab for reading in single])
        worst = np.linalg.norm(parts - true, axis=1).max()
        assert np.linalg.norm(np.array(zone.lab) - true) <= worst
        assert zone.level_sd < min(reading.zones[k].level_sd for reading in single)
    assert joined.photo == "turned-a.jpg + turned-b.jpg"
    assert (joined.photos, joined.turned_share) == (2, 1.0)
    assert single[0].turned_share < 0.9


def test_one_photo_together_is_that_photo(shots):
    assert read(*shots[:1]) == shipped().measure(shots[0]).reading


def test_different_strands_and_one_photo_twice_are_refused(shots):
    other = SAMPLES / "marta-1005.jpg"  # another strand, far darker
    with pytest.raises(DifferentStrandsError):
        read(shots[0], other)
    with pytest.raises(SamePhotoError):
        read(shots[0], shots[0])


@pytest.mark.parametrize("turn", [None, cv2.ROTATE_180, cv2.ROTATE_90_CLOCKWISE])
def test_a_copy_is_no_second_photo(shots, tmp_path, turn):
    photo = cv2.resize(cv2.imread(str(shots[0])), None, fx=0.7, fy=0.7, interpolation=cv2.INTER_AREA)
    copy = tmp_path / "copy.jpg"
    cv2.imwrite(str(copy), photo if turn is None else cv2.rotate(photo, turn), [cv2.IMWRITE_JPEG_QUALITY, 60])
    with pytest.raises(SamePhotoError):
        read(shots[0], copy)


def test_a_turned_pair_is_recognised(shots):
    first, second = (shot_of(shipped().measure(shot)) for shot in shots)
    other = shot_of(shipped().measure(SAMPLES / "marta-1041.jpg"))
    assert is_turned(first, second)
    at = datetime(2026, 3, 1, 10, 0, 0)
    soon, late = (
        replace(second, taken_at=at + timedelta(seconds=40)),
        replace(second, taken_at=at + timedelta(hours=1)),
    )
    first = replace(first, taken_at=at)
    assert is_turned_pair(first, soon)
    assert not is_turned_pair(first, late)
    assert not is_turned_pair(first, replace(soon, taken_at=None))
    assert not is_turned_pair(first, replace(soon, angle_deg=first.angle_deg))
    assert not is_turned_pair(first, replace(other, taken_at=at, angle_deg=soon.angle_deg))


def test_zones_of_one_strand_differ_more_surely_than_either_is_known(shots):
    reading = read(shots[0])
    root, _mids, ends = reading.zones
    assert difference_sd(reading, root, ends) < 0.8 * np.hypot(root.level_sd, ends.level_sd)


def test_wet_reads_lighter_and_less_surely():
    dry, wet = read(SAMPLES / "wet.jpg"), read(SAMPLES / "wet.jpg", wet=True)
    assert wet.overall.level > dry.overall.level + 0.5
    assert wet.overall.lab_sd[0] > dry.overall.lab_sd[0]
    assert wet.overall.level_sd > dry.overall.level_sd
    codes = [[note.code for note in one.notes] for one in (wet, dry, read(SAMPLES / "wet.jpg", wet=None))]
    assert [{"wet", "dry-assumed"} & set(one) for one in codes] == [{"wet"}, set(), {"dry-assumed"}]
