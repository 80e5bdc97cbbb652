"""Hair told from paper and laid into zones, step by step on small drawn pictures whose answer is known."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from strandgauge.errors import (
    NoStrandError,
    NotHairError,
    OverexposedError,
    StrandOffWindowError,
    StrandTooThinError,
    TwoStrandsError,
)
from strandgauge.light.region import Region
from strandgauge.strand import isolate
from strandgauge.strand.isolate import Isolated, isolate_strand
from strandgauge.strand.zones import measure_zones, strand_coordinates

PPM = 4.0
PAPER = (95.0, 1.0, -2.0)


def region_of(linear: np.ndarray) -> Region:
    linear = linear.astype(np.float32)
    none = np.zeros(linear.shape[:2], bool)
    to_card = np.array([[1 / PPM, 0.0, 10.0], [0.0, 1 / PPM, 20.0]])
    return Region(linear, cv2.cvtColor(linear, cv2.COLOR_LRGB2Lab), none, PPM, to_card)


def drawn(colour, *, shade: float = 1.0, height: int = 132, width: int = 440) -> tuple[Region, np.ndarray]:
    """Return paper with a strand of 80 by 14 mm in its middle, its shadow fading over 4 mm below; and the strand."""
    random = np.random.default_rng(3)
    linear = np.full((height, width, 3), 0.86) + random.normal(0, 0.004, (height, width, 3))
    strand = np.zeros((height, width), bool)
    strand[38:94, 60:380] = True
    linear[94:110, 60:380] *= np.linspace(shade, 1.0, 16)[:, None, None]
    fibres = cv2.GaussianBlur(random.standard_normal((height, width)), (0, 0), sigmaX=20, sigmaY=0.7)
    linear[strand] = np.asarray(colour) * (1.0 + 0.25 * fibres / fibres.std())[strand][:, None]
    return region_of(np.clip(linear, 0.0, 1.0)), strand


def paper_of(region: Region) -> tuple[float, float, float]:
    return tuple(np.median(region.lab[:20].reshape(-1, 3), axis=0).tolist())


@pytest.mark.parametrize(
    ("colour", "shade", "like"),
    [
        ((0.30, 0.18, 0.08), 1.0, 0.93),
        ((0.02, 0.015, 0.012), 0.6, 0.93),
        ((0.75, 0.66, 0.45), 1.0, 0.93),
        ((0.33, 0.23, 0.05), 0.55, 0.93),
        ((0.63, 0.62, 0.50), 0.55, 0.93),
        ((0.66, 0.40, 0.47), 1.0, 0.93),
        ((0.16, 0.30, 0.52), 1.0, 0.93),
        ((0.40, 0.40, 0.41), 0.55, 0.80),
    ],
    ids=["brown", "black", "pale blond", "gold", "white", "pink", "blue", "grey beside its shadow"],
)
def test_a_strand_is_found_whatever_its_colour_and_its_shadow_is_no_hair(colour, shade, like):
    """Grey hair differs from its shadow by its fibres alone, whose contrast reaches a millimetre beyond them."""
    region, strand = drawn(colour, shade=shade)
    found = isolate_strand(region, paper_of(region), 2.0)
    common = (found.hair & strand).sum() / (found.hair | strand).sum()
    assert common > like
    assert found.hair[100:110].mean() < 0.03
    assert max(abs(found.first - 60), abs(found.last - 379)) <= 8
    inner = slice(80, 360)
    assert found.centre[inner] == pytest.approx(65.5, abs=1.0 if like > 0.9 else 2.0)
    assert found.half_width[inner] == pytest.approx(28.0 if like > 0.9 else 32.0, abs=1.7)


@pytest.mark.parametrize(("rest_mm", "parted"), [(5.0, False), (15.0, True)])
def test_something_pale_across_the_strand_parts_it_and_a_snippet_beyond_it_is_none(rest_mm, parted):
    region, _ = drawn((0.30, 0.18, 0.08))
    begin = 380 - round(rest_mm * PPM)
    region.linear[:, begin - 32 : begin] = 0.7  # a clip of 8 mm, pale and grey
    region = region_of(region.linear)
    if not parted:
        assert isolate_strand(region, paper_of(region), 2.0).last < begin
        return
    with pytest.raises(NotHairError) as refusal:
        isolate_strand(region, paper_of(region), 2.0)
    assert dict(refusal.value.facts) == {"fault": "covered"}


def test_paper_alone_is_no_strand():
    bare = region_of(np.full((132, 440, 3), 0.86) + np.random.default_rng(1).normal(0, 0.004, (132, 440, 3)))
    with pytest.raises(NoStrandError):
        isolate_strand(bare, paper_of(bare), 2.0)


# --- one step at a time ---------------------------------------------------------------------------------


def test_the_largest_piece_is_kept_whole_and_fibres_are_stripped_from_it():
    mask = np.zeros((80, 200), bool)
    mask[20:60, 20:120] = True
    mask[20:60, 67:71] = False  # a gap of a millimetre
    mask[38, 120:190] = True  # a single fibre
    mask[10:70, 150:170] = True  # another, smaller piece
    mask[10:18, 185:195] = True  # and a small one
    piece, beside, share = isolate._largest(mask, PPM)
    assert piece[40, 67:71].all()
    assert not piece[:, 124:].any()
    assert not piece[[20, 20, 59, 59], [20, 119, 20, 119]].any()  # as round at its corners as a fibre is wide
    assert piece[[20, 20], [23, 116]].all()
    assert beside == pytest.approx((120 - 150) / PPM, abs=1.0)  # its end is not reached by the other
    assert share == pytest.approx(60 * 20 / (40 * 100), rel=0.05)
    mask[66:78, 30:110] = True
    mask[10:70, 150:170] = False
    assert isolate._largest(mask, PPM)[1] == pytest.approx(20.0)
    assert isolate._largest(mask[:62, :180], PPM)[1] == 0.0
    with pytest.raises(NoStrandError) as refusal:
        isolate._largest(np.zeros((20, 20), bool), PPM)
    assert refusal.value.place is not None


def test_the_colour_of_paper_fades_with_its_shade():
    lightness = np.array([[95.0, 39.5, -16.0]], np.float32)
    a, b = isolate._shaded_paper(lightness, PAPER)
    assert a[0] == pytest.approx([1.0, 0.5, 0.0], abs=1e-6)
    assert b[0] == pytest.approx([-2.0, -1.0, 0.0], abs=1e-6)


def test_paper_is_learned_lit_and_shaded():
    """CIE 15: light goes with the cube of L* + 16 above L* 8."""
    seen = np.array([[95.0, 4.0, -8.0, 0.7]], np.float32)
    learned = isolate._paper_samples(seen, PAPER)
    light = ((learned[:, 0] + 16.0) / 111.0) ** 3
    assert light == pytest.approx([0.35, 0.35 + 0.7 / 3, 0.35 + 1.4 / 3, 1.05], rel=1e-3)
    assert learned[:, 1] == pytest.approx(4.0 * np.cbrt(light), rel=1e-3)
    assert learned[:, 2] == pytest.approx(-8.0 * np.cbrt(light), rel=1e-3)
    assert learned[:, 3] == pytest.approx(0.7)
    known = isolate._paper_samples(np.empty((0, 4), np.float32), PAPER)
    assert known == pytest.approx(isolate._paper_samples(np.array([[95.0, 1.0, -2.0, 1.0]]), PAPER))


def test_of_many_places_a_few_are_taken_evenly():
    at = np.arange(4 * 30 * 40, dtype=np.float32).reshape(4, 30, 40)
    where = np.zeros((30, 40), bool)
    where[5:25, 8:38] = True
    some = isolate._some_of(at, where, 120)
    assert some.shape == (120, 4)
    assert some[:2].tolist() == at[:, 5, [8, 13]].T.tolist()  # every fifth of 600
    assert some[-1].tolist() == at[:, 24, 33].tolist()
    for count, kept in ((600, 600), (301, 600), (300, 300), (1000, 600)):
        assert len(isolate._some_of(at, where, count)) == kept


def test_hair_and_paper_are_cut_at_as_many_deviations_from_either():
    random = np.random.default_rng(2)
    hair = random.normal([40.0, 5.0, 15.0, 3.0], [6.0, 0.1, 0.1, 0.1], (4000, 4)).astype(np.float32)
    paper = random.normal([90.0, 5.0, 15.0, 3.0], [1.0, 0.1, 0.1, 0.1], (4000, 4)).astype(np.float32)
    *direction, threshold = isolate._discriminant(hair, paper.astype(float))
    scores = [float(np.mean(one @ np.array(direction))) - threshold for one in (hair, paper)]
    assert scores[0] - scores[1] == pytest.approx(1.0, abs=1e-9)
    # Deviations with what print and noise add, 2 in L*: sqrt(36 + 4) and sqrt(1 + 4).
    assert scores[0] / -scores[1] == pytest.approx(np.sqrt(40.0 / 5.0), rel=0.03)


@pytest.mark.parametrize("apart", [1.0, 0.1])
def test_a_spread_is_never_taken_to_be_smaller_than_print_and_noise(apart):
    """Even hair on even paper. Fisher 1936: the difference over the spread, 4, 1, 1 and 0.16 in squares."""
    step = apart * np.array([-4.0, 1.0, 1.0, 0.4])
    paper = np.repeat([[90.0, 1.0, -2.0, 0.5]], 20, axis=0)
    *direction, threshold = isolate._discriminant((paper + step).astype(np.float32)[:5], paper)
    assert direction == pytest.approx(np.array([-1.0, 1.0, 1.0, 2.5]) / 7 / apart, rel=1e-4)
    assert threshold == pytest.approx(direction @ (paper[0] + step / 2), abs=1e-4 / apart)


# The first rough look. Paper of L* 95, one clue at a time; L* 54 below paper is one and a half times sure.
CLEAR = (41.0, 0.4, -0.8, 0.0)
"""Far too dark for shade: a score of 0.8 begins where half of the neighbourhood is such."""


def rough(features=CLEAR, *, rows: int = 40, columns: int = 160, calm: float = 0.0, beside: int = 0):
    """Return what is surely hair: a piece of `rows` by `columns` from (30, 20) on, another one below it."""
    picture = np.empty((140, 240, 4), np.float32)
    picture[:] = (*PAPER, calm)
    picture[30 : 30 + rows, 20 : 20 + columns] = features
    if beside:
        picture[90:110, 20 + columns - beside : 220] = features
    return isolate._rough_hair(picture.transpose(2, 0, 1), PAPER, PPM)


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        # 6.5 from paper in its own shade; beside L* 95 that is a* 1 and b* -2.
        ((95.0, 7.4, -2.0, 0.0), (95.0, 7.6, -2.0, 0.0)),
        ((95.0, 1.0, 4.4, 0.0), (95.0, 1.0, 4.6, 0.0)),
        ((95.0, -5.4, -2.0, 0.0), (95.0, -5.6, -2.0, 0.0)),
        # 42 darker than paper, of paper's colour in that shade.
        ((53.3, 0.62, -1.25, 0.0), (52.7, 0.62, -1.24, 0.0)),
        # A fine contrast of 2.08, and darker than paper by 2.
        ((92.0, 1.0, -2.0, 2.05), (92.0, 1.0, -2.0, 2.11)),
        ((93.0, 1.0, -2.0, 9.0), (92.9, 1.0, -2.0, 9.0)),
        # Clues add up.
        ((56.0, 4.0, -1.3, 0.0), (56.0, 4.8, -1.3, 0.0)),
    ],
)
def test_each_clue_to_hair_counts_from_its_limit_on(within, beyond):
    with pytest.raises(NoStrandError):
        rough(within)
    assert rough(beyond).sum() > 0.8 * 40 * 160


def test_how_calm_paper_is_is_told_by_its_calmest_twelfth():
    """Twice that is no hair yet: beside paper of 0.6, hair begins at 1.2 + 1.28."""
    with pytest.raises(NoStrandError):
        rough((80.0, 1.0, -2.0, 2.45), calm=0.6)
    assert rough((80.0, 1.0, -2.0, 2.51), calm=0.6).any()
    picture = np.empty((120, 240, 4), np.float32)
    picture[:] = (*PAPER, 1.5)
    picture[50:90, 20:180] = (80.0, 1.0, -2.0, 2.5)
    picture[:9, :, 3] = 0.1  # 7.5 % of it is calm
    with pytest.raises(NoStrandError):
        isolate._rough_hair(picture.transpose(2, 0, 1), PAPER, PPM)
    picture[9:12, :96, 3] = 0.1  # 8.5 %
    assert isolate._rough_hair(picture.transpose(2, 0, 1), PAPER, PPM).any()


def test_a_pixel_is_judged_with_three_quarters_of_a_millimetre_around_it():
    """Where half of the neighbourhood suffices the outline is kept, where any of it does it grows by as much."""
    top, bottom = (np.flatnonzero(rough()[:, 100])[[0, -1]]).tolist()
    left, right = np.flatnonzero(rough()[50])[[0, -1]].tolist()
    assert (top, bottom, left, right) == (30, 69, 20, 179)
    dark = rough((-400.0, -3.5, 7.0, 0.0))
    assert np.flatnonzero(dark[:, 100])[[0, -1]].tolist() == [27, 72]
    assert np.flatnonzero(dark[50])[[0, -1]].tolist() == [17, 182]


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        ({"columns": 100}, {"columns": 99}),  # 25 mm long
        ({"columns": 154, "rows": 6}, {"columns": 153, "rows": 6}),  # 56.25 square millimetres in all
    ],
)
def test_a_piece_too_small_to_be_a_strand_is_none(within, beyond):
    assert rough(**within).any()
    with pytest.raises(NoStrandError) as refusal:
        rough(**beyond)
    assert refusal.value.place is not None


def test_two_pieces_side_by_side_are_two_strands():
    assert rough(beside=99)[:80].any()
    with pytest.raises(TwoStrandsError) as refusal:
        rough(beside=100)
    assert refusal.value.place is not None


# The second look, block by block. The discriminant is known by itself; here it is seen what it is given.


def looked_at(monkeypatch, rough, answers=None, features=None):
    """Return the scores, and for each block the places (row, column) of its hair and of its paper."""
    rows, columns = np.indices(rough.shape)
    places = np.stack([rows, columns, rows * 0, rows * 0]).astype(np.float32)
    given = []

    def discriminant(hair, paper):
        given.append((hair[:, :2], paper[:, :2]))
        return np.array(answers[len(given) - 1] if answers else [0.0, 0.0, 0.0, 0.0, 0.0])

    monkeypatch.setattr(isolate, "_discriminant", discriminant)
    monkeypatch.setattr(isolate, "_paper_samples", lambda paper, lab: paper if lab == PAPER else None)
    return isolate._refine(places if features is None else features, rough, PAPER, PPM), given


def test_each_block_learns_from_the_middle_of_the_hair_and_from_the_paper_around_it(monkeypatch):
    """33 mm of hair make three blocks of 44 columns; each looks half a block further on both sides."""
    rough = np.zeros((121, 160), bool)
    rough[40:81, 10:142] = True
    assert isolate._block_edges(rough, PPM).tolist() == [10, 54, 98, 142]
    assert isolate._block_edges(np.pad(rough, ((0, 0), (90, 0))), PPM).tolist() == [100, 144, 188, 232]
    monkeypatch.setattr(isolate, "PAPER_SEEN", 10**6)  # all of it
    _, given = looked_at(monkeypatch, rough)
    everywhere = {(r, c) for r in range(0, 121, 4) for c in range(0, 160, 4)}
    for (hair, paper), (begin, end) in zip(given, [(0, 76), (32, 120), (76, 160)], strict=True):
        # Deeper than 0.45 of the deepest, 21 rows in: from the tenth row on.
        assert (hair[:, 0].min(), hair[:, 0].max()) == (49, 71)
        assert (hair[:, 1].min(), hair[:, 1].max()) == (max(begin, 19), min(end - 1, 132))
        beyond = {(r, c) for r, c in paper.tolist() if not begin <= c < end}
        assert beyond == {(r, c) for r, c in everywhere if not begin <= c < end} - near(rough)
        near_by = {(r, c) for r, c in paper.tolist() if begin <= c < end}
        assert near_by == {(r, c) for r in range(121) for c in range(begin, end)} - near(rough)


def near(rough) -> set:
    """Return the places less than a millimetre from hair, or on it."""
    away = cv2.distanceTransform((~rough).astype(np.uint8), cv2.DIST_L2, 3)
    return {tuple(place) for place in np.argwhere(away <= PPM).tolist()}


@pytest.mark.parametrize(("open_columns", "is_near"), [(58, False), (59, True)])
def test_paper_beside_a_block_counts_where_more_than_fifty_pixels_of_it_are_seen(
    monkeypatch, open_columns, is_near
):
    rough = np.ones((61, 78), bool)
    rough[-5:, 9 : 9 + open_columns] = False  # a millimetre and a bit: a row of paper, four columns shorter
    _, [(_, paper)] = looked_at(monkeypatch, rough)
    everywhere = len([c for c in range(0, 78, 4) if 13 <= c < 5 + open_columns])
    assert len(paper) == everywhere + (open_columns - 8 if is_near else 0)


@pytest.mark.parametrize(("columns", "taken"), [(59, 20 * 59), (60, 600)])
def test_hair_is_learned_from_six_to_twelve_hundred_pixels(monkeypatch, columns, taken):
    rough = np.zeros((100, columns), bool)
    rough[10:46] = True  # 20 rows of it are deep enough
    _, [(hair, _)] = looked_at(monkeypatch, rough)
    assert len(hair) == taken


def test_a_blocks_cut_holds_at_its_middle_and_fades_into_the_next(monkeypatch):
    rough = np.zeros((80, 160), bool)
    rough[20:60, 10:142] = True
    answers = [[1.0, 0.0, 0.0, 0.0, 10.0], [3.0, 1.0, 0.0, 2.0, 30.0], [3.0, 1.0, 1.0, 2.0, 40.0]]
    features = np.broadcast_to(np.array([20.0, 5.0, 7.0, 2.0], np.float32)[:, None, None], (4, 80, 160))
    score, _ = looked_at(monkeypatch, rough, answers, features)
    middles = [20.0 - 10.0, 60.0 + 5.0 + 4.0 - 30.0, 60.0 + 5.0 + 7.0 + 4.0 - 40.0]
    assert score[:, [0, 32, 54, 76, 120, 159]] == pytest.approx(
        np.broadcast_to([middles[0], middles[0], sum(middles[:2]) / 2, *middles[1:], middles[2]], (80, 6))
    )
    assert score.dtype == np.float32


@pytest.mark.parametrize("across", [False, True])
def test_fine_contrast_is_told_in_per_cent_of_the_light_and_flat_colour_has_none(across):
    """Green alone, up and down by 5 % of its root from row to row or column to column; light over 5 of them."""
    flat = np.full((40, 40, 3), 0.25)
    flat[..., 2] = 0.8
    assert features_of(flat, across)[..., 3].max() == pytest.approx(0.0, abs=0.05)
    striped = flat.copy()
    striped[::2, :, 1] *= 1.21
    contrast = features_of(striped, across)[15:25, 10:30]
    assert contrast[1::2, :, 3] == pytest.approx(100 * 0.025 / ((3 * 0.55 + 2 * 0.5) / 5), rel=0.002)
    assert contrast[::2, :, 3] == pytest.approx(100 * 0.025 / ((2 * 0.55 + 3 * 0.5) / 5), rel=0.002)
    wild = flat.copy()
    wild[::2] *= 9.0
    assert features_of(wild, across)[..., 3].max() == pytest.approx(12.0)


def features_of(linear: np.ndarray, across: bool = False) -> np.ndarray:
    if across:
        linear = np.ascontiguousarray(linear.transpose(1, 0, 2))
    features = isolate._features(region_of(linear))
    assert features.dtype == np.float32
    return features.transpose(2, 1, 0) if across else features.transpose(1, 2, 0)


@pytest.mark.parametrize("across", [False, True])
def test_contrast_is_what_is_finer_than_a_millimetre(across):
    """A wave of 2 mm keeps 1 - exp(-2 (pi 5/3 / 8)^2) of itself when what is coarser is taken off."""
    wave = 1.0 + 0.05 * np.cos(2 * np.pi * np.arange(80) / 8)
    features = features_of(0.25 * (wave**2)[:, None, None] * np.ones((80, 40, 3)), across)
    kept = 5.0 * (1 - np.exp(-2 * (np.pi * 5 / 3 / 8) ** 2))
    assert np.sqrt((features[24:56, 20, 3] ** 2).mean()) == pytest.approx(kept / np.sqrt(2), rel=0.02)


def test_colour_is_averaged_with_its_neighbours_alone():
    point = np.full((41, 41, 3), 0.25)
    point[20, 20] = 0.5
    lightness = features_of(point)[..., 0]
    beyond = lightness - lightness[0, 0]
    assert sorted(map(tuple, np.argwhere(beyond > 0.1))) == [
        (r, c) for r in (19, 20, 21) for c in (19, 20, 21)
    ]


def test_smoothing_keeps_level_and_ends():
    assert isolate._smooth(np.full(50, 3), 4.0) == pytest.approx(3.0)
    step = isolate._smooth(np.repeat([0.0, 1.0], 60), 4.0)
    assert (step[0], step[-1]) == (0.0, 1.0)
    assert step[[55, 64]].sum() == pytest.approx(1.0, abs=1e-5)
    assert step[64] == pytest.approx(0.87, abs=0.02)  # 4.5 places beyond the step, of deviation 4: 0.870
    # A slope meets its end, which goes on for ever: the mean of max(0, x), 4 / sqrt(2 pi).
    assert isolate._smooth(np.arange(60), 4.0)[0] == pytest.approx(4.0 / np.sqrt(2 * np.pi), rel=0.02)


def lying(*parts: tuple[int, int, int, int]) -> np.ndarray:
    """Return a mask of these rows (from, to) and columns (from, to), each part in place of what it lies on."""
    mask = np.zeros((160, 420), bool)
    for top, bottom, left, right in parts:
        mask[:, left:right] = False
        mask[top:bottom, left:right] = True
    return mask


def outlined(mask: np.ndarray, score: np.ndarray | None = None) -> Isolated:
    return isolate._outline(mask, np.ones(mask.shape, np.float32) if score is None else score, PPM, 2.0)


def test_a_strand_begins_and_ends_where_a_third_of_its_width_is_hair():
    """Its width smoothed by a millimetre is 0.35 of the whole 1.5 columns beyond a sharp end."""
    found = outlined(lying((60, 100, 40, 380)))
    assert (found.first, found.last) == (38, 381)
    assert found.centre == pytest.approx(79.5, abs=0.01)
    assert found.half_width == pytest.approx(20.0, abs=0.01)


@pytest.mark.parametrize("odd", [(10, 12, 380, 400), (60, 74, 200, 204)])
def test_columns_with_no_more_hair_than_that_say_nothing_of_the_axis(odd):
    """A wisp beyond the end, and a notch that leaves 14 of 40 rows, 0.35 to the last digit."""
    found = outlined(lying((60, 100, 40, 380), odd))
    assert found.centre == pytest.approx(79.5, abs=0.01)
    assert found.half_width == pytest.approx(20.0, abs=0.01)


def test_axis_and_width_are_smoothed_over_some_millimetres():
    """By a Gaussian of 2.5 mm: one deviation beyond a step 84.1 % of it is seen."""
    found = outlined(lying((60, 100, 40, 210), (70, 130, 210, 380)))
    assert found.centre[[219, 220]].mean() == pytest.approx(79.5 + 20 * 0.8413, abs=0.1)
    assert found.half_width[[219, 220]].mean() == pytest.approx(20 + 10 * 0.8413, abs=0.1)


def test_the_outline_follows_a_slanting_strand_and_gaps_are_what_looks_like_paper():
    mask = np.zeros((160, 420), bool)
    rows, columns = np.mgrid[0:160, 0:420]
    mask[(abs(rows - 80 - 0.1 * (columns - 210)) <= 24) & (columns >= 40) & (columns < 380)] = True
    score = np.ones(mask.shape, np.float32)
    score[70:90, 200:210] = -0.2
    score[70:90, 230:240] = -0.05
    found = outlined(mask, score)
    middle = slice(70, 350)
    assert found.centre[middle] == pytest.approx(80 + 0.1 * (np.arange(420)[middle] - 210), abs=0.4)
    assert found.half_width[middle] == pytest.approx(24.05, abs=0.1)
    assert found.gap.sum() == 200
    assert found.gap[70:90, 200:210].all()
    # Beyond its ends it goes on as it is there.
    assert (found.centre[: found.first] == found.centre[found.first]).all()
    assert (found.centre[found.last :] == found.centre[found.last]).all()
    assert found.centre[found.last - 1] < found.centre[found.last]


@pytest.mark.parametrize(
    ("within", "beyond", "error", "facts"),
    [
        ([(60, 78, 40, 380)], [(60, 77, 40, 380)], StrandTooThinError, {"fault": "width", "width_mm": 4.25}),
        # Most of it a single fibre: that is its width, not the width of the rest.
        (
            [(60, 78, 40, 210), (60, 61, 210, 370)],
            [(60, 78, 40, 210), (60, 61, 210, 390)],
            StrandTooThinError,
            {"fault": "width", "width_mm": 0.25},
        ),
        (
            [(60, 100, 40, 137)],
            [(60, 100, 40, 136)],
            StrandOffWindowError,
            {"fault": "length", "length_mm": 24.75},
        ),
    ],
)
def test_a_strand_too_thin_or_too_short_is_refused_from_its_limit_on(within, beyond, error, facts):
    assert outlined(lying(*within)).last > 0
    with pytest.raises(error) as refusal:
        outlined(lying(*beyond))
    assert dict(refusal.value.facts) == facts
    assert refusal.value.place is not None


def test_a_strand_beside_the_window_is_refused():
    assert outlined(lying((8, 60, 40, 380))).first > 0
    with pytest.raises(StrandOffWindowError):
        outlined(lying((0, 40, 40, 380)))


@pytest.mark.parametrize(
    ("centre", "hair_at", "outside"),
    [
        (14.0, 50, 0),  # 14 less 0.6 of 10: where the window begins
        (13.9, 50, 10),
        (86.0, 50, 0),
        (86.1, 50, 10),
        # Hair at the very edge of what is looked at goes on beyond it: within two pixels.
        (50.0, 2, 0),
        (50.0, 1, 10),
        (50.0, 97, 0),
        (50.0, 98, 10),
    ],
)
def test_a_column_is_outside_where_the_middle_of_the_strand_leaves_the_window(centre, hair_at, outside):
    """A window that begins 8 pixels within 100 rows; a fifth of the length may lie beside it."""
    half, columns = np.full(50, 10.0), np.arange(50)
    for count in (10, 11):
        beside = columns < count
        solid = np.zeros((100, 50), bool)
        solid[50] = True
        solid[hair_at, beside] = True
        check = (solid, np.where(beside, centre, 50.0), half, PPM, 2.0)
        if outside == 0 or count == 10:
            isolate._check_window(*check)
            continue
        with pytest.raises(StrandOffWindowError) as refusal:
            isolate._check_window(*check)
        assert dict(refusal.value.facts) == {"fault": "beside", "percent": pytest.approx(22.0)}
        assert refusal.value.place is not None


@pytest.mark.parametrize(("rows", "fills"), [((7, 92), True), ((8, 92), False), ((7, 91), False)])
def test_what_reaches_beyond_both_edges_fills_the_window(rows, fills):
    """A window from row 8 to 91; over a fifth of the length and no less."""
    centre, half = np.full(50, 50.0), np.full(50, 10.0)
    for count in (10, 11):
        solid = np.zeros((100, 50), bool)
        solid[rows[0] : rows[1] + 1, :count] = True
        if not fills or count == 10:
            isolate._check_window(solid, centre, half, PPM, 2.0)
            continue
        with pytest.raises(StrandOffWindowError) as refusal:
            isolate._check_window(solid, centre, half, PPM, 2.0)
        assert dict(refusal.value.facts) == {"fault": "filled", "percent": pytest.approx(22.0)}


# --- zones ----------------------------------------------------------------------------------------------


def straight(slope: float = 0.0, length: int = 400) -> Isolated:
    """Return a strand of 400 columns and half-width 30, rising by `slope`, in a picture of 200 rows."""
    at = np.arange(length + 40.0)
    centre = 100.0 + slope * (at - 220.0)
    hair = abs(np.arange(200.0)[:, None] - centre) <= 30.0
    return Isolated(hair, np.zeros_like(hair), 20, 20 + length, centre, np.full(length + 40, 30.0))


@pytest.mark.parametrize("slope", [0.0, 0.2])
def test_the_strands_own_coordinates(slope):
    found = strand_coordinates(straight(slope), PPM)
    assert found.along[[20, 120, 420]] == pytest.approx([0.0, 0.25, 1.0], abs=1e-4)
    slant = np.hypot(1.0, slope)
    assert found.length_mm == pytest.approx(100.0 * slant, rel=1e-4)
    assert found.width_mm == pytest.approx(15.0 / slant, rel=1e-4)
    assert found.across[[70, 100, 130], 220] == pytest.approx([-1.0, 0.0, 1.0])


def zones_of(linear: np.ndarray, strand: Isolated, clipped: np.ndarray | None = None):
    region = region_of(linear)
    if clipped is not None:
        region = replace(region, clipped=clipped)
    return measure_zones(region, strand, strand_coordinates(strand, PPM))


def test_each_zone_takes_its_part_of_the_length_and_the_middle_of_the_width():
    """Root 8 to 25 % of the length, mids 41 to 59 %, ends 75 to 90 %; 60 % of the width."""
    linear = np.zeros((200, 440, 3))
    strand = straight()
    spans = {"root": (0.08, 0.25, 0.2), "mids": (0.41, 0.59, 0.3), "ends": (0.75, 0.90, 0.4)}
    for begin, end, light in spans.values():
        linear[82:119, round(20 + 400 * begin) : round(20 + 400 * end) + 1] = light
    zones = zones_of(linear, strand)
    for name, (begin, end, light) in spans.items():
        assert zones[name].linear == pytest.approx(light, rel=0.02), name
        outline = zones[name].outline
        # From the region's pixels to the card: 4 a millimetre, from (10, 20).
        assert outline.min(0) == pytest.approx([10 + (20 + 400 * begin) / 4, 20 + 70 / 4], abs=0.3)
        assert outline.max(0) == pytest.approx([10 + (20 + 400 * end) / 4, 20 + 130 / 4], abs=0.3)
    assert zones["overall"].linear == pytest.approx((0.2 * 0.17 + 0.3 * 0.18 + 0.4 * 0.15) / 0.82, rel=0.03)


def test_gaps_are_left_out_of_the_colour_and_counted():
    linear, strand = np.full((200, 440, 3), 0.3), straight()
    gap = np.zeros((200, 440), bool)
    gap[:, 190:205] = True
    linear[gap] = 0.9
    mids = zones_of(linear, replace(strand, gap=gap))["mids"]
    assert mids.linear == pytest.approx(float(np.float32(0.3)), rel=1e-9)
    assert mids.gap_share == pytest.approx(15 / 73, abs=0.01)
    clipped = np.zeros((200, 440), bool)
    clipped[:, 190:196] = True
    assert zones_of(linear, strand, clipped)["mids"].clipped_share == pytest.approx(6 / 73, abs=0.01)


def test_a_zones_spread_is_that_of_the_lightness_of_its_pixels():
    """Half of the columns of mids at Y 0.1, half at 0.4: L* 37.84 and 69.47 (CIE 15)."""
    linear = np.full((200, 440, 3), 0.1)
    linear[:, 220:] = 0.4
    mids = zones_of(linear, straight())["mids"]
    # One column of 73 lies between the two.
    assert mids.lightness_spread == pytest.approx((69.47 - 37.84) / 2, rel=1 / 73)


def test_a_zone_is_drawn_by_a_line_around_it():
    """In card millimetres: all its columns, 73 from the 184th on, by the strand's width of 60 pixels."""
    outline = zones_of(np.full((200, 440, 3), 0.3), straight())["mids"].outline
    low, high = [10 + 184 / 4, 20 + 70 / 4], [10 + 256 / 4, 20 + 130 / 4]
    assert (outline.min(0), outline.max(0)) == (pytest.approx(low), pytest.approx(high))
    assert cv2.contourArea(outline.astype(np.float32)) == pytest.approx(72 / 4 * 60 / 4)


