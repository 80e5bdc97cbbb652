"""Only hair is hair: what has no fibres, or none that could be hair's, is refused; every sample of hair is not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data

from strandgauge.errors import NotHairError, TooSmallError, TwoStrandsError
from strandgauge.kit import shipped
from strandgauge.light.region import Region
from strandgauge.strand.fibres import Fibres, check_fibres, fibres, repeats
from strandgauge.strand.isolate import Isolated, isolate_strand

SAMPLES = Path(__file__).parents[2] / "sample_images"
PPM = 4.0
HEIGHT, WIDTH = 120, 440
"""A region of 30 by 110 mm; the strand takes 18 by 95 mm of it."""
ROWS, COLUMNS = slice(24, 96), slice(30, 410)
HAIR = Fibres(
    0.05, rows=0.1, along=0.3, slant=0.0, broken=0.03, uneven=3.5, smoothest=0.03, smoothest_share=0.7
)


def strip(texture: np.ndarray) -> tuple[Region, Isolated]:
    """Return a region in which a strip of brown stuff of this pattern lies where the strand should."""
    linear = np.full((HEIGHT, WIDTH, 3), 0.85, np.float32)
    pattern = cv2.GaussianBlur(texture.astype(np.float32), (0, 0), 0.5)[ROWS, COLUMNS]
    linear[ROWS, COLUMNS] = pattern[..., None] * np.array([0.3, 0.2, 0.1], np.float32)
    hair = np.zeros((HEIGHT, WIDTH), bool)
    hair[ROWS, COLUMNS] = True
    none = np.zeros_like(hair)
    at = np.array([[1 / PPM, 0, 0], [0, 1 / PPM, 0]])
    strand = Isolated(hair, none, 30, 409, np.full(WIDTH, 59.5), np.full(WIDTH, 36.0))
    return Region(linear, np.zeros_like(linear), none, PPM, at), strand


def found(texture: np.ndarray) -> Fibres:
    region, strand = strip(texture)
    return fibres(region, strand)


def noise(along: float, across: float, seed: int = 1) -> np.ndarray:
    field = np.random.default_rng(seed).standard_normal((HEIGHT, WIDTH)).astype(np.float32)
    field = cv2.GaussianBlur(field, (0, 0), sigmaX=along, sigmaY=across)
    return field / field.std()


def locks() -> np.ndarray:
    return 1.0 + 0.2 * noise(30.0, 1.2) + 0.1 * noise(4.0, 0.6, seed=2)


Y, X = np.mgrid[0:HEIGHT, 0:WIDTH] / PPM
STUFFS = {
    "ribs along": (1.0 + 0.4 * np.sin(2 * np.pi * Y / 2.5), "rows"),
    "ribs across": (1.0 + 0.4 * np.sin(2 * np.pi * X / 2.5), "rows"),
    "rope": (1.0 + 0.4 * np.sin(2 * np.pi * (X + Y) / 4.5), "rows"),
    "weave": (1.0 + 0.4 * np.sin(2 * np.pi * X / 1.8) * np.sin(2 * np.pi * Y / 1.8), "rows"),
    "brick": (0.4 + skimage.data.brick()[:HEIGHT, :WIDTH] / 200.0, "along"),
    "cloth": (1.0 + 0.001 * noise(1.0, 1.0), "smooth"),
}


@pytest.mark.parametrize("name", STUFFS)
def test_what_is_no_hair_is_refused_for_its_own_reason(name):
    texture, fault = STUFFS[name]
    with pytest.raises(NotHairError) as refusal:
        check_fibres(found(texture))
    assert dict(refusal.value.facts)["fault"] == fault


def test_locks_are_hair_and_grass_is_doubted():
    assert check_fibres(found(locks())) == ()
    running_on = np.broadcast_to(locks()[:, :1], (HEIGHT, WIDTH)) * (1.0 + 0.02 * noise(40.0, 20.0))
    assert [note.code for note in check_fibres(found(running_on))] == ["unbroken"]
    grass = 0.3 + cv2.resize(skimage.data.grass(), (WIDTH, WIDTH))[:HEIGHT] / 128.0
    assert [note.code for note in check_fibres(found(grass))] == ["no-direction"]


def test_a_sticker_on_the_strand_is_refused_and_clipped_gloss_is_no_sticker():
    texture = locks()
    texture[45:80, 200:245] = 2.5  # 9 by 11 mm
    with pytest.raises(NotHairError) as refusal:
        check_fibres(found(texture))
    assert dict(refusal.value.facts)["fault"] == "covered"
    region, strand = strip(texture)
    clipped = np.zeros((HEIGHT, WIDTH), bool)
    clipped[40:85, 195:250] = True
    shining = replace(region, clipped=clipped)
    assert fibres(shining, strand).smoothest_share > 0.4


@pytest.mark.parametrize(
    ("within", "beyond", "fault"),
    [
        ({"strength": 0.016}, {"strength": 0.014}, "smooth"),
        ({"rows": 0.63}, {"rows": 0.65}, "rows"),
        ({"uneven": 2.11}, {"uneven": 2.09}, "rows"),
        ({"along": 0.99}, {"along": 1.01}, "along"),
        ({"slant": 0.21}, {"slant": 0.23}, "slant"),
        (
            {"smoothest": 0.0085, "smoothest_share": 0.1},
            {"smoothest": 0.0075, "smoothest_share": 0.1},
            "covered",
        ),
        (
            {"smoothest": 0.001, "smoothest_share": 0.21},
            {"smoothest": 0.001, "smoothest_share": 0.19},
            "covered",
        ),
    ],
)
def test_each_limit_is_one(within, beyond, fault):
    check_fibres(replace(HAIR, **within))
    with pytest.raises(NotHairError) as refusal:
        check_fibres(replace(HAIR, **beyond))
    assert dict(refusal.value.facts)["fault"] == fault


@pytest.mark.parametrize(
    ("within", "beyond", "code"),
    [
        ({"along": 0.79}, {"along": 0.81}, "no-direction"),
        ({"broken": 0.0077}, {"broken": 0.0075}, "unbroken"),
        ({"uneven": 2.61}, {"uneven": 2.59}, "even-ribs"),
    ],
)
def test_each_doubt_has_its_limit(within, beyond, code):
    assert check_fibres(replace(HAIR, **within)) == ()
    assert [note.code for note in check_fibres(replace(HAIR, **beyond))] == [code]


@pytest.mark.parametrize("degrees", [0, 10, 25, 45])
def test_slant_is_the_sine_of_twice_the_angle_between_barbs_and_the_middle(degrees):
    angle = np.radians(degrees)

    def barbs(away: np.ndarray) -> np.ndarray:
        across = away * np.cos(angle) - X * np.sin(angle)
        return 1.0 + 0.2 * np.sin(2 * np.pi * across / 1.5 + 0.3 * np.sin(across))

    feather, twisted = (found(barbs(away)) for away in (np.abs(Y - 15), Y - 15))
    assert feather.slant == pytest.approx(np.sin(2 * angle), abs=0.06)
    assert twisted.slant == pytest.approx(0.0, abs=0.03)
    assert twisted.along == pytest.approx(np.tan(angle) ** 2, abs=0.05)


def test_the_evenness_of_waves_of_chance_and_of_single_fibres():
    """Kurtosis of a sine, 3/2, and of a normal distribution, 3."""
    assert found(1.0 + 0.05 * np.sin(2 * np.pi * Y / 1.5)).uneven == pytest.approx(1.5, abs=0.1)
    assert found(np.exp(0.1 * noise(20.0, 0.8))).uneven == pytest.approx(3.0, abs=0.3)
    few = np.where((np.arange(HEIGHT) % 17 == 0)[:, None], 0.7, 1.0) * np.ones(WIDTH)
    assert found(few).uneven > 4.0


def test_rows_are_told_by_their_second_return():
    at = np.arange(200)
    wave = np.sin(2 * np.pi * at / 10.0)[None].astype(np.float32)
    assert repeats(wave, 3, 40) == pytest.approx(1.0, abs=0.05)
    assert repeats(wave, 3, 8) < 0.1  # its step is not among those tried
    once = np.zeros((1, 200), np.float32)
    once[0, [50, 60]] = 1.0  # comes again once, not twice
    assert repeats(once, 3, 40) < 0.1
    slope = np.exp(-(((at - 100) / 60.0) ** 2))[None].astype(np.float32)
    assert repeats(slope, 3, 40) < 0.1  # like itself, with nothing unlike between
    assert repeats(np.zeros((3, 50), np.float32), 2, 10) == 0.0


def test_two_strands_with_paper_between_them_are_told_and_a_stray_lock_is_none():
    def lying(length_mm: float) -> Region:
        linear = np.full((HEIGHT + 40, WIDTH, 3), 0.85, np.float32)
        for rows, end in ((slice(20, 70), 400), (slice(90, 140), 30 + round(length_mm * PPM))):
            pattern = (1.0 + 0.2 * noise(30.0, 1.2))[rows.start - 20 : rows.stop - 20, 30:end]
            linear[rows, 30:end] = pattern[..., None] * np.array([0.3, 0.2, 0.1], np.float32)
        lab = cv2.cvtColor(linear, cv2.COLOR_LRGB2Lab)
        return Region(linear, lab, np.zeros(linear.shape[:2], bool), PPM, np.zeros((2, 3)))

    paper = tuple(lying(40.0).lab[0, 0].tolist())
    with pytest.raises(TwoStrandsError):
        isolate_strand(lying(40.0), paper, 2.0)
    assert isolate_strand(lying(18.0), paper, 2.0).hair[:80].any()


@pytest.mark.whole
@pytest.mark.parametrize("side", [400, 1000])
def test_small_copies_of_hair_are_still_hair(tmp_path, side):
    for name in ("uneven.jpg", "tilted.jpg"):
        photo = cv2.imread(str(SAMPLES / name))
        scale = side / max(photo.shape[:2])
        file = tmp_path / name
        cv2.imwrite(str(file), cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))
        assert np.isfinite(shipped().measure(file).reading.overall.level)


@pytest.mark.whole
def test_a_strand_of_less_than_a_pixel_a_millimetre_is_not_read():
    photo = cv2.imread(str(SAMPLES / "uneven.jpg"))
    scale = 180 / max(photo.shape[:2])
    small = cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    with pytest.raises(TooSmallError) as refusal:
        shipped().measure(cv2.imencode(".png", small)[1].tobytes())
    facts = dict(refusal.value.facts)
    assert facts["fault"] == "strand"
    assert facts["pixels_per_mm"] < 0.85
