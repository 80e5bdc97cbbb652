"""Damaged, missing, huge and wrong files each end in one clear error, and nothing else."""

from __future__ import annotations

import io
import os
import struct
import zlib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pictures import FORMATS, encode, exif, scene
from PIL import Image

from refused import refused
from strandgauge.errors import FileTooLargeError, StrandgaugeError, UnreadableFileError
from strandgauge.photo import Photo, open_photo
from strandgauge.words import say


def open_or_refuse(data: bytes) -> Photo | StrandgaugeError:
    """Open a photo; anything but a photo or an error of the family goes up."""
    try:
        return open_photo(data)
    except StrandgaugeError as error:
        return error


@pytest.mark.parametrize("kind", FORMATS)
def test_a_file_cut_short_anywhere_is_refused(kind, capfd):
    data = encode(kind, 400, 300, exif=exif(taken_at="2024:05:17 09:41:08"), quality=90)
    # The last bytes of a PNG or TIFF hold no pixels; 16 bytes are less than any of them leaves unsaid.
    for share in (0.001, 0.01, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99, 1 - 16 / len(data)):
        with pytest.raises(UnreadableFileError):
            open_photo(data[: int(len(data) * share)])
    assert capfd.readouterr().err == ""


def test_a_jpeg_cut_short_behind_its_thumbnail_is_refused():
    """The thumbnail has an end mark of its own, which must not pass for the photo's."""
    thumbnail = encode("JPEG", 32, 24)
    segment = b"Exif\0\0" + b"II*\0\x08\0\0\0\0\0\0\0\0\0" + thumbnail
    data = encode("JPEG", 400, 300)
    with_thumbnail = data[:2] + b"\xff\xe1" + struct.pack(">H", len(segment) + 2) + segment + data[2:]
    assert open_photo(with_thumbnail).full_size == (400, 300)
    with refused(UnreadableFileError, "short", kind="JPEG"):
        open_photo(with_thumbnail[: len(with_thumbnail) // 2])


def test_a_jpeg_with_a_second_picture_behind_it_opens():
    """Phones append gain maps and film clips to the photo."""
    assert open_photo(encode("JPEG") + encode("JPEG", 48, 32)).full_size == (96, 64)


def test_a_jpeg_damaged_inside_is_refused_and_nothing_is_printed(capfd):
    data = bytearray(encode("JPEG", 800, 600, quality=90))
    middle = len(data) // 2
    data[middle : middle + 8] = b"\xff\xd9\xff\xd9\xff\xd9\xff\xd9"
    with refused(UnreadableFileError, "damaged", kind="JPEG"):
        open_photo(bytes(data))
    assert capfd.readouterr().err == ""


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(kind=st.sampled_from(FORMATS), data=st.data())
def test_flipped_bytes_never_crash(kind, data):
    photo = bytearray(encode(kind))
    for _ in range(data.draw(st.integers(1, 6))):
        photo[data.draw(st.integers(0, len(photo) - 1))] = data.draw(st.integers(0, 255))
    outcome = open_or_refuse(bytes(photo))
    if isinstance(outcome, StrandgaugeError):
        assert outcome.message.endswith(".")
        assert "\n" not in outcome.message


@settings(max_examples=40, deadline=None)
@given(
    start=st.sampled_from(
        [
            b"",
            b"\xff\xd8\xff\xe0",
            b"\x89PNG\r\n\x1a\n",
            b"II*\0",
            b"RIFF\x20\0\0\0WEBP",
            b"\0\0\0\x18ftypheic",
        ]
    ),
    rest=st.binary(max_size=400),
)
def test_random_bytes_are_refused(start, rest):
    assert isinstance(open_or_refuse(start + rest), UnreadableFileError)


# --- bombs ----------------------------------------------------------------------------------------------


def png_claiming(width: int, height: int) -> bytes:
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = [(b"IHDR", head), (b"IDAT", zlib.compress(bytes(1000))), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in chunks
    )


def jpeg_claiming(width: int, height: int) -> bytes:
    data = encode("JPEG")
    at = data.index(b"\xff\xc0") + 5
    return data[:at] + struct.pack(">HH", height, width) + data[at + 4 :]


def webp_claiming(width: int, height: int) -> bytes:
    if width * height < 5_000_000:  # such a file is real: its frame must fill the canvas it claims
        return encode("WEBP", width, height)
    body = (
        b"VP8X"
        + struct.pack("<I", 10)
        + bytes(4)
        + (width - 1).to_bytes(3, "little")
        + (height - 1).to_bytes(3, "little")
    )
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WEBP" + body


def tiff_claiming(width: int, height: int) -> bytes:
    entries = [
        (256, 4, width),
        (257, 4, height),
        (258, 3, 8),
        (259, 3, 1),
        (262, 3, 2),
        (273, 4, 200),
        (277, 3, 3),
        (278, 4, height),
        (279, 4, 100),
    ]
    folder = struct.pack("<H", len(entries)) + b"".join(
        struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in entries
    )
    return b"II*\0\x08\0\0\0" + folder + bytes(400)


@pytest.mark.parametrize("bomb", [png_claiming, jpeg_claiming, webp_claiming, tiff_claiming])
def test_a_picture_that_would_unpack_to_gigabytes_is_refused_unopened(bomb, monkeypatch):
    monkeypatch.setattr("cv2.imdecode", lambda *_: pytest.fail("decoded a bomb"))
    with pytest.raises(FileTooLargeError) as caught:
        open_photo(bomb(15000, 12000))
    assert dict(caught.value.facts)["fault"] in ("megapixels", "claims")
    with refused(FileTooLargeError, "narrow"):
        open_photo(bomb(15000, 200))


def test_a_chunk_longer_than_the_file_never_reaches_the_decoder(monkeypatch):
    """The decoder would set aside two gigabytes for it."""
    monkeypatch.setattr("cv2.imdecode", lambda *_: pytest.fail("decoded a bomb"))
    data = encode("PNG")
    at = data.index(b"IDAT") - 4
    with refused(UnreadableFileError, "damaged", kind="PNG"):
        open_photo(data[:at] + b"\x7f\xff\xff\xf0" + data[at + 4 :])


def test_damaged_metadata_do_not_stand_in_the_way_and_nothing_is_printed(capfd):
    block = bytearray(exif(orientation=6, taken_at="2024:05:17 09:41:08"))
    block[14:] = b"\xff" * (len(block) - 14)
    for kind in ("JPEG", "PNG", "WebP"):
        assert open_photo(encode(kind, exif=bytes(block))).taken_at is None
    assert capfd.readouterr().err == ""


def test_an_animation_is_refused():
    frames = [Image.fromarray(scene()), Image.fromarray(255 - scene())]
    for kind in ("PNG", "WebP"):
        file = io.BytesIO()
        frames[0].save(file, kind, save_all=True, append_images=frames[1:])
        with refused(UnreadableFileError, "unmeasured", why="animation"):
            open_photo(file.getvalue())


def test_a_picture_without_pixels_is_refused():
    with pytest.raises(UnreadableFileError):
        open_photo(png_claiming(0, 10))


def test_a_file_too_large_is_refused_unread(tmp_path: Path):
    file = tmp_path / "huge.jpg"
    with file.open("wb") as sparse:
        sparse.truncate(200_000_001)
    with pytest.raises(FileTooLargeError, match=say("file.large", what="photo", most=200.0)):
        open_photo(file)


# --- files that are no photos ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", {"fault": "empty"}),
        (b"Dear client, thank you for your visit.", {"fault": "no-picture"}),
        (
            b"GIF89a" + bytes(50),
            {"fault": "other-file"},
        ),
        (b"%PDF-1.7\n", {"fault": "other-file", "what": "pdf"}),
        (b"PK\x03\x04" + bytes(30), {"fault": "other-file", "what": "zip"}),
        (b"\0\0\0\x18ftypqt  \0\0\0\0qt  ", {"fault": "film"}),
        (b"\0\0\0\x1cftypavif\0\0\0\0mif1avif", {"fault": "avif"}),
        (os.urandom(5000), {"fault": "no-picture"}),
    ],
)
def test_a_wrong_file_says_what_it_is(content, says, tmp_path: Path):
    file = tmp_path / "strand.jpg"
    file.write_bytes(content)
    with refused(UnreadableFileError, **says) as caught:
        open_photo(file)
    assert str(caught.value).startswith("strand.jpg: ")


def test_missing_file_folder_and_pipe(tmp_path: Path):
    with pytest.raises(UnreadableFileError, match=say("file.missing", what="photo")):
        open_photo(tmp_path / "missing.jpg")
    with pytest.raises(UnreadableFileError, match="folder"):
        open_photo(tmp_path)
    os.mkfifo(tmp_path / "pipe.jpg")
    with pytest.raises(UnreadableFileError, match="pipe"):
        open_photo(tmp_path / "pipe.jpg")
    with pytest.raises(UnreadableFileError):
        open_photo(Path("no\0name.jpg"))
