"""The picture of an outlook: base, result and wish of each zone as large fields; the strip by level; words.

One column, large type: made for a phone's screen, and for paper.
"""

from __future__ import annotations

from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from strandgauge.card.picture import font_file
from strandgauge.colour.cielab import srgb_from_lab
from strandgauge.colour.names import colour_word
from strandgauge.files.write import write_whole
from strandgauge.judge.outlook import Outlook, ZoneOutlook
from strandgauge.reading.model import Lab
from strandgauge.show.terminal.outlook import (
    chance_line,
    formula_text,
    mix_line,
    needs_line,
    verdict_headline,
)

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont

WIDTH, MARGIN, GAP = 1200, 48, 24
PAPER, INK, QUIET, EDGE = (252, 251, 249), (28, 27, 26), (98, 95, 92), (214, 210, 205)
TITLES = (64, 56, 48)
NAME, LINE, SMALL = 40, 32, 26


def write_outlook_picture(path: Path, outlook: Outlook) -> None:
    """Draw an outlook and write it as PNG or, by the file's ending, JPEG.

    Raises
    ------
    CannotWriteError : the file cannot be written.
    """
    picture, file = draw_outlook(outlook), BytesIO()
    if path.suffix.lower() in (".jpg", ".jpeg"):
        picture.save(file, "JPEG", quality=92, subsampling=0)
    else:
        picture.save(file, "PNG")
    write_whole(path, file.getvalue())


def draw_outlook(outlook: Outlook) -> Image:
    """Return the picture, sRGB."""
    from PIL import Image, ImageDraw

    canvas = Image.new("RGB", (WIDTH, 6 * WIDTH), PAPER)
    pen = ImageDraw.Draw(canvas)
    headline, room = verdict_headline(outlook), WIDTH - 2 * MARGIN
    # The largest of three sizes at which the verdict takes no more than two lines.
    size = next((s for s in TITLES if len(_lines(headline, _font(s, bold=True), room)) <= 2), TITLES[-1])
    at = _write(pen, MARGIN, headline, size, bold=True)
    at = _write(pen, at, chance_line(outlook), NAME) + GAP
    for zone in outlook.zones:
        at = _zone(pen, zone, outlook.target.lab, at) + GAP
    at = _strip(pen, outlook, at) + GAP
    if outlook.verdict != "true" and outlook.instead:
        at = _instead(pen, outlook, at) + GAP
    pen.line((MARGIN, at, WIDTH - MARGIN, at), fill=EDGE, width=2)
    at += 14
    for caution in outlook.cautions:
        at = _write(pen, at, caution, SMALL, colour=QUIET) + 8
    return canvas.crop((0, 0, WIDTH, at + MARGIN))


def _zone(pen: ImageDraw, zone: ZoneOutlook, wanted: Lab, top: int) -> int:
    at = _write(pen, top, f"{zone.name.capitalize()}: {zone.saying}", NAME, bold=True) + 6
    fields = (("now", zone.base_lab), ("result", zone.predicted_lab), ("wish", wanted))
    width = (WIDTH - 2 * MARGIN) // 3
    for place, (label, lab) in enumerate(fields):
        left = MARGIN + place * width  # the fields touch: differences show at an edge
        pen.rectangle((left, at, left + width - 1, at + 190), fill=_rgb(lab))
        pen.text((left + 16, at + 142), f"{label}: {colour_word(lab)}", font=_font(SMALL), fill=_on(lab))
    at += 202
    if zone.pretone is not None:
        at = _write(pen, at, f"First: {formula_text(zone.pretone.formula)}; rinse, dry, then:", LINE)
    at = _write(pen, at, f"Mix: {mix_line(zone)}", LINE)
    return _write(
        pen,
        at,
        f"Colour difference {zone.delta_e00:.1f}, chance {100 * zone.probability_true:.0f} %",
        SMALL,
        colour=QUIET,
    )


def _strip(pen: ImageDraw, outlook: Outlook, top: int) -> int:
    at = _write(pen, top, f"{needs_line(outlook)} The best at each level:", LINE) + 6
    width = (WIDTH - 2 * MARGIN) // len(outlook.strip)
    for place, step in enumerate(outlook.strip):
        left = MARGIN + place * width
        pen.rectangle((left, at, left + width - 1, at + 150), fill=_rgb(step.predicted_lab))
        pen.text(
            (left + 12, at + 8),
            f"{step.level:.0f}",
            font=_font(NAME, bold=True),
            fill=_on(step.predicted_lab),
        )
        pen.text(
            (left + 12, at + 108),
            f"off by {step.delta_e00:.1f}",
            font=_font(SMALL),
            fill=_on(step.predicted_lab),
        )
        if round(outlook.base_level) == step.level:
            pen.rectangle((left + 2, at + 2, left + width - 3, at + 148), outline=INK, width=6)
            pen.text((left + 12, at + 158), "this hair", font=_font(SMALL, bold=True), fill=INK)
    return at + 196


def _instead(pen: ImageDraw, outlook: Outlook, top: int) -> int:
    at = _write(pen, top, "Reads true today instead:", LINE) + 6
    width = (WIDTH - 2 * MARGIN) // len(outlook.instead)
    for place, one in enumerate(outlook.instead):
        left = MARGIN + place * width
        pen.rectangle((left, at, left + width - 1, at + 110), fill=_rgb(one.predicted_lab))
        for row, line in enumerate(_lines(one.name, _font(SMALL), width - 20)):
            pen.text((left + 12, at + 10 + 32 * row), line, font=_font(SMALL), fill=_on(one.predicted_lab))
    return at + 120


def _write(
    pen: ImageDraw, at: int, text: str, size: int, *, bold: bool = False, colour: tuple[int, int, int] = INK
) -> int:
    for line in _lines(text, _font(size, bold=bold), WIDTH - 2 * MARGIN):
        pen.text((MARGIN, at), line, font=_font(size, bold=bold), fill=colour)
        at += round(1.35 * size)
    return at


def _lines(text: str, font: FreeTypeFont, width: float) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if lines and font.getlength(f"{lines[-1]} {word}") <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _rgb(lab: Lab) -> tuple[int, int, int]:
    red, green, blue = (round(255 * float(value)) for value in np.clip(srgb_from_lab(lab), 0.0, 1.0))
    return red, green, blue


def _on(lab: Lab) -> tuple[int, int, int]:
    """Return the colour of writing that shows on a field."""
    return INK if lab[0] > 55.0 else PAPER


@cache
def _font(size: int, *, bold: bool = False) -> FreeTypeFont:
    from PIL import ImageFont

    return ImageFont.truetype(font_file(bold=bold), size)
