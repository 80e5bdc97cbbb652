"""The technical picture of a reading: the card flat and in true colour, what was measured on it, and all numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array
from strandgauge.colour.srgb import srgb_encode
from strandgauge.light.region import correct_region
from strandgauge.reading.model import Reading, ZoneReading
from strandgauge.show.picture.canvas import (
    EDGE,
    GAP,
    GROUND,
    INK,
    LINE,
    MARGIN,
    NAME,
    PHRASE,
    QUIET,
    SMALL,
    WIDTH,
    Canvas,
    font,
)
from strandgauge.words import reading as words
from strandgauge.words import said, say

if TYPE_CHECKING:
    from PIL.Image import Image

    from strandgauge.reading.pipeline import Measurement


SURROUND_MM = 4.0
"""How much of the table around the card is shown."""
_LIGHT, _DARK = (255, 255, 255), (20, 20, 20)
_SWATCH = 150


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The flat card: pixels, and the way there from millimetres."""

    pixels: NDArray[np.uint8]
    to_pixels: Array
    """(2, 3) card millimetres (x, y, 1) to pixels of ``pixels``."""

    def place(self, points_mm: Array) -> Array:
        """Map (N, 2) card millimetres to (N, 2) pixels."""
        return np.asarray(np.c_[points_mm, np.ones(len(points_mm))] @ self.to_pixels.T)


def draw_technical(measurement: Measurement, reading: Reading) -> Image:
    """Return the picture, sRGB."""
    from PIL import Image

    canvas = Canvas()
    at = canvas.write((MARGIN, MARGIN), " · ".join(words.headline(reading)), PHRASE, bold=True) + GAP // 2
    sheet = _annotated_sheet(measurement)
    canvas.image.paste(Image.fromarray(sheet.pixels), (MARGIN, at))
    _label_zones(canvas, measurement, sheet, at)
    at = _zone_columns(canvas, reading, at + sheet.pixels.shape[0] + GAP) + GAP
    for note in reading.notes:
        at = canvas.write((MARGIN, at), f"! {said(note)}", LINE) + 10
    return canvas.down_to(_footer(canvas, measurement, reading, at) + MARGIN // 2)


def _annotated_sheet(measurement: Measurement) -> _Sheet:
    sheet = _flat_card(measurement)
    width, height = measurement.card.card.size
    corners = np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])
    _outline(sheet, corners)
    contours, _ = cv2.findContours(
        measurement.strand.hair.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    for contour in contours:
        places = np.c_[contour.reshape(-1, 2), np.ones(len(contour))] @ measurement.region.to_card.T
        _outline(sheet, places, dark=False)
    for name in ("root", "mids", "ends"):
        _outline(sheet, measurement.zones[name].outline)
    return sheet


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


def _outline(sheet: _Sheet, points_mm: Array, *, dark: bool = True) -> None:
    """Draw a closed line that shows on light and on dark, or a light one."""
    # cv2 takes fractions of a pixel as shifted integers: 3 bits.
    polygon = [np.round(8 * sheet.place(points_mm)).astype(np.int32)]
    cv2.polylines(sheet.pixels, polygon, True, _LIGHT, 5 if dark else 2, cv2.LINE_AA, 3)
    if dark:
        cv2.polylines(sheet.pixels, polygon, True, _DARK, 2, cv2.LINE_AA, 3)


def _label_zones(canvas: Canvas, measurement: Measurement, sheet: _Sheet, top: int) -> None:
    """Write each zone's name on a label, on the side of the strand where the window has more room."""
    letters = font(LINE, bold=True)
    outlines = {
        name: sheet.place(zone.outline) for name, zone in measurement.zones.items() if name != "overall"
    }
    window = measurement.card.card.window
    assert window is not None, "a strand was measured, so the card has a window"
    x, y, width, height = window.box
    corners = sheet.place(np.array([(x, y), (x + width, y + height)]))[:, 1]
    strand = np.vstack(list(outlines.values()))[:, 1]
    above = strand.min() - corners.min() >= corners.max() - strand.max()
    for name, outline in outlines.items():
        text = words.zone_name(name).capitalize()
        half = letters.getlength(text) / 2 + 16
        x = float(np.clip(outline[:, 0].mean() + MARGIN, MARGIN + half, WIDTH - MARGIN - half))
        y = top + (float(outline[:, 1].min()) - 40 if above else float(outline[:, 1].max()) + 40)
        canvas.pen.rounded_rectangle(
            (x - half, y - 24, x + half, y + 24), 12, fill=GROUND, outline=EDGE, width=2
        )
        canvas.pen.text((x, y), text, font=letters, fill=INK, anchor="mm")


def _zone_columns(canvas: Canvas, reading: Reading, top: int) -> int:
    """Draw the three zones and the whole side by side, in the order in which they lie on the strand."""
    columns = (*reading.zones, reading.overall)
    width = (WIDTH - 2 * MARGIN - (len(columns) - 1) * GAP) // len(columns)
    bottoms = []
    for place, zone in enumerate(columns):
        left = MARGIN + place * (width + GAP)
        canvas.field((left, top, left + width, top + _SWATCH), zone.lab)
        at = top + _SWATCH + 14
        for text, size, bold in _zone_lines(zone):
            at = canvas.write(
                (left, at), text, size, bold=bold, width=width, colour=INK if size > SMALL else QUIET
            )
        bottoms.append(at)
    return max(bottoms)


def _zone_lines(zone: ZoneReading) -> list[tuple[str, int, bool]]:
    stain = [(say("reading.stain", hue=zone.stain.hue), LINE, False)] if zone.stain is not None else []
    return [
        (words.zone_name(zone.name).capitalize(), NAME, True),
        (words.level_interval(zone), LINE, False),
        (zone.undertone, LINE, False),
        *stain,
        # Broken between levels, not between a level and its share.
        (words.shares(zone).replace(": ", ":\u00a0").replace(" %", "\u00a0%"), SMALL, False),
        ("L* {:.1f} a* {:.1f} b* {:.1f}".format(*zone.lab).replace("* ", "*\u00a0"), SMALL, False),
    ]


def _footer(canvas: Canvas, measurement: Measurement, reading: Reading, at: int) -> int:
    canvas.pen.line((MARGIN, at, WIDTH - MARGIN, at), fill=EDGE, width=2)
    at += 14
    taken = measurement.card.photo.taken_at
    fit = reading.card_fit
    texts = [
        f"{reading.photo}{f', {taken:%d %B %Y, %H:%M}' if taken else ''}.",
        say(
            "picture.technical",
            card=reading.card,
            ladder=reading.ladder,
            fit=fit.delta_e00_median,
            uneven=fit.light_unevenness_percent,
        ),
        words.caution(),
    ]
    for text in texts:
        at = canvas.write((MARGIN, at), text, SMALL, colour=QUIET) + 6
    return at
