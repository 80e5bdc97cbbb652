"""Tells a picture's format from its first bytes, and what a file is when it is no picture we read."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any, TypeAlias

from numpy.typing import NDArray

from strandgauge.errors import UnreadableFileError

Pixels: TypeAlias = NDArray[Any]
"""(H, W, 3) blue, green, red; uint8 or uint16."""


class Format(Enum):
    """The picture formats that are read."""

    JPEG = "JPEG"
    PNG = "PNG"
    TIFF = "TIFF"
    WEBP = "WebP"
    HEIC = "HEIC"


_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_FILM_BRANDS = {b"qt  ", b"isom", b"iso2", b"mp41", b"mp42", b"avc1", b"M4V ", b"3gp4", b"3gp5"}

_OTHER_FILES: tuple[tuple[bytes, str], ...] = (
    (b"GIF8", "gif"),
    (b"BM", "bmp"),
    (b"\x00\x00\x01\x00", "icon"),
    (b"8BPS", "layered"),
    (b"\x00\x00\x00\x0cjP", "jpeg-2000"),
    (b"\xff\x0a", "jpeg-xl"),
    (b"\x00\x00\x00\x0cJXL ", "jpeg-xl"),
    (b"%PDF", "pdf"),
    (b"PK\x03\x04", "zip"),
    (b"<svg", "drawing"),
    (b"<?xml", "xml"),
    (b"<!DOCTYPE", "web-page"),
    (b"<html", "web-page"),
    (b"\x1aE\xdf\xa3", "film"),
)


def recognise(data: bytes) -> Format:
    """Return the format of a picture from its content.

    Raises
    ------
    UnreadableFileError : not one of the formats read; the message says what it is, if that can be told.
    """
    if data.startswith(b"\xff\xd8\xff"):
        return Format.JPEG
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return Format.PNG
    if data.startswith((b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")):
        return Format.TIFF
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return Format.WEBP
    if data[4:8] == b"ftyp":
        return _recognise_brand(data)
    for start, what in _OTHER_FILES:
        if data.startswith(start):
            raise UnreadableFileError(fault="other-file", what=what)
    raise UnreadableFileError(fault="no-picture")


def _recognise_brand(data: bytes) -> Format:
    """Tell still pictures from films by the brands of an ISO base media file (ISO/IEC 14496-12)."""
    length = min(int.from_bytes(data[:4], "big"), len(data), 256)
    brands = {data[8:12], *(data[at : at + 4] for at in range(16, length - 3, 4))}
    if brands & {b"avif", b"avis"}:
        raise UnreadableFileError(fault="avif")
    if brands & _HEIC_BRANDS:
        return Format.HEIC
    if brands & _FILM_BRANDS:
        raise UnreadableFileError(fault="film")
    raise UnreadableFileError(fault="media")


@dataclass(frozen=True, slots=True)
class PngChunks:
    """What the chunks of a PNG file say before it is decoded."""

    animated: bool
    exif: bytes
    """The EXIF block, which may stand before or behind the pixels; empty if there is none."""


def png_chunks(data: bytes) -> PngChunks:
    """Walk the chunks of a PNG file (ISO/IEC 15948).

    The walk also keeps from the decoder any chunk that claims to be longer than the file: it would set aside
    that much memory before looking.

    Raises
    ------
    UnreadableFileError : a chunk, or the file, ends before its end.
    """
    at, animated, exif = 8, False, b""
    while at + 12 <= len(data):
        length, name = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if at + 12 + length > len(data):
            break
        if name == b"IEND":
            return PngChunks(animated, exif)
        if name == b"acTL":
            animated = True
        if name == b"eXIf":
            exif = data[at + 8 : at + 8 + length]
        at += 12 + length
    raise UnreadableFileError(fault="damaged", kind=Format.PNG.value)
