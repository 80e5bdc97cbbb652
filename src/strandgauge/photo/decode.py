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

_EXTRANEOUS = re.compile(r"(\d+) extraneous bytes? before marker")
_HARMLESS_PADDING_BYTES = 16
"""Some phones pad a scan to a round length; damage leaves more behind."""


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
    if kind is Format.JPEG and not _is_complete_jpeg(data):
        raise UnreadableFileError(fault="short", kind=kind.value)
    if kind is Format.JPEG:
        flags = next(flag for factor, flag in _JPEG_REDUCTIONS if factor <= jpeg_reduction)
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
    if pixels is None or _tells_of_damage(said):
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


def _is_complete_jpeg(data: bytes) -> bool:
    """Tell whether a JPEG's end is there; what the decoder does without it depends on its version."""
    return data.rfind(b"\xff\xd9", _jpeg_scan_start(data)) >= 0


def _jpeg_scan_start(data: bytes) -> int:
    """Return where a JPEG's entropy-coded data begins, past any thumbnail in its segments (ITU-T T.81)."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        if data[at + 1] == 0xFF:  # a fill byte
            at += 1
            continue
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        if data[at + 1] == 0xDA:
            return at + 2 + length
        at += 2 + length
    return at


def _tells_of_damage(said: str) -> bool:
    if not re.search(
        r"corrupt|premature|truncated|bad huffman|unsupported marker|error", said, re.IGNORECASE
    ):
        return False
    padding = [int(count) for count in _EXTRANEOUS.findall(said)]
    return not (len(padding) == said.count("\n") and max(padding) <= _HARMLESS_PADDING_BYTES)


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
