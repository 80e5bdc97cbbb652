"""What phones do to large dark and bright areas: a photo of a dark window, brightened by formula where it is dark."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from strandgauge.card.find import find_card
from strandgauge.card.sample import sample_card
from strandgauge.colour.cielab import lab_from_xyz
from strandgauge.colour.srgb import LUMINANCE
from strandgauge.light.correction import Correction, FittedCard, fit_correction
from synthetic import Shot, linear_srgb, paint, photograph, srgb_curve

DARK_HAIR = (18.0, 3.0, 4.0)
ACROSS_PX = 100.0
"""Standard deviation of the blur: that of the model, 8 % of the card's longer side of some 1270 pixels."""


def drawn_together(power: float):
    """Return a camera that brightens dark surroundings: the sRGB curve on light times a power of them."""

    def curve(linear: np.ndarray) -> np.ndarray:
        around = cv2.GaussianBlur(np.log(np.maximum(linear @ LUMINANCE, 0.01)), (0, 0), ACROSS_PX)
        return srgb_curve(linear * np.exp(-power * (around - around.mean()))[..., None])

    return curve


def fitted(card, power: float, *, seeing: bool = True) -> tuple[FittedCard, np.ndarray]:
    """Return the fit to a card with dark hair in its window, and the hair's encoded colour (3,)."""
    sheet = paint(card)
    x, y, w, h = (round(12 * side) for side in card.window.box)
    sheet[y : y + h, x : x + w] = linear_srgb(DARK_HAIR)
    picture = photograph(sheet, card, Shot(curve=drawn_together(power), noise=0.002))
    view = find_card(picture, card)
    samples = sample_card(picture, view, card)
    samples = samples if seeing else replace(samples, surround=None)

    at = cv2.perspectiveTransform(middle(card)[None], view.homography)[0, 0]
    column, row = np.round(at).astype(int)
    patch = picture[row - 15 : row + 16, column - 15 : column + 16, ::-1] / 255.0
    return fit_correction(samples, card.size), patch.mean((0, 1))


def middle(card) -> np.ndarray:
    x, y, w, h = card.window.box
    return np.array([[x + w / 2, y + h / 2]])


def hair_off(correction: Correction, encoded: np.ndarray, card) -> float:
    lab = lab_from_xyz(correction.to_xyz(encoded[None], middle(card)))
    return float(deltaE_ciede2000(lab, np.array([DARK_HAIR]))[0])


@pytest.mark.parametrize("power", [0.1, 0.2])
def test_hair_in_surroundings_that_a_phone_brightened_comes_back(card, power):
    without, encoded = fitted(card, power, seeing=False)
    with_it, _ = fitted(card, power)
    assert with_it.correction.local == pytest.approx(-power, rel=0.5)
    assert hair_off(with_it.correction, encoded, card) < 0.7 * hair_off(without.correction, encoded, card)


def test_a_camera_that_leaves_surroundings_alone_is_not_told_to_touch_them(card):
    plain, encoded = fitted(card, 0.0)
    assert abs(plain.correction.local) < 0.03
    assert hair_off(plain.correction, encoded, card) < 1.5
    # The light over the card is told without it.
    places = np.array([[10.0, 10.0], [140.0, 95.0]])
    changed = replace(plain.correction, local=0.3)
    assert changed.light_factor(places) == pytest.approx(plain.correction.light_factor(places))
    assert not np.allclose(changed.factor(places), changed.light_factor(places))
