"""Lines that no strand has: measured on drawn stuff with and without them; each limit at both its sides."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from strandgauge.colour.picture import lab_of_picture
from strandgauge.errors import NotHairError, StrandgaugeError, TooSmallError, TwoStrandsError
from strandgauge.light.region import Region
from strandgauge.reading.pipeline import hair_doubts
from strandgauge.strand.fibres import Fibres
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.lines import Lines, _band, check_lines, lines
from strandgauge.strand.zones import StrandCoordinates, strand_coordinates
from strandgauge.words import say

PPM = 4.0
HEIGHT, WIDTH = 120, 440
"""A region of 30 by 110 mm; the strand takes 18 by 95 mm of it."""
ROWS, COLUMNS = slice(24, 96), slice(30, 410)
BROWN = np.array([0.2, 0.12, 0.06], np.float32)
PAPER = np.full(3, 0.85, np.float32)
Y, X = (axis.astype(np.float32) / PPM for axis in np.mgrid[0:HEIGHT, 0:WIDTH])
HAIR = Lines(ribs=0.1, paper=0.0, edge=1.0, band=0.0, cut_mm=0.4, curve_mm=0.4)


def locks(seed: int = 1) -> np.ndarray:
    """Return the brightness (H, W) of hair, of which every fibre is somewhat other than its neighbours."""
    rng = np.random.default_rng(seed)
    made = np.ones((HEIGHT, WIDTH), np.float32)
    for along, across, depth in ((40.0, 1.2, 0.2), (15.0, 0.6, 0.1)):
        noise = cv2.GaussianBlur(
            rng.standard_normal(made.shape).astype(np.float32), (0, 0), along, sigmaY=across
        )
        made += depth * noise / noise.std()
    return np.maximum(made, 0.2)


def found(linear: np.ndarray, clipped: np.ndarray | None = None, hair: np.ndarray | None = None) -> Lines:
    """Return the lines of what lies on the strand's place in linear light (H, W, 3)."""
    seen = np.full((HEIGHT, WIDTH, 3), PAPER, np.float32)
    seen[ROWS, COLUMNS] = linear[ROWS, COLUMNS]
    none = np.zeros((HEIGHT, WIDTH), bool)
    if hair is None:
        hair = none.copy()
        hair[ROWS, COLUMNS] = True
    lab = lab_of_picture(seen)
    region = Region(seen, lab, none if clipped is None else clipped, PPM, np.zeros((2, 3)))
    strand = Isolated(hair, none, 30, 409, np.full(WIDTH, 59.5), np.full(WIDTH, 36.0))
    paper = tuple(lab[0, 0].tolist())
    return lines(region, strand, strand_coordinates(strand, PPM), paper)


def of(brightness: np.ndarray) -> np.ndarray:
    return brightness[..., None] * BROWN


# --- what is measured -----------------------------------------------------------------------------------


def test_hair_has_none_of_them():
    for seed in range(4):
        seen = found(of(locks(seed)))
        assert seen.ribs < 0.3
        assert seen.paper == 0.0
        assert seen.edge < 2.0


@pytest.mark.parametrize("period", [0.9, 1.2, 1.5])
def test_ribs_are_told_by_keeping_step(period):
    ribs = 1 + 0.3 * np.sin(2 * np.pi * Y / period) + 0.3 * (locks() - 1)
    assert found(of(ribs)).ribs > 0.7
    # As even at each place, but from place to place another rib's light.
    step = np.random.default_rng(2).uniform(0, 1, WIDTH).astype(np.float32)
    assert found(of(1 + 0.3 * np.sin(2 * np.pi * (Y / period + step)) + 0.3 * (locks() - 1))).ribs < 0.4


@pytest.mark.parametrize("period", [0.5, 3.0])
def test_ribs_too_fine_to_be_seen_or_told_by_their_rows_are_not_looked_for(period):
    assert found(of(locks() + 0.2 * np.sin(2 * np.pi * Y / period))).ribs < 0.42


def test_ribs_on_the_most_of_a_strand_are_enough_and_on_half_are_not():
    ribs, hair = 1 + 0.3 * np.sin(2 * np.pi * Y / 1.2), locks()
    assert found(of(np.where(X < 98, ribs, hair))).ribs > 0.7
    assert found(of(np.where(X < 55, ribs, hair))).ribs < 0.4


