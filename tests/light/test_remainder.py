"""What is left on the card's patches, and what it tells of hair."""

from __future__ import annotations

import base64
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from strandgauge.card.sample import Samples, sampled_boxes
from strandgauge.colour.cielab import WHITE_D65
from strandgauge.errors import BadCalibrationError
from strandgauge.files.calibration import calibration_file
from strandgauge.kit import shipped
from strandgauge.light.correction import FittedCard, fit_correction
from strandgauge.light.remainder import (
    FARTHEST_SHIFT,
    NO_REMAINDER,
    OTHER_CARD,
    Remainder,
    RemainderModel,
    fit_signs,
    load_remainder_model,
    remainder,
)
from synthetic import linear_srgb, srgb_curve

HAIR = np.array([52.0, 14.0, 30.0])


@cache
def seen() -> tuple[FittedCard, Samples]:
    """Return the card as a camera of warm, falling light writes its true colours with the curve of sRGB."""
    card = shipped().card
    boxes = np.array(sampled_boxes(card))
    bare = len(boxes) - len(card.patches)
    true = np.array([patch.lab for patch in card.patches] + [card.paper] * bare)
    places = boxes[:, :2] + boxes[:, 2:] / 2
    light = linear_srgb(true) * [0.85, 0.8, 0.7] * np.exp(-0.002 * places[:, :1])
    ids = (*(patch.id for patch in card.patches), *["paper"] * bare)
    none = np.zeros(len(ids))
    is_patch = np.arange(len(ids)) < len(card.patches)
    encoded = srgb_curve(np.clip(light, 0.0, 1.0))
    samples = Samples(ids, places, encoded, none, none, none, true, is_patch)
    return fit_correction(samples, card.size), samples


def test_a_card_seen_truly_moves_hair_little():
    fitted, samples = seen()
    shift, _ = remainder(fitted, samples, shipped().card).on_hair(HAIR)
    assert float(deltaE_ciede2000(HAIR, HAIR + shift)) < 1.5


def test_another_card_tells_nothing_and_is_less_sure():
    fitted, samples = seen()
    card = shipped().card
    for other in (replace(card, version=2), replace(card, name="another card")):
        shift, error = remainder(fitted, samples, other).on_hair(HAIR)
        assert shift.tolist() == [0.0] * 3
        assert error.tolist() == OTHER_CARD.tolist()
    known = remainder(fitted, samples, card).on_hair(HAIR)[1]
    assert (known < OTHER_CARD).all()


def test_a_card_that_lacks_a_patch_tells_nothing():
    fitted, samples = seen()
    without = replace(samples, ids=tuple("other" if name == "D4" else name for name in samples.ids))
    assert remainder(fitted, without, shipped().card) is NO_REMAINDER
    without = replace(samples, ids=tuple("other" if name == "E1" else name for name in samples.ids))
    assert remainder(fitted, without, shipped().card) is NO_REMAINDER


@pytest.mark.parametrize("patch", ["A5", "D8"])
def test_a_covered_patch_says_nothing_of_hair(patch):
    fitted, samples = seen()
    row = samples.ids.index(patch)
    lab, weight = fitted.lab.copy(), fitted.weight.copy()
    weight[row] = 0.0
    hidden = replace(fitted, lab=lab.copy(), weight=weight)
    lab[row] += 40.0
    covered = replace(hidden, lab=lab)
    card = shipped().card
    told = [remainder(f, samples, card).on_hair(HAIR) for f in (hidden, covered)]
    assert told[0][0].tolist() == told[1][0].tolist()
    assert told[0][1].tolist() == told[1][1].tolist()
    believed = replace(covered, weight=fitted.weight)
    assert np.abs(remainder(believed, samples, card).on_hair(HAIR)[0] - told[0][0]).max() > 1e-3


