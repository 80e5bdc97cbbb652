"""The committed sample photos, read and held against what the renderer that made them knows.

Truth: ``sample_images/truth.json``, from path tracing and the CIE 1931 2 degree observer, not from this package.
The limits follow from what a reading is for: an error must not pass for another level, and a 95 % interval must
hold. What is measured is in ``docs/accuracy.md``.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from strandgauge.errors import StrandgaugeError
from strandgauge.hair.levels import load_ladder
from strandgauge.kit import shipped
from strandgauge.reading.model import Reading

FOLDER = Path(__file__).parents[2] / "sample_images"
SAMPLES = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["samples"]
READABLE = [sample for sample in SAMPLES if sample["refuse"] is None]
REFUSED = [sample for sample in SAMPLES if sample["refuse"] is not None]
DRY = [sample for sample in READABLE if not sample["wet"]]


@cache
def reading_of(photo: str, wet: bool) -> Reading:
    return shipped().measure(FOLDER / photo, wet=wet).reading


def zones_of(reading: Reading):
    return {zone.name: zone for zone in (reading.overall, *reading.zones)}


def truth_and_readings(samples):
    """Return (true zone, zone as read) of every zone; hair read as it lies, wet or dry."""
    for sample in samples:
        zones = zones_of(reading_of(sample["photo"], False))
        assert set(zones) == set(sample["zones"])
        yield from ((sample["zones"][name], zones[name]) for name in zones)


def errors(samples, true_key, read_key):
    pairs = [(t[true_key], getattr(r, read_key)) for t, r in truth_and_readings(samples)]
    true, read = (np.array(side) for side in zip(*pairs, strict=True))
    return deltaE_ciede2000(true, read)


def level_errors_and_half_widths(samples):
    """Return the level's error and the half-width of its 95 % interval, for every zone."""
    ladder = load_ladder()
    rows = [
        (r.level - float(ladder.level_of(t["lab_diffuse"])), 1.96 * r.level_sd)
        for t, r in truth_and_readings(samples)
    ]
    return np.array(rows).T


@pytest.mark.parametrize("sample", REFUSED, ids=lambda s: s["photo"])
def test_what_cannot_be_trusted_is_refused_for_its_own_reason(sample):
    with pytest.raises(StrandgaugeError) as refusal:
        shipped().measure(FOLDER / sample["photo"])
    assert refusal.value.code == sample["refuse"]


def test_colour_as_lit():
    """Off by less than half the step to the next level, on average, and by a whole one in 5 of 100 zones at most."""
    ladder = load_ladder()
    true = np.array([t["lab_as_lit"] for t, _ in truth_and_readings(READABLE)])
    level = np.clip(ladder.level_of(true), 1.5, ladder.lightest - 0.5)
    step = deltaE_ciede2000(ladder.lab_at(level - 0.5), ladder.lab_at(level + 0.5))
    off = errors(READABLE, "lab_as_lit", "lab_as_lit")
    assert off.mean() <= 1.4
    assert np.percentile(off, 95) <= 4.0
    share = off / step
    assert share.mean() <= 0.5
    assert (share <= 1.0).mean() >= 0.95


def test_diffuse_colour_from_one_photo():
    """Within the uncertainty stated for each of L*, a*, b*: the 95 % of a normal error, less what chance allows."""
    pairs = [(np.array(t["lab_diffuse"]), r) for t, r in truth_and_readings(READABLE)]
    held = [abs(np.array(r.lab) - true) <= 1.96 * np.array(r.lab_sd) for true, r in pairs]
    share, least = np.mean(held, axis=0), 0.95 - 3 * np.sqrt(0.95 * 0.05 / len(READABLE))
    assert (share >= least).all(), share


def test_level():
    error, half_width = level_errors_and_half_widths(READABLE)
    assert np.abs(error).mean() <= 0.5  # beyond half a level it would be another one
    assert (np.abs(error) <= half_width).mean() >= 0.90


def test_stated_interval_of_the_level_is_not_bought_by_width():
    # The aim is a median half-width of 0.6. One photo tells the light's direction too weakly for that
    # (docs/accuracy.md): narrower intervals held 89 % where they said 95,
    # or 85 in families of light, lock or camera that were left out of the fit.
    _error, half_width = level_errors_and_half_widths(DRY)
    assert np.median(half_width) <= 1.0


def test_dry_estimate_of_wet_hair_covers_the_dry_level():
    (sample,) = [sample for sample in READABLE if sample["wet"]]
    ladder = load_ladder()
    for name, zone in zones_of(reading_of(sample["photo"], True)).items():
        true = float(ladder.level_of(sample["dry_zones"][name]["lab_diffuse"]))
        assert abs(zone.level - true) <= 1.96 * zone.level_sd, name


def test_two_photos_with_the_card_turned():
    first, second = (s for s in SAMPLES if s["turned_with"])
    joined = zones_of(shipped().look(FOLDER / first["photo"], FOLDER / second["photo"]).reading)
    for sample in (first, second):
        true = [sample["zones"][name]["lab_diffuse"] for name in joined]
        read = [zone.lab for zone in joined.values()]
        assert deltaE_ciede2000(np.array(true), np.array(read)).mean() <= 2.5
    ladder = load_ladder()
    for name, zone in joined.items():
        true_level = np.mean([ladder.level_of(s["zones"][name]["lab_diffuse"]) for s in (first, second)])
        assert abs(zone.level - true_level) <= 1.96 * zone.level_sd, name
