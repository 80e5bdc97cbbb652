"""The technical picture of a reading: the card flat and in true colour, what was measured on it, and all numbers."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL.Image import Image, fromarray

from strandgauge.colour.arrays import Array
from strandgauge.colour.picture import srgb_of_picture
from strandgauge.light.region import Region, correct_region
from strandgauge.reading.model import Reading
from strandgauge.reading.pipeline import CardReading, Measurement
from strandgauge.show.picture.canvas import (
    GAP,
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
from strandgauge.words import said, say, sentence
from strandgauge.words.reading import ZoneInWords

SURROUND_MM = 4.0
"""How much of the table around the card is shown."""
_LIGHT, _DARK = (255, 255, 255), (20, 20, 20)
_SWATCH = 150


def draw_technical(measurement: Measurement, reading: Reading) -> Image:
    """Return the picture, sRGB."""
    canvas = Canvas()
    at = canvas.write((MARGIN, MARGIN), " · ".join(words.headline(reading)), PHRASE, bold=True) + GAP // 2
    region = flat_card(measurement.card)
    pixels = srgb_of_picture(region.linear)
    to_pixels = np.asarray(cv2.invertAffineTransform(region.to_card), dtype=np.float64)
    outlines = {name: zone.outline for name, zone in measurement.zones.items() if name != "overall"}
    hair = measurement.strand.hair.astype(np.uint8)
    for contour in cv2.findContours(hair, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0]:
        places = np.c_[contour.reshape(-1, 2), np.ones(len(contour))] @ measurement.region.to_card.T
        _outline(pixels, placed(places, to_pixels), dark=False)
    for outline in outlines.values():
        _outline(pixels, placed(outline, to_pixels))
    canvas.image.paste(fromarray(pixels), (MARGIN, at))
    for name, outline in outlines.items():
        middle, bottom = placed(outline, to_pixels).mean(axis=0)[0], placed(outline, to_pixels)[:, 1].max()
        label, letters = sentence(words.zone_name(name)), font(LINE, bold=True)
        place = (MARGIN + middle, at + bottom + 24)
        canvas.pen.text(
            place, label, font=letters, fill=_DARK, anchor="mm", stroke_width=6, stroke_fill=_LIGHT
        )
    at = _zone_columns(canvas, reading, at + pixels.shape[0] + GAP) + GAP
    for note in reading.notes:
        at = canvas.write((MARGIN, at), f"! {said(note)}", LINE) + 10
    fit = reading.card_fit
    told = say(
        "picture.technical",
        card=reading.card,
        ladder=reading.ladder,
        fit=fit.delta_e00_median,
        uneven=fit.light_unevenness_percent,
    )
    about = words.photo_line(reading, measurement.card.photo.taken_at)
    return canvas.foot(at, [about, told, words.caution()])


def flat_card(found: CardReading) -> Region:
    """Return the card as seen straight from above in D65, as wide as the picture, a strand's root end on the left."""
    width, height = found.card.size
    root_end = found.card.window.root_end if found.card.window is not None else "left"
    box = (-SURROUND_MM, -SURROUND_MM, width + 2 * SURROUND_MM, height + 2 * SURROUND_MM)
    scale = (WIDTH - 2 * MARGIN) / (box[2] if root_end in ("left", "right") else box[3])
    return correct_region(found.photo.pixels, found.view, found.correction, box, root_end, scale)


def placed(points_mm: Array, to_pixels: Array) -> Array:
    """Map (N, 2) card millimetres to (N, 2) pixels."""
    return np.asarray(np.c_[points_mm, np.ones(len(points_mm))] @ to_pixels.T)


def _outline(pixels: NDArray[np.uint8], points: Array, *, dark: bool = True) -> None:
    """Draw a closed line that shows on light and on dark, or a light one."""
    # cv2 takes fractions of a pixel as shifted integers: 3 bits.
    polygon = [np.round(8 * points).astype(np.int32)]
    cv2.polylines(pixels, polygon, True, _LIGHT, 5 if dark else 2, cv2.LINE_AA, 3)
    if dark:
        cv2.polylines(pixels, polygon, True, _DARK, 2, cv2.LINE_AA, 3)


def _zone_columns(canvas: Canvas, reading: Reading, top: int) -> int:
    """Draw the three zones and the whole side by side, in the order in which they lie on the strand."""
    columns = words.zones(reading)
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


def _zone_lines(zone: ZoneInWords) -> list[tuple[str, int, bool]]:
    lightness, a, b, *_ = zone.numbers
    return [
        (sentence(zone.name), NAME, True),
        *((text, LINE, False) for text in zone.lines),
        # Broken between levels, not between a level and its share.
        (zone.shares.replace(": ", ":\u00a0").replace(" %", "\u00a0%"), SMALL, False),
        (f"L*\u00a0{lightness} a*\u00a0{a} b*\u00a0{b}", SMALL, False),
    ]
