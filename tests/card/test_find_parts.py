"""The steps of finding the card, on a few numbers or a card drawn flat at four pixels a millimetre."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from strandgauge.card import find
from strandgauge.card.find import CardView, find_card, project, to_grey8
from strandgauge.card.model import Marker
from strandgauge.errors import BlurError, CardCutOffError, CardFoldedError, NoCardError, WrongCardVersionError
from strandgauge.reading.pipeline import default_card
from synthetic import paint, srgb_curve

CARD = default_card()
SCALE, MARGIN = 4, 24
FLAT = (255 * srgb_curve(np.clip(paint(CARD, SCALE), 0, 1)) + 0.5).astype(np.uint8)
WANTED = {marker.id: marker for marker in CARD.markers}
MAP = np.array([[SCALE, 0, MARGIN - 0.5], [0, SCALE, MARGIN - 0.5], [0, 0, 1.0]])
"""From millimetres to pixels of the card as it is drawn here."""


def on_table(sheet: np.ndarray = FLAT, margin: int = MARGIN, table: int = 90) -> np.ndarray:
    """The card as the camera would see it from straight above, with table around."""
    return cv2.copyMakeBorder(sheet, margin, margin, margin, margin, cv2.BORDER_CONSTANT, value=(table,) * 3)


def without(*ids: int) -> np.ndarray:
    sheet = FLAT.copy()
    for one in ids:
        (x, y), _, (right, bottom), _ = ((round(SCALE * a), round(SCALE * b)) for a, b in WANTED[one].corners)
        sheet[y - 4 : bottom + 4, x - 4 : right + 4] = 200
    return sheet


def marks(matrix: np.ndarray = MAP) -> dict[int, np.ndarray]:
    return {one: project(matrix, np.array(marker.corners)) for one, marker in WANTED.items()}


# --- the whole ------------------------------------------------------------------------------------------


def test_a_card_seen_from_above_is_told_with_all_there_is():
    view = find_card(on_table(), CARD)
    assert view.homography / view.homography[2, 2] == pytest.approx(MAP, abs=0.15)
    assert view.pixels_per_mm == pytest.approx(SCALE, rel=0.01)
    assert (view.found, view.hidden) == ((40, 41, 42, 43), ())
    assert view.residual_mm < 0.05
    assert 0.05 < view.edge_width_mm < 0.5
    assert view.outline == pytest.approx(project(MAP, np.array(CARD.outline)), abs=0.5)
    assert view.to_pixels(np.array([[10.0, 20.0]])) == pytest.approx(
        project(MAP, np.array([[10.0, 20.0]])), abs=0.3
    )
    assert view.angle_deg == pytest.approx(0.0, abs=0.2)


@pytest.mark.parametrize("turn", [0, 90, 180, -90])
def test_the_angle_is_that_of_the_long_side(turn):
    a = np.radians(turn)
    matrix = np.array([[np.cos(a), -np.sin(a), 400], [np.sin(a), np.cos(a), 300], [0, 0, 1.0]])
    view = CardView(matrix, 1.0, (), (), 0.0, 0.1, np.zeros((4, 2)))
    assert view.angle_deg % 360 == pytest.approx(turn % 360)


def test_sixteen_bits_show_the_same_card():
    deep = on_table().astype(np.uint16) * 257
    assert np.array_equal(to_grey8(deep), to_grey8(on_table()))
    assert find_card(deep, CARD).outline == pytest.approx(find_card(on_table(), CARD).outline, abs=0.01)


def test_the_first_search_is_enough_and_the_others_are_not_made(monkeypatch):
    made = count_searches(monkeypatch)
    find_card(on_table(), CARD)
    assert made == ["fast"]
    made.clear()
    find_card(on_table(without(41)), CARD)
    # A small picture is not searched once more at full size.
    assert made == ["fast", "once", *["thorough"] * 3]


def count_searches(monkeypatch) -> list[str]:
    made, detect = [], find._detect
    monkeypatch.setattr(find, "_detect", lambda s, d, ids: made.append(s.way) or detect(s, d, ids))
    return made


def test_each_dictionary_is_looked_for_and_its_ids_are_its_own(monkeypatch):
    """A mark of the right id from another dictionary is another mark."""
    mixed = replace(CARD, markers=(*CARD.markers[:3], replace(CARD.markers[3], dictionary="DICT_5X5_50")))
    with pytest.raises(WrongCardVersionError):
        find_card(
            on_table(), replace(CARD, markers=tuple(replace(m, dictionary="DICT_4X4_100") for m in wrong()))
        )
    view = find_card(on_table(), mixed)
    assert (view.found, view.hidden) == ((40, 41, 42), (43,))


def test_what_is_looked_for_are_the_cards_marks_and_those_of_its_versions():
    assert find._looked_for(CARD) == {"DICT_4X4_250": tuple(range(40, 80))}
    chart = (
        Marker(9, "DICT_5X5_50", SQUARE.corners),
        Marker(7, "DICT_4X4_50", SQUARE.corners),
        Marker(2, "DICT_5X5_50", SQUARE.corners),
    )
    free = replace(CARD, markers=chart, reserved_ids=None)
    assert find._looked_for(free) == {"DICT_4X4_50": (7,), "DICT_5X5_50": (2, 9)}


def wrong() -> tuple[Marker, ...]:
    """Marks that are not on the card."""
    return tuple(replace(marker, id=marker.id + 4) for marker in CARD.markers)


@pytest.mark.parametrize(
    ("shown", "seen"), [((44, 45, 46, 47), "44, 45, 46, 47"), ((39, 40, 79, 80), "40, 79"), ((44, 80), None)]
)
def test_two_marks_of_the_reserved_range_make_another_version(shown, seen):
    error = find._nothing_found(np.full((64, 64), 128, np.uint8), CARD, set(shown))
    if seen is None:
        assert isinstance(error, NoCardError)
        assert dict(error.facts) == {"fault": "no-mark"}
        return
    assert isinstance(error, WrongCardVersionError)
    facts = {"seen": seen, "card": CARD.name, "version": 1, "marks": "40, 41, 42, 43"}
    assert (dict(error.facts), error.place is not None) == (facts, True)


def test_a_chart_that_reserves_nothing_has_no_versions():
    nothing = replace(CARD, reserved_ids=None)
    assert isinstance(find._nothing_found(np.full((64, 64), 128, np.uint8), nothing, {44, 45}), NoCardError)


@pytest.mark.parametrize(("hidden", "seen"), [((40,), None), ((40, 42), 2), ((40, 41, 42), 1)])
def test_all_marks_but_one_must_be_seen(hidden, seen):
    picture = on_table(without(*hidden))
    if seen is None:
        assert find_card(picture, CARD).hidden == hidden
        return
    with pytest.raises(CardCutOffError) as refusal:
        find_card(picture, CARD)
    assert dict(refusal.value.facts) == {"fault": "hidden", "seen": seen, "total": 4}
    assert refusal.value.place is not None


@pytest.mark.parametrize(("total", "fewest"), [(1, 1), (2, 2), (3, 2), (4, 3), (9, 8)])
def test_how_many_marks_are_enough(total, fewest):
    assert find._fewest_markers(total) == fewest


def test_marks_too_soft_to_be_read_are_blurred_not_covered():
    picture = on_table(without(40, 41))
    soft = cv2.GaussianBlur(picture, (0, 0), 4.0)
    try_at = {name: find_or_code(one) for name, one in (("sharp", picture), ("soft", soft))}
    assert try_at == {"sharp": ("card-cut-off", "hidden"), "soft": ("blur", "marks")}


@pytest.mark.parametrize(
    ("blurred", "edge", "code"),
    [
        (False, 0.09, ("card-cut-off", "hidden")),
        (False, 0.091, ("blur", "marks")),
        (True, 0.0, ("blur", "marks")),
    ],
)
def test_either_sign_of_blur_explains_marks_unseen(monkeypatch, blurred, edge, code):
    monkeypatch.setattr(find, "_is_blurred", lambda _: blurred)
    monkeypatch.setattr(find, "_edge_share", lambda *_: edge)
    assert find_or_code(on_table(without(40, 41))) == code


def test_a_picture_blurred_all_over_is_told_as_such():
    assert find_or_code(cv2.GaussianBlur(on_table(), (0, 0), 9.0)) == ("blur", "all")


def test_what_every_search_finds_anew_is_one_place(monkeypatch):
    taken, choose = {}, find._one_card
    monkeypatch.setattr(find, "_one_card", lambda seen, wanted: taken.update(seen) or choose(seen, wanted))
    find_card(on_table(without(41)), CARD)
    assert {one: len(places) for one, places in taken.items()} == {40: 1, 42: 1, 43: 1}


def find_or_code(picture) -> tuple[str, object]:
    try:
        find_card(picture, CARD)
    except (BlurError, CardCutOffError, CardFoldedError, NoCardError) as error:
        return error.code, dict(error.facts).get("fault")
    return "found", None


@pytest.mark.parametrize(
    ("window", "off_mm", "folded"),
    # Of the diagonal, 181.5 mm: 0.0012 with a window, 0.0025 without one.
    [
        (True, 0.0012 * float(np.hypot(*CARD.size)), False),
        (True, 0.22, True),
        (False, 0.45, False),
        (False, 0.46, True),
    ],
)
def test_a_card_is_folded_beyond_a_share_of_its_diagonal(monkeypatch, window, off_mm, folded):
    monkeypatch.setattr(find, "_fit_plane", lambda *_: (MAP, off_mm))
    card = CARD if window else replace(CARD, window=None)
    if not folded:
        assert find_card(on_table(), card).residual_mm == off_mm
        return
    with pytest.raises(CardFoldedError) as refusal:
        find_card(on_table(), card)
    assert dict(refusal.value.facts) == {"off_mm": off_mm}
    assert refusal.value.place is not None


@pytest.mark.parametrize(("off_px", "folded"), [(0.79, False), (0.81, True)])
def test_no_corner_is_known_better_than_to_some_part_of_a_pixel(monkeypatch, off_px, folded):
    """At two pixels a millimetre a residual of 0.4 mm says nothing."""
    small = MAP * [[0.5, 1, 1], [1, 0.5, 1], [1, 1, 1]]
    monkeypatch.setattr(find, "_fit_plane", lambda *_: (small, off_px / 2))
    if folded:
        with pytest.raises(CardFoldedError):
            find_card(on_table(), CARD)
    else:
        find_card(on_table(), CARD)


@pytest.mark.parametrize(("side", "fault"), [(1, "small"), (63, "small"), (64, "no-mark")])
@pytest.mark.parametrize("upright", [False, True])
def test_the_smallest_picture(side, fault, upright):
    shape = (200, side, 3) if upright else (side, 200, 3)
    with pytest.raises(NoCardError) as refusal:
        find_card(np.full(shape, 128, np.uint8), CARD)
    facts = dict(refusal.value.facts)
    assert facts["fault"] == fault
    assert fault != "small" or (facts["width"], facts["height"]) == (shape[1], shape[0])


# --- searching ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("longest", "made"),
    [
        (1000, [1000, 500, 1000, 1000, 500]),
        (1300, [1000, 500, 1000, 1000, 500]),
        (1302, [1000, 500, 1000, 1000, 1302, 500]),
    ],
)
def test_searches_grow_in_patience(longest, made):
    grey = np.full((longest // 2, longest), 128, np.uint8)
    searches = list(find._searches(grey))
    assert [max(one.grey.shape) for one in searches] == made
    assert [one.way for one in searches] == ["fast", "once", *["thorough"] * (len(made) - 2)]
    assert [one.scale for one in searches] == [longest / side for side in made]


def test_the_fourth_search_raises_contrast():
    grey = (np.indices((300, 400)).sum(0) // 8 % 2 * 6 + 100).astype(np.uint8)
    first, _, third, fourth, *_ = find._searches(grey)
    assert np.array_equal(first.grey, third.grey)
    assert fourth.grey.std() > 1.5 * first.grey.std()
    noise = np.random.default_rng(0).integers(120, 136, (320, 320)).astype(np.uint8)
    first, _, _, fourth, *_ = find._searches(noise)
    assert fourth.grey.std() < 5.2 * first.grey.std()  # noise is not blown up without limit


@pytest.mark.parametrize(("longest", "averaged"), [(1999, False), (2400, True)])
def test_the_first_search_averages_where_interpolation_would_skip(longest, averaged):
    grey = np.random.default_rng(0).integers(0, 255, (70, longest), dtype=np.uint8)
    first, _, third, *_ = find._searches(grey)
    assert np.array_equal(first.grey, third.grey) == averaged
    assert third.grey.std() < 0.6 * grey.std()  # patient searches are of the mean of pixels


def test_a_picture_is_only_ever_made_smaller():
    grey = np.random.default_rng(0).integers(0, 255, (90, 120), dtype=np.uint8)
    same, one = find._reduce(grey, 120)
    assert same is grey
    assert one == 1.0
    small, scale = find._reduce(grey, 40)
    assert (small.shape, scale) == ((30, 40), 3.0)
    means = grey.reshape(30, 3, 40, 3).mean((1, 3))
    assert np.abs(small - means).max() <= 1.0  # averaged, not skipped


@pytest.mark.parametrize("way", ["fast", "once", "thorough"])
@pytest.mark.parametrize("scale", [1.0, 4.0])
def test_corners_are_told_in_pixels_of_the_whole_picture(way, scale):
    large = cv2.resize(to_grey8(on_table()), None, fx=scale, fy=scale, interpolation=cv2.INTER_NEAREST)
    reduced, by = find._reduce(large, round(max(large.shape) / scale))
    found = dict(find._detect(find._Search(reduced, by, way), "DICT_4X4_250", (7, 40, 41, 42, 43, 250)))
    assert by == scale
    assert sorted(found) == [40, 41, 42, 43]
    assert sorted(dict(find._detect(find._Search(reduced, by, way), "DICT_4X4_250", (41, 43)))) == [41, 43]
    for one, corners in marks().items():
        assert found[one] == pytest.approx(corners * scale + (scale - 1) / 2, abs=1.6 * scale)
        assert found[one].mean(0) == pytest.approx(corners.mean(0) * scale + (scale - 1) / 2, abs=0.1)


def test_nothing_detected_is_an_empty_list():
    grey = np.full((200, 200), 128, np.uint8)
    assert find._detect(find._Search(grey, 1.0, "thorough"), "DICT_4X4_250", (40,)) == []


@pytest.mark.parametrize(("side_px", "ways"), [(48, 3), (30, 2), (15, 1)])
def test_small_marks_take_a_patient_search(side_px, ways):
    """The quick one makes do with marks of some 45 pixels in a thousand, the next one with some 25."""
    grey = one_mark(side_px, (700, 1000), at=(300, 400))
    assert seen_in(grey) == (ways > 2, ways > 1, ways > 0)


def one_mark(side_px, shape, at=(40, 200), dictionary=cv2.aruco.DICT_4X4_250) -> np.ndarray:
    """Return white paper with mark 40 from this row and column on."""
    grey = np.full(shape, 235, np.uint8)
    row, column = at
    tile = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(dictionary), 40, 8 * side_px)
    tile = cv2.resize(tile, (side_px, side_px), interpolation=cv2.INTER_AREA)
    grey[row : row + side_px, column : column + side_px] = tile
    return grey


def seen_in(grey: np.ndarray, dictionary: str = "DICT_4X4_250") -> tuple[bool, ...]:
    """Tell whether the quick search, the next one and the patient one find mark 40."""
    ways = ("fast", "once", "thorough")
    return tuple(bool(find._detect(find._Search(grey, 1.0, way), dictionary, (40,))) for way in ways)


@pytest.mark.parametrize(("side_px", "patient"), [(10, False), (12, True)])
def test_a_patient_search_finds_marks_whose_outline_is_a_fiftieth_of_the_picture(side_px, patient):
    assert seen_in(one_mark(side_px, (100, 2000))) == (False, False, patient)


def test_a_patient_search_finds_large_marks_in_spite_of_blur():
    assert seen_in(cv2.GaussianBlur(one_mark(240, (320, 700)), (0, 0), 19.0)) == (False, False, True)


@pytest.mark.parametrize(("wrong", "ways"), [(1, 3), (3, 2), (4, 0)])
def test_how_many_bits_of_a_mark_may_be_misread(wrong, ways):
    """Six can be told right in this dictionary: a third of them is put right at first, then three fifths."""
    grey = one_mark(96, (400, 600), at=(100, 200), dictionary=cv2.aruco.DICT_6X6_50)
    for row, column in ((1, 1), (1, 3), (1, 5), (3, 1))[:wrong]:
        cell = grey[100 + 12 * row :, 200 + 12 * column :][:12, :12]
        cell[:] = 255 - cell
    assert seen_in(grey, "DICT_6X6_50") == (ways > 2, ways > 0, ways > 0)


@pytest.mark.parametrize(("apart", "same"), [(4.9, True), (5.0, False)])
def test_marks_are_at_the_same_place_within_half_a_diagonal(apart, same):
    square = np.array([[20.0, 30.0], [26.0, 30.0], [26.0, 38.0], [20.0, 38.0]])
    assert find._same_place(square, square + np.array([0.6, 0.8]) * apart) == same


# --- blur -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width_px", "contrast", "blurred"),
    [(8.6, 100, False), (9.4, 100, True), (13, 26, True), (13, 25, False), (13, 20, False)],
)
def test_edges_many_pixels_wide_are_blur(width_px, contrast, blurred):
    """Ramps of a width, every forty pixels; where there is hardly any contrast nothing can be told."""
    wave = np.abs((np.arange(1000) % 80) - 40.0)
    line = 100 + contrast * np.clip((wave - 20) / width_px + 0.5, 0, 1)
    grey = np.tile(line.astype(np.uint8), (400, 1))
    assert find._is_blurred(grey) == blurred
    assert find._is_blurred(np.ascontiguousarray(grey.T)) == blurred


@pytest.mark.parametrize("lighter", [True, False])
@pytest.mark.parametrize(("beyond", "seen"), [(25, True), (15, False)])
def test_contrast_is_between_the_darkest_and_the_lightest_fiftieth(lighter, beyond, seen):
    """A soft ramp of 40 grey levels at the end of an even picture, and so much of a thousand beyond it."""
    line = 100.0 + 40.0 * np.clip((np.arange(1000) - (987 - beyond)) / 13.0, 0.0, 1.0)
    grey = np.tile((line if lighter else 240.0 - line).astype(np.uint8), (400, 1))
    assert find._is_blurred(grey) == seen


def test_a_sharp_edge_counts_whichever_way_it_falls():
    line = 200 - 100 * (np.arange(1000) % 50) / 50.0
    falling = np.tile(line[::-1].astype(np.uint8), (400, 1))
    for grey in (falling, falling[:, ::-1], falling.T, falling.T[::-1]):
        assert not find._is_blurred(np.ascontiguousarray(grey))


def test_blur_is_judged_at_one_size():
    """A large picture may have edges wider in pixels."""
    wave = np.abs((np.arange(1000) % 80) - 40.0)
    line = 100 + 100 * np.clip((wave - 20) / 6 + 0.5, 0, 1)
    large = cv2.resize(np.tile(line.astype(np.uint8), (400, 1)), None, fx=3, fy=3)
    assert not find._is_blurred(large)


def step_at(blur_mm: float, low: int = 40, high: int = 220, across: bool = False) -> np.ndarray:
    """A mark of 12 mm whose edges have a Gaussian blur, sharper one way when `across`."""
    grey = np.full((200, 200), high, np.uint8)
    grey[52:148, 52:148] = low  # 96 px: 8 a millimetre
    sigma = blur_mm * 8
    return cv2.GaussianBlur(grey, (0, 0), sigmaX=sigma, sigmaY=0.4 if across else sigma)


EIGHT = np.array([[8.0, 0, 51.5], [0, 8.0, 51.5], [0, 0, 1.0]])
SQUARE = Marker(40, "DICT_4X4_250", ((0.0, 0.0), (12.0, 0.0), (12.0, 12.0), (0.0, 12.0)))


@pytest.mark.parametrize("blur_mm", [0.2, 0.4])
def test_the_width_of_an_edge_is_its_step_over_its_slope(blur_mm):
    """For a Gaussian edge: sqrt(2 pi) standard deviations."""
    width = find._edge_width_mm(step_at(blur_mm), EIGHT, [SQUARE])
    assert width == pytest.approx(np.sqrt(2 * np.pi) * blur_mm, rel=0.07)
    share = find._edge_share(step_at(blur_mm), EIGHT, [SQUARE, replace(SQUARE, corners=larger(2.0))])
    assert share == pytest.approx(find._edge_width_mm(step_at(blur_mm), EIGHT, [SQUARE]) / 12.0, rel=0.25)


def test_the_width_of_an_edge_is_the_same_on_a_tilted_mark():
    """Tilted on the card by 25 degrees about its middle."""
    seen = cv2.warpAffine(
        step_at(0.4), cv2.getRotationMatrix2D((99.5, 99.5), 25.0, 1.0), (200, 200), borderValue=220
    )
    corners = cv2.transform(np.array([SQUARE.corners]), cv2.getRotationMatrix2D((6.0, 6.0), 25.0, 1.0))[0]
    tilted = replace(SQUARE, corners=tuple(map(tuple, corners)))
    straight = find._edge_width_mm(step_at(0.4), EIGHT, [SQUARE])
    assert find._edge_width_mm(seen, EIGHT, [tilted]) == pytest.approx(straight, rel=0.03)


def test_a_mark_without_contrast_says_nothing_of_the_width():
    both = np.hstack([step_at(0.4), step_at(0.2, 110, 120)])
    faint = replace(SQUARE, corners=tuple((x + 25.0, y) for x, y in SQUARE.corners))
    alone = find._edge_width_mm(step_at(0.4), EIGHT, [SQUARE])
    assert find._edge_width_mm(both, EIGHT, [SQUARE, faint]) == pytest.approx(alone, rel=1e-6)


def test_the_width_of_an_edge_is_the_same_where_the_picture_ends():
    """With a quarter of a millimetre of paper left beside the mark; the paper goes on as it is there."""
    cut = np.ascontiguousarray(step_at(0.2)[46:, 46:])
    shifted = EIGHT - [[0, 0, 46.0], [0, 0, 46.0], [0, 0, 0]]
    whole = find._edge_width_mm(step_at(0.2), EIGHT, [SQUARE])
    assert find._edge_width_mm(cut, shifted, [SQUARE]) == pytest.approx(whole, rel=0.05)


def larger(by: float):
    return tuple((x * by, y * by) for x, y in SQUARE.corners)


def test_an_edge_is_as_wide_anywhere_on_the_card():
    away = replace(SQUARE, corners=tuple((x + 30.0, y + 5.0) for x, y in SQUARE.corners))
    shifted = EIGHT @ np.array([[1.0, 0, -30.0], [0, 1, -5.0], [0, 0, 1]])
    here = find._edge_width_mm(step_at(0.4, across=True), EIGHT, [SQUARE])
    assert find._edge_width_mm(step_at(0.4, across=True), shifted, [away]) == pytest.approx(here, rel=1e-3)


def test_the_wider_of_two_directions_counts():
    one_way = find._edge_width_mm(step_at(0.4, across=True), EIGHT, [SQUARE])
    other_way = find._edge_width_mm(np.ascontiguousarray(step_at(0.4, across=True).T), EIGHT, [SQUARE])
    assert one_way == pytest.approx(np.sqrt(2 * np.pi) * 0.4, rel=0.06)
    assert other_way == pytest.approx(one_way, rel=0.01)


@pytest.mark.parametrize(("step", "seen"), [(20, False), (21, True)])
def test_an_edge_without_contrast_has_no_width(step, seen):
    assert (find._edge_width_mm(step_at(0.2, 100, 100 + step), EIGHT, [SQUARE]) > 0) == seen


# --- which marks make one card --------------------------------------------------------------------------


def test_of_marks_seen_twice_those_in_one_plane_are_taken():
    true, astray = marks(), {one: corners + 300.0 for one, corners in marks().items()}
    seen = {one: [astray[one], true[one]] if one in (41, 42) else [true[one]] for one in true}
    corners, used = find._one_card(seen, WANTED)
    assert used == [40, 41, 42, 43]
    for one, expected in true.items():
        assert np.array_equal(corners[one], expected)


def test_of_two_cards_the_one_that_is_whole_is_taken():
    """Every mark is seen twice; the larger ones do not lie as on the card."""
    true = marks()
    astray = {one: 1.3 * corners + [[40.0 * (one % 3), 90.0 * (one % 2)]] for one, corners in true.items()}
    corners, _ = find._one_card({one: [astray[one], true[one]] for one in true}, WANTED)
    assert all(np.array_equal(corners[one], expected) for one, expected in true.items())


def test_of_too_many_choices_the_largest_marks_are_taken():
    """Four places for each of four marks are more than are tried."""
    true = marks()
    seen = {one: [0.5 * corners, corners, 0.4 * corners, 0.3 * corners] for one, corners in true.items()}
    corners, _ = find._one_card(seen, WANTED)
    assert all(np.array_equal(corners[one], expected) for one, expected in true.items())


def test_up_to_64_choices_are_tried():
    """Four places for each of three marks. The true ones are not the largest."""
    true = marks()
    seen = {one: [corners * by for by in (2.0, 1.0, 0.4, 1.2)] for one, corners in true.items() if one > 40}
    corners, _ = find._one_card({40: [true[40]], **seen}, WANTED)
    assert all(np.array_equal(corners[one], expected) for one, expected in true.items())


def test_places_that_span_no_plane_are_no_choice():
    true, point = marks(), np.full((4, 2), 50.0)
    corners, _ = find._one_card({40: [point, true[40]], 41: [point, true[41]]}, WANTED)
    assert all(np.array_equal(corners[one], true[one]) for one in (40, 41))


def test_no_more_than_four_places_of_a_mark_are_tried():
    true = marks()
    far = [true[40] + 50.0 * k for k in (1, 2, 3, 4)]
    corners, _ = find._one_card({**{one: [c] for one, c in true.items()}, 40: [*far, true[40]]}, WANTED)
    assert not np.array_equal(corners[40], true[40])


@pytest.mark.parametrize(("share", "kept"), [(0.19, 4), (3.0, 3)])
def test_a_mark_is_dropped_only_where_the_others_agree(share, kept):
    """The misfit that sets the search going is a fifth of the smallest mark's diagonal."""
    moved = marks()
    diagonal = np.linalg.norm(moved[42][0] - moved[42][2])
    moved[42] = moved[42] + [share * diagonal, 0.0]
    assert len(find._in_one_plane(moved, WANTED)) == kept