def test_a_zone_may_be_at_fault_just_up_to_its_limit():
    """28 of 80 columns of gaps, 8 of 80 clipped: 35 % and 10 % to the last digit."""
    strand, linear = straight(length=445), np.full((200, 485, 3), 0.3)
    for share, columns in (("gap_share", 28), ("clipped_share", 8)):
        fault = np.zeros((200, 485), bool)
        fault[:, 220 : 220 + columns] = True
        gaps = share == "gap_share"
        zones = zones_of(linear, replace(strand, gap=fault) if gaps else strand, None if gaps else fault)
        assert getattr(zones["mids"], share) == columns / 80


def test_of_many_pixels_every_second_is_enough():
    """From 8000 on, of 80 columns by 100 rows."""
    strand = straight(length=445)
    strand = replace(strand, centre=strand.centre + 0.5, half_width=np.full(485, 83.0))
    assert zones_of(np.full((200, 485, 3), 0.3), strand)["mids"].pixels_lab.shape == (4000, 3)


def test_a_refused_zone_is_named_with_how_much_of_it_is_at_fault():
    linear, strand, fault = np.full((200, 440, 3), 0.3), straight(), np.zeros((200, 440), bool)
    fault[:, 190:220] = True  # 30 of the 73 columns of mids
    with pytest.raises(StrandTooThinError) as gaps:
        zones_of(linear, replace(strand, gap=fault))
    with pytest.raises(OverexposedError) as clipped:
        zones_of(linear, strand, fault)
    for refusal in (gaps.value, clipped.value):
        assert "mids" in refusal.where
        assert dict(refusal.facts)["percent"] == pytest.approx(100 * 30 / 73, abs=0.3)


