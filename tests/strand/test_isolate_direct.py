"""Hair told from paper and laid into zones, step by step on small drawn pictures whose answer is known."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from strandgauge.errors import NoStrandError, OverexposedError, StrandOffWindowError, StrandTooThinError
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
        ((0.40, 0.40, 0.41), 0.55, 0.80),
    ],
    ids=["brown", "black", "pale blond", "grey beside its shadow"],
)
def test_a_strand_is_found_whatever_its_colour_and_its_shadow_is_no_hair(colour, shade, like):
    """Grey hair differs from its shadow by its fibres alone, whose contrast reaches a millimetre beyond them."""
    region, strand = drawn(colour, shade=shade)
    found = isolate_strand(region, paper_of(region), 2.0)
    common = (found.hair & strand).sum() / (found.hair | strand).sum()
    assert common > like
    assert found.hair[100:110].mean() < 0.03
    assert (abs(found.first - 60), abs(found.last - 379)) <= (8, 8)
    inner = slice(80, 360)
    assert found.centre[inner] == pytest.approx(65.5, abs=1.0 if like > 0.9 else 2.0)
    assert found.half_width[inner] == pytest.approx(28.0 if like > 0.9 else 32.0, abs=1.7)


def test_paper_alone_is_no_strand():
    region, _ = drawn((0.86, 0.86, 0.86))
    bare = region_of(np.full((132, 440, 3), 0.86) + np.random.default_rng(1).normal(0, 0.004, (132, 440, 3)))
    with pytest.raises(NoStrandError):
        isolate_strand(bare, paper_of(region), 2.0)


# --- one step at a time ---------------------------------------------------------------------------------


def test_the_largest_piece_is_kept_whole_and_fibres_are_stripped_from_it():
    mask = np.zeros((80, 200), bool)
    mask[20:60, 20:120] = True
    mask[20:60, 68:70] = False  # a gap of half a millimetre
    mask[38, 120:190] = True  # a single fibre
    mask[10:70, 150:170] = True  # another, smaller piece
    piece, beside = isolate._largest(mask, PPM)
    assert piece[40, 69]
    assert not piece[:, 124:].any()
    assert beside < 0.0  # its end is not reached by the other
    mask[66:78, 30:110] = True
    mask[10:70, 150:170] = False
    assert isolate._largest(mask, PPM)[1] == pytest.approx(20.0, abs=0.5)
    assert isolate._largest(mask & (np.arange(80) < 62)[:, None], PPM)[1] == 0.0
    assert not isolate._largest(np.zeros((20, 20), bool), PPM)[0].any()


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
    assert isolate._paper_samples(np.empty((0, 4), np.float32), PAPER)[:, :1].max() > 95.0


def test_of_many_places_a_few_are_taken_evenly():
    at = np.arange(4 * 30 * 40, dtype=np.float32).reshape(4, 30, 40)
    where = np.zeros((30, 40), bool)
    where[5:25, 8:38] = True
    some = isolate._some_of(at, where, 120)
    assert some.shape == (120, 4)
    assert some[:2].tolist() == at[:, 5, [8, 13]].T.tolist()  # every fifth of 600
    assert some[-1].tolist() == at[:, 24, 33].tolist()
    assert len(isolate._some_of(at, where, 1000)) == 600


def test_hair_and_paper_are_cut_at_as_many_deviations_from_either():
    random = np.random.default_rng(2)
    hair = random.normal([40.0, 5.0, 15.0, 3.0], [6.0, 0.1, 0.1, 0.1], (4000, 4)).astype(np.float32)
    paper = random.normal([90.0, 5.0, 15.0, 3.0], [1.0, 0.1, 0.1, 0.1], (4000, 4)).astype(np.float32)
    direction, threshold = isolate._discriminant(hair, paper)
    scores = [float(np.mean(one @ direction)) - threshold for one in (hair, paper)]
    assert scores[0] - scores[1] == pytest.approx(1.0, abs=1e-6)
    # Deviations with what print and noise add, 2 in L*: sqrt(36 + 4) and sqrt(1 + 4).
    assert scores[0] / -scores[1] == pytest.approx(np.sqrt(40.0 / 5.0), rel=0.03)


def test_fine_contrast_is_told_in_per_cent_of_the_light_and_flat_colour_has_none():
    flat = np.full((40, 60, 3), 0.25)
    assert isolate._features(region_of(flat))[3].max() == pytest.approx(0.0, abs=0.05)
    striped = flat.copy()
    striped[::2] *= 1.21  # 10 % of its square root, up and down
    contrast = isolate._features(region_of(striped))[:, 15:25, 20:40]
    assert contrast[3] == pytest.approx(100 * 0.05 / 1.05, rel=0.1)
    assert contrast[0] == pytest.approx(
        cv2.cvtColor(striped[:2].astype(np.float32), cv2.COLOR_LRGB2Lab)[..., 0].mean(), abs=1.0
    )
    wild = flat.copy()
    wild[::2] *= 9.0
    assert isolate._features(region_of(wild))[3].max() == pytest.approx(12.0)


def test_smoothing_keeps_level_and_ends():
    assert isolate._smooth(np.full(50, 3.0), 4.0) == pytest.approx(3.0)
    step = isolate._smooth(np.repeat([0.0, 1.0], 60), 4.0)
    assert (step[0], step[-1]) == (0.0, 1.0)
    assert step[[55, 64]].sum() == pytest.approx(1.0, abs=1e-5)
    assert step[64] == pytest.approx(0.87, abs=0.02)  # 4.5 places beyond the step, of deviation 4: 0.870


def outlined(mask: np.ndarray, score: np.ndarray | None = None) -> Isolated:
    return isolate._outline(mask, np.ones(mask.shape, np.float32) if score is None else score, PPM, 2.0)


def test_the_outline_follows_a_slanting_strand_and_gaps_are_what_looks_like_paper():
    mask = np.zeros((160, 420), bool)
    rows, columns = np.mgrid[0:160, 0:420]
    mask[(abs(rows - 80 - 0.1 * (columns - 210)) <= 24) & (columns >= 40) & (columns < 380)] = True
    score = np.ones(mask.shape, np.float32)
    score[70:90, 200:210] = -0.2
    score[70:90, 230:240] = -0.05
    found = outlined(mask, score)
    assert abs(found.first - 40) <= 2
    assert abs(found.last - 379) <= 2
    middle = slice(70, 350)
    assert found.centre[middle] == pytest.approx(80 + 0.1 * (np.arange(420)[middle] - 210), abs=0.4)
    assert found.half_width[middle] == pytest.approx(24.05, abs=0.1)
    assert found.gap.sum() == 200
    assert found.gap[70:90, 200:210].all()


@pytest.mark.parametrize(("rows", "goes"), [((8, 60), True), ((0, 40), False), ((120, 160), False)])
def test_a_strand_beside_the_window_or_beyond_it_is_refused(rows, goes):
    mask = np.zeros((160, 420), bool)
    mask[rows[0] : rows[1], 40:380] = True
    if goes:
        assert outlined(mask).first > 0
        return
    with pytest.raises(StrandOffWindowError) as refusal:
        outlined(mask)
    assert dict(refusal.value.facts)["percent"] == pytest.approx(100.0, abs=2.0)


# --- zones ----------------------------------------------------------------------------------------------


def straight(slope: float = 0.0) -> Isolated:
    """Return a strand of 400 columns and half-width 30, rising by `slope`, in a picture of 200 rows."""
    at = np.arange(440.0)
    centre = 100.0 + slope * (at - 220.0)
    hair = abs(np.arange(200.0)[:, None] - centre) <= 30.0
    return Isolated(hair, np.zeros_like(hair), 20, 420, centre, np.full(440, 30.0))


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
    assert mids.linear == pytest.approx(0.3, rel=1e-4)
    assert mids.gap_share == pytest.approx(15 / 73, abs=0.01)
    clipped = np.zeros((200, 440), bool)
    clipped[:, 190:196] = True
    assert zones_of(linear, strand, clipped)["mids"].clipped_share == pytest.approx(6 / 73, abs=0.01)


def test_a_zones_own_patchiness_tells_how_sure_its_mean_is():
    """A spread over areas of 10 by 2 mm: 73 by 37 quarters of a millimetre of mids hold 8.4 of them."""
    random = np.random.default_rng(4)
    linear = np.repeat(np.repeat(random.uniform(0.1, 0.5, (10, 22)), 20, 0), 20, 1)[..., None] * np.ones(3)
    mids = zones_of(linear, straight())["mids"]
    assert mids.lightness_spread == pytest.approx(float(mids.pixels_lab[:, 0].std()), rel=1e-5)
    assert mids.standard_error == pytest.approx(mids.lightness_spread / np.sqrt(73 * 37 / 320), rel=0.005)


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
    assert zones["overall"].pixels_lab.shape[0] <= 4001 * 1.5


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
    thin = strand_coordinates(replace(strand, half_width=np.full(440, 1.5)), PPM)
    assert thin.across[103, 220] == pytest.approx(2.0)
