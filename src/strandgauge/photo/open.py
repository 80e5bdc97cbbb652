"""Opens a photo once, upright, at no more pixels than the job needs.

The steps: read the bytes within a size limit; tell the format from the content, never from the name; read the
header (pixel size, orientation, colour space, time) without decoding; refuse what is too large or cannot be
measured; decode, a JPEG directly at a reduced scale of its cosine transform; bring to sRGB.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.errors import FileTooLargeError, StrandgaugeError, UnreadableFileError
from strandgauge.files.read import read_file
from strandgauge.photo.colourspace import colour_space_name, to_srgb
from strandgauge.photo.decode import decode_quietly, opaque
from strandgauge.photo.formats import Format, Pixels, recognise
from strandgauge.photo.header import Header, read_header

MAX_FILE_BYTES = 200_000_000
MAX_PIXELS = 100_000_000
MAX_ASPECT = 20
"""Longest side over shortest; a panorama of a card is no photo of a card."""


@dataclass(frozen=True, slots=True)
class Photo:
    """One photo, upright and ready to be measured."""

    pixels: NDArray[np.uint8] | NDArray[np.uint16] = field(repr=False, compare=False)
    """(H, W, 3) blue, green, red as the camera encoded them, uint8 or uint16; primaries and curve of sRGB."""
    full_size: tuple[int, int]
    """Width and height of the upright original, pixels."""
    scale: float
    """Width of ``pixels`` over the width of the original; 1 when nothing was reduced."""
    name: str
    """File name, or 'photo' when it came as bytes."""
    taken_at: datetime | None
    """Local time of the exposure as the camera wrote it, without time zone."""
    format: str
    """JPEG, PNG, TIFF, WebP or HEIC."""
    profile: str
    """Name of the colour space that the file states; 'sRGB' when it states none."""


def open_photo(source: Path | bytes, *, longest_side_wanted: int = 2000) -> Photo:
    """Open a photo at the smallest scale that leaves its longest side at ``longest_side_wanted`` or more.

    Parameters
    ----------
    source : a file, or the bytes of one: JPEG, PNG, TIFF, WebP or HEIC, 8 or 16 bits a channel.
    longest_side_wanted : pixels that the job needs along the longest side.

    Returns
    -------
    Photo : upright, 16-bit pictures as uint16; but a 16-bit picture in another colour space than sRGB comes
        back as uint8, since the colour management library converts 8 bits only.

    Raises
    ------
    UnreadableFileError : missing, empty, damaged, cut short, not a picture, or without three colours.
    FileTooLargeError : more than 200 MB, more than 100 megapixels, or absurdly long and narrow.
    """
    name = source.name if isinstance(source, Path) else "photo"
    data = read_bytes(source) if isinstance(source, Path) else source
    try:
        return _open_bytes(data, name, longest_side_wanted)
    except StrandgaugeError as error:
        if error.where is None:
            error.photo = name
        raise


def read_bytes(path: Path) -> bytes:
    """Return the content of a file.

    Raises
    ------
    UnreadableFileError : it is missing, is no file, or may not be read.
    FileTooLargeError : it is larger than any photo.
    """
    return read_file(path, UnreadableFileError, "photo", MAX_FILE_BYTES, too_large=FileTooLargeError)


def _open_bytes(data: bytes, name: str, longest_side_wanted: int) -> Photo:
    if len(data) > MAX_FILE_BYTES:
        raise FileTooLargeError(fault="bytes", most_mb=MAX_FILE_BYTES / 1000000.0)
    if not data:
        raise UnreadableFileError(fault="empty")
    kind = recognise(data)
    header = read_header(data, kind)
    _check_dimensions(header.width, header.height)
    if header.refusal:
        raise UnreadableFileError(fault="unmeasured", why=header.refusal)
    factor = max(1, max(header.width, header.height) // max(1, longest_side_wanted))
    if kind is Format.HEIC:
        pixels = _decode_heic(header)
    else:
        pixels = decode_quietly(data, kind, jpeg_reduction=factor, alpha=header.alpha)
    pixels = _reduce(pixels, header, factor)
    if header.orientation in _TURNS:
        pixels = np.ascontiguousarray(_TURNS[header.orientation](pixels))
    pixels = to_srgb(pixels, header.icc)
    swapped = header.orientation >= 5
    full_size = (header.height, header.width) if swapped else (header.width, header.height)
    return Photo(
        pixels=pixels,
        full_size=full_size,
        scale=pixels.shape[1] / full_size[0],
        name=name,
        taken_at=header.taken_at,
        format=kind.value,
        profile=colour_space_name(header.icc),
    )


def _check_dimensions(width: int, height: int) -> None:
    if width < 1 or height < 1:
        raise UnreadableFileError(fault="no-pixels")
    if width * height > MAX_PIXELS:
        raise FileTooLargeError(
            fault="megapixels", megapixels=width * height / 1000000.0, width=width, height=height
        )
    if max(width, height) > MAX_ASPECT * min(width, height):
        raise FileTooLargeError(fault="narrow", width=width, height=height)


# --- pixels ---------------------------------------------------------------------------------------------


def _decode_heic(header: Header) -> Pixels:
    try:
        # The decoder shifts 10 and 12 bits up to fill 16.
        pixels: Pixels = np.asarray(header.heif)
    except Exception as error:  # libheif reports damage as several exception types
        raise UnreadableFileError(fault="damaged", kind=Format.HEIC.value) from error
    return opaque(pixels) if header.alpha else pixels


def _reduce(pixels: Pixels, header: Header, factor: int) -> Pixels:
    """Average blocks of ``factor`` pixels, unless the decoder has reduced the picture already."""
    if factor == 1 or pixels.shape[1] < header.width:
        return pixels
    size = (round(header.width / factor), round(header.height / factor))
    return cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)


_TURNS: dict[int, Callable[[Pixels], Pixels]] = {
    2: lambda pixels: pixels[:, ::-1],
    3: lambda pixels: pixels[::-1, ::-1],
    4: lambda pixels: pixels[::-1],
    5: lambda pixels: pixels.swapaxes(0, 1),
    6: lambda pixels: pixels.swapaxes(0, 1)[:, ::-1],
    7: lambda pixels: pixels.swapaxes(0, 1)[::-1, ::-1],
    8: lambda pixels: pixels.swapaxes(0, 1)[::-1],
}
"""How a picture is turned upright, by its EXIF orientation (CIPA DC-008, tag 274)."""
