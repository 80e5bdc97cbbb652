"""Brightness and tint over a zone, on strands painted by formula, and what a network makes of them."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import pytest
from test_strand_limits import CLEAR

from strandgauge.colour.srgb import LUMINANCE
from strandgauge.errors import BadCalibrationError
from strandgauge.files.calibration import calibration_file
from strandgauge.light.region import Region
from strandgauge.strand.direction import FARTHEST, LightModel, load_light_model, shift_terms
from strandgauge.strand.isolate import Isolated, _outline
from strandgauge.strand.names import PARTS
from strandgauge.strand.relief import RINGS, SHARES, Relief, reliefs
from strandgauge.strand.zones import StrandCoordinates, strand_coordinates

PPM = 4.0
HEIGHT, WIDTH = 160, 520
ROWS, COLUMNS = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float64)
GREY = np.array([0.3, 0.3, 0.3])


def painted(linear: np.ndarray) -> tuple[Region, Isolated, StrandCoordinates]:
    """Return a straight strand of 16 by 100 mm that sends this linear light (H, W, 3) back."""
    hair = np.zeros((HEIGHT, WIDTH), dtype=bool)
    hair[48:112, 60:460] = True
    to_card = np.array([[1 / PPM, 0, 0], [0, 1 / PPM, 0]])
    region = Region(linear.astype(np.float32), np.zeros_like(linear), np.zeros_like(hair), PPM, to_card)
    strand = _outline(hair, np.ones(hair.shape, np.float32), PPM, margin_mm=2.0)
    return region, strand, strand_coordinates(strand, PPM)


def relief_of(linear: np.ndarray) -> dict[str, Relief]:
    return reliefs(*painted(linear))


def test_flat_hair_has_no_relief():
    for relief in relief_of(np.broadcast_to(GREY, (HEIGHT, WIDTH, 3)) * 1.0).values():
        for part in (relief.across, relief.red_across, relief.blue_across, relief.along, relief.shares):
            assert part == pytest.approx(np.zeros(len(part)), abs=1e-5)


def test_a_ridge_along_the_strand_is_told_across_whatever_the_hair_and_the_exposure():
    off_axis = np.abs(ROWS + 0.5 - 80) / 32
    ridge = np.exp(0.6 * (1 - off_axis))[..., None]
    grey, gold = relief_of(GREY * ridge), relief_of(np.array([0.2, 0.12, 0.04]) * ridge)
    middles = (np.r_[0.0, RINGS[:-1]] + RINGS) / 2
    wanted = -0.6 * (middles - RINGS[-1] / 2)
    for name in PARTS:
        assert grey[name].across == pytest.approx(wanted, abs=0.02)
        assert gold[name].across == pytest.approx(wanted, abs=0.02)
        assert gold[name].red_across == pytest.approx(np.zeros(3), abs=1e-3)
        assert grey[name].along == pytest.approx(np.zeros(6), abs=1e-3)
        assert grey[name].shares[0] < -0.1 < 0.1 < grey[name].shares[-1]
        assert (np.diff(grey[name].shares) > 0).all()


def test_a_tint_that_goes_across_is_told_apart_for_red_and_blue():
    off_axis = np.abs(ROWS + 0.5 - 80) / 32
    linear = np.broadcast_to(GREY, (HEIGHT, WIDTH, 3)).copy()
    linear[..., 2] *= np.exp(-0.4 * off_axis)
    light = np.log(linear @ LUMINANCE)
    relief = relief_of(linear)["mids"]
    inside = off_axis <= RINGS[-1]
    at_edge = (off_axis > RINGS[-2]) & inside
    blue = np.log(linear[..., 2]) - light
    assert relief.blue_across[2] == pytest.approx(blue[at_edge].mean() - blue[inside].mean(), abs=0.02)
    assert relief.blue_across[2] < -0.1
    assert relief.red_across[2] == pytest.approx(-light[at_edge].mean() + light[inside].mean(), abs=0.005)


def test_red_is_told_by_the_red_light_alone():
    off_axis = np.abs(ROWS + 0.5 - 80) / 32
    linear = np.broadcast_to(GREY, (HEIGHT, WIDTH, 3)).copy()
    linear[..., 0] *= np.exp(-0.4 * off_axis)
    relief = relief_of(linear)["mids"]
    assert relief.red_across[2] < -0.08
    assert relief.blue_across[2] > 0.02  # what is lost in luminance


def test_a_zone_is_told_from_its_own_columns_to_the_last_of_them():
    off_axis = np.abs(ROWS + 0.5 - 80) / 32
    along = painted(np.ones((HEIGHT, WIDTH, 3)))[2].along
    own = (along >= 0.41) & (along <= 0.59)
    beside = GREY * np.where(own, 1.0, np.exp(-off_axis))[..., None]
    assert relief_of(beside)["mids"].across == pytest.approx(np.zeros(5), abs=1e-5)
    for column in (np.flatnonzero(own)[0], np.flatnonzero(own)[-1]):
        linear = np.broadcast_to(GREY, (HEIGHT, WIDTH, 3)).copy()
        linear[:, column] *= np.exp(-off_axis[:, column])[:, None]
        assert np.abs(relief_of(linear)["mids"].across).max() > 1e-3


def test_brightness_along_the_mids_is_the_same_from_either_end():
    hump = GREY * np.exp(-0.5 * np.abs(COLUMNS - 260) / 200 - 0.3 * (COLUMNS - 260) / 400)[..., None]
    root, mids, ends = (relief_of(hump)[name].along for name in PARTS)
    assert mids == pytest.approx((root + ends) / 2)
    assert mids == pytest.approx(-0.5 * (np.array([5, 3, 1, 1, 3, 5]) / 6 - 0.5), abs=0.01)


def test_brightness_along_is_told_from_the_zones_own_end():
    falling = GREY * np.exp(-0.5 * (COLUMNS - 60) / 400)[..., None]
    told = relief_of(falling)
    steps = -0.5 * ((np.arange(6) + 0.5) / 6 - 0.5)
    assert told["root"].along == pytest.approx(steps, abs=0.01)
    assert told["ends"].along == pytest.approx(steps[::-1], abs=0.01)
    assert told["mids"].along == pytest.approx(np.zeros(6), abs=0.01)


def test_shares_are_quantiles_about_the_mean_light():
    stripes = np.where((COLUMNS // 6).astype(int) % 4 == 0, 0.6, 0.2)  # a quarter bright, wider than the blur
    shares = relief_of(np.repeat(stripes[..., None], 3, axis=2))["mids"].shares
    assert SHARES[3] == 50
    assert shares[3] == pytest.approx(np.log(0.2 / 0.3), abs=0.05)
    assert shares[-1] == pytest.approx(np.log(0.6 / 0.3), abs=0.05)


def test_gaps_and_clipped_pixels_are_left_out():
    region, strand, coordinates = painted(np.broadcast_to(GREY, (HEIGHT, WIDTH, 3)) * 1.0)
    odd = (COLUMNS // 8).astype(int) % 3 == 0
    region.linear[odd] = 1.0
    for spoilt in ((replace(region, clipped=odd), strand), (region, replace(strand, gap=odd))):
        relief = reliefs(*spoilt, coordinates)["root"]
        assert relief.across == pytest.approx(np.zeros(5), abs=1e-5)
        assert relief.along == pytest.approx(np.zeros(6), abs=1e-5)
    assert np.abs(reliefs(region, strand, coordinates)["root"].shares).max() > 0.3


def test_where_hardly_any_hair_is_seen_its_neighbours_stand_for_it():
    region, strand, coordinates = painted(GREY * np.exp(-np.abs(ROWS + 0.5 - 80) / 32)[..., None])
    edge = np.abs(coordinates.across) > RINGS[-2]
    across = reliefs(region, replace(strand, gap=edge), coordinates)["root"].across
    assert across[4] == pytest.approx(across[3])
    nothing = reliefs(region, replace(strand, gap=np.ones_like(edge)), coordinates)["root"]
    for part in (nothing.across, nothing.red_across, nothing.along, nothing.shares):
        assert part.tolist() == [0.0] * len(part)


# --- what they come to ----------------------------------------------------------------------------------

HAND_MADE = LightModel(
    usual=np.array([1.0, 0.0]),
    spread=np.array([2.0, 1.0]),
    units=np.array([[0.5], [-1.0], [0.25]]),
    shift=np.array([[0.1, 0.2, 0.3, 0.01, 0.02], [1.0, 0.0, 0.0, 0.0, 0.0], [0.0, 0.0, 0.0, 0.0, 0.5]]),
    widen=np.zeros((7, 3)),
    turned_widen=np.array([[-0.3, -0.2, -0.1], [0.4, 0.5, 0.6]]),
    turned_shift=np.array([0.02, 0.03]),
    turned_clues=0.5,
    again_widen=np.array([-0.05, -0.1, -0.15]),
)


def test_the_shift_is_that_of_bounded_units_and_of_the_terms_themselves():
    unit = np.tanh(0.5 * 1.5 - 1.0 * 0.5 + 0.25)
    told = HAND_MADE.shift_of(np.array([4.0, 0.5]))
    assert told == pytest.approx(
        np.array(
            [[0.1 * unit + 1.5, 0.01 * unit, 0.02 * unit + 0.25], [0.2 * unit, 0, 0], [0.3 * unit, 0, 0]]
        )
    )
    far, farther = (HAND_MADE.shift_of(np.array([1.0 + 2.0 * FARTHEST * f, 0.0])) for f in (1.0, 3.0))
    assert far == pytest.approx(farther)


def test_photos_with_the_card_turned_share_their_shift_and_widen_as_they_lie_apart():
    shifts = np.array([np.full((3, 3), 0.2), np.full((3, 3), 0.4)])
    widenings = np.array([np.zeros(3), np.full(3, 0.2)])
    shift, widen = HAND_MADE.several(shifts, widenings, np.array([0.0, 0.5]), turned=True)
    assert shift[0, 0] == pytest.approx(0.5 * 0.3 - 0.02 - 0.03 * 0.25)
    assert shift[1:] == pytest.approx(np.full((2, 3), 0.15))
    assert widen == pytest.approx(0.1 + HAND_MADE.turned_widen[0] + 0.5 * HAND_MADE.turned_widen[1])
    beyond = [HAND_MADE.several(shifts, widenings, np.array([0.0, a]), turned=True)[1] for a in (1.2, 3.0)]
    assert beyond[0] == pytest.approx(beyond[1])
    shift, widen = HAND_MADE.several(shifts, widenings, np.array([0.0, 0.5]), turned=False)
    assert shift == pytest.approx(np.full((3, 3), 0.3))
    assert widen == pytest.approx(0.1 + HAND_MADE.again_widen)


def test_no_term_tells_how_light_the_zone_is():
    """Else the answer would be among its own clues, and every lightness as likely as any other."""
    ridge = np.exp(0.4 * (1 - np.abs(ROWS + 0.5 - 80) / 32) - 0.3 * (COLUMNS - 60) / 400)[..., None]
    dark, pale = (relief_of(scale * GREY * ridge)["root"] for scale in (0.2, 1.0))
    assert shift_terms(CLEAR, dark, 0.1) == pytest.approx(shift_terms(CLEAR, pale, 0.1), abs=1e-4)


def test_the_shipped_model_is_that_of_the_file():
    file = tomllib.loads(calibration_file("as-lit.toml").read_text())["clues"]
    model = load_light_model()
    assert [model.usual.tolist(), model.spread.tolist()] == [file["usual"], file["spread"]]
    assert model.units.T.ravel().tolist() == file["units"]
    told = ("scale", "scale_by_lightness", "scale_by_square", "x", "z")
    assert model.shift.T.tolist() == [file[f"shift_{name}"] for name in told]


@pytest.mark.parametrize("name", ["usual", "spread", "units", "shift_x"])
def test_a_model_with_a_number_missing_is_refused(tmp_path, monkeypatch, name):
    path = tmp_path / "as-lit.toml"
    text = calibration_file("as-lit.toml").read_text()
    assert f"\n{name} = [" in text
    path.write_text(text.replace(f"\n{name} = [", f"\n{name} = [1, 2]\nold_{name} = ["))
    monkeypatch.setattr("strandgauge.strand.direction.calibration_file", lambda *_: path)
    with pytest.raises(BadCalibrationError):
        load_light_model.__wrapped__()
