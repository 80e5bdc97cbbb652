"""What is told of a print whose colours are not the card's, from numbers that a camera gives of such a print."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strandgauge.card.sample import Samples
from strandgauge.colour.cielab import delta_e_2000, xyz_from_lab
from strandgauge.colour.srgb import RGB_FROM_XYZ
from strandgauge.light.correction import FittedCard, fit_correction
from strandgauge.light.doubts import load_doubt_limits
from strandgauge.light.otherprint import LEAST_TINTS, exchanged, laid, other_print, tint_spread
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


# --- both sides of each limit, from what a fit might have left ---------------------------------------------

FOUR = [ROW[one] for one in ("D3", "D8", "D12", "A8")]


def exchanged_fit() -> tuple[Samples, FittedCard]:
    """Return samples and what a fit would tell of them: four colours shown in the next one's place, all else true."""
    samples = seen(PRINTED)
    lab = PRINTED.copy()
    lab[FOUR] = PRINTED[np.roll(FOUR, 1)] + [1.0, 0.0, 0.0]
    off = delta_e_2000(lab, PRINTED)
    fitted = replace(fit_correction(samples, CARD.size), lab_left_out=lab, delta_e00_left_out=off)
    return samples, replace(fitted, weight=np.ones(len(off)))


def with_off(fitted: FittedCard, row: int, off: float) -> FittedCard:
    away = fitted.delta_e00_left_out.copy()
    away[row] = off
    return replace(fitted, delta_e00_left_out=away)


def test_a_colour_is_exchanged_that_is_less_than_half_as_far_from_anothers_as_from_its_own():
    samples, fitted = exchanged_fit()
    assert sorted(exchanged(samples, fitted)) == sorted(FOUR)
    # Another colour a little off: some other is nearest to it, and that one is not near enough.
    lab = fitted.lab_left_out.copy()
    row, other = FOUR[0], FOUR[-1]
    lab[row] = PRINTED[other] + [9.0, 0.0, 0.0]
    near = float(delta_e_2000(lab[row], PRINTED[other]))
    fitted = replace(fitted, lab_left_out=lab)
    assert 6.0 < near < 12.0
    assert sorted(exchanged(samples, with_off(fitted, row, 2.01 * near))) == sorted(FOUR)
    for times in (2.0, 1.99):
        assert exchanged(samples, with_off(fitted, row, times * near)) == []


def test_as_many_colours_as_make_another_print_lie_beyond_the_limit_of_an_odd_one():
    samples, fitted = exchanged_fit()
    limit = load_doubt_limits().left_out
    assert exchanged(samples, with_off(fitted, FOUR[0], limit)) == []
    assert len(exchanged(samples, with_off(fitted, FOUR[0], limit + 0.01))) == 4


@pytest.mark.parametrize(("chroma", "counts"), [(5.0, True), (4.99, False)])
def test_a_colour_has_a_chroma_of_five(chroma, counts):
    """A patch of a* 3, b* 4 that shows another colour, which shows its own."""
    samples, fitted = exchanged_fit()
    row, other = FOUR[0], FOUR[1]
    reference = samples.reference.copy()
    reference[row] = [85.0, 0.6 * chroma, 0.8 * chroma]
    lab = fitted.lab_left_out.copy()
    lab[other] = reference[row]
    fitted = replace(fitted, lab_left_out=lab, delta_e00_left_out=delta_e_2000(lab, reference))
    assert (len(exchanged(replace(samples, reference=reference), fitted)) == 4) == counts


def test_of_another_print_neither_greys_nor_what_was_set_aside_are_named():
    """A colour has a chroma of 5."""
    printed = PRINTED.copy()
    printed[COLOURS, 1:] = -PRINTED[COLOURS, 1:]
    samples = seen(printed)
    grey, aside, worst = FOUR[:3]
    reference, off, weight = PRINTED.copy(), np.ones(len(PRINTED)), np.ones(len(PRINTED))
    reference[grey, 1:], reference[worst, 1:] = [2.99, 4.0], [3.0, 4.0]
    off[[grey, aside, worst]] = [40.0, 30.0, 20.0]
    weight[aside] = 0.0
    fitted = replace(
        fit_correction(samples, CARD.size),
        weight=weight,
        delta_e00=off,
        delta_e00_left_out=0 * off,
        lab_left_out=reference,
    )
    error = other_print(replace(samples, reference=reference), fitted, CARD, 12.3, fits=False)
    assert error is not None
    assert str(dict(error.facts)["patches"]).startswith(f"{CARD.patches[worst].id} (")


def test_a_print_is_tried_the_other_way_round_without_what_was_set_aside():
    """Every other patch is black."""
    samples = seen(placed(True, False))
    usable = np.arange(len(PRINTED)) % 2 > 0
    samples = replace(samples, encoded=np.where(usable[:, None], samples.encoded, 0.0))
    error = other_print(samples, fit_correction(samples, CARD.size, usable), CARD, 12.3, fits=False)
    assert error is not None
    assert dict(error.facts) == {"fault": "laid", "way": "mirrored"}


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_tints_may_be_spread_in_any_channel(channel):
    light = np.full((24, 3), 0.4)
    light[:, channel] *= np.exp(np.tile([0.3, -0.3], 12))
    assert tint_spread(srgb_curve(light - 0.01)) == pytest.approx(0.3)


def test_a_place_takes_the_colour_that_lies_within_two_millimetres_of_its_counterpart():
    """On a card of 100 by 50 mm; the third pair is 2 mm off, the last place is none of a patch."""
    places = np.array(
        [[10.0, 10.0], [90.0, 10.0], [10.0, 20.0], [88.5, 20.0], [10.0, 30.0], [88.0, 30.0], [90.0, 20.0]]
    )
    reference = np.arange(21.0).reshape(7, 3)
    none = np.zeros(7)
    samples = Samples(
        tuple("abcdefg"), places, none[:, None] + np.zeros(3), none, none, none, reference, np.arange(7) < 6
    )
    assert laid(samples, (100.0, 50.0), "mirrored").tolist() == reference[[1, 0, 3, 2, 4, 5, 6]].tolist()
