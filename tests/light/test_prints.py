"""What a print does to the card and not to the hair: gloss, inks that only look grey; colours against greys."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from strandgauge.card.sample import Samples
from strandgauge.colour.cielab import lab_from_xyz, xyz_from_lab
from strandgauge.colour.srgb import RGB_FROM_XYZ
from strandgauge.light import tone
from strandgauge.light.correction import Correction, fit_correction
from strandgauge.light.trust import LIMITS
from strandgauge.reading.pipeline import default_card
from synthetic import srgb_curve

CARD = default_card()
PRINTED = np.array([patch.lab for patch in CARD.patches])
BOXES = np.array([patch.box for patch in CARD.patches])
PLACES = BOXES[:, :2] + BOXES[:, 2:] / 2
COLOURS = np.hypot(PRINTED[:, 1], PRINTED[:, 2]) >= 5
HAIR = np.array([[14.0, 2.0, 2.0], [22.0, 6.0, 9.0], [40.0, 12.0, 26.0], [75.0, 4.0, 30.0]])
LYING = np.array([[x, 52.5] for x in (40.0, 60.0, 80.0, 100.0)])


def seen(light: np.ndarray, reference: np.ndarray = PRINTED) -> Samples:
    """Return samples of the card's patches that send linear sRGB `light` (N, 3) to a camera of the plain curve."""
    none = np.zeros(len(light))
    return Samples(
        tuple(patch.id for patch in CARD.patches),
        PLACES,
        srgb_curve(np.clip(light, 0, 1)),
        none + 0.003,
        none,
        none,
        reference,
        none == 0,
    )


def linear(lab: np.ndarray) -> np.ndarray:
    return np.asarray(0.8 * xyz_from_lab(lab) @ RGB_FROM_XYZ.T)


def hair_by(correction: Correction, light: np.ndarray) -> np.ndarray:
    """Return the CIELAB told of hair that sends `light`, as a region is corrected."""
    encoded = srgb_curve(np.clip(light, 0, 1))
    shown = tone.decode(encoded, correction.tone_weights, correction.bare_offsets)
    return lab_from_xyz(np.maximum(shown / correction.factor(LYING) @ correction.matrix.T, 1e-4))


@pytest.mark.parametrize("slope", [(0.012, 0.0), (-0.007, 0.007)])
def test_gloss_of_the_print_is_not_taken_from_the_hair(slope):
    """A veil that grows over the card, as of a bright wall mirrored in it; it is nowhere less than none."""
    across = 2 * PLACES / CARD.size - 1
    veil = np.abs(slope).sum() * 1.2 + across @ slope
    correction = fit_correction(seen(linear(PRINTED) + veil[:, None]), CARD.size).correction
    off = hair_by(correction, linear(HAIR)) - HAIR
    card_alone = tone.decode(
        srgb_curve(linear(HAIR)), correction.tone_weights, correction.tone_offsets
    ) / correction.factor(LYING)
    darkened = lab_from_xyz(np.maximum(card_alone @ correction.matrix.T, 1e-4)) - HAIR
    assert darkened[1, 0] < -2.0
    assert np.abs(off[1:, 0]).max() < 0.3 * np.abs(darkened[1, 0])
    assert (np.sign(np.round(correction.veil[:, 1], 4)) == np.sign(slope)).all()


def test_a_matt_print_has_no_gloss():
    assert np.abs(fit_correction(seen(linear(PRINTED)), CARD.size).correction.veil).max() < 5e-4


@pytest.mark.parametrize("cast", [(6.0, 0.0), (0.0, -6.0)])
def test_hair_does_not_get_the_cast_that_mixed_inks_have_to_a_camera(cast):
    """Everything printed looks off to the camera, the more the more ink; hair of the same colour does not."""
    ink = (95.0 - PRINTED[:, :1]) / 80.0
    looks = PRINTED + np.c_[0 * ink, ink * (1 - 0.65 * ink) * cast]
    fitted = fit_correction(seen(linear(looks)), CARD.size)
    off = np.abs(hair_by(fitted.correction, linear(HAIR)) - HAIR)[:, 1:]
    most = 0.38 * np.abs(cast).max()
    assert off[:3].max() < 0.5 * most
    assert fitted.delta_e00[COLOURS].max() < 1.0


def test_where_greys_and_colours_contradict_each_other_colours_are_believed():
    """Greys of a strong cast, as to a camera under a lamp of three narrow bands; the colours look as they should."""
    looks = PRINTED.copy()
    ink = np.clip((95.0 - PRINTED[~COLOURS, :1]) / 80.0, 0.0, 1.0)
    looks[~COLOURS, 1:] += ink**2 * (40.0, -40.0)
    fitted = fit_correction(seen(linear(looks)), CARD.size)
    by_greys, by_colours = (
        deltaE_ciede2000(hair_by(one, linear(HAIR)), HAIR).mean()
        for one in (fitted.correction, fitted.for_hair)
    )
    assert by_colours < 0.6 * by_greys
    assert np.median(deltaE_ciede2000(lab_from_xyz(fitted.xyz), PRINTED)[COLOURS]) > LIMITS.misfit[1]
    assert np.median(fitted.delta_e00[COLOURS]) < LIMITS.misfit[1]


def test_another_cards_colours_are_not_believed():
    rows = np.flatnonzero(COLOURS)
    for seed in range(3):
        printed = PRINTED.copy()
        printed[rows] = printed[np.random.default_rng(seed).permutation(rows)]
        fitted = fit_correction(seen(linear(printed)), CARD.size)
        assert fitted.for_hair is fitted.correction
        assert np.median(fitted.delta_e00[COLOURS]) > LIMITS.misfit[1]
    grey = np.c_[PRINTED[:, 0], np.zeros((len(PRINTED), 2))]
    fitted = fit_correction(seen(linear(grey)), CARD.size)
    assert np.median(fitted.delta_e00[COLOURS]) > LIMITS.misfit[1]
