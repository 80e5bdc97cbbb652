"""The correction on spectra: measured cameras under CIE illuminants, smooth prints, hair by the melanin law.

Everything seen here is computed from spectra by colour-science's tables (camera sensitivities measured at a
national laboratory, CIE illuminants, the CIE 1931 2 degree observer); only the correction is this package's.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from strandgauge.card.sample import Samples
from strandgauge.colour.cielab import lab_from_xyz
from strandgauge.light.correction import fit_correction
from strandgauge.reading.pipeline import default_card

GRID = np.arange(400.0, 681.0, 10.0)
"""Where all the cameras' tables overlap, nm."""
CAMERAS = ("camera one", "camera two")
"""Those of colour-science, in the order of their names there."""
LIGHTS = ("D50", "D65", "A", "FL2", "FL7", "FL11", "LED-B1", "LED-B3", "LED-B5", "LED-V1")
EXPOSURE = 0.8

# Set before anything was measured.
PATCH_MEAN = 1.5
HAIR_MEAN = 2.0


def on_grid(wavelengths, values):
    return np.stack([np.interp(GRID, wavelengths, column) for column in np.atleast_2d(values.T)], axis=1)


@cache
def illuminant(name):
    import colour

    table = colour.SDS_ILLUMINANTS[name]
    return on_grid(table.wavelengths, table.values)[:, 0]


@cache
def observer_d65():
    """Return (29, 3) weights from reflectance to XYZ, a perfect white having that of D65."""
    import colour

    table = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    weights = on_grid(table.wavelengths, table.values) * illuminant("D65")[:, None]
    return weights / weights.sum(0) * np.array([0.95047, 1.0, 1.08883])


@cache
def sensitivity(camera):
    import colour

    names = dict(zip(CAMERAS, sorted(colour.MSDS_CAMERA_SENSITIVITIES), strict=True))
    table = colour.MSDS_CAMERA_SENSITIVITIES[names[camera]]
    return on_grid(table.wavelengths, table.values)


def sigmoid(coefficients):
    """Smooth reflectance of Jakob and Hanika 2019: a sigmoid of a parabola in wavelength."""
    x = (GRID - 540.0) / 140.0
    y = coefficients[0] + coefficients[1] * x + coefficients[2] * x * x
    return 0.5 + 0.5 * y / np.sqrt(1 + y * y)


@cache
def smooth_reflectance(lab):
    from scipy.optimize import least_squares

    def miss(coefficients):
        return lab_from_xyz(sigmoid(coefficients) @ observer_d65()) - np.array(lab)

    return sigmoid(least_squares(miss, [0.0, 0.0, 0.0]).x)


@cache
def printed():
    """Return (N, 29) reflectances of the card's patches and the CIELAB they truly have."""
    spectra = np.array([smooth_reflectance(patch.lab) for patch in default_card().patches])
    return spectra, lab_from_xyz(spectra @ observer_d65())


def hair():
    """Return (M, 29) reflectances of hair from black to palest, undyed and lifted.

    Melanin absorbs as the -3.33 (eumelanin) and -4.75 (pheomelanin) power of wavelength (Donner and Jensen
    2006). Thick hair: Kubelka and Munk 1931, a surface of 2 % added; the scattering taken as 1 at all wavelengths.
    """
    ratio = GRID / 550.0
    spectra = []
    for eumelanin in (0.02, 0.08, 0.3, 1.0, 4.0, 12.0):
        for pheomelanin in (0.0, 0.3, 1.0):
            k = eumelanin * (ratio**-3.33 + pheomelanin * ratio**-4.75)
            spectra.append(0.02 + 0.93 * (1 + k - np.sqrt(k * k + 2 * k)))
    return np.array(spectra)


def light_field(places, size):
    """A mild slope and bulge of the light over the card."""
    x, y = (2 * places / np.asarray(size) - 1).T
    return np.exp(-0.12 * x + 0.06 * y - 0.05 * x * x)


def expose(spectra, camera, light, field):
    """Return what the camera writes: white-balanced, exposed, by the curve of IEC 61966-2-1."""
    import colour

    signal = spectra @ (sensitivity(camera) * illuminant(light)[:, None])
    white = (sensitivity(camera) * illuminant(light)[:, None]).sum(0)
    linear = EXPOSURE * signal / white * field[:, None]
    return np.asarray(colour.models.eotf_inverse_sRGB(np.clip(linear, 0, 1)))


def corrected(camera, light):
    """Return CIEDE2000 of the patches, left out one by one too, and of hair, after the fit to the patches."""
    card = default_card()
    spectra, reference = printed()
    boxes = np.array([patch.box for patch in card.patches])
    places = boxes[:, :2] + boxes[:, 2:] / 2
    n = len(places)
    samples = Samples(
        ids=tuple(patch.id for patch in card.patches),
        places=places,
        encoded=expose(spectra, camera, light, light_field(places, card.size)),
        spread=np.zeros(n),
        clipped_high=np.zeros(n),
        clipped_low=np.zeros(n),
        reference=reference,
        is_patch=np.ones(n, dtype=bool),
    )
    fitted = fit_correction(samples, card.size)
    strands = hair()
    x, y, width, height = card.window.box
    along = np.linspace(x, x + width, len(strands))
    lying = np.c_[along, np.full(len(strands), y + height / 2)]
    encoded = expose(strands, camera, light, light_field(lying, card.size))
    found = lab_from_xyz(fitted.correction.to_xyz(encoded, lying))
    return (
        deltaE_ciede2000(fitted.lab, reference),
        deltaE_ciede2000(fitted.lab_left_out, reference),
        deltaE_ciede2000(found, lab_from_xyz(strands @ observer_d65())),
    )


def test_the_smooth_prints_have_the_cards_colours():
    labs = np.array([patch.lab for patch in default_card().patches])
    assert deltaE_ciede2000(printed()[1], labs).max() < 2.0


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize("camera", CAMERAS)
def test_patches_and_hair_come_back(camera, light):
    patches, left_out, strands = corrected(camera, light)
    assert patches.mean() < PATCH_MEAN
    assert left_out.mean() < 2 * PATCH_MEAN
    assert strands.mean() < HAIR_MEAN
