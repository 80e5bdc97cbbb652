"""Several photos of one strand make one reading, and their disagreement is part of its uncertainty."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from strandgauge.reading.pipeline import read_photo, read_together

SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.fixture(scope="module")
def shots():
    return [SAMPLES / "turned-a.jpg", SAMPLES / "turned-b.jpg"]


def test_the_joined_colour_lies_between_and_is_no_worse(shots):
    truth = json.loads((SAMPLES / "truth.json").read_text())["samples"]
    zones = next(s for s in truth if s["photo"] == "turned-a.jpg")["zones"]
    single, joined = [read_photo(shot) for shot in shots], read_together(shots)
    for k, zone in enumerate(joined.zones):
        true = np.array(zones[zone.name]["lab_diffuse"])
        parts = np.array([reading.zones[k].lab for reading in single])
        assert np.allclose(zone.lab, parts.mean(0), atol=1e-6)
        worst = np.linalg.norm(parts - true, axis=1).max()
        assert np.linalg.norm(np.array(zone.lab) - true) <= worst
    assert joined.photo == "turned-a.jpg + turned-b.jpg"


def test_one_photo_together_is_that_photo(shots):
    assert read_together(shots[:1]) == read_photo(shots[0])


def test_photos_that_disagree_widen_the_interval(shots):
    other = SAMPLES / "marta-1005.jpg"  # another strand, far darker
    alike, apart = read_together(shots), read_together([shots[0], other])
    assert apart.overall.lab_sd[0] > 2 * alike.overall.lab_sd[0]


def test_wet_reads_lighter_and_less_surely():
    dry, wet = read_photo(SAMPLES / "wet.jpg"), read_photo(SAMPLES / "wet.jpg", wet=True)
    assert wet.overall.level > dry.overall.level + 0.5
    assert all(w >= d for w, d in zip(wet.overall.lab_sd, dry.overall.lab_sd, strict=True))
    assert "wet" in [note.code for note in wet.notes]
