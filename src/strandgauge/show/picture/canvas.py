"""What the pictures share: neutral grey ground, one type, colour fields, and the way into a file.

Made for a phone's screen and for paper: one column, 1200 pixels wide, dark type. The ground is a neutral grey,
because what surrounds a colour changes how it looks.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import ImageCms, ImageDraw, ImageFont
from PIL.Image import Image, new
from PIL.ImageFont import FreeTypeFont

from strandgauge.colour.cielab import Lab
from strandgauge.colour.srgb import srgb_from_lab
from strandgauge.files.write import write_whole

Colour = tuple[int, int, int]

WIDTH = 1200
"""Pixels across; a phone shows it about a third as wide in points, so that 36 pixels make a line of text."""
MARGIN, GAP = 48, 28
GROUND, INK, QUIET, EDGE = (200, 200, 200), (24, 24, 24), (66, 66, 66), (150, 150, 150)
TITLE, PHRASE, NAME, LINE, SMALL = 96, 42, 38, 32, 26
"""Sizes of type, pixels."""
LEADING = 1.3


class Canvas:
    """A picture that grows downward as it is written on."""

    def __init__(self) -> None:
        self.image: Image = new("RGB", (WIDTH, 4 * WIDTH), GROUND)
        self.pen = ImageDraw.Draw(self.image)

    def write(
        self,
        at: tuple[float, float],
        text: str,
        size: int,
        *,
        bold: bool = False,
        colour: Colour = INK,
        width: float | None = None,
    ) -> int:
        """Write a text from its top left corner, broken to a width; return where the next line begins."""
        x, y = at
        letters = font(size, bold=bold)
        for line in wrapped(text, letters, WIDTH - MARGIN - x if width is None else width):
            self.pen.text((x, y), line, font=letters, fill=colour)
            y += round(LEADING * size)
        return round(y)

    def field(self, box: tuple[int, int, int, int], lab: Lab, words: str = "", size: int = SMALL) -> None:
        """Fill a box (left, top, right, bottom) with a colour, with words in it at its foot."""
        left, top, right, bottom = box
        self.pen.rectangle((left, top, right - 1, bottom - 1), fill=rgb(lab))
        lines = wrapped(words, font(size), right - left - 24) if words else []
        for row, line in enumerate(reversed(lines), start=1):
            y = bottom - 8 - row * round(LEADING * size)
            self.pen.text((left + 12, y), line, font=font(size), fill=ink_on(lab))

    def foot(self, at: int, texts: Iterable[str]) -> Image:
        """Write small texts below a rule, and return the picture down to there."""
        self.pen.line((MARGIN, at, WIDTH - MARGIN, at), fill=EDGE, width=2)
        at += 14
        for text in texts:
            at = self.write((MARGIN, at), text, SMALL, colour=QUIET) + 6
        return self.image.crop((0, 0, WIDTH, at + MARGIN // 2))


def save(path: Path, picture: Image) -> None:
    """Write a picture as PNG or, by the file's ending, JPEG, with the profile of sRGB.

    Raises
    ------
    CannotWriteError : the file cannot be written.
    """
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    file = BytesIO()
    if path.suffix.lower() in (".jpg", ".jpeg"):
        picture.save(file, "JPEG", quality=92, subsampling=0, icc_profile=srgb)
    else:
        picture.save(file, "PNG", icc_profile=srgb)
    write_whole(path, file.getvalue())


def wrapped(text: str, letters: FreeTypeFont, width: float) -> list[str]:
    """Break a text between its words into lines no wider than ``width``."""
    lines: list[str] = []
    for word in text.split(" "):
        if lines and letters.getlength(f"{lines[-1]} {word}") <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def rgb(lab: Lab) -> Colour:
    """Return the sRGB, 0 to 255, of a colour; what lies outside is clipped."""
    red, green, blue = (round(255 * float(value)) for value in np.clip(srgb_from_lab(lab), 0.0, 1.0))
    return red, green, blue


def ink_on(lab: Lab) -> Colour:
    """Return the colour of writing that shows on a field."""
    return INK if lab[0] > 55.0 else (255, 255, 255)


@cache
def font(size: int, *, bold: bool = False) -> FreeTypeFont:
    """Return the letters that come with the pages."""
    from strandgauge.show.pages.render import FOLDER

    letters = ImageFont.truetype(FOLDER / "fonts" / "letters.woff2", size)
    letters.set_variation_by_axes([700 if bold else 400])
    return letters
