"""What a check doubts: each damage done to numbers that a card gives, and each limit at both its sides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strandgauge.card.sample import Samples
from strandgauge.colour.cielab import delta_e_2000, xyz_from_lab
from strandgauge.colour.srgb import RGB_FROM_XYZ, srgb_decode
from strandgauge.light.correction import Correction, FittedCard, fit_correction, refit_left_out
from strandgauge.light.doubts import (
    DoubtLimits,
    colours_gain,
    find_doubts,
    load_doubt_limits,
    odd_patches,
    patch_notes,
    veil,
)
from strandgauge.reading.pipeline import default_card
from synthetic import srgb_curve

CARD = default_card()
ROW = {patch.id: row for row, patch in enumerate(CARD.patches)}
CAMERA = np.diag([1.2, 0.95, 0.7]) @ np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.02, 0.12, 0.86]])


def measured(light=None) -> Samples:
    """Return what a camera with primaries of its own writes of the card's patches."""
    places = np.array([patch.centre for patch in CARD.patches])
    linear = xyz_from_lab(CARD.patch_labs) @ RGB_FROM_XYZ.T @ CAMERA.T * 0.7
    if light is not None:
        linear = linear * light(places)[:, None]
    count = len(CARD.patches)
    return Samples(
        ids=tuple(ROW),
        places=places,
        encoded=np.clip(srgb_curve(np.clip(linear, 0, 1)), 0, 1),
        spread=np.zeros(count),
        clipped_high=np.zeros(count),
        clipped_low=np.zeros(count),
        reference=CARD.patch_labs,
        is_patch=np.ones(count, bool),
    )


def covered(*ids: str) -> Samples:
    """Blue paper lies on patches, and takes as much light as it gets there."""
    samples = measured()
    encoded = samples.encoded.copy()
    encoded[[ROW[one] for one in ids]] = [0.2, 0.45, 0.65]
    return replace(samples, encoded=encoded)


def exchanged(*pairs: tuple[str, str]) -> Samples:
    samples = measured()
    encoded = samples.encoded.copy()
    for one, other in pairs:
        encoded[[ROW[one], ROW[other]]] = encoded[[ROW[other], ROW[one]]]
    return replace(samples, encoded=encoded)


def under_veil(share: float) -> Samples:
    samples = measured()
    linear = srgb_decode(samples.encoded)
    return replace(samples, encoded=srgb_curve(linear + share * 0.7))


def strengthened(factor: float) -> Samples:
    samples = measured()
    grey = (samples.encoded @ [0.299, 0.587, 0.114])[:, None]
    return replace(samples, encoded=np.clip(grey + factor * (samples.encoded - grey), 0, 1))


def told(samples: Samples) -> list[tuple[str, dict]]:
    fitted = fit_correction(samples, CARD.size)
    found = find_doubts(samples, fitted, fitted.lab_left_out, CARD)
    return [(note.code, dict(note.facts)) for note in found.notes]


@pytest.mark.parametrize(
    "samples",
    [
        measured(),
        under_veil(0.02),
        strengthened(0.9),
        measured(
            light=lambda places: 1 - 0.5 * (places[:, 0] > 85)
        ),  # half of it in shadow: told as uneven light
    ],
)
def test_a_good_card_is_not_doubted(samples):
    assert told(samples) == []


@pytest.mark.parametrize("ids", [("A5",), ("A5", "B4", "D6"), ("A5", "A9", "B4", "C1", "D6", "D12")])
def test_covered_patches_are_named_and_move_no_other(ids):
    samples = covered(*ids)
    ((code, facts),) = told(samples)
    assert (code, facts["count"]) == ("patches-unlike", len(ids))
    assert [one.split(" (")[0] for one in str(facts["patches"]).split("), ")] == list(ids)
    others = np.array([name not in ids for name in ROW])
    moved = fit_correction(samples, CARD.size).lab[others] - fit_correction(measured(), CARD.size).lab[others]
    assert np.abs(moved).max() < 1.5


def test_exchanged_patches_are_named_with_each_other():
    assert told(exchanged(("D3", "D8"))) == [
        ("patches-exchanged", {"first": "D3 (red)", "other": "D8 (blue)"})
    ]
    codes = [code for code, _ in told(exchanged(("A2", "D9"), ("A8", "D7")))]
    assert codes == ["patches-exchanged", "patches-exchanged"]


