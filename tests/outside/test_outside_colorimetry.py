"""Colour arithmetic against the published CIEDE2000 pairs, colour-science and scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
import skimage.color

from strandgauge.colour import cielab, srgb
from strandgauge.colour.arrays import median, quantile
from strandgauge.colour.picture import lab_of_picture, srgb_of_picture

RNG = np.random.default_rng(34)
LABS = RNG.uniform([1, -50, -50], [99, 60, 80], (2000, 3))
RGB = RNG.uniform(0, 1, (2000, 3))

# L1, a1, b1, L2, a2, b2, CIEDE2000, as printed.
PAIRS = np.array(
    [
        (50.0, 2.6772, -79.7751, 50.0, 0.0, -82.7485, 2.0425),
        (50.0, 3.1571, -77.2803, 50.0, 0.0, -82.7485, 2.8615),
        (50.0, 2.8361, -74.02, 50.0, 0.0, -82.7485, 3.4412),
        (50.0, -1.3802, -84.2814, 50.0, 0.0, -82.7485, 1.0),
        (50.0, -1.1848, -84.8006, 50.0, 0.0, -82.7485, 1.0),
        (50.0, -0.9009, -85.5211, 50.0, 0.0, -82.7485, 1.0),
        (50.0, 0.0, 0.0, 50.0, -1.0, 2.0, 2.3669),
        (50.0, -1.0, 2.0, 50.0, 0.0, 0.0, 2.3669),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.0009, 7.1792),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.001, 7.1792),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.0011, 7.2195),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.0012, 7.2195),
        (50.0, -0.001, 2.49, 50.0, 0.0009, -2.49, 4.8045),
        (50.0, -0.001, 2.49, 50.0, 0.001, -2.49, 4.8045),
        (50.0, -0.001, 2.49, 50.0, 0.0011, -2.49, 4.7461),
        (50.0, 2.5, 0.0, 50.0, 0.0, -2.5, 4.3065),
        (50.0, 2.5, 0.0, 73.0, 25.0, -18.0, 27.1492),
        (50.0, 2.5, 0.0, 61.0, -5.0, 29.0, 22.8977),
        (50.0, 2.5, 0.0, 56.0, -27.0, -3.0, 31.903),
        (50.0, 2.5, 0.0, 58.0, 24.0, 15.0, 19.4535),
        (50.0, 2.5, 0.0, 50.0, 3.1736, 0.5854, 1.0),
        (50.0, 2.5, 0.0, 50.0, 3.2972, 0.0, 1.0),
        (50.0, 2.5, 0.0, 50.0, 1.8634, 0.5757, 1.0),
        (50.0, 2.5, 0.0, 50.0, 3.2592, 0.335, 1.0),
        (60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644),
        (63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.263),
        (61.2901, 3.7196, -5.3901, 61.4292, 2.248, -4.962, 1.8731),
        (35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645),
        (22.7233, 20.0904, -46.694, 23.0331, 14.973, -42.5619, 2.0373),
        (36.4612, 47.858, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146),
        (90.8027, -2.0831, 1.441, 91.1528, -1.6435, 0.0447, 1.4441),
        (90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381),
        (6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377),
        (2.0776, 0.0795, -1.135, 0.9033, -0.0636, -0.5514, 0.9082),
    ]
)
HALF_TURN = 13
"""The pair whose hues are exactly half a turn apart: rounding decides which way round the mean hue is taken."""


def test_published_pairs():
    """Sharma, Wu and Dalal 2005, Color Res. Appl. 30:21-30, table 1: all 34, to the four printed decimals."""
    found = cielab.delta_e_2000(PAIRS[:, :3], PAIRS[:, 3:6])
    sure = np.arange(len(PAIRS)) != HALF_TURN
    assert len(PAIRS) == 34
    assert found[sure] == pytest.approx(PAIRS[sure, 6], abs=5.1e-5)
    neighbours = PAIRS[[HALF_TURN - 1, HALF_TURN + 1], 6]
    assert np.abs(found[HALF_TURN] - neighbours).min() < 5.1e-5


def test_difference_is_the_same_both_ways():
    sure = np.arange(len(PAIRS)) != HALF_TURN
    one, two = PAIRS[sure, :3], PAIRS[sure, 3:6]
    assert cielab.delta_e_2000(two, one) == pytest.approx(PAIRS[sure, 6], abs=5.1e-5)


def test_difference_and_its_parts_as_in_scikit_image():
    other = LABS + RNG.normal(0, 6, LABS.shape)
    expected = skimage.color.deltaE_ciede2000(LABS, other)
    assert cielab.delta_e_2000(LABS, other) == pytest.approx(expected, abs=1e-9)
    parts = cielab.delta_e_2000_parts(LABS, other)
    assert np.linalg.norm(parts, axis=-1) == pytest.approx(expected, abs=1e-6)


def test_cielab_both_ways_as_in_colour_science():
    import colour

    xy = colour.XYZ_to_xy(cielab.WHITE_D65)
    xyz = colour.Lab_to_XYZ(LABS, xy)
    assert cielab.xyz_from_lab(LABS) == pytest.approx(xyz, abs=1e-9)
    assert cielab.lab_from_xyz(xyz) == pytest.approx(colour.XYZ_to_Lab(xyz, xy), abs=1e-9)


def test_srgb_curve_as_in_colour_science():
    """IEC 61966-2-1. Its rounded constants leave the two pieces 2e-9 apart at the joint, read either way."""
    import colour

    v = np.concatenate([np.linspace(0, 1, 1001), [0.04044, 0.04045, 0.04046]])
    assert srgb.srgb_decode(v) == pytest.approx(colour.models.eotf_sRGB(v), abs=1e-8)
    assert srgb.srgb_encode(v) == pytest.approx(colour.models.eotf_inverse_sRGB(v), abs=1e-8)


def test_srgb_to_cielab_as_in_scikit_image():
    """Both ways; scikit-image rounds the matrix to six places, which moves CIELAB by less than 0.01."""
    expected = skimage.color.rgb2lab(RGB)
    assert srgb.lab_from_srgb(RGB) == pytest.approx(expected, abs=0.01)
    assert srgb.srgb_from_lab(srgb.lab_from_srgb(RGB)) == pytest.approx(RGB, abs=1e-6)
    linear = srgb.srgb_decode(RGB) @ srgb.XYZ_FROM_RGB.T
    assert cielab.lab_from_xyz(linear) == pytest.approx(expected, abs=0.01)


def test_cielab_and_srgb_of_pictures_are_those_of_colour_science():
    import colour

    linear = np.vstack([RGB**2.2, RGB[:200] / 100.0, [[0.0, 0.0, 0.0], [1.0, 1.0, 1.0], [1.7, -0.2, 0.5]]])
    found = lab_of_picture(linear[:, None].astype(np.float32))[:, 0]
    xyz = np.clip(linear, 0.0, 1.0) @ srgb.XYZ_FROM_RGB.T
    expected = colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(cielab.WHITE_D65))
    assert found == pytest.approx(expected, abs=2e-3)
    codes = srgb_of_picture(linear[:, None].astype(np.float32))[:, 0]
    exact = 255.0 * colour.models.RGB_COLOURSPACE_sRGB.cctf_encoding(np.clip(linear, 0.0, 1.0))
    assert np.abs(codes - exact).max() < 0.55  # rounded, from light in 65536 steps


def test_srgb_matrix_from_its_primaries():
    import colour

    primaries = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]])
    expected = colour.normalised_primary_matrix(primaries, colour.XYZ_to_xy(cielab.WHITE_D65))
    assert pytest.approx(expected, abs=1e-6) == srgb.XYZ_FROM_RGB


@pytest.mark.parametrize("count", [1, 2, 7, 40])
def test_medians_and_quantiles_are_those_of_numpy(count):
    values = LABS[:count]
    assert median(values) == pytest.approx(np.median(values, axis=0), abs=1e-12)
    for share in (0.0, 0.025, 0.08, 0.9, 1.0):
        assert quantile(values, share) == pytest.approx(np.quantile(values, share, axis=0), abs=1e-12)
