"""Paints a card's drawing as a picture whose every pixel is the sRGB of the card's CIELAB."""

from __future__ import annotations

import struct
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strandgauge.card.drawing import Area, Drawing, Polygon, Writing
from strandgauge.colour.cielab import Lab
from strandgauge.colour.illuminant import colour_library

FINER = 8
"""Slanting edges are painted this much finer and averaged."""


def font_file(*, bold: bool) -> Path:
    """Return the TrueType font that all text is set in; it comes with the PDF library."""
    import reportlab

    return Path(reportlab.__file__).parent / "fonts" / ("VeraBd.ttf" if bold else "Vera.ttf")


@cache
def srgb(lab: Lab) -> tuple[float, float, float]:
    """Return sRGB (IEC 61966-2-1), 0 to 1 and clipped to it, of CIELAB for D65; perfect white is 1, 1, 1."""
    colour = colour_library()
    linear = colour.XYZ_to_sRGB(colour.Lab_to_XYZ(np.array(lab)), apply_cctf_encoding=False)
    red, green, blue = colour.models.eotf_inverse_sRGB(np.clip(linear, 0.0, 1.0))
    return float(red), float(green), float(blue)


def paint(drawing: Drawing, pixels_per_mm: float) -> NDArray[np.uint8]:
    """Paint a drawing.

    Parameters
    ----------
    drawing : the card's drawing.
    pixels_per_mm : scale. At 20 every edge of the strand card falls between pixels.

    Returns
    -------
    (H, W, 3) array of R, G, B. Upright boxes have hard edges, at the pixel edge nearest to theirs, so that
    patches are one value to their last pixel; text and slanting edges are smoothed.
    """
    width, height = (max(1, round(side * pixels_per_mm)) for side in drawing.size)
    canvas = np.empty((height, width, 3), dtype=np.uint8)
    canvas[:] = _eight_bit(drawing.paper)
    for shape in drawing.shapes:
        if isinstance(shape, Area):
            _paint_area(canvas, shape, pixels_per_mm)
        else:
            _paint_writing(canvas, shape, pixels_per_mm)
    return canvas


def _eight_bit(lab: Lab) -> NDArray[np.uint8]:
    return np.round(np.array(srgb(lab)) * 255.0).astype(np.uint8)


def _paint_area(canvas: NDArray[np.uint8], area: Area, scale: float) -> None:
    colour = _eight_bit(area.colour)
    slanting: list[Polygon] = []
    for polygon in area.polygons:
        if upright := _upright_box(polygon):
            left, top, right, bottom = (max(0, round(edge * scale)) for edge in upright)
            canvas[top : max(bottom, top + 1), left : max(right, left + 1)] = colour
        else:
            slanting.append(polygon)
    if slanting:
        _paint_slanting(canvas, slanting, colour, scale)


def _upright_box(polygon: Polygon) -> tuple[float, float, float, float] | None:
    """Return left, top, right and bottom of a polygon that is a box along the axes."""
    xs, ys = sorted({x for x, _ in polygon}), sorted({y for _, y in polygon})
    return (xs[0], ys[0], xs[1], ys[1]) if len(polygon) == 4 and len(xs) == len(ys) == 2 else None


def _paint_slanting(
    canvas: NDArray[np.uint8], polygons: list[Polygon], colour: NDArray[np.uint8], scale: float
) -> None:
    from PIL import Image, ImageDraw

    points = np.vstack(polygons) * scale
    left, top = np.maximum(np.floor(points.min(axis=0)).astype(int), 0)
    right, bottom = np.minimum(np.ceil(points.max(axis=0)).astype(int), canvas.shape[1::-1])
    if right <= left or bottom <= top:
        return
    mask = Image.new("L", ((right - left) * FINER, (bottom - top) * FINER))
    pen = ImageDraw.Draw(mask)
    for polygon in polygons:
        corners = (np.array(polygon) * scale - (left, top)) * FINER - 0.5
        pen.polygon([(float(x), float(y)) for x, y in corners], fill=255)
    cover = np.asarray(mask.resize((right - left, bottom - top), Image.Resampling.BOX))
    _blend(canvas[top:bottom, left:right], cover, colour)


def _paint_writing(canvas: NDArray[np.uint8], writing: Writing, scale: float) -> None:
    from PIL import Image, ImageDraw

    text = writing.text
    x, y = text.at[0] * scale, text.at[1] * scale
    anchor = {"left": "ls", "middle": "ms", "right": "rs"}[text.align]
    font = _font(text.bold, text.size * scale)
    pen = ImageDraw.Draw(Image.new("L", (1, 1)))
    box = pen.textbbox((x, y), text.text, font=font, anchor=anchor)
    left, top = max(int(box[0]) - 2, 0), max(int(box[1]) - 2, 0)
    right, bottom = min(int(box[2]) + 3, canvas.shape[1]), min(int(box[3]) + 3, canvas.shape[0])
    if right <= left or bottom <= top:
        return
    mask = Image.new("L", (right - left, bottom - top))
    ImageDraw.Draw(mask).text((x - left, y - top), text.text, fill=255, font=font, anchor=anchor)
    _blend(canvas[top:bottom, left:right], np.asarray(mask), _eight_bit(writing.colour))


def _font(bold: bool, size: float) -> Any:  # noqa: ANN401 - a font of Pillow, which is loaded when needed
    from PIL import ImageFont

    return ImageFont.truetype(font_file(bold=bold), size, layout_engine=ImageFont.Layout.BASIC)


def _blend(region: NDArray[np.uint8], cover: NDArray[np.uint8], colour: NDArray[np.uint8]) -> None:
    """Paint `colour` over a region as far as `cover`, 0 to 255, says."""
    share = cover[..., None].astype(np.float64) / 255.0
    region[:] = np.round(region * (1.0 - share) + colour * share).astype(np.uint8)


def png_bytes(pixels: NDArray[np.uint8], pixels_per_mm: float, title: str) -> bytes:
    """Return a PNG file of R, G, B pixels that states its scale (pHYs) and that it is sRGB."""
    from io import BytesIO

    from PIL import Image, PngImagePlugin

    extra = PngImagePlugin.PngInfo()
    extra.add(b"sRGB", struct.pack("B", 1))  # rendering intent: relative colorimetric
    extra.add_text("Title", title)
    file = BytesIO()
    dpi = pixels_per_mm * 25.4
    Image.fromarray(pixels).save(file, "PNG", pnginfo=extra, dpi=(dpi, dpi), optimize=True)
    return file.getvalue()