def lined(share: float, light: float = 1.0, colour: np.ndarray = PAPER, at_mm: float = 15.0) -> np.ndarray:
    """Return hair with a line 1.5 mm wide along a share of its length."""
    line = (np.abs(Y - at_mm) < 0.75) & (share > (X - 7.5) / 95.0)
    return np.where(line[..., None], light * colour, of(locks()))


@pytest.mark.parametrize("share", [0.25, 0.5, 0.9])
@pytest.mark.parametrize("light", [1.0, 0.5])
def test_paper_within_the_strand_is_measured_lit_or_in_shade(share, light):
    assert found(lined(share, light)).paper == pytest.approx(share, abs=0.06)


def test_a_pale_lock_is_no_paper_and_nor_is_what_shows_at_the_rim():
    assert found(lined(1.0, colour=np.array([0.7, 0.5, 0.25], np.float32))).paper == 0.0
    assert found(lined(1.0, at_mm=15.0 + 0.8 * 9)).paper == 0.0
    assert found(lined(1.0, at_mm=15.0 + 0.35 * 9)).paper > 0.9


def test_a_line_of_paper_may_be_bridged_here_and_there():
    line = lined(1.0)
    line[:, 200:208] = BROWN  # 2 mm
    assert found(line).paper > 0.9
    line[:, 200:240] = BROWN
    assert found(line).paper < 0.6


def test_paper_where_hair_is_hardly_to_be_told_from_it_counts_little():
    white = np.where(
        (np.abs(Y - 15) < 0.75)[..., None], PAPER, 0.97 * PAPER * (0.98 + 0.02 * locks()[..., None])
    )
    assert found(white).paper == 0.0


def covered(lean: float = 0.0, light: float = 0.1, of_what: np.ndarray | None = None) -> np.ndarray:
    """Return hair on which something black lies, 11 by 9 mm, its sides leaning by so much."""
    on = (np.abs(X - 55 - lean * (Y - 15)) < 5.5) & (np.abs(Y - 15) < 4.5)
    return np.where(on[..., None], light * BROWN, of(locks()) if of_what is None else of_what)


@pytest.mark.parametrize("lean", [0.0, 0.15, -0.15])
def test_something_flat_on_the_strand_is_told_by_its_edges(lean):
    assert found(covered(lean)).edge > 15.0
    assert found(covered(lean, light=8.0)).edge > 15.0


def clipped_on(lean: float, reach_mm: float = 15.0, light: float = 0.3) -> np.ndarray:
    """Return hair with something round and shining across it, 8 mm wide and reaching so far to both sides."""
    off = (X - 55 - lean * (Y - 15)) / 4.0
    shine = light * (1.0 + 8.0 * np.exp(-(((off - 0.2) / 0.25) ** 2)))
    on = (np.abs(off) < 1) & (np.abs(Y - 15) < reach_mm)
    return np.where(on[..., None], shine[..., None] * BROWN, of(locks()))


def test_a_clip_across_is_told_by_edges_from_side_to_side_however_it_shines():
    for lean in (0.0, 0.3, -0.3):
        assert found(clipped_on(lean)).band > 0.3
        assert found(clipped_on(lean, light=3.0)).band > 0.3
    assert found(clipped_on(0.0, reach_mm=5.0)).band < 0.1  # not from side to side
    wide = of(locks() * np.where(np.abs(X - 55) < 11, 0.2, 1.0))
    assert found(wide).band < 0.1  # its edges out of reach of each other
    assert found(of(locks())).band < 0.1
    assert found(of(locks() * np.where(X < 50, 0.2, 1.0))).band < 0.1  # regrowth: one edge


@pytest.mark.parametrize("lean", [-0.36, 0.0, 0.18])
@pytest.mark.parametrize("first", [1, -1])
def test_a_band_is_two_edges_the_whole_way_across_whatever_they_lean(lean, first):
    """Drawn by hand over 30 rows: an edge counts where at most a fifth of the rows lack it."""

    def band(lacking: dict[int, int]) -> float:
        slope = np.zeros((30, 200), np.float32)
        for way, at, strength in ((first, 80, 1.0), (-first, 120, 0.6)):
            for row in range(lacking.get(way, 0), 30):
                middle = round(at + lean * (row - 14.5))
                slope[row, middle - 4 : middle + 5] = way * strength
        return _band(slope)

    assert band({}) == pytest.approx(0.6)
    assert band({1: 6}) == pytest.approx(0.6)
    assert band({-1: 6}) == pytest.approx(0.6)
    assert band({1: 7}) == pytest.approx(0.0, abs=1e-6)
    assert band({-1: 7}) == pytest.approx(0.0, abs=1e-6)