def test_a_veil_is_told_with_its_strength():
    ((code, facts),) = told(under_veil(0.10))
    assert code == "veiled"
    assert facts["percent"] == pytest.approx(10.0, abs=3.0)


def test_strengthened_colours_are_told():
    assert [code for code, _ in told(strengthened(1.4))] == ["strong-colours"]


# --- each limit at both sides ---------------------------------------------------------------------------

LIMITS = DoubtLimits(12.0, 0.2, 20.0, 0.065, 1.4, 1.1)


def test_the_limits_that_ship():
    assert load_doubt_limits() == LIMITS


def grey_off(lightness: float, id_: str = "B5") -> tuple[Samples, np.ndarray]:
    """Return the card, and CIELAB as printed but for one patch of another lightness."""
    samples = measured()
    lab = samples.reference.copy()
    lab[ROW[id_], 0] += lightness
    return samples, lab


@pytest.mark.parametrize(("off", "odd"), [(11.9, False), (12.1, True)])
@pytest.mark.parametrize("patch", ["B5", "A12"])  # a grey, and a colour of chroma 13
def test_a_patch_is_odd_beyond_the_limit(patch, off, odd):
    samples, lab = grey_off(0.0)
    row = ROW[patch]
    shift = 0.0
    while delta_e_2000(lab[row], samples.reference[row]) < off:
        shift += 0.01
        lab[row, 0] = samples.reference[row, 0] - shift
    everything = np.ones(len(samples.ids), bool)
    assert odd_patches(samples, lab, everything, LIMITS) == ([row] if odd else [])
    everything[row] = False
    assert odd_patches(samples, lab, everything, LIMITS) == []


@pytest.mark.parametrize(
    ("chroma", "off", "odd"), [(40.0, 15.9, False), (40.0, 16.1, True), (20.0, 12.1, True)]
)
def test_vivid_patches_may_stray_further(chroma, off, odd):
    samples, _ = grey_off(0.0)
    reference = samples.reference.copy()
    reference[0] = [50.0, chroma, 0.0]
    lab = reference.copy()
    while delta_e_2000(lab[0], reference[0]) < off:
        lab[0, 0] += 0.01
    assert odd_patches(replace(samples, reference=reference), lab, np.ones(len(lab), bool), LIMITS) == (
        [0] if odd else []
    )


def test_bare_paper_is_no_patch():
    samples, lab = grey_off(30.0)
    paper = replace(samples, is_patch=np.arange(len(lab)) != ROW["B5"])
    assert odd_patches(paper, lab, np.ones(len(lab), bool), LIMITS) == []


def test_patches_that_only_one_way_look_like_each_other_are_not_exchanged():
    samples, lab = grey_off(0.0)
    red, blue = ROW["D3"], ROW["D8"]
    lab[red], lab[blue] = samples.reference[blue], [90.0, 0.0, 0.0]
    (note,) = patch_notes(samples, lab, [red, blue], CARD)
    assert (note.code, dict(note.facts)) == ("patches-unlike", {"count": 2, "patches": "D3 (red), D8 (blue)"})
    lab[blue] = samples.reference[red]
    (note,) = patch_notes(samples, lab, [red, blue], CARD)
    assert note.code == "patches-exchanged"


def test_a_patch_without_a_name_goes_by_its_id():
    samples, lab = grey_off(30.0)
    nameless = replace(CARD, patches=tuple(replace(patch, name="") for patch in CARD.patches))
    (note,) = patch_notes(samples, lab, [ROW["B5"]], nameless)
    assert dict(note.facts)["patches"] == "B5"


FLAT = Correction(
    np.zeros((9, 3)), np.zeros(3), np.zeros(13), np.zeros((2, 5)), np.eye(3), np.zeros((2, 3)), CARD.size
)