@pytest.mark.parametrize(("noise_px", "kept"), [(1.0, 3), (10.0, 4)])
def test_a_mark_is_dropped_where_the_others_agree_to_a_tenth_of_its_diagonal(noise_px, kept):
    moved = marks()
    for one, sign in ((40, 1.0), (41, -1.0), (43, -1.0)):
        moved[one] = moved[one] + sign * noise_px * np.array([[1.0, 0], [-1.0, 0], [1.0, 0], [-1.0, 0]])
    moved[42] = moved[42] + [400.0, 0.0]
    assert len(find._in_one_plane(moved, WANTED)) == kept


@pytest.mark.parametrize(("diagonals", "kept"), [(1.95, (40, 41, 42, 43)), (2.05, (40, 41, 43))])
def test_a_mark_is_false_beyond_two_of_its_diagonals(diagonals, kept):
    moved = marks()
    moved[42] = moved[42] + [diagonals * np.linalg.norm(moved[42][0] - moved[42][2]), 0.0]
    assert tuple(find._in_one_plane(moved, WANTED)) == kept


def test_marks_that_span_no_plane_tell_none_to_be_false():
    point = np.full((4, 2), 50.0)
    assert find._in_one_plane(dict.fromkeys(WANTED, point), WANTED) == [40, 41, 42, 43]