def test_a_line_of_regrowth_is_no_edge_and_nor_is_a_dark_lock():
    grown = of(locks() * np.where(X < 50, 0.2, 1.0))
    assert found(grown).edge < 2.5
    lock = of(locks() * np.where(np.abs(Y - 15) < 2, 0.15, 1.0))
    assert found(lock).edge < 2.5
    short = of(locks() * np.where((np.abs(X - 55) < 5.5) & (np.abs(Y - 15) < 1.5), 0.15, 1.0))
    assert found(short).edge < 2.5  # too narrow for an edge


def test_clipped_gloss_is_no_flat_place():
    gloss = covered(light=8.0)
    clipped = (np.abs(X - 55) < 6) & (np.abs(Y - 15) < 5)
    assert found(gloss, clipped).edge < 3.0


def outline(side, end) -> np.ndarray:
    """Return a mask of hair whose sides and ends lie off those of the strip by functions of place, millimetres."""
    return (np.abs(Y - 15 - side(X)) < 9) & (np.abs(X - 55 - end(Y)) < 47.5)


@pytest.mark.parametrize(
    ("side", "end", "cut"),
    [
        (lambda x: 0 * x, lambda y: 0 * y, True),
        (lambda x: 0.0006 * (x - 55) ** 2 + 0.01 * x, lambda y: 0.05 * (y - 15), True),
        (lambda x: 0.3 * np.sin(x / 3), lambda y: 0 * y, False),
        (lambda x: 0 * x, lambda y: 0.4 * np.sin(y), False),
        (lambda x: 0.00003 * (x - 55) ** 3, lambda y: 0 * y, False),
        (lambda x: 0 * x, lambda y: 0.02 * (y - 15) ** 2, False),
    ],
)
def test_what_is_cut_has_straight_or_bowed_sides_and_straight_ends(side, end, cut):
    assert (found(of(locks()), hair=outline(side, end)).cut_mm < 0.095) == cut


def test_a_ribbon_lies_in_smooth_curves_and_waves_of_hair_are_no_ribbons():
    for waves, curved in ((1.5, True), (6.0, False)):
        hair = outline(lambda x, n=waves: 1.5 * np.sin(2 * np.pi * n * x / 110), lambda y: 0 * y)
        seen = found(of(locks()), hair=hair)
        assert seen.cut_mm > 0.15
        assert (seen.curve_mm < 0.06) == curved


def test_one_uneven_side_or_end_is_enough():
    straight = outline(lambda x: 0 * x, lambda y: 0 * y)
    wavy = outline(lambda x: 0.4 * np.sin(x / 3), lambda y: 0.4 * np.sin(y))
    for part in (Y < 12, Y > 18, X < 20, X > 90):
        assert found(of(locks()), hair=np.where(part, wavy, straight)).cut_mm > 0.15


# --- by formula, on strands made place by place -----------------------------------------------------------

NOTHING = np.zeros((HEIGHT, WIDTH), bool)
INK = (60.0, 30.0, -40.0)
"""Paper of a deep colour, CIELAB: what is like it in shade is told by its tint."""


def places(first: int, last: int, count: int, inset: float, size: int) -> np.ndarray:
    """Return, for each pixel, the nearest of ``count`` places from first to last, a share left out at both."""
    low, high = first + inset * (last - first), last - inset * (last - first)
    return np.clip(np.rint((np.arange(size) - low) / (high - low) * (count - 1)), 0, count - 1).astype(int)


def lined_places(lab: np.ndarray, paper=INK, centre: float = 59.5) -> float:
    """Return the paper in a strand of (30, 60) places in CIELAB, a pixel high each, far right in its region."""
    first, last = 120, 415
    rows = np.clip(np.arange(HEIGHT) - 45, 0, 29)
    seen = lab[rows[:, None], places(first, last, 60, 0.03, WIDTH)].astype(np.float32)
    grey = np.full((HEIGHT, WIDTH, 3), 0.2, np.float32)
    strand = Isolated(~NOTHING, NOTHING, first, last, np.full(WIDTH, centre), np.full(WIDTH, 29.0))
    made = StrandCoordinates(np.zeros(WIDTH), np.zeros((HEIGHT, WIDTH), np.float32), 70.0, 15.0)
    return lines(Region(grey, seen, NOTHING, PPM, np.zeros((2, 3))), strand, made, paper).paper


