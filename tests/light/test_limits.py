"""Each caution and each refusal of light, at both sides of its limit: the numbers stand here, not taken over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strandgauge.card.find import CardView
from strandgauge.card.sample import Samples
from strandgauge.colour.cielab import xyz_from_lab
from strandgauge.errors import CardMismatchError
from strandgauge.light import field
from strandgauge.light.correction import Correction, FittedCard
from strandgauge.light.trust import (
    Exposure,
    LightReport,
    Signs,
    _light_over_card,
    judge,
    measure_exposure,
    measure_light,
)
from strandgauge.light.trust import judge_exposure as judge_before
from strandgauge.reading.pipeline import default_card
from strandgauge.words import say

GOOD = Exposure(np.ones(1, bool), 0, 0.0, False, white=0.7, darkest=0.1, next_darkest=0.2)
CLEAR = Signs(
    edge_mm=0.3,
    edge_share=0.03,
    hidden=0,
    misfit=0.8,
    grey_misfit=0.5,
    brightest=0.9,
    unevenness=0.2,
    colour_change=0.03,
    veiled=(),
    shaded=0.0,
)
PATCHES = ("A1", "B2", "C3")
ANOTHER = CardMismatchError(fault="other", delta_e00=9.5, patches="A1")
SPOILT = {"misfit": 9.01, "grey_misfit": 2.6, "other_print": ANOTHER}
"""Colours and greys that do not fit; of a card whose greys do, its colours are the wrong ones."""


@pytest.mark.parametrize(
    ("within", "beyond", "code"),
    [
        ({"clipped_share": 0.01}, {"clipped_share": 0.011}, "nearly-overexposed"),
        ({"paper_clipped": False}, {"paper_clipped": True}, "nearly-overexposed"),
        ({"white": 0.45}, {"white": 0.449}, "dark"),
        ({"edge_share": 0.11}, {"edge_share": 0.111}, "soft"),
        ({"hidden": 0}, {"hidden": 1}, "mark-hidden"),
        ({"veiled": ()}, {"veiled": PATCHES[:1]}, "slight-glare"),
        ({"colour_change": 0.12}, {"colour_change": 0.121}, "mixed"),
        ({"unevenness": 0.60}, {"unevenness": 0.601}, "uneven"),
        ({"shaded": 0.10}, {"shaded": 0.101}, "uneven"),
        ({"misfit": 2.5}, {"misfit": 2.51}, "loose-fit"),
    ],
)
def test_a_caution_begins_at_its_limit(within, beyond, code):
    assert told(within) == ([], [])
    assert told(beyond) == ([], [code])


@pytest.mark.parametrize(
    ("within", "beyond", "code", "fault"),
    [
        ({"clipped_share": 0.13}, {"clipped_share": 0.131}, "overexposed", "patches"),
        ({"white": 0.28}, {"white": 0.279}, "too-dark", "white"),
        ({"next_darkest": 0.1061}, {"next_darkest": 0.1059}, "too-dark", "greys"),
        ({"next_darkest": None}, {"next_darkest": 0.1}, "too-dark", "greys"),
        (
            {"darkest": 0.15, "next_darkest": 0.15},
            {"darkest": 0.149, "next_darkest": 0.149},
            "too-dark",
            "greys",
        ),
        ({"crushed": 0.5}, {"crushed": 0.51}, "too-dark", "greys"),
        ({"edge_share": 0.21}, {"edge_share": 0.211}, "blur", "edge"),
        ({"veiled": PATCHES[:2]}, {"veiled": PATCHES}, "glare", None),
        ({"colour_change": 0.30}, {"colour_change": 0.301}, "mixed-light", "colour"),
        ({"unevenness": 1.50}, {"unevenness": 1.501}, "uneven-light", "fall"),
        ({"shaded": 0.22}, {"shaded": 0.221}, "uneven-light", "shadow"),
        ({}, {"other_print": ANOTHER}, "card-mismatch", "other"),
        (
            {"misfit": 9.0, "colour_change": 0.121},
            {"misfit": 9.01, "colour_change": 0.121},
            "mixed-light",
            "misfit",
        ),
        ({}, {"misfit": 9.01, "brightest": 0.975, "other_print": ANOTHER}, "card-mismatch", "other"),
        (
            {"misfit": 2.5, "brightest": 1.0},
            {"misfit": 9.01, "brightest": 0.976, "other_print": ANOTHER},
            "overexposed",
            "washed-out",
        ),
    ],
)
def test_a_refusal_begins_at_its_limit(within, beyond, code, fault):
    assert told(within)[0] == []
    assert told(beyond)[0] == [(code, fault)]


def test_colours_are_wrong_only_where_the_greys_fit():
    """Where the greys do not fit either, other reasons come first: here a reflection."""
    veiled = {"misfit": 9.5, "veiled": PATCHES, "other_print": ANOTHER}
    assert told(veiled | {"grey_misfit": 2.49})[0] == [("card-mismatch", "other")]
    assert told(veiled | {"grey_misfit": 2.49, "misfit": 9.0})[0] == [("glare", None)]
    assert told(veiled | {"grey_misfit": 2.5})[0] == [("glare", None)]
    assert told(veiled | {"grey_misfit": 2.49, "colour_change": 0.12})[0] == [("glare", None)]


def test_every_reason_is_told_most_telling_first():
    problems, _ = told({"edge_share": 0.3, "colour_change": 0.4, "unevenness": 2.0, "misfit": 12.0})
    assert problems == [("blur", "edge"), ("mixed-light", "colour"), ("uneven-light", "fall")]


FIVE = ("A1", "A2", "A3", "A4", "A5")


@pytest.mark.parametrize(
    ("changes", "facts", "place"),
    [
        ({"clipped_share": 0.2, "clipped": 7}, {"fault": "patches", "clipped": 7}, "card"),
        ({"white": 0.2}, {"fault": "white", "percent": 20.0}, "card"),
        ({"crushed": 0.6}, {"fault": "greys"}, "card"),
        ({"edge_share": 0.3, "edge_mm": 1.2}, {"fault": "edge", "edge_mm": 1.2}, None),
        ({"veiled": FIVE}, {"veiled": 5, "patches": "A1, A2, A3, A4"}, "patches"),
        ({"colour_change": 0.4}, {"fault": "colour", "percent": 100 * (np.exp(0.4) - 1)}, None),
        ({"shaded": 0.3}, {"fault": "shadow"}, "card"),
        ({"unevenness": 1.6}, {"fault": "fall", "percent": 160.0}, "card"),
        ({"misfit": 9.5, "other_print": ANOTHER}, dict(ANOTHER.facts), None),
        ({"misfit": 9.5, "grey_misfit": 9.0, "other_print": ANOTHER}, dict(ANOTHER.facts), None),
        ({"misfit": 9.5, "brightest": 1.0, "other_print": ANOTHER}, {"fault": "washed-out"}, "card"),
    ],
)
def test_a_refusal_tells_what_was_measured_and_where(changes, facts, place):
    report = judged(changes)
    (problem,) = report.problems
    assert dict(problem.facts) == pytest.approx(facts)
    assert problem.place == (say(f"place.{place}", **facts) if place else None)
    assert report.signs.misfit == changes.get("misfit", CLEAR.misfit)


@pytest.mark.parametrize(
    ("changes", "facts"),
    [
        ({"hidden": 2}, {"hidden": 2}),
        ({"unevenness": 0.7}, {"percent": 70.0}),
        ({"misfit": 3.0}, {"delta_e00": 3.0}),
    ],
)
def test_a_caution_tells_what_was_measured(changes, facts):
    (caution,) = judged(changes).cautions
    assert (caution.severity, dict(caution.facts)) == ("caution", pytest.approx(facts))


def test_a_soft_card_that_fits_badly_is_soft_only():
    """At the limit of blur the colours still count; beyond it they say nothing."""
    assert told({"edge_share": 0.21, "misfit": 3.0}) == ([], ["soft", "loose-fit"])
    assert told({"edge_share": 0.211, "misfit": 3.0}) == ([("blur", "edge")], [])


# --- what is measured -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lightness", "patches", "share", "count"),
    [
        (89.9, (0, 1), 2 / 12, 2),
        (90.0, (0, 1), 1 / 11, 1),  # as light as paper: clipped before the others, and no loss
    ],
)
def test_clipped_patches_are_counted_where_they_are_darker_than_paper(lightness, patches, share, count):
    samples = card_samples(lightness=(lightness, 30.0, 60.0, 85.0))
    clipped = np.isin(np.arange(len(samples.ids)), patches).astype(float)
    found = measure_exposure(replace(samples, clipped_high=clipped))
    assert (found.clipped_share, found.clipped) == (pytest.approx(share), count)


def test_of_paper_alone_no_patch_is_clipped():
    samples = card_samples()
    paper = replace(
        samples, is_patch=np.zeros(len(samples.ids), bool), clipped_high=np.ones(len(samples.ids))
    )
    found = measure_exposure(paper)
    assert (found.clipped_share, found.clipped, found.paper_clipped) == (0.0, 0, True)


@pytest.mark.parametrize(
    ("paper", "clipped", "told_so"),
    [(4, 2, False), (4, 3, True), (1, 1, True), (1, 0, False), (0, 0, False)],
)
def test_paper_is_clipped_where_more_than_half_of_it_is(paper, clipped, told_so):
    samples = card_samples()
    rows = np.arange(len(samples.ids))
    patch = rows >= paper
    # Patches are clipped too: they do not count as paper.
    high = np.where(rows < clipped, 1.0, np.where(rows > 8, 1.0, 0.0))
    assert measure_exposure(replace(samples, is_patch=patch, clipped_high=high)).paper_clipped == told_so


def test_green_tells_the_exposure():
    samples = card_samples()
    colour = samples.encoded.copy()
    colour[:, [0, 2]] = 0.99
    found = measure_exposure(replace(samples, encoded=colour))
    assert (found.darkest, found.next_darkest, found.white) == pytest.approx((0.17, 0.3, 0.9))


def test_white_is_the_lightest_tenth_of_the_greys():
    """Those within half an L* of it count as it."""
    samples = card_samples(lightness=(20.0, 94.3, 94.6, 95.0), greys=(0.17, 0.6, 0.7, 0.9))
    assert measure_exposure(samples).white == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("lightness", "following"),
    [((29.9, 40, 60, 95), 0.3), ((30.0, 40, 60, 95), None), ((20, 21, 22, 22.9), None)],
)
def test_a_card_whose_greys_are_light_or_one_has_no_dark_steps(lightness, following):
    assert measure_exposure(card_samples(lightness=lightness)).next_darkest == following


def test_steps_are_of_three_units_of_lightness():
    found = measure_exposure(card_samples(lightness=(20.0, 23.0, 26.0, 95.0), greys=(0.1, 0.2, 0.4, 0.9)))
    assert (found.darkest, found.next_darkest) == (0.1, 0.2)
    found = measure_exposure(card_samples(lightness=(20.0, 22.9, 26.0, 28.9), greys=(0.1, 0.2, 0.4, 0.9)))
    assert (found.darkest, found.next_darkest) == (pytest.approx(0.15), pytest.approx(0.65))


def test_crushed_is_the_share_of_the_darkest_greys():
    samples = card_samples()
    low = np.where(np.arange(len(samples.ids)) == GREY[0], 0.7, 1.0)
    assert measure_exposure(replace(samples, clipped_low=low)).crushed == 0.7


@pytest.mark.parametrize(("share", "usable"), [(0.08, True), (0.081, False)])
def test_a_place_with_many_clipped_pixels_is_not_used(share, usable):
    samples = card_samples()
    clipped = samples.clipped_high.copy()
    clipped[GREY[2]] = share
    found = measure_exposure(replace(samples, clipped_high=clipped))
    assert found.usable[GREY[2]] == usable
    assert found.clipped == (0 if usable else 1)
    assert found.usable.sum() == len(samples.ids) - (0 if usable else 1)


def test_steps_of_grey_are_told_apart_by_their_own_lightness():
    """Patches of one step differ by up to 3 L* where the print was measured; more is another step."""
    found = measure_exposure(card_samples())
    assert (found.darkest, found.next_darkest) == (pytest.approx(0.17), pytest.approx(0.3))
    assert found.white == pytest.approx(0.9)
    assert judge_before(found) == ([], [])
    alike = card_samples(greys=(0.10, 0.10, 0.5, 0.9))
    assert [problem.code for problem in judge_before(measure_exposure(alike))[0]] == ["too-dark"]


@pytest.mark.parametrize(
    ("added", "own", "weight", "veiled"),
    [
        (0.036, 0.05, 0.49, True),
        (0.034, 0.05, 0.49, False),  # too little light
        (0.036, 0.05, 0.50, False),  # believed by the fit
        (0.10, 0.2301, 0.49, True),
        (0.10, 0.2340, 0.49, False),  # most of the light there is the patch's own
    ],
)
def test_a_place_is_veiled_where_enough_white_light_is_added(added, own, weight, veiled):
    samples = card_samples()
    fitted = perfect(samples)
    row = GREY[1]
    scale = own / fitted.xyz[row, 1]
    reference = samples.reference.copy()
    reference[row, 0] = 116 * np.cbrt(own) - 16
    reference[row, 1:] = 0.0
    xyz, weights = fitted.xyz.copy(), fitted.weight.copy()
    xyz[row] = fitted.xyz[row] * scale + added / 0.9505 * np.array([0.9505, 1.0, 1.089])
    xyz[row, 1] = own + added
    weights[row] = weight
    found = measured(replace(samples, reference=reference), replace(fitted, xyz=xyz, weight=weights))
    assert found.veiled == (("grey1",) if veiled else ())


@pytest.mark.parametrize(("ratio", "shaded"), [(1.033, 0.0), (1.035, 0.25), (0.965, 0.25), (0.968, 0.0)])
def test_a_grey_is_shaded_where_its_light_departs_by_a_tenth(ratio, shaded):
    samples = card_samples(lightness=(35.0, 45.0, 60.0, 95.0))
    fitted = perfect(samples)
    lab = fitted.lab.copy()
    lab[GREY[2], 0] = ratio * (lab[GREY[2], 0] + 16) - 16
    assert measured(samples, replace(fitted, xyz=xyz_from_lab(lab))).shaded == shaded


def test_misfit_is_that_of_the_colours_and_the_greys_have_their_own():
    samples = card_samples()
    delta = np.where(np.isin(np.arange(len(samples.ids)), GREY), 1.5, 4.0)
    found = measured(samples, replace(perfect(samples), delta_e00=delta))
    assert (found.misfit, found.grey_misfit) == (4.0, 1.5)


@pytest.mark.parametrize(("colours", "misfit"), [(6, 6.0), (5, 2.0)])
def test_few_colours_are_judged_with_the_greys(colours, misfit):
    samples = card_samples()
    rows = np.arange(len(samples.ids))
    patch = (rows < 4) | (rows >= len(rows) - colours)
    delta = np.full(len(rows), 1.5)
    delta[-colours:] = [2.0, 3.0, 5.0, 7.0, 8.0, 9.0][:colours]
    found = measured(replace(samples, is_patch=patch), replace(perfect(samples), delta_e00=delta))
    assert found.misfit == misfit


def test_without_greys_nothing_speaks_for_them():
    samples = card_samples()
    vivid = replace(samples, reference=np.tile([60.0, 30.0, 20.0], (len(samples.ids), 1)))
    paper = vivid.reference.copy()
    paper[:2] = [95.0, 0.0, 0.0]
    bare = replace(vivid, reference=paper, is_patch=np.arange(len(samples.ids)) >= 2)
    assert measured(bare, perfect(bare)).grey_misfit == float("inf")


def test_sharpness_and_brightness_are_those_of_the_patches():
    samples = card_samples()
    encoded = samples.encoded.copy()
    encoded[GREY[0]] = [0.2, 0.3, 0.97]
    encoded[GREY[1]] = 1.0  # paper
    rows = np.arange(len(samples.ids))
    found = measured(replace(samples, encoded=encoded, is_patch=rows != GREY[1]), perfect(samples))
    assert found.brightest == 0.97
    assert found.edge_share == pytest.approx(0.4 / 7.0)  # the smallest patch is 7 mm wide here


def test_unevenness_and_colour_are_those_of_the_light_over_the_card():
    """A first-order term t along x is exp(-0.94 t) to exp(0.94 t) over what is looked at; along y 0.92."""
    size = (100.0, 50.0)
    bright, colour = np.zeros(len(field.ORDERS)), np.zeros((2, len(field.COLOUR_ORDERS)))
    along_x, along_y = field.ORDERS.index((1, 0)), field.ORDERS.index((0, 1))
    bright[along_x], colour[0, along_y], colour[1, along_x] = 0.3, -0.1, 0.2
    correction = replace(
        perfect(card_samples()).correction, brightness_terms=bright, colour_terms=colour, card_size=size
    )
    card = replace(default_card(), size=size)
    uneven, change = _light_over_card(correction, card)
    inner = np.exp(0.3 * np.linspace(-0.94, 0.94, 13))
    assert uneven == pytest.approx(np.ptp(inner) / inner.mean())
    assert change == pytest.approx(2 * 0.94 * 0.2)
    colour[0, along_y] = -0.3
    assert _light_over_card(correction, card)[1] == pytest.approx(2 * 0.92 * 0.3)
    bowl = colour * 0.0
    bowl[:, field.COLOUR_ORDERS.index((2, 0))] = 0.1, -0.1
    edge = 1.5 * 0.94**2  # of a second-order term, from its middle; red and blue each by themselves
    assert _light_over_card(replace(correction, colour_terms=bowl), card)[1] == pytest.approx(0.1 * edge)
    bright[along_x], bright[along_y] = 0.0, 0.3
    inner = np.exp(0.3 * np.linspace(-0.92, 0.92, 9))
    assert _light_over_card(correction, card)[0] == pytest.approx(np.ptp(inner) / inner.mean())


@pytest.mark.parametrize(
    ("lightness", "spread", "counts"),
    [
        ((30.1, 45.0, 60.0, 95.0), 0.079, True),
        ((30.0, 45.0, 60.0, 95.0), 0.0, False),
        ((35, 45, 60, 95), 0.08, False),
    ],
)
def test_dark_or_patterned_greys_say_nothing_of_shade(lightness, spread, counts):
    """Four must be left to tell."""
    samples = card_samples(lightness=lightness)
    fitted = perfect(samples)
    lab = fitted.lab.copy()
    lab[list(GREY), 0] *= 0.5
    patterned = replace(samples, spread=np.where(np.arange(len(lab)) == GREY[3], spread, 0.0))
    assert measured(patterned, replace(fitted, xyz=xyz_from_lab(lab))).shaded == (1.0 if counts else 0.0)


def test_of_greys_one_is_none():
    """Then every patch counts as one."""
    samples = card_samples()
    for count in (1, 2):
        reference = samples.reference.copy()
        reference[list(GREY[count:]), 1] = 40.0
        delta = np.where(samples.reference[:, 1] == 0, 3.0, 1.0)
        found = measured(replace(samples, reference=reference), replace(perfect(samples), delta_e00=delta))
        assert found.grey_misfit == (1.0 if count == 1 else 3.0)


# --- a card of four greys and eight colours -------------------------------------------------------------

GREY = (0, 1, 2, 3)


def card_samples(greys=(0.17, 0.30, 0.5, 0.9), lightness=(20.0, 30.0, 60.0, 95.0)) -> Samples:
    colours = 8
    count = len(GREY) + colours
    lab = np.array([[value, 0, 0] for value in lightness] + [[60, 30, 20]] * colours, dtype=float)
    encoded = np.array([[value] * 3 for value in greys] + [[0.7, 0.5, 0.4]] * colours)
    return Samples(
        ids=(*(f"grey{k}" for k in range(4)), *(f"colour{k}" for k in range(colours))),
        places=np.linspace([10.0, 10.0], [130.0, 90.0], count),
        encoded=encoded,
        spread=np.zeros(count),
        clipped_high=np.zeros(count),
        clipped_low=np.zeros(count),
        reference=lab,
        is_patch=np.ones(count, bool),
    )


def perfect(samples: Samples) -> FittedCard:
    flat = Correction(
        np.zeros((1, 3)),
        np.zeros(3),
        np.zeros(13),
        np.zeros((2, 5)),
        np.eye(3),
        np.zeros((2, 3)),
        (148.0, 105.0),
    )
    zero = np.zeros(len(samples.ids))
    lab = samples.reference
    return FittedCard(flat, flat, xyz_from_lab(lab), lab.copy(), lab.copy(), zero + 1.0, zero, zero)


def measured(samples: Samples, fitted: FittedCard) -> Signs:
    flat = replace(
        fitted.correction,
        brightness_terms=np.zeros(len(field.ORDERS)),
        colour_terms=np.zeros((2, len(field.COLOUR_ORDERS))),
    )
    view = CardView(np.eye(3), 5.0, (40,), (41, 42), 0.01, 0.4, np.zeros((4, 2)))
    card = default_card()
    narrow = replace(card.patches[0], box=(*card.patches[0].box[:2], 7.0, 9.0))
    found = measure_light(
        samples, replace(fitted, correction=flat), view, replace(card, patches=(narrow, *card.patches[1:]))
    )
    assert (found.hidden, found.edge_mm, found.unevenness, found.colour_change) == (2, 0.4, 0.0, 0.0)
    return found


def told(changes: dict) -> tuple[list, list]:
    """Return codes and faults of the problems, and codes of the cautions, of a good card with changes."""
    report = judged(changes)
    problems = [(problem.code, dict(problem.facts).get("fault")) for problem in report.problems]
    return problems, [caution.code for caution in report.cautions]


def judged(changes: dict) -> LightReport:
    """Judge a good card with changes to its exposure or its signs."""
    before = {name: value for name, value in changes.items() if name in Exposure.__slots__}
    after = {name: value for name, value in changes.items() if name in Signs.__slots__}
    assert len(before) + len(after) == len(changes)
    return judge(replace(GOOD, **before), replace(CLEAR, **after))
