"""The joint fit undoes light, camera and curve on cards whose true colours are known."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from strandgauge.card.find import find_card
from strandgauge.card.sample import sample_card
from strandgauge.colour.cielab import difference_weights, lab_from_xyz, lab_slope
from strandgauge.light import tone
from strandgauge.light.correction import fit_correction, with_paper_seen
from synthetic import Shot, paint, photograph, srgb_curve


def filmic(linear):
    v = srgb_curve(np.clip(linear, 0, 1))
    return v + 0.15 * np.sin(2 * np.pi * (v - 0.5)) / (2 * np.pi)


def lifted(linear):
    return 0.04 + 0.96 * filmic(linear + 0.01)


WARM = np.diag([1.3, 0.9, 0.5]) @ np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.02, 0.12, 0.86]])
SHOTS = {
    "plain": Shot(),
    "s-shaped curve": Shot(curve=filmic),
    "lifted blacks and veiling glare": Shot(curve=lifted),
    "warm light, strange primaries": Shot(camera=WARM, exposure=0.7),
    "falling light and s-curve": Shot(
        light=lambda x, y: np.exp(-0.4 * x + 0.2 * y - 0.2 * x * x) / 1.3, curve=filmic
    ),
    "two lamps of slightly different colour": Shot(
        light=lambda x, y: np.exp(np.stack([0.05 * x, 0 * x, -0.05 * y], axis=-1)) / 1.2
    ),
    "dim and noisy": Shot(exposure=0.25, noise=0.012),
}


@pytest.mark.parametrize("name", SHOTS)
def test_card_colours_come_back(card, sheet, name):
    picture = photograph(sheet, card, SHOTS[name])
    samples = sample_card(picture, find_card(picture, card), card)
    correction = fit_correction(samples, card.size)
    fitted = deltaE_ciede2000(correction.lab, samples.reference)[samples.is_patch]
    left_out = deltaE_ciede2000(correction.lab_left_out, samples.reference)[samples.is_patch]
    assert np.median(fitted) < 0.5
    assert left_out.mean() < 1.0
    assert (left_out >= fitted - 0.05).mean() > 0.9, "leaving a patch out cannot make it fit better"


def test_leave_one_out_matches_a_fit_that_never_saw_the_patch(card, sheet):
    """The closed form against actually fitting again without the patch (Cook and Weisberg 1982)."""
    picture = photograph(sheet, card, SHOTS["warm light, strange primaries"])
    samples = sample_card(picture, find_card(picture, card), card)
    rng = np.random.default_rng(4)
    reference = samples.reference + rng.normal(0, 1.5, samples.reference.shape)
    misprinted = type(samples)(
        **{**{f: getattr(samples, f) for f in samples.__slots__}, "reference": reference}
    )
    full = fit_correction(misprinted, card.size)
    for index in (3, 11, 30, 45):
        keep = np.ones(len(samples.ids), dtype=bool)
        keep[index] = False
        without = fit_correction(misprinted, card.size, keep)
        honest = without.lab[index]
        assert deltaE_ciede2000(full.lab_left_out[index], honest) < 0.7  # robust weights are found anew
        moved = deltaE_ciede2000(full.lab[index], honest)
        assert deltaE_ciede2000(full.lab_left_out[index], honest) <= moved + 0.05


def test_a_speck_on_a_patch_does_not_move_the_fit(card, sheet):
    picture = photograph(sheet, card, Shot())
    view = find_card(picture, card)
    samples = sample_card(picture, view, card)
    clean = fit_correction(samples, card.size)
    encoded = samples.encoded.copy()
    encoded[[5, 20]] = [[0.9, 0.1, 0.1], [0.05, 0.05, 0.05]]
    dirty = fit_correction(
        type(samples)(**{**{f: getattr(samples, f) for f in samples.__slots__}, "encoded": encoded}),
        card.size,
    )
    others = np.delete(np.arange(len(samples.ids)), [5, 20])
    assert deltaE_ciede2000(clean.lab[others], dirty.lab[others]).max() < 0.6
    assert dirty.weight[[5, 20]].max() < 0.05


UNEVEN = {"falling": lambda x, y: 1 + 0.25 * x, "round": lambda x, y: 1.1 - 0.1 * ((x - 0.8) ** 2 + y**2)}


@pytest.mark.parametrize("light", UNEVEN)
def test_paper_of_unknown_colour_tells_how_the_light_falls(card, light):
    """Patches in one corner alone; the rest of the card is bare paper of a colour that no definition has."""
    corner = tuple(patch for patch in card.patches if max(patch.centre) < 70)
    known = dataclasses.replace(card, patches=corner, paper=(80.0, 4.0, 16.0))
    unknown = dataclasses.replace(known, paper=None, even_paper=True)
    unseen = dataclasses.replace(known, paper=None)
    picture = photograph(paint(known), known, Shot(light=UNEVEN[light]))
    x, y = (side.ravel() for side in np.meshgrid(np.linspace(-0.9, 0.9, 15), np.linspace(-0.9, 0.9, 15)))
    places = np.c_[(x + 1) * card.size[0] / 2, (y + 1) * card.size[1] / 2]
    error = {}
    for name, one in {"unknown": unknown, "unseen": unseen}.items():
        samples = sample_card(picture, find_card(picture, one), one)
        if one.even_paper:
            assert np.isnan(samples.reference[~samples.is_patch]).all()
            samples = with_paper_seen(samples, one.size, np.ones(len(samples.ids), dtype=bool))
            assert deltaE_ciede2000(samples.reference[-1], known.paper) < 3.0
        field = fit_correction(samples, one.size).correction.factor(places)[:, 1]
        error[name] = np.std(np.log(field / UNEVEN[light](x, y)))
    assert error["unknown"] < 0.5 * error["unseen"]


def test_no_paper_is_measured_where_a_card_excludes_it(card, sheet):
    board = (0.0, 0.0, 30.0, 105.0)  # at the left, over everything but what is printed there
    excluding = dataclasses.replace(card, excluded=(board,))
    picture = photograph(sheet, card, Shot())
    everywhere, elsewhere = (sample_card(picture, find_card(picture, one), one) for one in (card, excluding))
    assert everywhere.places[~everywhere.is_patch, 0].min() < 30.0
    assert elsewhere.places[~elsewhere.is_patch, 0].min() > 30.0
    assert np.array_equal(elsewhere.encoded[elsewhere.is_patch], everywhere.encoded[everywhere.is_patch])


def test_decoding_never_falls_with_the_code():
    rng = np.random.default_rng(5)
    for _ in range(20):
        table = tone.decoding_table(rng.normal(0, 0.6, (tone.SPLINES, 3)), rng.normal(0, 0.01, 3), 256)
        assert (np.diff(table, axis=0) >= 0).all()


def test_splines_sum_to_one_everywhere():
    assert np.allclose(tone.splines(np.linspace(0, 1, 333)).sum(-1), 1.0, atol=1e-12)


def test_slope_of_lab_is_its_derivative():
    xyz = np.abs(np.random.default_rng(6).normal(0.3, 0.3, (50, 3))) + 1e-4
    lab, slope = lab_from_xyz(xyz), lab_slope(xyz)
    step = 1e-7
    for k in range(3):
        moved = lab_from_xyz(xyz + step * np.eye(3)[k])
        assert np.allclose((moved - lab) / step, slope[:, :, k], rtol=2e-3, atol=1e-2)


def test_weights_approximate_ciede2000_for_small_differences():
    """Against scikit-image's CIEDE2000, away from the blue region where its rotation term acts."""
    rng = np.random.default_rng(7)
    lab = np.c_[rng.uniform(15, 95, 300), rng.uniform(-10, 50, 300), rng.uniform(-5, 60, 300)]
    shift = rng.normal(0, 0.3, lab.shape)
    approximate = np.linalg.norm(np.einsum("nij,nj->ni", difference_weights(lab), shift), axis=1)
    assert np.median(np.abs(approximate / deltaE_ciede2000(lab, lab + shift) - 1)) < 0.02
