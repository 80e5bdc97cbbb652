"""The annotated picture of a reading: the card flat and in true colour, the strand's zones, and the result.

Made to be shown to a client and read on a phone: one column, large type, dark on light. The photo is
corrected to D65, so that the client sees the hair's colour and not the lamp's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.card.picture import font_file
from strandgauge.colour.cielab import srgb_from_lab
from strandgauge.files.write import write_whole
from strandgauge.light.region import correct_region
from strandgauge.light.tone import srgb_encode
from strandgauge.reading.model import Lab, Reading, ZoneReading
from strandgauge.words import reading as words
from strandgauge.words import said, say

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont

    from strandgauge.reading.pipeline import Measurement

Array = NDArray[np.float64]
Canvas = NDArray[np.uint8]

WIDTH = 1200
"""Pixels across; a phone shows it about a third as wide in points, so that 36 pixels make a line of text."""
MARGIN = 48
GAP = 28
SURROUND_MM = 4.0
"""How much of the table around the card is shown."""

PAPER = (252, 251, 249)
INK = (28, 27, 26)
QUIET = (98, 95, 92)
EDGE = (214, 210, 205)
ON_PHOTO_LIGHT = (255, 255, 255)
ON_PHOTO_DARK = (20, 20, 20)

TITLE, PHRASE, NAME, LINE, SMALL = 84, 40, 38, 32, 25
"""Sizes of type, pixels."""


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The flat card on the canvas: pixels, and the way there from millimetres."""

    pixels: Canvas
    to_pixels: Array
    """(2, 3) card millimetres (x, y, 1) to pixels of ``pixels``."""

    def place(self, points_mm: Array) -> Array:
        """Map (N, 2) card millimetres to (N, 2) pixels."""
        return np.asarray(np.c_[points_mm, np.ones(len(points_mm))] @ self.to_pixels.T)


def write_picture(path: Path, measurement: Measurement, reading: Reading | None = None) -> None:
    """Draw a measurement and write it as PNG or, by the file's ending, JPEG.

    Parameters
    ----------
    path : file to write.
    measurement : the photo and what was found in it.
    reading : the result to show, when it comes from several photos together; else the measurement's own.

    Raises
    ------
    CannotWriteError : the file cannot be written.
    """
    from PIL import ImageCms

    picture = draw_picture(measurement, reading or measurement.reading)
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    file = BytesIO()
    if path.suffix.lower() in (".jpg", ".jpeg"):
        picture.save(file, "JPEG", quality=92, subsampling=0, icc_profile=srgb)
    else:
        picture.save(file, "PNG", icc_profile=srgb)
    write_whole(path, file.getvalue())


def draw_picture(measurement: Measurement, reading: Reading) -> Image:
    """Return the annotated picture, sRGB."""
    from PIL import Image, ImageDraw

    sheet = _annotated_sheet(measurement)
    canvas = Image.new("RGB", (WIDTH, 4 * WIDTH), PAPER)
    pen = ImageDraw.Draw(canvas)
    at = _draw_headline(canvas, reading, MARGIN)
    canvas.paste(Image.fromarray(sheet.pixels), (MARGIN, at))
    _label_zones(pen, measurement, sheet, at)
    at += sheet.pixels.shape[0] + GAP
    at = _draw_zone_columns(canvas, reading, at) + GAP
    at = _draw_notes(pen, reading, at)
    at = _draw_footer(pen, measurement, reading, at)
    return canvas.crop((0, 0, WIDTH, at + MARGIN))


# --- the photo ------------------------------------------------------------------------------------------


def _annotated_sheet(measurement: Measurement) -> _Sheet:
    sheet = _flat_card(measurement)
    width, height = measurement.card.card.size
    corners = np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])
    _outline(sheet.pixels, sheet.place(corners), thickness=2)
    _outline_strand(sheet, measurement)
    for name in ("root", "mids", "ends"):
        zone = measurement.zones[name]
        _outline(sheet.pixels, sheet.place(zone.outline), thickness=2)
    return sheet


def _window_corners(measurement: Measurement) -> Array:
    window = measurement.card.card.window
    assert window is not None, "a strand was measured, so the card has a window"
    x, y, width, height = window.box
    return np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)])


