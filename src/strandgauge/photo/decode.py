"""Decodes pixels, and takes a decoder's complaint for what it is: a damaged picture.

The decoders behind OpenCV fill what is missing with grey and say so only on the process's standard error. A
half-grey photo would be measured as if it were whole, so what they say is caught and read.
"""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Callable
from threading import Lock
from typing import TypeVar

import cv2
import numpy as np

from strandgauge.errors import UnreadableFileError
from strandgauge.photo.formats import Format, Pixels
from strandgauge.photo.scan import is_shifted

# The C library hands a photo's memory back to the system and fetches it anew page by page, some milliseconds a photo,
# until it has seen a block as large as this go, the largest that is decoded at full size. Nobody writes to it.
np.empty(9 << 20, np.uint8)

_T = TypeVar("_T")

_JPEG_REDUCTIONS = (
    (8, cv2.IMREAD_REDUCED_COLOR_8),
    (4, cv2.IMREAD_REDUCED_COLOR_4),
    (2, cv2.IMREAD_REDUCED_COLOR_2),
    (1, cv2.IMREAD_COLOR),
)
_STANDARD_ERROR = 2
_one_at_a_time = Lock()

_PADDED = re.compile(r"\D*(\d+) extraneous bytes? before marker 0xd9\s*")
_MOST_PADDING_BYTES = 16
"""Some phones pad a scan to a round length with bytes of one value; what damage leaves behind are blocks."""

_END_OF_IMAGE = b"\xff\xd9"
_SCAN = 0xDA
_FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
"""Markers of ITU-T T.81, table B.1."""


def decode_quietly(data: bytes, kind: Format, *, jpeg_reduction: int = 1, alpha: bool = False) -> Pixels:
    """Decode a picture to (H, W, 3) BGR, uint8 or uint16.

    Parameters
    ----------
    data : the whole file; not HEIC.
    kind : its format.
    jpeg_reduction : a JPEG is decoded at the largest of 1/1, 1/2, 1/4 and 1/8 not below 1 over this.
    alpha : whether the picture has an alpha channel, which must then be opaque throughout.

    Raises
    ------
    UnreadableFileError : the picture is damaged, cut short or partly transparent.
    """
    if kind is Format.JPEG:
        scan, unit = _jpeg_scan(data)
        if data.rfind(_END_OF_IMAGE, scan) < 0:  # what the decoder does without it depends on its version
            raise UnreadableFileError(fault="short", kind=kind.value)
        factor, flags = next(one for one in _JPEG_REDUCTIONS if one[0] <= jpeg_reduction)
    elif alpha:
        flags = cv2.IMREAD_UNCHANGED
    else:
        flags = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH
    if flags != cv2.IMREAD_UNCHANGED:  # which leaves orientation alone already
        flags |= cv2.IMREAD_IGNORE_ORIENTATION
    try:
        pixels, said = _listening(lambda: _imdecode(data, flags))
    except cv2.error as error:
        raise UnreadableFileError(fault="damaged", kind=kind.value) from error
    if pixels is None or _tells_of_damage(said, data):
        raise UnreadableFileError(fault="damaged", kind=kind.value)
    if kind is Format.JPEG and is_shifted(pixels, (unit[0] // factor, unit[1] // factor)):
        raise UnreadableFileError(fault="damaged", kind=kind.value)
    if pixels.dtype not in (np.uint8, np.uint16):
        raise UnreadableFileError(fault="float")
    return opaque(pixels) if pixels.ndim == 3 and pixels.shape[2] == 4 else pixels


def _imdecode(data: bytes, flags: int) -> Pixels | None:
    return cv2.imdecode(np.frombuffer(data, np.uint8), flags)


def opaque(pixels: Pixels) -> Pixels:
    """Drop the alpha channel of (H, W, 4) BGRA, refusing a picture that one can see through."""
    full = np.iinfo(pixels.dtype).max
    if int(pixels[..., 3].min()) < full:
        raise UnreadableFileError(fault="transparent")
    return cv2.cvtColor(pixels, cv2.COLOR_BGRA2BGR)


def _jpeg_scan(data: bytes) -> tuple[int, tuple[int, int]]:
    """Return where a JPEG's entropy-coded data begins, and width and height of its minimum coded unit (ITU-T T.81).

    Its segments are walked past any thumbnail in them.
    """
    at, unit = 2, (8, 8)
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == 0xFF:  # a fill byte
            at += 1
            continue
        if marker in _FRAMES:
            sampling = [0x11, *data[at + 11 : at + 2 + length : 3]]
            unit = (8 * max(one >> 4 for one in sampling), 8 * max(one & 15 for one in sampling))
        at += 2 + length
        if marker == _SCAN:
            break
    return at, unit


def _tells_of_damage(said: str, data: bytes) -> bool:
    """Tell whether what the decoder said of a file is more than harmless padding behind the pixels of a JPEG."""
    if not re.search(
        r"corrupt|premature|truncated|bad huffman|unsupported marker|error", said, re.IGNORECASE
    ):
        return False
    padding = _PADDED.fullmatch(said)
    count = int(padding[1]) if padding else 0
    end = data.find(_END_OF_IMAGE, _jpeg_scan(data)[0])
    return not 1 <= count <= _MOST_PADDING_BYTES or len(set(data[end - count : end])) != 1


def _listening(work: Callable[[], _T]) -> tuple[_T, str]:
    """Run ``work`` and return its result and what it wrote to the process's standard error.

    The decoders write to the file descriptor itself, so it is the descriptor that is turned aside, for the
    whole process and by one thread at a time. A process without standard error is left as it is.
    """
    with _one_at_a_time, tempfile.TemporaryFile() as sink:
        try:
            saved = os.dup(_STANDARD_ERROR)
        except OSError:
            return work(), ""
        try:
            os.dup2(sink.fileno(), _STANDARD_ERROR)
            result = work()
        finally:
            os.dup2(saved, _STANDARD_ERROR)
            os.close(saved)
        sink.seek(0)
        return result, sink.read(8192).decode("ascii", "replace")