def test_where_two_marks_are_off_none_is_dropped():
    moved = marks()
    moved[42] = moved[42] + [200.0, 0.0]
    moved[41] = moved[41] + [0.0, -150.0]
    assert find._in_one_plane(moved, WANTED) == [40, 41, 42, 43]


@pytest.mark.parametrize(("sides", "kept"), [(1.0, (40, 41, 42, 43)), (3.0, (40, 42, 43))])
def test_a_mark_found_where_none_can_be_is_left_out(sides, kept):
    moved = marks()
    diagonal = np.linalg.norm(moved[41][0] - moved[41][2])
    moved[41] = moved[41] + sides * diagonal / np.sqrt(2)
    assert tuple(find._in_one_plane(moved, WANTED)) == kept


def test_of_three_marks_none_can_be_told_to_be_false():
    moved = marks()
    del moved[43]
    moved[41] = moved[41] + 500.0
    assert tuple(find._in_one_plane(moved, WANTED)) == (40, 41, 42)


@pytest.mark.parametrize(("off", "put_right"), [(2.2, False), (2.8, True)])
def test_a_corner_that_the_others_put_elsewhere_is_put_right(off, put_right):
    target = np.concatenate([np.array(marker.corners) for marker in CARD.markers])
    true = np.concatenate([marks()[marker.id] for marker in CARD.markers])
    seen = true.copy()
    seen[6] += [off, 0.0]
    found = find._agreeing(target, seen)
    assert found[6] == pytest.approx(true[6] if put_right else seen[6], abs=0.05)
    assert np.delete(found, 6, axis=0) == pytest.approx(np.delete(true, 6, axis=0), abs=1e-9)


