"""Each caution and each refusal of light, at both sides of its limit: the numbers stand here, not taken over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strandgauge.card.sample import Samples
from strandgauge.light.correction import Correction, FittedCard
from strandgauge.light.trust import Exposure, Signs, judge, measure_exposure, measure_light
from strandgauge.light.trust import judge_exposure as judge_before

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
SPOILT = {"misfit": 6.01, "grey_misfit": 2.6}
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
        (SPOILT | {"misfit": 6.0}, SPOILT, "card-mismatch", None),
        (
            SPOILT | {"misfit": 6.0, "colour_change": 0.121},
            SPOILT | {"colour_change": 0.121},
            "mixed-light",
            "misfit",
        ),
        ({"misfit": 6.0}, {"misfit": 6.01, "brightest": 0.975}, "card-mismatch", None),
        (
            {"misfit": 6.0, "brightest": 1.0},
            {"misfit": 6.01, "brightest": 0.976},
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
    veiled = {"misfit": 7.0, "veiled": PATCHES}
    assert told(veiled | {"grey_misfit": 2.49})[0] == [("card-mismatch", None)]
    assert told(veiled | {"grey_misfit": 2.5})[0] == [("glare", None)]
    assert told(veiled | {"grey_misfit": 2.49, "colour_change": 0.12})[0] == [("glare", None)]


def test_every_reason_is_told_most_telling_first():
    problems, _ = told({"edge_share": 0.3, "colour_change": 0.4, "unevenness": 2.0, "misfit": 9.0})
    assert problems == [("blur", "edge"), ("mixed-light", "colour"), ("uneven-light", "fall")]


def test_the_facts_of_a_reason_are_those_measured():
    (problem,) = judge(GOOD, replace(CLEAR, veiled=("A1", "A2", "A3", "A4", "A5"))).problems
    assert dict(problem.facts) == {"veiled": 5, "patches": "A1, A2, A3, A4"}
    (caution,) = judge(GOOD, replace(CLEAR, unevenness=0.7)).cautions
    assert dict(caution.facts) == {"percent": pytest.approx(70.0)}


# --- what is measured -----------------------------------------------------------------------------------


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
    assert measured(samples, replace(fitted, lab=lab)).shaded == shaded


def test_misfit_is_that_of_the_colours_and_the_greys_have_their_own():
    samples = card_samples()
    delta = np.where(np.isin(np.arange(len(samples.ids)), GREY), 1.5, 4.0)
    found = measured(samples, replace(perfect(samples), delta_e00=delta))
    assert (found.misfit, found.grey_misfit) == (4.0, 1.5)


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
    from strandgauge.colour.cielab import xyz_from_lab

    flat = Correction(
        np.zeros((1, 3)), np.zeros(3), np.zeros(13), np.zeros((2, 5)), np.eye(3), (148.0, 105.0)
    )
    zero = np.zeros(len(samples.ids))
    lab = samples.reference
    return FittedCard(flat, xyz_from_lab(lab), lab.copy(), lab.copy(), zero + 1.0, zero, zero)


def measured(samples: Samples, fitted: FittedCard) -> Signs:
    from strandgauge.card.find import CardView
    from strandgauge.light import field
    from strandgauge.reading.pipeline import default_card

    flat = replace(
        fitted.correction,
        brightness_terms=np.zeros(len(field.ORDERS)),
        colour_terms=np.zeros((2, len(field.COLOUR_ORDERS))),
    )
    view = CardView(np.eye(3), 5.0, (40,), (41, 42), 0.01, 0.4, np.zeros((4, 2)))
    found = measure_light(samples, replace(fitted, correction=flat), view, default_card())
    assert (found.hidden, found.edge_mm, found.unevenness) == (2, 0.4, 0.0)
    return found


def told(changes: dict) -> tuple[list, list]:
    """Return codes and faults of the problems, and codes of the cautions, of a good card with changes."""
    before = {name: value for name, value in changes.items() if name in Exposure.__slots__}
    after = {name: value for name, value in changes.items() if name in Signs.__slots__}
    assert len(before) + len(after) == len(changes)
    report = judge(replace(GOOD, **before), replace(CLEAR, **after))
    problems = [(problem.code, dict(problem.facts).get("fault")) for problem in report.problems]
    return problems, [caution.code for caution in report.cautions]