def in_shade(lightness: float) -> np.ndarray:
    """Return what the paper of that colour has in a shade of that lightness: a*, b* go with L* + 16."""
    share = (lightness + 16) / (INK[0] + 16)
    return np.array([lightness, INK[1] * share, INK[2] * share])


def drawn(*where: tuple[object, object], nearer: float = 0.9) -> np.ndarray:
    """Return hair with lit paper at these places, so much nearer to it than hair is, and off it in tint alone."""
    hair = in_shade(30.0) + np.array([0.0, -6.0, -8.0])
    lab = np.tile(hair, (30, 60, 1))
    away = (1 - nearer) * np.hypot(10.0, 0.35 * 30.0)
    for rows, columns in where:
        lab[rows, columns] = in_shade(60.0) - np.array([0.0, away, 0.0])
    return lab


@pytest.mark.parametrize("lightness", [60.0, 45.0, 75.0])
@pytest.mark.parametrize("towards", [(1.0, 0.0), (-1.0, 0.0), (0.6, -0.8), (-0.6, 0.8)])
def test_paper_is_what_is_nearer_by_half_of_what_tells_hair_from_it(lightness, towards):
    """Tint off that of paper in the same shade and, at 0.35, how much darker it is, at right angles."""
    hair = np.hypot(np.hypot(6.0, 8.0), 0.35 * 30.0)
    deep = 0.35 * max(60.0 - lightness, 0.0)
    for share, paper in ((0.496, 1.0), (0.504, 0.0)):
        tint = np.sqrt((share * hair) ** 2 - deep**2)
        lab = drawn()
        lab[12] = in_shade(lightness) + np.array([0.0, *(tint * np.array(towards))])
        assert lined_places(lab) == paper


def test_white_hair_is_told_from_paper_by_six_at_least():
    for away, paper in ((2.99, 1.0), (3.01, 0.0)):
        lab = np.tile(np.array([95.0, 0.0, 6.0]), (30, 60, 1))
        lab[12, :, 2] = away
        assert lined_places(lab, (95.0, 0.0, 0.0)) == paper


def test_a_line_a_place_wide_is_told_in_the_middle_half_and_nowhere_else():
    for row in (0, 7, 14, 15, 22, 29):
        assert lined_places(drawn((row, slice(None)))) == 1.0
    # Just beyond it.
    assert lined_places(drawn((29, slice(None))), centre=58.5) == 0.0
    # A place that lies between two rows has some of both.
    faint = drawn((12, slice(None)), nearer=0.6)
    assert (lined_places(faint), lined_places(faint, centre=59.1)) == (1.0, 0.0)


def test_paper_is_as_long_as_its_places_and_gaps_of_four_are_bridged():
    assert lined_places(drawn((12, slice(0, 20)))) == pytest.approx(20 / 60)
    assert lined_places(drawn((12, slice(31, 47)))) == pytest.approx(16 / 60)
    for gap, longest in ((4, 44), (5, 20)):
        assert lined_places(drawn((12, slice(5, 25)), (12, slice(25 + gap, 45 + gap)))) == pytest.approx(
            longest / 60
        )


def test_a_line_of_paper_goes_on_two_places_aside():
    for aside, longest in ((3, 60), (4, 32)):
        assert lined_places(drawn((12, slice(0, 30)), (12 + aside, slice(28, 60)))) == pytest.approx(
            longest / 60
        )


def edge_of(log: np.ndarray) -> float:
    """Return the edge of a strand of (31, 185) places two pixels apart, of log brightness against its usual."""
    grey = np.zeros((HEIGHT, WIDTH), np.float32)
    grey[30:92, 36:406] = log.repeat(2, axis=0).repeat(2, axis=1)
    linear = np.repeat(0.2 * np.exp(grey)[..., None], 3, axis=2)
    strand = Isolated(~NOTHING, NOTHING, 20, 420, np.full(WIDTH, 60.0), np.full(WIDTH, 30 / 0.85))
    made = StrandCoordinates(np.zeros(WIDTH), np.zeros((HEIGHT, WIDTH), np.float32), 185 / 1.84, 31 / 1.7)
    region = Region(linear, lab_of_picture(linear), NOTHING, PPM, np.zeros((2, 3)))
    return lines(region, strand, made, (95.0, 0.0, 0.0)).edge


