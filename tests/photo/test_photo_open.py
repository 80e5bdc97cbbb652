"""Every format opens upright, at the scale asked for, with its tones intact."""

from __future__ import annotations

import io
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from pictures import FORMATS, deep, encode, exif, scene
from PIL import Image, ImageCms, ImageOps

from refused import refused
from strandgauge.errors import UnreadableFileError
from strandgauge.photo import open_photo
from strandgauge.photo.colourspace import display_p3_profile

LOSSY_TOLERANCE = 6
"""Largest difference of any pixel, in 8-bit steps, that coding may leave in a smooth scene."""


def rgb(pixels):
    return pixels[..., ::-1].astype(int)


@pytest.mark.parametrize("kind", FORMATS)
def test_every_format_gives_the_scene(kind):
    photo = open_photo(encode(kind, exif=exif(taken_at="2024:05:17 09:41:08")))
    assert photo.format == kind
    assert photo.profile == "sRGB"
    assert photo.full_size == (96, 64)
    assert photo.scale == 1
    assert photo.taken_at == datetime(2024, 5, 17, 9, 41, 8)
    assert photo.pixels.dtype == np.uint8
    assert np.abs(rgb(photo.pixels) - scene()).max() <= LOSSY_TOLERANCE


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", FORMATS)
def test_orientation_agrees_with_pillow(kind, orientation):
    """The outside reference is Pillow's exif_transpose of the same scene with the same tag."""
    data = encode(kind, exif=exif(orientation=orientation))
    reference = Image.fromarray(scene())
    reference.getexif()[0x0112] = orientation
    upright = np.asarray(ImageOps.exif_transpose(reference))
    photo = open_photo(data)
    assert photo.pixels.shape == upright.shape
    assert photo.full_size == (upright.shape[1], upright.shape[0])
    assert np.abs(rgb(photo.pixels) - upright).max() <= LOSSY_TOLERANCE


@pytest.mark.parametrize("orientation", range(1, 9))
def test_deep_tiff_orientation_agrees_with_pillow(orientation):
    reference = Image.fromarray(scene())
    reference.getexif()[0x0112] = orientation
    photo = open_photo(deep("TIFF", orientation=orientation))
    assert np.array_equal(rgb(photo.pixels), np.asarray(ImageOps.exif_transpose(reference)).astype(int) * 257)


@pytest.mark.parametrize("kind", ["TIFF", "PNG"])
def test_sixteen_bits_are_kept(kind):
    photo = open_photo(deep(kind))
    assert photo.pixels.dtype == np.uint16
    assert np.array_equal(rgb(photo.pixels), scene().astype(int) * 257)


def test_ten_bit_heic_is_kept_deep():
    import pillow_heif

    values = scene().astype(np.uint16) * 257
    file = io.BytesIO()
    pillow_heif.from_bytes("RGB;16", (96, 64), values.tobytes()).save(file, quality=100)
    photo = open_photo(file.getvalue())
    assert photo.pixels.dtype == np.uint16
    assert np.abs(rgb(photo.pixels) - values).max() <= LOSSY_TOLERANCE * 257


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize(
    ("wanted", "expected"), [(2000, 800), (800, 800), (400, 400), (399, 400), (200, 200), (110, 114)]
)
def test_reduction_never_goes_below_what_is_wanted(kind, wanted, expected):
    photo = open_photo(encode(kind, 800, 600), longest_side_wanted=wanted)
    longest = max(photo.pixels.shape[:2])
    # A JPEG is reduced by powers of two alone, so that up to twice the wanted size may be left.
    assert expected <= longest <= (2 * expected if kind == "JPEG" else expected)
    assert photo.full_size == (800, 600)
    assert photo.scale == photo.pixels.shape[1] / 800
    small = cv2.resize(scene(800, 600), photo.pixels.shape[1::-1], interpolation=cv2.INTER_AREA)
    assert np.abs(rgb(photo.pixels) - small).max() <= LOSSY_TOLERANCE


def test_reduction_of_a_turned_photo():
    photo = open_photo(encode("JPEG", 800, 600, exif=exif(orientation=6)), longest_side_wanted=400)
    assert photo.pixels.shape == (400, 300, 3)
    assert photo.full_size == (600, 800)
    assert photo.scale == 0.5