def _flat_card(measurement: Measurement) -> _Sheet:
    """Return the card as if seen straight from above in D65, the strand's root end on the left."""
    found = measurement.card
    window = found.card.window
    assert window is not None, "a strand was measured, so the card has a window"
    width, height = found.card.size
    box = (-SURROUND_MM, -SURROUND_MM, width + 2 * SURROUND_MM, height + 2 * SURROUND_MM)
    along = box[2] if window.root_end in ("left", "right") else box[3]
    region = correct_region(
        found.photo.pixels, found.view, found.correction, box, window.root_end, (WIDTH - 2 * MARGIN) / along
    )
    encoded = srgb_encode(np.clip(region.linear, 0.0, 1.0))
    pixels = np.ascontiguousarray((255 * encoded + 0.5).astype(np.uint8))
    return _Sheet(pixels, np.asarray(cv2.invertAffineTransform(region.to_card), dtype=np.float64))


def _outline(pixels: Canvas, points: Array, *, thickness: int) -> None:
    """Draw a closed line that shows on light and on dark."""
    fine = 8  # cv2 takes fractions of a pixel as shifted integers: 3 bits
    polygon = [np.round(points * fine).astype(np.int32)]
    cv2.polylines(pixels, polygon, True, ON_PHOTO_LIGHT, thickness + 3, cv2.LINE_AA, 3)
    cv2.polylines(pixels, polygon, True, ON_PHOTO_DARK, thickness, cv2.LINE_AA, 3)


