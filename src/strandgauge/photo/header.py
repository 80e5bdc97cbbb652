"""Reads what a picture's header says, with nothing decoded: size, orientation, colour space, time."""

from __future__ import annotations

import io
import logging
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from strandgauge.errors import FileTooLargeError, StrandgaugeError, UnreadableFileError
from strandgauge.photo.colourspace import display_p3_profile
from strandgauge.photo.formats import Format, png_chunks

if TYPE_CHECKING:
    from PIL.Image import Exif
    from pillow_heif import HeifImage

_EXIF_ORIENTATION = 0x0112
_EXIF_SUBFOLDER = 0x8769
_EXIF_TAKEN_AT = 0x9003
_ANIMATION = "animation"
_TIFF_RAW_TAGS = (50706, 33421)
"""DNG version and colour filter array: marks of a camera raw file in TIFF clothes."""


@dataclass(frozen=True, slots=True)
class Header:
    """What is known of a picture before it is decoded."""

    width: int
    height: int
    orientation: int = 1
    """EXIF orientation still to be applied after decoding."""
    icc: bytes | None = None
    taken_at: datetime | None = None
    alpha: bool = False
    refusal: str | None = None
    """Why this picture cannot be measured, if so."""
    heif: HeifImage | None = None
    """The opened HEIF image, not yet decoded."""


# Pillow logs what it finds damaged, and an unheard log record ends up on standard error.
logging.getLogger("PIL").addHandler(logging.NullHandler())


def read_header(data: bytes, kind: Format) -> Header:
    """Read size, orientation, colour space and time, with nothing decoded."""
    try:
        with warnings.catch_warnings():
            # Pillow warns of damaged metadata, which may be missing here.
            warnings.simplefilter("ignore")
            return _HEADER_READERS[kind](data)
    except StrandgaugeError:
        raise
    except Exception as error:  # foreign bytes can make the parsers below raise nearly anything
        from PIL.Image import DecompressionBombError

        if isinstance(error, DecompressionBombError):
            raise FileTooLargeError(fault="claims") from error
        raise UnreadableFileError(fault="header", kind=kind.value) from error


def _jpeg_header(data: bytes) -> Header:
    from PIL.JpegImagePlugin import JpegImageFile

    picture = JpegImageFile(io.BytesIO(data))
    refusal = _mode_refusal(picture.mode)
    return Header(
        *picture.size,
        refusal=refusal,
        **_metadata(_exif(picture.info.get("exif")), picture.info.get("icc_profile")),
    )


def _png_header(data: bytes) -> Header:
    from PIL.PngImagePlugin import PngImageFile

    chunks = png_chunks(data)
    picture = PngImageFile(io.BytesIO(data))
    alpha = picture.mode == "RGBA" or "transparency" in picture.info
    refusal = _ANIMATION if chunks.animated else _mode_refusal(picture.mode)
    # The library's own getexif would decode the whole picture to look behind the pixels.
    metadata = _metadata(_exif(chunks.exif), picture.info.get("icc_profile"))
    return Header(*picture.size, alpha=alpha, refusal=refusal, **metadata)


def _tiff_header(data: bytes) -> Header:
    from PIL.TiffImagePlugin import TiffImageFile

    picture = TiffImageFile(io.BytesIO(data))
    tags = picture.tag_v2
    refusal = _mode_refusal(picture.mode)
    if any(tag in tags for tag in _TIFF_RAW_TAGS):
        refusal = "raw"
    # The decoder turns TIFF pictures upright by itself, and gives back the upright size.
    metadata = _metadata(picture.getexif(), picture.info.get("icc_profile"))
    width, height = picture.size
    stored = (int(tags[256]), int(tags[257]))
    if metadata.pop("orientation") >= 5 and (width, height) == stored:
        width, height = height, width
    return Header(width, height, alpha="A" in picture.mode, refusal=refusal, **metadata)


def _webp_header(data: bytes) -> Header:
    from PIL.WebPImagePlugin import WebPImageFile

    if 8 + int.from_bytes(data[4:8], "little") > len(data):  # the length it claims (RFC 9649)
        raise UnreadableFileError(fault="short", kind=Format.WEBP.value)
    picture = WebPImageFile(io.BytesIO(data))
    refusal = _ANIMATION if picture.is_animated else None
    metadata = _metadata(_exif(picture.info.get("exif")), picture.info.get("icc_profile"))
    return Header(*picture.size, alpha=picture.mode == "RGBA", refusal=refusal, **metadata)


def _heic_header(data: bytes) -> Header:
    import pillow_heif

    # High-bit pictures stay 16 bits wide. Turns and mirrors written in the HEIF boxes are applied by the
    # decoder, and the standard (ISO/IEC 23008-12) lets them alone count, not the EXIF orientation.
    container = pillow_heif.open_heif(data, convert_hdr_to_8bit=False, bgr_mode=True)
    picture = container[container.primary_index]
    facts: dict[str, Any] = dict(picture.info)
    refusal = None
    nclx = facts.get("nclx_profile") or {}
    if picture.mode.split(";")[0] not in ("BGR", "BGRA", "BGRa"):
        refusal = _mode_refusal("L")
    elif nclx.get("transfer_characteristics") in (16, 18):
        refusal = "hdr"
    metadata = _metadata(_exif(facts.get("exif")), facts.get("icc_profile"))
    metadata["orientation"] = 1
    if not metadata["icc"] and nclx.get("color_primaries") == 12:
        metadata["icc"] = display_p3_profile()
    return Header(*picture.size, alpha="A" in picture.mode.upper(), refusal=refusal, heif=picture, **metadata)


_HEADER_READERS: dict[Format, Callable[[bytes], Header]] = {
    Format.JPEG: _jpeg_header,
    Format.PNG: _png_header,
    Format.TIFF: _tiff_header,
    Format.WEBP: _webp_header,
    Format.HEIC: _heic_header,
}


def _exif(block: bytes | None) -> Exif:
    """Parse an EXIF block; a damaged or missing one is empty."""
    from PIL.Image import Exif

    exif = Exif()
    try:
        exif.load(block or b"")
    except Exception:  # as in _metadata
        return Exif()
    return exif


def _metadata(exif: Exif, icc: bytes | None) -> dict[str, Any]:
    """Return orientation, profile and time; damaged metadata is left out."""
    orientation, taken_at = 1, None
    try:
        stated = exif.get(_EXIF_ORIENTATION)
        orientation = stated if isinstance(stated, int) and 1 <= stated <= 8 else 1
        stamp = exif.get_ifd(_EXIF_SUBFOLDER).get(_EXIF_TAKEN_AT)
        taken_at = datetime.strptime(stamp, "%Y:%m:%d %H:%M:%S") if isinstance(stamp, str) else None
    except Exception:  # EXIF is a free-form tree of offsets; a bad one ends in any of a dozen exceptions
        taken_at = None
    return {"orientation": orientation, "icc": icc or None, "taken_at": taken_at}


def _mode_refusal(mode: str) -> str | None:
    """Tell why a picture of this Pillow mode cannot be measured, a code of ``[unmeasured]``, or None if it can."""
    if mode in ("RGB", "RGBA", "RGBX", "YCbCr"):
        return None
    if mode in ("1", "L", "LA", "La", "I", "F") or mode.startswith("I;16"):
        return "grey"
    if mode == "CMYK":
        return "inks"
    if mode in ("P", "PA"):
        return "palette"
    return "space"