@pytest.mark.parametrize("kind", FORMATS)
def test_the_name_is_not_trusted(kind, tmp_path: Path):
    file = tmp_path / "photo.txt"
    file.write_bytes(encode(kind))
    photo = open_photo(file)
    assert (photo.format, photo.name) == (kind, "photo.txt")


def test_exif_behind_the_pixels_of_a_png_counts():
    block = exif(orientation=8)
    plain = encode("PNG")
    chunk = b"eXIf" + block
    import zlib

    late = len(block).to_bytes(4, "big") + chunk + zlib.crc32(chunk).to_bytes(4, "big")
    assert open_photo(plain[:-12] + late + plain[-12:]).full_size == (64, 96)


def test_a_broken_date_is_left_out():
    assert open_photo(encode("JPEG", exif=exif(taken_at="0000:00:00 00:00:00"))).taken_at is None


# --- colour space ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", FORMATS)
def test_display_p3_is_converted(kind):
    """Expected values from colour-science's own definition of Display P3."""
    import colour

    untouched = rgb(open_photo(encode(kind)).pixels)
    linear = colour.cctf_decoding(untouched / 255, function="sRGB")
    xyz = colour.RGB_to_XYZ(linear, colour.RGB_COLOURSPACES["Display P3"], apply_cctf_decoding=False)
    expected = np.clip(colour.XYZ_to_sRGB(xyz), 0, 1) * 255
    photo = open_photo(encode(kind, icc=display_p3_profile()))
    assert photo.profile == "Display P3"
    assert np.abs(rgb(photo.pixels) - expected).max() <= 3
    assert np.abs(untouched - expected).max() > 20, "the conversion must be visible"


def test_heic_colour_code_for_display_p3_is_converted():
    import pillow_heif

    file = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(scene())).save(
        file,
        quality=95,
        color_primaries=12,
        transfer_characteristics=13,
        matrix_coefficients=6,
        full_range_flag=1,
    )
    with_profile = open_photo(encode("HEIC", icc=display_p3_profile()))
    with_code = open_photo(file.getvalue())
    assert with_code.profile == "Display P3"
    assert np.abs(rgb(with_code.pixels) - rgb(with_profile.pixels)).max() <= 3


def test_srgb_profile_and_damaged_profile_change_nothing():
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    plain = open_photo(encode("PNG"))
    for profile in (srgb, srgb[:200], b"nonsense"):
        photo = open_photo(encode("PNG", icc=profile))
        assert photo.profile == "sRGB"
        assert np.array_equal(photo.pixels, plain.pixels)


# --- what cannot be measured ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mode", "kind", "why"),
    [
        ("L", "JPEG", "grey"),
        ("L", "PNG", "grey"),
        ("LA", "PNG", "grey"),
        ("1", "PNG", "grey"),
        ("L", "TIFF", "grey"),
        ("P", "PNG", "palette"),
        ("P", "TIFF", "palette"),
        ("CMYK", "JPEG", "inks"),
        ("CMYK", "TIFF", "inks"),
        ("LAB", "TIFF", "space"),
    ],
)
def test_pictures_without_camera_colours_are_refused(mode, kind, why):
    picture = Image.new("LAB", (96, 64)) if mode == "LAB" else Image.fromarray(scene()).convert(mode)
    file = io.BytesIO()
    picture.save(file, kind)
    with refused(UnreadableFileError, "unmeasured", why=why):
        open_photo(file.getvalue())


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WebP", "HEIC"])
def test_opaque_alpha_is_dropped_and_transparency_refused(kind):
    alpha = np.full((64, 96), 255, np.uint8)
    for transparent in (False, True):
        alpha[10:30, 10:30] = 0 if transparent else 255
        file = io.BytesIO()
        picture = Image.fromarray(np.dstack([scene(), alpha]))
        if kind == "HEIC":
            import pillow_heif

            pillow_heif.from_pillow(picture).save(file, quality=95)
        else:
            picture.save(file, kind, quality=95)
        if transparent:
            with refused(UnreadableFileError, "transparent"):
                open_photo(file.getvalue())
        else:
            assert np.abs(rgb(open_photo(file.getvalue()).pixels) - scene()).max() <= 2 * LOSSY_TOLERANCE
