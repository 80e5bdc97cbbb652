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
from strandgauge.strand.lines import Lines, check_lines, lines
from strandgauge.strand.zones import strand_coordinates

PPM = 4.0
HEIGHT, WIDTH = 120, 440
"""A region of 30 by 110 mm; the strand takes 18 by 95 mm of it."""
ROWS, COLUMNS = slice(24, 96), slice(30, 410)
BROWN = np.array([0.2, 0.12, 0.06], np.float32)
PAPER = np.full(3, 0.85, np.float32)
Y, X = (axis.astype(np.float32) / PPM for axis in np.mgrid[0:HEIGHT, 0:WIDTH])
HAIR = Lines(ribs=0.1, paper=0.0, edge=1.0, cut_mm=0.4)


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


def test_one_uneven_side_or_end_is_enough():
    straight = outline(lambda x: 0 * x, lambda y: 0 * y)
    wavy = outline(lambda x: 0.4 * np.sin(x / 3), lambda y: 0.4 * np.sin(y))
    for part in (Y < 12, Y > 18, X < 20, X > 90):
        assert found(of(locks()), hair=np.where(part, wavy, straight)).cut_mm > 0.15


# --- what is said of it ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("within", "beyond", "refusal"),
    [
        ({"ribs": 0.65}, {"ribs": 0.651}, ("not-hair", "rows")),
        ({"paper": 0.75}, {"paper": 0.751}, ("two-strands", None)),
        ({"edge": 5.0}, {"edge": 5.01}, ("not-hair", "covered")),
    ],
)
def test_each_limit_is_one(within, beyond, refusal):
    check_lines(replace(HAIR, **within))
    with pytest.raises(StrandgaugeError) as told:
        check_lines(replace(HAIR, **beyond))
    assert (told.value.code, dict(told.value.facts).get("fault")) == refusal


@pytest.mark.parametrize(
    ("within", "beyond", "code"),
    [
        ({"ribs": 0.42}, {"ribs": 0.421}, "even-ribs"),
        ({"paper": 0.3}, {"paper": 0.301}, "paper-between"),
        ({"cut_mm": 0.095}, {"cut_mm": 0.094}, "as-cut"),
    ],
)
def test_each_doubt_has_its_limit(within, beyond, code):
    assert check_lines(replace(HAIR, **within)) == ()
    assert [note.code for note in check_lines(replace(HAIR, **beyond))] == [code]


@pytest.mark.parametrize("beyond", [{"ribs": 0.7}, {"paper": 0.9}, {"edge": 9.0}])
def test_what_looks_like_no_hair_in_too_small_a_picture_may_be_hair(beyond):
    seen = Fibres(strength=0.05, rows=0.1, along=0.3, smoothest=0.03, smoothest_share=0.7)
    with pytest.raises(TooSmallError) as small:
        hair_doubts(seen, replace(HAIR, **beyond), 1.89)
    assert dict(small.value.facts) == {"fault": "fibres", "pixels_per_mm": 1.89}
    with pytest.raises((NotHairError, TwoStrandsError)):
        hair_doubts(seen, replace(HAIR, **beyond), 1.9)
    with pytest.raises(TooSmallError):
        hair_doubts(replace(seen, strength=0.01), HAIR, 1.0)
    doubtful = replace(seen, along=0.9), replace(HAIR, cut_mm=0.05)
    assert [note.code for note in hair_doubts(*doubtful, 1.0)] == ["no-direction", "as-cut"]