def test_two_marks_are_enough_to_tell_a_stray_corner():
    target = np.concatenate([np.array(marker.corners) for marker in CARD.markers[::2]])
    true = project(MAP, target)
    seen = true.copy()
    seen[6] += [20.0, 0.0]
    assert find._agreeing(target, seen) == pytest.approx(true, abs=0.05)
    assert (find._agreeing(target[1:], seen[1:]) == seen[1:]).all()


def test_a_fifth_of_the_corners_is_no_few():
    target = np.array([[x, y] for x in (0.0, 30.0, 60.0, 90.0, 120.0) for y in (0.0, 20.0, 50.0, 80.0)])
    seen = project(MAP, target)
    seen[[1, 6, 11]] += 30.0
    assert (find._agreeing(target, seen) != seen)[[1, 6, 11]].all()
    seen[16] += 30.0
    assert (find._agreeing(target, seen) == seen).all()


def test_corners_that_mostly_disagree_are_left_as_they_are():
    target = np.concatenate([np.array(marker.corners) for marker in CARD.markers])
    seen = np.concatenate([marks()[marker.id] for marker in CARD.markers])
    seen[[1, 5, 9, 13]] += 30.0
    assert (find._agreeing(target, seen) == seen).all()


# --- the plane ------------------------------------------------------------------------------------------


