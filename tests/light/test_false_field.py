"""A chart whose greys run down one side: their place and their tone are one, and must not be told as light.

The light, the camera and the chart are numbers made here; what the light truly does is known.
"""

from __future__ import annotations

import numpy as np
import pytest

from strandgauge.card.sample import Samples
from strandgauge.colour.cielab import xyz_from_lab
from strandgauge.colour.srgb import RGB_FROM_XYZ
from strandgauge.light.correction import fit_correction
from strandgauge.reading.pipeline import default_card
from synthetic import srgb_curve

SIZE = (100.0, 140.0)
GREYS = (92.0, 80.0, 66.0, 50.0, 36.0, 21.0)


def chart() -> tuple[np.ndarray, np.ndarray]:
    """Return places (24, 2) and CIELAB (24, 3): three columns of colours, one of greys getting darker."""
    colours = [patch.lab for patch in default_card().patches if np.hypot(*patch.lab[1:]) > 5]
    shuffled = iter(np.random.default_rng(1).permutation(colours))
    y, x = (
        side.ravel() for side in np.meshgrid(np.linspace(15, 125, 6), np.linspace(15, 85, 4), indexing="ij")
    )
    labs = [(GREYS[k // 4], 0.0, 0.0) if k % 4 == 3 else next(shuffled) for k in range(24)]
    return np.c_[x, y], np.array(labs)


def phone(saturation: float, contrast: float):
    """Return a camera that strengthens colours and contrast, as phones do: (N, 3) light to encoded values."""

    def encode(linear: np.ndarray) -> np.ndarray:
        v = srgb_curve(linear)
        grey = (v @ [0.25, 0.65, 0.1])[:, None]
        v = grey + saturation * (v - grey)
        return v + contrast * np.sin(2 * np.pi * (v - 0.5)) / (2 * np.pi)

    return encode


@pytest.mark.parametrize("camera", [phone(1.2, 0.2), phone(1.4, 0.2), phone(0.9, 0.3)])
@pytest.mark.parametrize("fall", [-0.3, 0.0, 0.3])
def test_what_the_camera_does_to_tone_and_colour_is_not_told_as_light(camera, fall):
    places, labs = chart()
    printed = labs + np.random.default_rng(0).normal(0, 0.7, labs.shape)
    linear = 0.8 * xyz_from_lab(printed) @ RGB_FROM_XYZ.T * light(places, fall)[:, None]
    count = len(labs)
    samples = Samples(
        ids=tuple(map(str, range(count))),
        places=places,
        encoded=np.clip(camera(np.clip(linear, 0, 1)), 0, 1),
        spread=np.full(count, 0.003),
        clipped_high=np.zeros(count),
        clipped_low=np.zeros(count),
        reference=labs,
        is_patch=np.ones(count, bool),
    )
    x, y = (side.ravel() for side in np.meshgrid(np.linspace(3, 97, 9), np.linspace(5, 135, 9)))
    everywhere = np.c_[x, y]
    found = fit_correction(samples, SIZE).correction.factor(everywhere)[:, 1]
    assert np.ptp(np.log(found / light(everywhere, fall))) < 0.1


def light(places: np.ndarray, fall: float) -> np.ndarray:
    return np.exp(fall * (0.5 - places[:, 1] / SIZE[1]))