def test_a_photo_like_none_that_was_learned_tells_nothing():
    fitted, samples = seen()
    model, card = load_remainder_model(), shipped().card
    odd = replace(
        fitted.for_hair, tone_weights=fitted.for_hair.tone_weights + 9.0 * np.eye(9, 3), veil=np.ones((2, 3))
    )
    usual = remainder(fitted, samples, card)
    assert usual.model is model
    left = np.where(samples.is_patch[:, None], 8.0, 0.0)
    far = replace(fitted, lab=samples.reference + left, for_hair=odd)
    assert remainder(far, samples, card) is NO_REMAINDER


def test_where_patches_are_set_aside_or_colours_are_odd_it_is_no_surer_than_beside_another_card():
    fitted, samples = seen()
    card = shipped().card
    calm = remainder(fitted, samples, card)
    assert calm.sure
    assert (calm.on_hair(HAIR)[1] < OTHER_CARD).all()
    weight = fitted.weight.copy()
    weight[samples.ids.index("A5")] = 0.05
    left = np.where(samples.is_patch[:, None], [0.0, 2.5, -2.5], 0.0)
    for doubted in (
        replace(fitted, weight=weight),
        replace(fitted, lab=samples.reference + left),
    ):
        told = remainder(doubted, samples, card)
        assert not told.sure
        assert (told.on_hair(HAIR)[1] >= OTHER_CARD).all()
        assert np.abs(told.on_hair(HAIR)[0]).max() > 0.0


def test_greys_of_a_step_are_weighed_as_the_fit_weighed_them():
    fitted, samples = seen()
    rows = np.array([samples.ids.index(name) for name in ("C1", "C7")])
    lab, weight = fitted.lab.copy(), np.ones(len(samples.ids))
    lab[rows] = samples.reference[rows] + [[1.0, 2.0, 3.0], [5.0, 6.0, 7.0]]
    weight[rows] = 0.2, 0.6
    colours = np.array([samples.ids.index("A1")])
    signs, known = fit_signs(replace(fitted, lab=lab, weight=weight), samples, colours, [rows])
    assert signs[3:6] == pytest.approx([4.0, 5.0, 6.0], abs=0.01)
    assert known.all()


def test_the_fit_itself_is_read_by_what_it_does_to_white_and_to_channels():
    """By hand: light of white is 2, 1, 0.5 in the camera's primaries, so that the matrix is none once balanced."""
    fitted, samples = seen()
    white = np.array([2.0, 1.0, 0.5])
    curve = np.arange(1.0, 10.0)
    correction = replace(
        fitted.correction,
        matrix=np.diag(WHITE_D65 / white),
        tone_weights=curve[:, None] + [-2.0, -1.0, 3.0],
        local=0.25,
        veil=np.array([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]),
        tone_offsets=np.array([7.0, 8.0, 9.0]),
    )
    weight = np.where(samples.is_patch, 0.5, 0.9)
    none = np.zeros(0, dtype=np.intp)
    alone = replace(fitted, correction=correction, for_hair=correction, weight=weight)
    signs, known = fit_signs(alone, samples, none, [])
    assert known.tolist() == [True] * 47
    blocks = np.split(signs, np.cumsum([6, 9, 18, 1, 6, 3, 1, 1]))
    assert blocks[0].reshape(3, 2) == pytest.approx(np.array([[1, 0], [0, 0], [0, 1]]), abs=1e-12)
    assert blocks[1] == pytest.approx(curve)
    assert blocks[2].reshape(9, 2) == pytest.approx(np.tile([-2.0, 3.0], (9, 1)))
    assert [block.tolist() for block in blocks[3:7]] == [[0.25], [1, 2, 3, 4, 5, 6], [7, 8, 9], [0.0]]
    assert blocks[7] == pytest.approx(np.log([0.501]))
    assert blocks[8] == pytest.approx(np.log([2.0, 0.5]))
    apart = replace(alone, for_hair=replace(correction))
    assert fit_signs(apart, samples, none, [])[0][43] == 1.0


