"""The card as a picture whose every pixel is the sRGB of the card's CIELAB."""

from __future__ import annotations

import struct
from io import BytesIO
from pathlib import Path

import numpy as np
import reportlab
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont, PngImagePlugin
from PIL.Image import Image as Picture

from strandgauge.card.drawing import Area, Drawing, Polygon, Writing, draw_card
from strandgauge.card.model import CardDefinition
from strandgauge.colour.cielab import Lab
from strandgauge.colour.srgb import srgb_from_lab
from strandgauge.errors import CannotWriteError

DEFAULT_PIXELS_PER_MM = 20.0
"""At this scale every edge of the strand card falls between pixels."""
MAX_MEGAPIXELS = 200
FINER = 8
"""Slanting edges are painted this much finer and averaged."""


def font_file(*, bold: bool) -> Path:
    """Return the TrueType font that all text is set in; it comes with the PDF library."""
    return Path(reportlab.__file__).parent / "fonts" / ("VeraBd.ttf" if bold else "Vera.ttf")


def card_png(card: CardDefinition, pixels_per_mm: float = DEFAULT_PIXELS_PER_MM) -> NDArray[np.uint8]:
    """Return the card alone as a picture, without a margin.

    Each pixel is the sRGB of the definition's CIELAB for D65, a perfect white being 255: the paper, which is
    no perfect white, is darker than that. Upright boxes have hard edges, at the pixel edge nearest to theirs,
    so that patches are one value to their last pixel; text and slanting edges are smoothed.

    Returns
    -------
    (H, W, 3) array of R, G, B.

    Raises
    ------
    CannotWriteError
        The picture would have more than :data:`MAX_MEGAPIXELS` megapixels.
    """
    megapixels = card.size[0] * card.size[1] * pixels_per_mm**2 / 1e6
    if megapixels > MAX_MEGAPIXELS:
        raise CannotWriteError(
            fault="pixels", scale=pixels_per_mm, megapixels=megapixels, most=MAX_MEGAPIXELS
        )
    return np.array(_painted(draw_card(card), pixels_per_mm))


def card_png_bytes(card: CardDefinition, pixels_per_mm: float = DEFAULT_PIXELS_PER_MM) -> bytes:
    """Return :func:`card_png` as a PNG file that states its scale (pHYs) and that it is sRGB."""
    facts = PngImagePlugin.PngInfo()
    facts.add(b"sRGB", struct.pack("B", 1))  # rendering intent: relative colorimetric
    facts.add_text("Title", f"{card.name}, version {card.version}, {pixels_per_mm:g} pixels per mm")
    picture = Image.fromarray(card_png(card, pixels_per_mm))
    dpi = pixels_per_mm * 25.4
    file = BytesIO()
    picture.save(file, "PNG", pnginfo=facts, dpi=(dpi, dpi), optimize=True)
    return file.getvalue()


def _painted(drawing: Drawing, scale: float) -> Picture:
    width, height = (max(1, round(side * scale)) for side in drawing.size)
    picture = Image.new("RGB", (width, height), _eight_bit(drawing.paper))
    for shape in drawing.shapes:
        if isinstance(shape, Writing):
            _write(picture, shape, scale)
            continue
        colour = _eight_bit(shape.colour)
        slanting: list[Polygon] = []
        for polygon in shape.polygons:
            if upright := _upright_box(polygon):
                left, top, right, bottom = (max(0, round(edge * scale)) for edge in upright)
                picture.paste(colour, (left, top, max(right, left + 1), max(bottom, top + 1)))
            else:
                slanting.append(polygon)
        if slanting:
            _paint_slanting(picture, Area(tuple(slanting), shape.colour), scale)
    return picture


def _eight_bit(lab: Lab) -> tuple[int, int, int]:
    red, green, blue = np.round(srgb_from_lab(lab) * 255.0).astype(int).tolist()
    return red, green, blue


def _upright_box(polygon: Polygon) -> tuple[float, float, float, float] | None:
    """Return left, top, right and bottom of a polygon that is a box along the axes."""
    xs, ys = sorted({x for x, _ in polygon}), sorted({y for _, y in polygon})
    return (xs[0], ys[0], xs[1], ys[1]) if len(polygon) == 4 and len(xs) == len(ys) == 2 else None


def _paint_slanting(picture: Picture, area: Area, scale: float) -> None:
    points = np.vstack(area.polygons) * scale
    left, top = np.floor(points.min(axis=0)).astype(int).tolist()
    right, bottom = (np.ceil(points.max(axis=0)).astype(int) + 1).tolist()
    mask = Image.new("L", ((right - left) * FINER, (bottom - top) * FINER))
    pen = ImageDraw.Draw(mask)
    for polygon in area.polygons:
        corners = (np.array(polygon) * scale - (left, top)) * FINER - 0.5
        pen.polygon([(float(x), float(y)) for x, y in corners], fill=255)
    cover = mask.resize((right - left, bottom - top), Image.Resampling.BOX)
    picture.paste(_eight_bit(area.colour), (left, top, right, bottom), cover)


def _write(picture: Picture, writing: Writing, scale: float) -> None:
    text = writing.text
    font = ImageFont.truetype(
        font_file(bold=text.bold), text.size * scale, layout_engine=ImageFont.Layout.BASIC
    )
    anchor = {"left": "ls", "middle": "ms", "right": "rs"}[text.align]
    at = (text.at[0] * scale, text.at[1] * scale)
    ImageDraw.Draw(picture).text(at, text.text, fill=_eight_bit(writing.colour), font=font, anchor=anchor)