@pytest.mark.parametrize(("light", "lightness"), [(0.3, 61.65), (1.4, 100.0), (-0.1, 0.0)])
def test_pixels_are_told_in_cielab_within_black_and_white(light, lightness):
    """CIE 15: L* of Y = 0.3 is 116 cbrt(0.3) - 16."""
    zones = zones_of(np.full((200, 440, 3), light), straight())
    assert {name: zone.name for name, zone in zones.items()} == {name: name for name in zones}
    assert zones["mids"].pixels_lab[:, 0] == pytest.approx(lightness, abs=0.05)
    assert zones["mids"].pixels_lab.shape == (73 * 37, 3)


def test_single_fibres_are_averaged_out_of_the_pixels():
    linear = np.full((200, 440, 3), 0.3)
    linear[::2, 1::2] = linear[1::2, ::2] = 0.1
    assert zones_of(linear, straight())["mids"].lightness_spread < 0.1


def test_the_width_is_that_between_root_and_ends():
    strand = straight()
    half = np.full(440, 90.0)
    half[180:261] = 30.0
    short = replace(strand, first=180, last=260, half_width=half)
    assert strand_coordinates(short, PPM).width_mm == pytest.approx(15.0)
    few = replace(strand, first=180, last=184, half_width=np.clip(np.arange(440.0) - 178.0, 1.0, None))
    assert strand_coordinates(few, PPM).width_mm == pytest.approx(2 * 4.0 / PPM)  # 2 to 6, no more
    thin = strand_coordinates(replace(strand, half_width=np.full(440, 1.5)), PPM)
    assert thin.across[103, 220] == pytest.approx(2.0)