def lying(rows: slice, columns: slice) -> np.ndarray:
    log = np.zeros((31, 185), np.float32)
    log[rows, columns] = -0.3
    return log


@pytest.mark.parametrize(
    ("rows", "columns"),
    [
        (slice(9, 22), slice(90, 127)),  # as wide as any that is looked for
        (slice(11, 20), slice(90, 99)),  # as narrow, and as low
        (slice(1, 10), slice(1, 10)),  # at the rim and the root
        (slice(21, 30), slice(175, 184)),  # at the other rim and the ends
    ],
)
def test_a_flat_thing_is_told_by_its_edge_over_the_least_unevenness(rows, columns):
    assert edge_of(lying(rows, columns)) == pytest.approx(0.3 / 0.015, rel=0.01)


@pytest.mark.parametrize(
    ("rows", "columns"),
    [
        (slice(9, 22), slice(90, 128)),  # too wide
        (slice(11, 19), slice(90, 110)),  # too low
        (slice(0, 9), slice(90, 110)),  # mostly over the rim
        (slice(22, 31), slice(90, 110)),
        (slice(0, 31), slice(90, 185)),  # one edge: regrowth
    ],
)
def test_what_has_no_two_edges_within_reach_is_none(rows, columns):
    assert edge_of(lying(rows, columns)) == pytest.approx(0.0, abs=0.01)


def test_a_strand_too_narrow_for_a_flat_place_has_no_edge():
    strand = Isolated(~NOTHING, NOTHING, 30, 409, np.full(WIDTH, 59.5), np.full(WIDTH, 11.0))
    linear = of(locks())
    region = Region(linear, lab_of_picture(linear), NOTHING, PPM, np.zeros((2, 3)))
    assert lines(region, strand, strand_coordinates(strand, PPM), (95.0, 0.0, 0.0)).edge == 0.0


def ribs_of(brightness: np.ndarray) -> float:
    """Return the ribs of a strand whose rows are those of the picture, with nothing between them."""
    strand = Isolated(~NOTHING, NOTHING, 30, 409, np.full(WIDTH, 60.0), np.full(WIDTH, 36.0))
    linear = of(brightness)
    region = Region(linear, lab_of_picture(linear), NOTHING, PPM, np.zeros((2, 3)))
    return lines(region, strand, strand_coordinates(strand, PPM), (95.0, 0.0, 0.0)).ribs


@pytest.mark.parametrize("depth", [0.01, 0.1, 0.4])
def test_ribs_alone_are_the_whole_pattern_however_faint(depth):
    assert 0.95 < ribs_of(1 + depth * np.sin(2 * np.pi * Y / 1.2)) <= 1.0


@pytest.mark.parametrize("period", [0.52, 5.0])
def test_ribs_of_other_periods_are_not_looked_for_however_deep(period):
    assert ribs_of(locks() + 0.4 * np.sin(2 * np.pi * Y / period)) < 0.42


def cut_of(hair: np.ndarray, first: int = 30, half_width: np.ndarray | None = None) -> float:
    wide = np.full(WIDTH, 36.0) if half_width is None else half_width
    strand = Isolated(hair, NOTHING, first, 409, np.full(WIDTH, 59.5), wide)
    linear = of(np.ones((HEIGHT, WIDTH), np.float32))
    region = Region(linear, lab_of_picture(linear), NOTHING, PPM, np.zeros((2, 3)))
    return lines(region, strand, strand_coordinates(strand, PPM), (95.0, 0.0, 0.0)).cut_mm


@pytest.mark.parametrize("part", [Y < 15, Y > 15])
def test_a_wavy_side_is_off_by_its_waves_smoothed_over_two_millimetres(part):
    """A sine of 5 mm, 20 pixels, under a mean over 9: sin(9 pi / 20) / (9 sin(pi / 20)) of it."""
    waves = outline(lambda x: 2.0 * np.sin(2 * np.pi * x / 5.0), lambda y: 0 * y)
    straight = outline(lambda x: 0 * x, lambda y: 0 * y)
    left = np.sin(9 * np.pi / 20) / (9 * np.sin(np.pi / 20))
    assert cut_of(np.where(part, waves, straight)) == pytest.approx(2.0 / np.sqrt(2) * left, rel=0.03)