def test_a_corner_misplaced_by_the_search_does_not_move_the_plane():
    """More than a wide window reaches; without the others' word for it the corner would stay where it is."""
    grey = to_grey8(on_table())
    rough = marks()
    rough[41] = rough[41] + np.array([[14.0, 9.0], [0, 0], [0, 0], [0, 0]])
    homography, residual = find._fit_plane(grey, rough, [40, 41, 42, 43], WANTED)
    assert residual < 0.05
    assert project(homography, np.array(CARD.outline)) == pytest.approx(
        project(MAP, np.array(CARD.outline)), abs=0.3
    )


def test_a_rough_plane_is_refined_in_the_picture():
    grey = to_grey8(on_table())
    rough = {one: corners + np.array([1.5, -1.2]) for one, corners in marks().items()}
    homography, residual = find._fit_plane(grey, rough, [40, 41, 42, 43], WANTED)
    assert residual < 0.05
    assert project(homography, np.array([[74.0, 52.0]])) == pytest.approx(
        project(MAP, np.array([[74.0, 52.0]])), abs=0.1
    )


def test_a_corner_that_strays_in_the_picture_stays_where_it_was():
    """Towards a stronger corner beside it: no further than a fifth of the mark's side, four pixels at least."""
    grey = np.full((200, 200), 128, np.uint8)
    cv2.rectangle(grey, (100, 100), (180, 180), 0, -1)
    near = find._refined(grey, np.array([[97.0, 97.5]]), 60.0, (7, 12))
    assert near == pytest.approx(np.array([[99.5, 99.5]]), abs=0.1)
    for side, start, moves in (
        (15.0, 95.8, True),
        (15.0, 95.2, False),
        (35.0, 93.2, True),
        (35.0, 91.8, False),
    ):
        (found,) = find._refined(grey, np.array([[start, 99.5]]), side, (1,))
        assert found == pytest.approx([99.5 if moves else start, 99.5], abs=0.2)


