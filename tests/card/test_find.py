"""The card is found wherever it lies, and what hides it is named."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from strandgauge.card.find import find_card, project
from strandgauge.errors import BlurError, CardCutOffError, CardFoldedError, NoCardError
from strandgauge.reading.pipeline import default_card
from synthetic import Shot, paint, photograph, srgb_curve

pytestmark = pytest.mark.whole

CARD = default_card()
SHEET = paint(CARD)


def placed(degrees: float, scale: float = 1.0, tilt: float = 0.0, size: tuple[int, int] = (1600, 1200)):
    """Corners of a card turned by `degrees`, `scale` of filling the picture, with perspective `tilt`."""
    turn = np.radians(degrees)
    corners = np.array([[-74, -52.5], [74, -52.5], [74, 52.5], [-74, 52.5]]) * 6.2 * scale
    corners = corners @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]).T
    corners = corners / (1 + tilt * corners[:, :1] / 500)
    return tuple(map(tuple, corners + np.array(size) / 2))


@settings(max_examples=12, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate])
@given(
    degrees=st.floats(0, 360),
    scale=st.floats(0.35, 0.65),
    tilt=st.floats(-0.35, 0.35),
    blur=st.floats(0, 1.0),
)
def test_card_is_placed_to_a_pixel_at_any_rotation_size_and_tilt(degrees, scale, tilt, blur):
    shot = Shot(corners=placed(degrees, scale, tilt), blur_px=blur)
    view = find_card(photograph(SHEET, CARD, shot), CARD)
    true = cv2.getPerspectiveTransform(
        np.array([[0, 0], [148, 0], [148, 105], [0, 105]], dtype=np.float32),
        np.asarray(shot.corners, np.float32),
    )
    places = np.array([[10.0, 10.0], [138.0, 10.0], [74.0, 52.0], [10.0, 95.0], [138.0, 95.0]])
    error = np.abs(view.to_pixels(places) - project(true, places)).max()
    assert error < max(1.0, 0.12 * view.pixels_per_mm)


@pytest.mark.parametrize(("side", "beyond_px", "cut_off"), [("right", 4.0, False), ("top", 20.0, True)])
def test_card_over_the_edge_names_the_side(side, beyond_px, cut_off):
    """All four marks are in the picture; the card's edge lies a little beyond it."""
    corners = np.array(placed(0, scale=1.2))
    low, high = corners.min(0), corners.max(0)
    push = {"right": [1599 + beyond_px - high[0], 0.0], "top": [0.0, -beyond_px - low[1]]}
    picture = photograph(SHEET, CARD, Shot(corners=tuple(map(tuple, corners + push[side]))))
    if not cut_off:
        assert find_card(picture, CARD).hidden == ()
        return
    with pytest.raises(CardCutOffError) as refusal:
        find_card(picture, CARD)
    assert dict(refusal.value.facts) == {"fault": "outside", "sides": side}


def test_a_false_mark_in_the_picture_does_not_move_the_card():
    """One mark is covered, and its pattern lies on the table elsewhere."""
    hidden = SHEET.copy()
    tile = hidden[30:210, 30:210].copy()
    hidden[30:210, 30:210] = 0.5
    picture = photograph(hidden, CARD, Shot(corners=placed(0, 0.7)))
    mark = cv2.resize((srgb_curve(np.clip(tile, 0, 1)) * 255).astype(np.uint8), (90, 90))
    cv2.rectangle(picture, (1440, 1040), (1590, 1190), (235, 235, 235), -1)
    picture[1070:1160, 1470:1560] = mark
    view = find_card(picture, CARD)
    assert view.hidden == (40,)
    assert view.outline == pytest.approx(np.array(placed(0, 0.7)), abs=2.0)


def test_no_card():
    rng = np.random.default_rng(2)
    picture = rng.integers(0, 255, (30, 40, 3), dtype=np.uint8)
    with pytest.raises(NoCardError):
        find_card(cv2.resize(picture, (1600, 1200), interpolation=cv2.INTER_NEAREST), CARD)


@pytest.mark.parametrize("blur_px", [7, 20])
def test_blur_is_named_as_blur_not_as_a_missing_card(blur_px):
    with pytest.raises(BlurError):
        find_card(photograph(SHEET, CARD, Shot(blur_px=blur_px)), CARD)


@pytest.mark.parametrize(
    ("crease_degrees", "tilt", "folded"), [(0, 0, False), (0, 25, False), (25, 0, True), (14, 25, True)]
)
def test_a_creased_card_is_not_measured(crease_degrees, tilt, folded):
    picture = creased(crease_degrees, tilt)
    if folded:
        with pytest.raises(CardFoldedError):
            find_card(picture, CARD)
    else:
        assert find_card(picture, CARD).residual_mm < 0.05


def creased(degrees: float, tilt: float) -> np.ndarray:
    """The card with its right part bent up by `degrees` at x = 80 mm, seen by a pinhole camera."""
    crease, (width, height) = 80.0, CARD.size
    up, rest = np.radians(degrees), width - 80.0
    flat = np.array([[0, 0, 0], [crease, 0, 0], [crease, height, 0], [0, height, 0]])
    far = [crease + rest * np.cos(up), rest * np.sin(up)]
    bent = np.array([[crease, 0, 0], [far[0], 0, far[1]], [far[0], height, far[1]], [crease, height, 0]])
    picture = np.full((1200, 1600, 3), 0.12, dtype=np.float32)
    source = cv2.GaussianBlur(SHEET.astype(np.float32), (0, 0), 2)
    for quad, (left, right) in ((flat, (0, crease)), (bent, (crease, width))):
        seen = _pinhole(quad.astype(float), tilt)
        corners = np.array([[left, 0], [right, 0], [right, height], [left, height]], dtype=np.float32) * 12
        warped = cv2.warpPerspective(source, cv2.getPerspectiveTransform(corners, seen), (1600, 1200))
        inside = np.zeros((1200, 1600), dtype=np.uint8)
        cv2.fillConvexPoly(inside, seen.astype(np.int32), 1)
        picture[inside > 0] = warped[inside > 0]
    return (np.clip(srgb_curve(picture * 0.85), 0, 1)[..., ::-1] * 255).astype(np.uint8)


def _pinhole(points: np.ndarray, tilt: float) -> np.ndarray:
    a = np.radians(tilt)
    turn = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    moved = (points - [74, 52.5, 0]) @ turn.T
    return (moved[:, :2] / (420 - moved[:, 2:]) * 2600 + [800, 600]).astype(np.float32)


def test_a_dark_board_beside_the_marks_is_not_taken_for_their_edge():
    """Marks of 32 mm on a chart whose board begins 4 mm from them, within a seventh of their side."""
    places = ((5.0, 5.0), (111.0, 5.0), (111.0, 68.0), (5.0, 68.0))
    squares = (((x, y), (x + 32, y), (x + 32, y + 32), (x, y + 32)) for x, y in places)
    marks = tuple(replace(mark, corners=square) for mark, square in zip(CARD.markers, squares, strict=True))
    chart = replace(CARD, markers=marks, patches=())
    painted = paint(chart, pixels_per_mm=6)
    painted[:, 41 * 6 : 107 * 6] = 0.02
    corners = ((180, 170), (630, 150), (660, 450), (150, 460))
    shot = Shot(size=(800, 600), corners=corners, background=0.8)
    view = find_card(photograph(painted, chart, shot), chart)
    assert view.residual_mm < 0.15
    assert view.outline == pytest.approx(np.array(corners), abs=1.0)
