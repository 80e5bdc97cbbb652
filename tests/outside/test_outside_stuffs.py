"""Skin, leaves and stuffs of published colours are no hair, and fibres of the same colours are.

Spectra as in colour-science, of the CIE's test colours for colour rendering (CIE 13.3-1995): dull red (1), vivid red
(9), skin (13), leaf (14) and East Asian skin (15).
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from strandgauge.colour.picture import lab_of_picture
from strandgauge.errors import NoStrandError, NotHairError
from strandgauge.light.region import Region
from strandgauge.strand.fibres import check_fibres, fibres
from strandgauge.strand.isolate import isolate_strand

SHAPE = (120, 440)
Y, X = (axis / 4.0 for axis in np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]])
ROUND = np.sqrt(np.clip(1.0 - ((Y - 15.0) / 8.0) ** 2, 0.0, 1.0))
"""A finger of 16 mm: what light from above leaves of it to its sides."""
PAPER = (94.0, 0.0, 0.0)


def colours() -> list[np.ndarray]:
    """Return linear sRGB, D65, of those spectra."""
    import colour
    from colour.quality.datasets import SDS_TCS

    spectra = [SDS_TCS["CIE 2024"][f"TCS{number:02}"] for number in (1, 9, 13, 14, 15)]
    shape = colour.SpectralShape(360, 780, 1)
    daylight = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    seen = [colour.sd_to_XYZ(spectrum.copy().align(shape), observer, daylight) / 100 for spectrum in spectra]
    return [colour.XYZ_to_sRGB(xyz, apply_cctf_encoding=False) for xyz in seen]


def lying(colour_of: np.ndarray, light: np.ndarray) -> Region:
    """Return a window with a strip of 85 by 16 mm of a colour in it, seen with a camera's noise."""
    linear = np.full((*SHAPE, 3), 0.85)
    linear[28:92, 50:390] = (np.maximum(colour_of, 0.01) * light[..., None])[28:92, 50:390]
    noise = np.random.default_rng(2).normal(0.0, 0.003, linear.shape)
    linear = ((np.cbrt(linear) + noise) ** 3).astype(np.float32)
    return Region(linear, lab_of_picture(linear), np.zeros(SHAPE, bool), 4.0, np.zeros((2, 3)))


def noted(region: Region) -> tuple[str, ...]:
    return tuple(note.code for note in check_fibres(fibres(region, isolate_strand(region, PAPER, 2.0))))


def test_stuff_of_a_published_colour_is_no_hair_but_fibres_of_it_are():
    """Skin's ridges lie some 0.5 mm apart (Cummins and Midlo 1943, from memory)."""
    skin = (0.5 + 0.5 * ROUND) * (1.0 + 0.02 * np.sin(4.0 * np.pi * (Y + 0.3 * np.sin(X / 5.0))))
    random = np.random.default_rng(1)
    locks = sum(
        strength * (made / made.std())
        for strength, size in ((0.2, (30.0, 1.2)), (0.1, (4.0, 0.6)))
        for made in [cv2.GaussianBlur(random.standard_normal(SHAPE), (0, 0), sigmaX=size[0], sigmaY=size[1])]
    )
    tried = colours()
    assert len(tried) == 5
    for one in tried:
        with pytest.raises((NoStrandError, NotHairError)):
            noted(lying(one, skin))
        assert noted(lying(one, np.exp(locks))) == ()