def _outline_strand(sheet: _Sheet, measurement: Measurement) -> None:
    hair = measurement.strand.hair.astype(np.uint8)
    contours, _ = cv2.findContours(hair, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    to_card = measurement.region.to_card
    for contour in contours:
        places = np.c_[contour.reshape(-1, 2), np.ones(len(contour))] @ to_card.T
        polygon = [np.round(8 * sheet.place(places)).astype(np.int32)]
        cv2.polylines(sheet.pixels, polygon, True, ON_PHOTO_LIGHT, 2, cv2.LINE_AA, 3)


def _label_zones(pen: ImageDraw, measurement: Measurement, sheet: _Sheet, top: int) -> None:
    """Write each zone's name on a light label, on the side of the strand where the window has more room."""
    font = _font(LINE, bold=True)
    names: tuple[Literal["root", "mids", "ends"], ...] = ("root", "mids", "ends")
    outlines = [sheet.place(measurement.zones[name].outline) for name in names]
    strand = np.vstack(outlines)[:, 1]
    window = sheet.place(_window_corners(measurement))[:, 1]
    above = strand.min() - window.min() >= window.max() - strand.max()
    for name, outline in zip(names, outlines, strict=True):
        text = words.zone_name(name).capitalize()
        half = font.getlength(text) / 2 + 16
        x = float(np.clip(outline[:, 0].mean() + MARGIN, MARGIN + half, WIDTH - MARGIN - half))
        y = top + (float(outline[:, 1].min()) - 40 if above else float(outline[:, 1].max()) + 40)
        pen.rounded_rectangle((x - half, y - 24, x + half, y + 24), 12, fill=PAPER, outline=EDGE, width=2)
        pen.text((x, y), text, font=font, fill=INK, anchor="mm")


# --- the words ------------------------------------------------------------------------------------------


def _draw_headline(canvas: Image, reading: Reading, top: int) -> int:
    """Draw the overall swatch and the answer beside it; return where the next thing may begin."""
    from PIL import ImageDraw

    pen = ImageDraw.Draw(canvas)
    side = 210
    _swatch(canvas, (MARGIN, top, MARGIN + side, top + side), reading.overall.lab)
    left = MARGIN + side + GAP
    first, *others = words.headline(reading)
    pen.text((left, top - 12), first, font=_font(TITLE, bold=True), fill=INK)
    at = top + TITLE + 10
    for line in _wrapped(" · ".join(others), _font(PHRASE), WIDTH - MARGIN - left, separator=" · "):
        pen.text((left, at), line, font=_font(PHRASE), fill=INK)
        at += round(1.3 * PHRASE)
    return max(at, top + side) + GAP


def _draw_zone_columns(canvas: Image, reading: Reading, top: int) -> int:
    """Draw the three zones side by side, in the order in which they lie on the strand."""
    from PIL import ImageDraw

    pen = ImageDraw.Draw(canvas)
    width = (WIDTH - 2 * MARGIN - 2 * GAP) // 3
    bottoms = []
    for column, zone in enumerate(reading.zones):
        left = MARGIN + column * (width + GAP)
        _swatch(canvas, (left, top, left + width, top + 150), zone.lab)
        at = top + 150 + 14
        pen.text((left, at), words.zone_name(zone.name).capitalize(), font=_font(NAME, bold=True), fill=INK)
        at += round(1.35 * NAME)
        for text, size, colour in _zone_lines(zone):
            # Shares are broken between levels, not between a level and its share.
            for line in _wrapped(text, _font(size), width, separator=", "):
                pen.text((left, at), line, font=_font(size), fill=colour)
                at += round(1.35 * size)
        bottoms.append(at)
    return max(bottoms)


def _zone_lines(zone: ZoneReading) -> list[tuple[str, int, tuple[int, int, int]]]:
    lines = [
        (say("reading.level", interval=words.level_interval(zone)), LINE, INK),
        (zone.undertone, LINE, INK),
        (f"Levels {words.shares(zone)}", SMALL, QUIET),
        ("L* {:.0f}  a* {:.0f}  b* {:.0f}".format(*zone.lab), SMALL, QUIET),
    ]
    if zone.stain is not None:
        lines.insert(2, (say("reading.stain", hue=zone.stain.hue), LINE, INK))
    return lines


def _draw_notes(pen: ImageDraw, reading: Reading, top: int) -> int:
    at = top
    font = _font(LINE)
    for note in reading.notes:
        pen.text((MARGIN, at), "!", font=_font(LINE, bold=True), fill=INK)
        for line in _wrapped(said(note), font, WIDTH - 2 * MARGIN - 36):
            pen.text((MARGIN + 36, at), line, font=font, fill=INK)
            at += round(1.35 * LINE)
        at += 10
    return at + (GAP if reading.notes else 0)


def _draw_footer(pen: ImageDraw, measurement: Measurement, reading: Reading, top: int) -> int:
    pen.line((MARGIN, top, WIDTH - MARGIN, top), fill=EDGE, width=2)
    at = top + 18
    taken_at = measurement.card.photo.taken_at
    taken = f", taken {taken_at:%d %B %Y, %H:%M}" if taken_at else ""
    wet = " Wet hair: the colour shown is the dry estimate." if reading.wet else ""
    texts = (
        f"{reading.photo}{taken}. Swatches: the hair in soft daylight (D65); ± is a 95 % interval.{wet}",
        words.caution(),
    )
    for text in texts:
        for line in _wrapped(text, _font(SMALL), WIDTH - 2 * MARGIN):
            pen.text((MARGIN, at), line, font=_font(SMALL), fill=QUIET)
            at += round(1.4 * SMALL)
        at += 8
    return at


def _swatch(canvas: Image, box: tuple[int, int, int, int], lab: Lab) -> None:
    from PIL import Image, ImageDraw

    red, green, blue = (round(255 * float(value)) for value in np.clip(srgb_from_lab(lab), 0.0, 1.0))
    left, top, right, bottom = box
    finer = 4  # drawn larger and averaged, for smooth corners
    width, height = finer * (right - left), finer * (bottom - top)
    for inset, colour in ((0, EDGE), (2 * finer, (red, green, blue))):
        mask = Image.new("L", (width, height))
        ImageDraw.Draw(mask).rounded_rectangle(
            (inset, inset, width - 1 - inset, height - 1 - inset), 16 * finer - inset, fill=255
        )
        canvas.paste(colour, box, mask.resize((right - left, bottom - top), Image.Resampling.BOX))


def _wrapped(text: str, font: FreeTypeFont, width: float, *, separator: str = " ") -> list[str]:
    """Break a text into lines no wider than ``width``, between words or, if those are long, phrases."""
    lines: list[str] = []
    for piece in text.split(separator):
        trial = f"{lines[-1]}{separator}{piece}" if lines else piece
        if font.getlength(trial) <= width:
            lines[-1:] = [trial]
        elif separator != " " and font.getlength(piece) > width:
            lines += _wrapped(piece, font, width)
        else:
            lines.append(piece)
    closing = "," if separator == ", " else ""
    return [line + closing for line in lines[:-1]] + lines[-1:]


@cache
def _font(size: int, *, bold: bool = False) -> FreeTypeFont:
    from PIL import ImageFont

    return ImageFont.truetype(font_file(bold=bold), size)