@pytest.mark.parametrize("share", [0.0, 0.05, 0.2])
def test_the_veil_is_what_was_added(share):
    """Over even light, and as seen by the channel that has least of it."""
    samples = measured()
    flat = replace(FLAT, brightness_terms=np.zeros(13))
    printed = xyz_from_lab(samples.reference)[:, 1]
    grey = np.abs(samples.reference[:, 1:]).max(1) < 1
    linear = np.where(grey[:, None], 0.6 * (printed[:, None] + share * np.array([1.0, 1.2, 1.5])), 0.3)
    seen = replace(samples, encoded=srgb_curve(linear))
    everything = np.ones(len(linear), bool)
    assert veil(seen, everything, flat) == pytest.approx(share, abs=1e-6)
    assert veil(seen, ~grey, flat) == 0.0
    light = grey & (samples.reference[:, 0] > 50)
    assert veil(seen, light, flat) == pytest.approx(share, abs=1e-6)
    assert veil(seen, light & (samples.reference[:, 0] < 75), flat) == 0.0  # greys too much alike


def test_over_a_card_that_is_black_in_one_channel_lies_no_veil():
    samples = measured()
    linear = np.repeat(0.6 * (xyz_from_lab(samples.reference)[:, 1:2] + 0.1), 3, axis=1) * [1.0, 1.0, 0.0]
    seen = replace(samples, encoded=srgb_curve(linear))
    assert -0.1 < veil(seen, np.ones(len(linear), bool), FLAT) <= 0.0


def test_a_veil_is_found_where_few_greys_lie_far_apart():
    """Six steps of 14 L*, and local tone that would explain the veil."""
    samples = measured()
    few = np.isin(np.arange(len(samples.ids)), [ROW[name] for name in ("B11", "B10", "B8", "B9", "B1", "B5")])
    reference = samples.reference.copy()
    reference[few, 0] = [96.0, 66.0, 22.0, 81.0, 51.0, 36.0]
    linear = 0.6 * (xyz_from_lab(reference)[:, 1:2] + 0.1) * np.ones(3)
    brighter_to_the_right = np.tile(np.linspace(-0.5, 0.5, 9, dtype=np.float32), (7, 1))
    toned = replace(FLAT, brightness_terms=np.zeros(13), local=0.3, surround=brighter_to_the_right)
    seen = replace(samples, encoded=srgb_curve(linear), reference=reference)
    assert veil(seen, few, toned) == pytest.approx(0.1, abs=1e-6)


def test_the_veil_is_that_under_the_light_that_falls_there():
    samples = measured()
    tilted = replace(FLAT, brightness_terms=np.r_[0.4, np.zeros(12)])
    printed = xyz_from_lab(samples.reference)[:, 1:2]
    linear = 0.5 * np.repeat(printed, 3, axis=1) * tilted.factor(samples.places)
    seen = replace(samples, encoded=srgb_curve(linear))
    assert veil(seen, np.ones(len(linear), bool), tilted) == pytest.approx(0.0, abs=1e-6)


def test_a_covered_patch_says_nothing_of_the_colours_strength():
    clean, dirty = (fit_correction(one, CARD.size) for one in (strengthened(1.4), strengthened(1.4)))
    dirty.delta_e00[ROW["A5"]] = 60.0
    clean.delta_e00[ROW["A5"]] = 8.0
    samples = strengthened(1.4)
    assert colours_gain(samples, dirty, CARD.size, 1.4) == colours_gain(samples, clean, CARD.size, 1.4)


# --- left out, truly ------------------------------------------------------------------------------------


def test_a_patch_left_out_is_judged_by_a_fit_that_never_saw_it():
    few = [row for row in range(len(CARD.patches)) if row % 4 == 0]
    samples = measured()
    off = np.random.default_rng(3).normal(0, 2.5, samples.reference.shape)
    samples = Samples(
        ids=tuple(samples.ids[row] for row in few),
        **{
            name: getattr(samples, name)[few]
            for name in ("places", "encoded", "spread", "clipped_high", "clipped_low", "is_patch")
        },
        reference=(samples.reference + off)[few],
    )
    usable = np.arange(len(few)) != 2
    fitted: FittedCard = fit_correction(samples, CARD.size, usable)
    lab = refit_left_out(samples, CARD.size, fitted)
    for row in (0, 5, 9):
        others = usable & (np.arange(len(few)) != row)
        assert np.array_equal(lab[row], fit_correction(samples, CARD.size, others).lab[row])
    assert np.array_equal(lab[2], fitted.lab[2])
    assert delta_e_2000(lab, samples.reference)[usable].mean() > 1.2 * fitted.delta_e00[usable].mean()
