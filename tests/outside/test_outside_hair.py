"""Colour arithmetic, observer and pigment law against colour-science and published values."""

from __future__ import annotations

import numpy as np
import pytest

from strandgauge.colour.cielab import WHITE_D65, delta_e_2000, lab_from_xyz, xyz_from_lab
from strandgauge.hair.law import Law, kubelka_munk, kubelka_munk_reflectance
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.pigment import load_pigments, solve_base
from strandgauge.hair.spectra import GRID, observer_weights
from strandgauge.hair.warmth import yellowness_e313
from strandgauge.hair.wet import dry_reflectance

RNG = np.random.default_rng(5)
LABS = RNG.uniform([5, -60, -60], [98, 60, 90], (500, 3))


def test_cielab_and_ciede2000_as_in_colour_science():
    import colour

    xy = colour.XYZ_to_xy(WHITE_D65)
    assert lab_from_xyz(xyz_from_lab(LABS)) == pytest.approx(LABS, abs=1e-9)
    assert xyz_from_lab(LABS) == pytest.approx(colour.Lab_to_XYZ(LABS, xy), abs=1e-9)
    other = LABS + RNG.normal(0, 8, LABS.shape)
    assert delta_e_2000(LABS, other) == pytest.approx(
        colour.delta_E(LABS, other, method="CIE 2000"), abs=1e-9
    )


def test_yellowness_as_astm_e313_in_colour_science():
    import colour

    expected = colour.colorimetry.yellowness_ASTME313(xyz_from_lab(LABS), np.array([1.2985, 1.1335]))
    assert yellowness_e313(LABS) == pytest.approx(expected)


def test_observer_weights_from_the_cie_tables():
    import colour

    shape = colour.SpectralShape(360, 830, 1)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    daylight = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    spread = np.stack([np.interp(shape.wavelengths, GRID, row) for row in np.eye(GRID.size)])
    weights = spread @ (observer * daylight[:, None])
    weights *= WHITE_D65 / weights.sum(axis=0)
    assert observer_weights() == pytest.approx(weights, abs=2e-8)


def test_kubelka_munk_published_values():
    # K/S of R = 0.5, 0.1, 0.3: 0.25, 4.05, 0.816667, from the formula of Kubelka and Munk 1931.
    assert kubelka_munk([0.5, 0.1, 0.3]) == pytest.approx([0.25, 4.05, 0.8166667])
    assert kubelka_munk_reflectance(kubelka_munk([0.5, 0.1, 0.3])) == pytest.approx([0.5, 0.1, 0.3])
    overlay = kubelka_munk(0.6) + kubelka_munk(0.3) - kubelka_munk(0.9)
    assert kubelka_munk_reflectance(overlay) == pytest.approx(0.2769, abs=5e-4)


def test_square_law_and_kubelka_munk_agree_where_little_is_absorbed():
    # (ln R)^2 is about 2 K/S for R near 1 (series expansion of both).
    law = Law("square", 0.0)
    assert law.absorption([0.97, 0.99]) == pytest.approx(2 * kubelka_munk([0.97, 0.99]), rel=0.01)


@pytest.mark.parametrize("law", [Law("square", 0.022), Law("kubelka-munk", 0.0)])
def test_laws_are_invertible_with_the_right_slope(law):
    r = np.linspace(0.05, 0.9, 31)
    a = law.absorption(r)
    assert law.reflectance(a) == pytest.approx(r)
    by_difference = (law.reflectance(a + 1e-6) - law.reflectance(a - 1e-6)) / 2e-6
    assert law.slope(a) == pytest.approx(by_difference, rel=1e-4)


def test_the_ladder_passes_the_measured_black_and_dark_brown():
    # Scanavez et al. 2000, J. Cosmet. Sci. 51:289: black 18.00, 0.02, -0.91; dark brown 22.48, 4.10, 5.13.
    ladder = load_ladder()
    assert 1.5 < ladder.level_of([18.0, 0.02, -0.91]) < 2.5
    brown = float(ladder.level_of([22.48, 4.10, 5.13]))
    assert 3 < brown < 4
    assert np.linalg.norm(ladder.lab_at(brown) - [22.48, 4.10, 5.13]) < 5.5


def test_dilution_of_eumelanin_alone_turns_red_brown_to_yellow():
    # Order of undertones from optics: the hue of diluted eumelanin rises from about 49 to 85 degrees,
    # computed from published eumelanin absorption (Chiang et al. 2016; d'Eon et al. 2011).
    pigments = load_pigments()
    shape = pigments.shapes[pigments.names.index("eumelanin")]
    amounts = np.geomspace(12.0, 0.2, 30)
    from strandgauge.hair.spectra import lab_from_reflectance

    lab = lab_from_reflectance(pigments.law.reflectance(amounts[:, None] * shape))
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
    assert (np.diff(lab[:, 0]) > 0).all()
    assert (np.diff(hue) > 0).all()
    assert 40 < lab[np.argmax(np.hypot(lab[:, 1], lab[:, 2])), 0] < 64


def test_wetting_of_lekner_and_dorf():
    # Dry albedo 0.1, 0.2, 0.3, 0.5, 0.7 becomes 0.074, 0.134, 0.200, 0.358, 0.560, the film's gloss of
    # 0.0204 included (worked out from Lekner and Dorf 1988, Appl. Opt. 27:1278, for n = 4/3).
    wet = np.array([0.074, 0.134, 0.200, 0.358, 0.560]) - 0.0204
    assert dry_reflectance(wet) == pytest.approx([0.1, 0.2, 0.3, 0.5, 0.7], abs=0.005)


def test_solved_black_has_hardly_any_colour_left():
    # Measured black hair reflects about as much as its surface alone: Y near 2.6 % (Scanavez et al. 2000).
    black = solve_base((18.0, 0.02, -0.91))
    assert black.reflectance.max() - black.reflectance.min() < 0.005