@pytest.mark.parametrize(("side", "as_if", "other"), [(3000.0, 112.0, 119.0), (5.0, 14.0, 21.0)])
def test_the_window_is_of_two_to_sixteen_pixels(side, as_if, other):
    grey = np.random.default_rng(1).integers(0, 255, (120, 120), dtype=np.uint8)
    grey = cv2.GaussianBlur(grey, (0, 0), 3.0)
    start = np.array([[60.0, 60.0]])
    refined = find._refined(grey, start, side, (7,))
    assert np.array_equal(refined, find._refined(grey, start, as_if, (7,)))
    assert as_if > 100 or not np.array_equal(refined, find._refined(grey, start, other, (7,)))


def test_corners_in_a_line_span_no_plane():
    line = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [3.0, 0.0]])
    assert find._plane(line, line) is None
    with pytest.raises(NoCardError) as refusal:
        find._fit_plane(
            np.full((64, 64), 128, np.uint8),
            {40: line * 0 + 20.0},
            [40],
            {40: replace(SQUARE, corners=tuple(map(tuple, line)))},
        )
    assert dict(refusal.value.facts) == {"fault": "edge-on"}


def test_the_residual_is_a_length_on_the_card():
    """Two corners of sixteen off by a millimetre, each its own way: most of it is left."""
    target = np.concatenate([np.array(marker.corners) for marker in CARD.markers])
    seen = project(MAP, target)
    seen[2, 1] += SCALE
    seen[12, 0] -= SCALE
    _, residual = find._plane(target, seen)
    assert 0.2 < residual < np.sqrt(2 / 16)
    _, doubled = find._plane(target, project(np.diag([2.0, 2.0, 1.0]), seen))
    assert doubled == pytest.approx(residual, rel=1e-6)