def test_an_end_cut_at_45_degrees_is_cut_straight():
    assert cut_of(outline(lambda x: 0 * x, lambda y: 0.9 * (y - 15))) < 0.095


def test_sides_count_but_for_a_tenth_at_either_end():
    """A strand of 279 pixels, of which 27 are left out."""
    for first, counts in ((130, False), (140, True)):
        hair = NOTHING.copy()
        hair[ROWS, 130:410] = True
        hair[24:28, first : first + 27] = False
        assert (cut_of(hair, 130) > 1e-9) == counts


@pytest.mark.parametrize("end", [0, 1])
def test_an_end_counts_over_seven_tenths_of_its_width_three_millimetres_in(end):
    """A strand that grows by two pixels a pixel from either end: 24 there, so rows 43 to 76."""
    at = np.arange(WIDTH)
    grows = np.clip(2.0 * np.minimum(at - 30, 409 - at), 1.0, 36.0)
    notch = slice(30, 33) if end == 0 else slice(407, 410)
    for top, below, counts in ((40, 43, False), (40, 44, True), (77, 80, False), (76, 80, True)):
        hair = NOTHING.copy()
        hair[ROWS, COLUMNS] = True
        hair[top:below, notch] = False
        assert (cut_of(hair, 30, grows) > 1e-9) == counts


# --- what is said of it ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("within", "beyond", "refusal"),
    [
        ({"ribs": 0.65}, {"ribs": 0.651}, ("not-hair", "rows", "place.window")),
        ({"paper": 0.75}, {"paper": 0.751}, ("two-strands", None, "place.window")),
        ({"edge": 5.0}, {"edge": 5.01}, ("not-hair", "covered", "place.strand")),
        ({"band": 0.18}, {"band": 0.181}, ("not-hair", "covered", "place.strand")),
    ],
)
def test_each_limit_is_one(within, beyond, refusal):
    check_lines(replace(HAIR, **within))
    with pytest.raises(StrandgaugeError) as told:
        check_lines(replace(HAIR, **beyond))
    code, fault, place = refusal
    assert (told.value.code, dict(told.value.facts).get("fault"), told.value.where) == (
        code,
        fault,
        say(place),
    )


@pytest.mark.parametrize(
    ("within", "beyond", "code"),
    [
        ({"ribs": 0.42}, {"ribs": 0.421}, "even-ribs"),
        ({"paper": 0.3}, {"paper": 0.301}, "paper-between"),
        ({"cut_mm": 0.095}, {"cut_mm": 0.094}, "as-cut"),
        ({"curve_mm": 0.06}, {"curve_mm": 0.059}, "as-cut"),
    ],
)
def test_each_doubt_has_its_limit(within, beyond, code):
    assert check_lines(replace(HAIR, **within)) == ()
    assert [note.code for note in check_lines(replace(HAIR, **beyond))] == [code]


@pytest.mark.parametrize("beyond", [{"ribs": 0.7}, {"paper": 0.9}, {"edge": 9.0}])
def test_what_looks_like_no_hair_in_too_small_a_picture_may_be_hair(beyond):
    seen = Fibres(
        0.05, rows=0.1, along=0.3, slant=0.0, broken=0.03, uneven=3.5, smoothest=0.03, smoothest_share=0.7
    )
    with pytest.raises(TooSmallError) as small:
        hair_doubts(seen, replace(HAIR, **beyond), 1.89)
    assert dict(small.value.facts) == {"fault": "fibres", "pixels_per_mm": 1.89}
    with pytest.raises((NotHairError, TwoStrandsError)):
        hair_doubts(seen, replace(HAIR, **beyond), 1.9)
    with pytest.raises(TooSmallError):
        hair_doubts(replace(seen, strength=0.01), HAIR, 1.0)
    doubtful = replace(seen, along=0.9), replace(HAIR, cut_mm=0.05)
    assert [note.code for note in hair_doubts(*doubtful, 1.0)] == ["no-direction", "as-cut"]
    twice = replace(seen, uneven=2.5), replace(HAIR, ribs=0.5)
    assert [note.code for note in hair_doubts(*twice, 4.0)] == ["even-ribs"]
