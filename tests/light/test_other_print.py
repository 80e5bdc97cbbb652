"""What is told of a print whose colours are not the card's, from numbers that a camera gives of such a print."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strandgauge.card.sample import Samples
from strandgauge.colour.cielab import xyz_from_lab
from strandgauge.colour.srgb import RGB_FROM_XYZ
from strandgauge.light.correction import fit_correction
from strandgauge.light.otherprint import LEAST_TINTS, exchanged, other_print, tint_spread
from strandgauge.reading.pipeline import default_card
from synthetic import srgb_curve

CARD = default_card()
PRINTED = CARD.patch_labs
ROW = {patch.id: row for row, patch in enumerate(CARD.patches)}
COLOURS = np.flatnonzero(np.hypot(PRINTED[:, 1], PRINTED[:, 2]) >= 5)
CAMERA = np.diag([1.2, 0.95, 0.7]) @ np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.02, 0.12, 0.86]])


def seen(printed: np.ndarray, reference: np.ndarray = PRINTED) -> Samples:
    """Return what a camera with primaries of its own writes of patches printed in these colours (N, 3)."""
    none = np.zeros(len(printed))
    linear = 0.7 * xyz_from_lab(printed) @ RGB_FROM_XYZ.T @ CAMERA.T
    places = np.array([patch.centre for patch in CARD.patches])
    encoded = srgb_curve(np.clip(linear, 0, 1))
    return Samples(tuple(ROW), places, encoded, none, none, none, reference, none == 0)


def told(printed: np.ndarray, *, fits: bool) -> dict[str, object] | None:
    samples = seen(printed)
    error = other_print(samples, fit_correction(samples, CARD.size), CARD, 12.3, fits=fits)
    return error and dict(error.facts)


def cycled(*ids: str) -> np.ndarray:
    """Return the print's colours, each of these patches in the next one's."""
    printed = PRINTED.copy()
    rows = [ROW[one] for one in ids]
    printed[rows] = PRINTED[np.roll(rows, 1)]
    return printed


def placed(across: bool, down: bool) -> np.ndarray:
    """Return the colours of a print laid out the other way round across, or down, or both."""
    width, height = CARD.size
    there = [
        (width - x if across else x, height - y if down else y)
        for x, y in (patch.centre for patch in CARD.patches)
    ]
    places = np.array([patch.centre for patch in CARD.patches])
    nearest = [int(np.linalg.norm(places - place, axis=1).argmin()) for place in there]
    return PRINTED[nearest]


def test_of_the_cards_own_print_nothing_is_told():
    assert told(PRINTED, fits=True) is None


def test_four_exchanged_colours_are_another_print_and_three_are_not():
    assert told(cycled("D3", "D8", "D12"), fits=True) is None
    assert told(cycled("D3", "D8", "D12", "A8"), fits=True) == {
        "fault": "exchanged",
        "count": 4,
        "patches": "A8 (gold), D3 (red), D8 (blue), D12 (green)",
    }


def test_half_the_colours_exchanged_are_counted_and_four_are_named():
    ids = ("A2", "D9", "A8", "D7", "D3", "A12", "D12", "A5", "D1", "D8", "A10", "D10")
    facts = told(cycled(*ids), fits=True)
    assert facts is not None
    assert facts["fault"] == "exchanged"
    assert facts["count"] >= 10
    assert len(str(facts["patches"]).split("), ")) == 4


def test_what_covers_patches_has_one_colour_and_is_no_other_print():
    """Six patches in the colour of a seventh."""
    printed = PRINTED.copy()
    printed[[ROW[one] for one in ("A5", "A9", "D1", "D3", "D6", "D12")]] = PRINTED[ROW["D8"]]
    samples = seen(printed)
    fitted = fit_correction(samples, CARD.size)
    assert (fitted.delta_e00_left_out > 12).sum() >= 6
    assert exchanged(samples, fitted) == []


def test_colours_that_look_like_neighbours_which_look_like_themselves_are_not_exchanged():
    printed = PRINTED.copy()
    for one, other in (("D12", "D10"), ("D1", "D5"), ("D2", "D3"), ("D11", "D9"), ("D7", "D8")):
        printed[ROW[one]] = PRINTED[ROW[other]]
    samples = seen(printed)
    fitted = fit_correction(samples, CARD.size)
    assert (fitted.delta_e00_left_out > 12).sum() >= 5
    assert exchanged(samples, fitted) == []


def test_colours_that_are_nobodys_are_not_exchanged():
    printed = PRINTED.copy()
    printed[[ROW[one] for one in ("A5", "D3", "D8", "D12", "D2")]] = [
        [30.0, 60.0, 40.0],
        [90.0, -60.0, 80.0],
        [35.0, -40.0, 0.0],
        [60.0, 80.0, -60.0],
        [95.0, -20.0, 90.0],
    ]
    assert told(printed, fits=True) is None


@pytest.mark.parametrize(
    ("across", "down", "way"),
    [(True, False, "mirrored"), (False, True, "flipped"), (True, True, "turned")],
)
def test_a_print_laid_out_the_other_way_round_is_told_so(across, down, way):
    assert told(placed(across, down), fits=False) == {"fault": "laid", "way": way}


def test_a_print_in_greys_is_told_so():
    assert told(PRINTED * [1.0, 0.0, 0.0], fits=False) == {"fault": "grey"}


def test_of_other_colours_the_furthest_are_named():
    printed = PRINTED.copy()
    printed[COLOURS, 1:] = -PRINTED[COLOURS, 1:]
    samples = seen(printed)
    fitted = fit_correction(samples, CARD.size)
    error = other_print(samples, fitted, CARD, 12.3, fits=False)
    assert error is not None
    facts = dict(error.facts)
    assert (facts["fault"], facts["delta_e00"]) == ("other", 12.3)
    worst = COLOURS[np.argsort(-fitted.delta_e00[COLOURS])[:4]]
    named = [one.split(" (")[0] for one in str(facts["patches"]).split("), ")]
    assert named == [CARD.patches[row].id for row in worst]


def test_a_print_has_colours_whose_tints_are_spread_far_enough():
    """0.25 as standard deviation of log ratios: here of two tints, one as far on either side."""
    for spread, grey in ((0.24, True), (0.26, False)):
        light = 0.4 * np.exp(np.outer(np.tile([1.0, -1.0], 12), [spread, 0.0, 0.0])) - 0.01
        assert (tint_spread(srgb_curve(light)) < LEAST_TINTS) == grey


def test_patches_set_aside_for_clipping_say_nothing():
    samples = seen(cycled("D3", "D8", "D12", "A8"))
    usable = np.arange(len(ROW)) != ROW["D8"]
    assert exchanged(samples, fit_correction(samples, CARD.size, usable)) == []


def test_a_card_of_greys_alone_is_judged_by_its_greys():
    rows = np.array([row for row in range(len(PRINTED)) if row not in COLOURS])
    samples = seen(PRINTED)
    grey = replace(
        samples,
        ids=tuple(samples.ids[row] for row in rows),
        **{
            name: getattr(samples, name)[rows]
            for name in (
                "places",
                "encoded",
                "spread",
                "clipped_high",
                "clipped_low",
                "reference",
                "is_patch",
            )
        },
    )
    error = other_print(grey, fit_correction(grey, CARD.size), CARD, 12.3, fits=False)
    assert error is not None
    assert dict(error.facts) == {"fault": "grey"}