def test_rounding_of_all_corners_alike_is_not_told_as_a_fold():
    quads = np.array([np.array(marker.corners) for marker in CARD.markers])
    outward = quads - quads.mean(1, keepdims=True)
    outward /= np.linalg.norm(outward, axis=2, keepdims=True)
    residual = (0.4 * outward).reshape(-1, 2)
    corners = quads.reshape(-1, 2)
    assert find._without_shrinkage(residual, corners) == pytest.approx(np.zeros((16, 2)), abs=1e-12)
    residual[0] += [0.1, 0.0]
    left = find._without_shrinkage(residual, corners)
    assert np.abs(left).max() == pytest.approx(0.1, abs=0.02)


TILTED = np.array([[3.0, 0.4, 20.0], [-0.3, 2.5, 40.0], [0.002, 0.001, 1.0]])


def test_the_slope_of_the_map_is_its_derivative():
    for point in ([10.0, 20.0], [74.0, 52.0]):
        numeric = np.stack(
            [
                (project(TILTED, np.array([point]) + step) - project(TILTED, np.array([point]) - step))[0]
                / 2e-4
                for step in (np.array([1e-4, 0]), np.array([0, 1e-4]))
            ],
            axis=1,
        )
        assert find._jacobian(TILTED, np.array(point)) == pytest.approx(numeric, rel=1e-5, abs=1e-7)