def test_what_is_left_on_a_patch_counts_up_to_its_limit_and_in_its_order():
    fitted, samples = seen()
    rows = np.array([samples.ids.index(name) for name in ("A1", "D5")])
    lab = fitted.lab.copy()
    lab[rows] = samples.reference[rows] + [[1.0, -2.0, 3.0], [9.0, -20.0, 4.0]]
    weight = np.ones(len(samples.ids))
    weight[rows[1]] = 0.1
    signs, known = fit_signs(replace(fitted, lab=lab, weight=weight), samples, rows, [])
    assert signs[:6] == pytest.approx([1.0, -2.0, 3.0, 8.0, -8.0, 4.0])
    assert known.all()
    weight[rows[1]] = 0.09
    known = fit_signs(replace(fitted, lab=lab, weight=weight), samples, rows, [])[1]
    assert known[:6].tolist() == [True] * 3 + [False] * 3


def constant(told: np.ndarray) -> Remainder:
    """Return a remainder whose network says this of every hair."""
    model = RemainderModel(
        "any", 1, (), (), np.zeros(0), np.zeros(0), np.zeros((1, 0)), np.zeros((4, 1)), np.zeros((2, 6))
    )
    weights = np.zeros((2, 6))
    weights[1] = told
    return Remainder(np.zeros(0), replace(model, told=weights))


def test_hair_is_moved_no_further_than_the_limit():
    shift, error = constant(np.array([30.0, -30.0, 2.0, 0.1, 0.2, 0.3])).on_hair(HAIR)
    assert shift.tolist() == [FARTHEST_SHIFT, -FARTHEST_SHIFT, 2.0]
    assert error.tolist() == [0.1, 0.2, 0.3]


def test_signs_far_out_of_the_usual_count_no_further():
    fitted, samples = seen()
    card = shipped().card
    far, farther = (
        replace(
            fitted,
            for_hair=replace(fitted.for_hair, local=local),
        )
        for local in (50.0, 5e6)
    )
    assert remainder(far, samples, card).on_hair(HAIR)[0].tolist() == (
        remainder(farther, samples, card).on_hair(HAIR)[0].tolist()
    )


# --- the file ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("usual", "not base64!"),
        ("spread", base64.b64encode(np.ones(3, "<f4").tobytes()).decode()),
        ("seen_weights", base64.b64encode(np.ones(5, "<f2").tobytes()).decode()),
        ("told_weights", base64.b64encode(np.full(582, np.inf, "<f2").tobytes()).decode()),
    ],
)
def test_a_damaged_network_is_refused_with_its_line(tmp_path, monkeypatch, name, text):
    lines = calibration_file("remainder.toml").read_text().splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith(f"{name} = "))
    lines[at] = f'{name} = "{text}"'
    path = tmp_path / "remainder.toml"
    path.write_text("\n".join(lines))
    monkeypatch.setattr("strandgauge.light.remainder.calibration_file", lambda *_: path)
    with pytest.raises(BadCalibrationError, match=rf"remainder\.toml:{at + 1}"):
        load_remainder_model.__wrapped__()


@pytest.mark.parametrize(
    ("was", "now"), [('colours = "A1 ', 'colours = "'), (", B10 C3,", ","), (", B10 C3,", ", ,")]
)
def test_a_network_that_names_other_patches_than_it_has_signs_for_is_refused(tmp_path, monkeypatch, was, now):
    text = calibration_file("remainder.toml").read_text()
    assert was in text
    path = tmp_path / "remainder.toml"
    path.write_text(text.replace(was, now))
    monkeypatch.setattr("strandgauge.light.remainder.calibration_file", lambda *_: path)
    with pytest.raises(BadCalibrationError, match="as many patches"):
        load_remainder_model.__wrapped__()


def test_the_network_names_every_patch_of_the_shipped_card_once():
    model = load_remainder_model()
    named = [*model.colours, *(name for step in model.greys for name in step)]
    assert sorted(named) == sorted(patch.id for patch in shipped().card.patches)
