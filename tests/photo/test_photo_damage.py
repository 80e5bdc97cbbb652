"""A JPEG with wrong bits that no decoder notices is refused, one with edges where blocks have theirs is not."""

from __future__ import annotations

import io
from functools import cache

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from refused import refused
from strandgauge.errors import UnreadableFileError
from strandgauge.photo import open_photo
from strandgauge.photo.decode import decode_quietly
from strandgauge.photo.formats import Format

WIDTH, HEIGHT = 512, 384
CODINGS = [
    {"subsampling": 2},
    {"subsampling": 0},
    {"subsampling": 1, "quality": 75},
    {"progressive": True},
    {"restart_marker_rows": 1},
]


@cache
def patches() -> np.ndarray:
    """Return (H, W, 3) RGB: upright stripes of twelve greys and colours in uneven light, with noise."""
    rng = np.random.default_rng(4)
    stripes = np.repeat(rng.uniform(60, 190, (12, 3)), -(-WIDTH // 12), axis=0)[:WIDTH]
    light = np.linspace(0.85, 1.1, HEIGHT)[:, None, None]
    return stripes * light + rng.normal(0, 2, (HEIGHT, WIDTH, 3))


def jpeg(pixels: np.ndarray, **how) -> bytes:
    file = io.BytesIO()
    Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(file, "JPEG", **({"quality": 90} | how))
    return file.getvalue()


def opens(data: bytes, reduction: int = 1) -> bool:
    try:
        decode_quietly(data, Format.JPEG, jpeg_reduction=reduction)
    except UnreadableFileError as error:
        return dict(error.facts)["fault"] != "damaged"
    return True


@pytest.mark.parametrize("how", CODINGS)
@pytest.mark.parametrize("reduction", [1, 2])
def test_a_sound_picture_opens_however_it_is_coded(how, reduction):
    assert opens(jpeg(patches(), **how), reduction)


@settings(max_examples=30, deadline=None)
@given(
    row=st.integers(1, HEIGHT // 16 - 3),
    column=st.integers(0, WIDTH // 16 - 1),
    shift=st.sampled_from([-40, -12, 12, 40]),
    tint=st.sampled_from([(1, 1, 1), (1.402, -0.714, 0), (0, -0.344, 1.772)]),
    how=st.sampled_from(CODINGS[:4]),
    reduction=st.sampled_from([1, 2]),
)
def test_blocks_shifted_from_one_on_in_the_order_of_the_scan_are_told(
    row, column, shift, tint, how, reduction
):
    """Luma, Cr or Cb, as ITU-T T.871 turns them into red, green and blue."""
    height = 8 if how.get("subsampling") in (0, 1) else 16
    width = 8 if how.get("subsampling") == 0 else 16
    blocks = np.arange(HEIGHT // height)[:, None] * (WIDTH // width) + np.arange(WIDTH // width)
    late = np.kron(blocks >= row * (WIDTH // width) + column, np.ones((height, width)))
    assert not opens(jpeg(patches() + late[..., None] * np.array(tint) * shift, **how), reduction)


def test_a_single_wrong_bit_that_shifts_what_follows_is_refused():
    data = jpeg(patches())
    sound = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).astype(int)
    shifts = 0
    for at in np.linspace(len(data) // 4, len(data) * 3 // 4, 40).astype(int):
        flipped = bytearray(data)
        flipped[at] ^= 0x10
        pixels = cv2.imdecode(np.frombuffer(flipped, np.uint8), cv2.IMREAD_COLOR).astype(int)
        shift = np.abs(np.median((pixels - sound)[-32:], axis=(0, 1))).max()
        if shift >= 8:
            shifts += 1
            assert not opens(bytes(flipped)), at
        elif np.array_equal(pixels, sound):
            assert opens(bytes(flipped)), at
    assert shifts >= 5


def level_edge() -> np.ndarray:
    """Return paper on a table, as wide as the picture, whose upper edge is level."""
    pixels = patches() * 0 + 90 + np.random.default_rng(1).normal(0, 2, (HEIGHT, WIDTH, 3))
    pixels[96:] += 120
    return pixels * np.linspace(0.8, 1.1, WIDTH)[:, None]


def barred() -> np.ndarray:
    """Return a screenshot: a picture between two bars."""
    pixels = patches().copy()
    pixels[:64], pixels[-48:] = 20, 250
    return pixels


def listed() -> np.ndarray:
    """Return rows of a table in two shades, each as high as two blocks."""
    pixels = np.full((HEIGHT, WIDTH, 3), 250.0)
    pixels[np.arange(HEIGHT) % 32 < 16] = (225, 230, 240)
    pixels[:, 40:200:9] = 60
    return pixels


def crossed() -> np.ndarray:
    """Return a picture, dark on the left and light on the right, with a grey bar across that is one block high."""
    pixels = np.where(np.arange(WIDTH) < 200, 60.0, 200.0)[None, :, None] + patches() * 0
    pixels[160:176] = 128
    return pixels


def stacked() -> np.ndarray:
    """Return a dark picture above a light one of something else."""
    pixels = patches() * 0.75
    pixels[192:] = 110 + pixels[192:, ::-1]
    return pixels


def things() -> np.ndarray:
    """Return two things, one on the right and one on the left a block lower, each as wide as a quarter."""
    pixels = patches().copy()
    pixels[144:, 320:450] += 60
    pixels[160:, 60:200] += 60
    return pixels


def framed() -> np.ndarray:
    """Return a picture above a white border, the edge blurred over the border of two blocks."""
    white = np.interp(np.arange(HEIGHT) - 368, [-2, -1, 0, 1, 2, 3], [0.0, 0.02, 0.27, 0.5, 0.9, 1.0])[
        :, None, None
    ]
    return patches() * (1 - white) + 255 * white


@pytest.mark.parametrize("drawn", [level_edge, barred, listed, crossed, stacked, things, framed])
@pytest.mark.parametrize("how", CODINGS[:3])
def test_edges_where_blocks_have_theirs_are_no_damage(drawn, how):
    assert opens(jpeg(drawn(), **how))


def test_padding_of_one_value_is_harmless_and_other_bytes_behind_the_pixels_are_not():
    data = jpeg(patches())
    assert open_photo(data[:-2] + bytes(12) + data[-2:]).full_size == (WIDTH, HEIGHT)
    for behind in (bytes(30), b"\x5a\x17\xa2\x33" * 4):
        with refused(UnreadableFileError, "damaged", kind="JPEG"):
            open_photo(data[:-2] + behind + data[-2:])