def test_the_smallest_scale_is_that_of_the_farthest_corner_the_short_way():
    places = [(0, 0), (148, 0), (148, 105), (0, 105), (74, 52.5)]
    scales = [np.linalg.svd(find._jacobian(TILTED, np.array(p, float)), compute_uv=False) for p in places]
    assert find._smallest_scale(TILTED, CARD.outline) == pytest.approx(min(s[1] for s in scales))
    # A map whose middle is smallest: both ends of a bent view come nearer.
    wide = np.diag([2.0, 3.0, 1.0])
    assert find._smallest_scale(wide, CARD.outline) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("move", "sides"),
    [
        ((0, 0), []),
        ((-13.9, 0), []),
        ((-14.1, 0), ["left"]),
        ((13.9, 0), []),
        ((14.1, 0), ["right"]),
        ((0, -13.9), []),
        ((0, -14.1), ["top"]),
        ((0, 13.9), []),
        ((0, 14.1), ["bottom"]),
        ((-14, -14), []),
        ((14, 14), []),
        ((-20, 20), ["left", "bottom"]),
    ],
)
def test_a_side_is_outside_beyond_a_slack(move, sides):
    """Ten pixels of table, and 0.4 % of the longer side: 4 pixels of 1000."""
    outline = np.array([[10.0, 10.0], [989.0, 10.0], [989.0, 789.0], [10.0, 789.0]])
    assert find._sides_outside(outline + np.array(move), 1000, 800) == sides
    turned = (outline + np.array(move))[:, ::-1]
    assert len(find._sides_outside(turned, 800, 1000)) == len(sides)


def test_the_card_cut_off_names_all_its_sides():
    picture = on_table()[MARGIN + 10 :, MARGIN + 10 :]
    with pytest.raises(CardCutOffError) as refusal:
        find_card(picture, CARD)
    assert dict(refusal.value.facts) == {"fault": "outside", "sides": "left, top"}
    assert refusal.value.place is not None
