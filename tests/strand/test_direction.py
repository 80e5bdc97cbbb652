"""Signs of one-sided light: shadow, fall and range, each made by formula; what they add to a reading's doubt."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from test_relief import COLUMNS, PPM, ROWS, painted
from test_strand_limits import CLEAR

from strandgauge.card.model import Window
from strandgauge.colour.cielab import xyz_from_lab
from strandgauge.colour.srgb import RGB_FROM_XYZ
from strandgauge.light.remainder import OTHER_CARD
from strandgauge.strand.direction import CardSeen, LightClues, light_clues, spread_terms, unseen_terms
from strandgauge.strand.zones import ZoneLight, measure_zones

PAPER = (94.0, 0.0, -2.0)
BARE = xyz_from_lab(np.array(PAPER)) @ RGB_FROM_XYZ.T
HAIR = np.array([0.2, 0.12, 0.05])
BEYOND_MM = (np.abs(ROWS - 79.5) - 32) / PPM
"""Millimetres beyond the edge of the strand that `painted` has."""


def clues_of(
    linear: np.ndarray, root_end: str = "left", slopes: tuple[float, float] = (0.0, 0.0)
) -> LightClues:
    """Return the clues on such light (H, W, 3); the field falls by these logarithms over the window."""
    region, strand, coordinates = painted(linear)
    x_slope, y_slope = slopes
    field = SimpleNamespace(
        light_factor=lambda places: (
            np.exp(-x_slope * places[:, :1] / 100 - y_slope * places[:, 1:] / 40)
            * np.array([[2.0, 1.0, 0.5]])
        )
    )
    zones = measure_zones(region, strand, coordinates)
    return light_clues(
        region, strand, coordinates, zones, field, Window((10.0, 20.0, 100.0, 40.0), root_end), PAPER
    )


def on_paper(shadow: np.ndarray | float = 0.0) -> np.ndarray:
    """Return hair of one colour on paper that is darker by these logarithms, place by place."""
    paper = BARE * np.exp(-np.broadcast_to(shadow, ROWS.shape))[..., None]
    return np.where((BEYOND_MM <= 0)[..., None], HAIR, paper)


def test_bare_paper_all_round_is_no_sign_of_anything():
    clues = clues_of(on_paper())
    assert clues.shadow == pytest.approx(0.0, abs=1e-3)
    assert clues.shadow_other == pytest.approx(0.0, abs=1e-3)
    assert (clues.fall_along, clues.fall, clues.range_along) == pytest.approx((0.0, 0.0, 0.0), abs=1e-5)
    assert clues.patchiness == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("below", [True, False])
def test_a_shadow_is_told_by_its_depth_on_either_side(below):
    side = (ROWS > 79.5) == below
    clues = clues_of(on_paper(np.where(side, 0.5, 0.1)))
    assert (clues.shadow, clues.shadow_other) == pytest.approx((0.5, 0.1), abs=1e-3)


def test_a_shadow_is_looked_for_close_by_but_not_at_the_very_edge_nor_beyond_the_ends():
    near = (BEYOND_MM > 0.8) & (BEYOND_MM < 2.8)
    along = (COLUMNS > 60 + 0.08 * 400) & (COLUMNS < 60 + 0.92 * 400)
    assert clues_of(on_paper(np.where(near & along, 0.4, 0.0))).shadow == pytest.approx(0.4, abs=1e-3)
    assert clues_of(on_paper(np.where(near & along, 0.0, 3.0))).shadow == pytest.approx(0.0, abs=1e-3)


def test_paper_that_is_hardly_seen_tells_no_shadow():
    region, strand, coordinates = painted(on_paper(0.7))
    zones = measure_zones(region, strand, coordinates)
    covered = replace(strand, hair=np.ones_like(strand.hair))
    field = SimpleNamespace(light_factor=lambda places: np.ones((len(places), 3)))
    window = Window((10.0, 20.0, 100.0, 40.0), "left")
    clues = light_clues(region, covered, coordinates, zones, field, window, PAPER)
    assert (clues.shadow, clues.shadow_other) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("root_end", "along"), [("left", 0.3), ("right", -0.3), ("top", -0.4), ("bottom", 0.4)]
)
def test_the_lights_fall_is_told_from_the_root_end_on_and_both_ways_together(root_end, along):
    clues = clues_of(on_paper(), root_end, (0.3, -0.4))
    assert clues.fall_along == pytest.approx(along)
    assert clues.fall == pytest.approx(0.5)


def zone(light: float, spread: float = 0.0, lightness: float = 50.0) -> ZoneLight:
    pixels = np.array([[lightness - 4, 0, 0], [lightness + 4, 0, 0]], dtype=np.float32)
    return ZoneLight("root", np.full(3, light), pixels, spread, 0.0, 0.0, np.zeros((2, 2)))


def test_range_and_patchiness_are_logarithms_whatever_the_hairs_lightness():
    region, strand, coordinates = painted(on_paper())
    field = SimpleNamespace(light_factor=lambda places: np.ones((len(places), 3)))
    window = Window((10.0, 20.0, 100.0, 40.0), "left")
    zones = {"root": zone(0.1), "mids": zone(0.2), "ends": zone(0.4), "overall": zone(9.0, 3.0, 44.0)}
    clues = light_clues(region, strand, coordinates, zones, field, window, PAPER)
    assert clues.range_along == pytest.approx(np.log(4.0))
    # ln Y is three times ln(L* + 16), but for a constant.
    assert clues.patchiness == pytest.approx(3.0 * 3.0 / 60.0)
    black = {**zones, "root": zone(0.0)}
    dark = light_clues(region, strand, coordinates, black, field, window, PAPER)
    assert dark.range_along == pytest.approx(np.log(400.0))


# --- what they add to the doubt -------------------------------------------------------------------------

SEEN = CardSeen(1.5, 0, 0.0)
CALM = replace(CLEAR, shadow_other=0.0, fall_along=0.0, range_along=0.0, patchiness=0.0)


@pytest.mark.parametrize(
    ("term", "name", "inside", "limit", "beyond"),
    [
        (2, "shadow_other", 0.3, 1.0, 1.5),
        (2, "shadow_other", -0.2, -0.5, -0.8),
        (3, "fall_along", -0.4, 1.0, -1.7),
        (5, "range_along", 0.4, 1.0, 1.8),
        (6, "patchiness", 0.4, 1.0, 1.8),
    ],
)
def test_each_clue_is_a_doubt_up_to_its_limit(term, name, inside, limit, beyond):
    told, most = (spread_terms(replace(CALM, **{name: value}), SEEN) for value in (inside, beyond))
    assert told[term] == pytest.approx(abs(inside) if name == "fall_along" else inside)
    assert most[term] == pytest.approx(limit)
    others = np.delete(most, term)
    assert others[:6].tolist() == [0.0] * 6
    assert others[6:].tolist() == OTHER_CARD.tolist()


def test_the_card_is_a_doubt_up_to_its_limits():
    def of(**seen: float) -> list[float]:
        return spread_terms(CALM, replace(SEEN, **seen)).tolist()

    assert of()[:5] == [0.0] * 5
    assert of(left_out_mean=3.0)[0] == pytest.approx(np.log(2.0))
    assert of(left_out_mean=0.1)[0] == pytest.approx(np.log(1 / 3))
    assert of(left_out_mean=99.0)[0] == pytest.approx(np.log(10.0))
    assert [of(cautions=count)[1] for count in (1, 3, 4)] == [1, 3, 3]
    assert [of(unevenness=share)[4] for share in (0.4, 1.5, 1.8)] == [0.4, 1.5, 1.5]
    assert of(log_error=np.array([-9.0, 0.4, 3.0]))[7:] == [-2.5, 0.4, 2.5]


def test_what_no_fit_has_seen_goes_with_fall_and_range_up_to_their_limits():
    assert unseen_terms(CALM).tolist() == [1.0, 0.0, 0.0]
    assert unseen_terms(replace(CALM, fall_along=-0.3, range_along=0.2)).tolist() == [1.0, 0.3, 0.2]
    assert unseen_terms(replace(CALM, fall_along=-2.0, range_along=3.0)).tolist() == [1.0, 1.0, 1.0]
