"""The picture of a reading to show a client: the strand large, its zones' levels on the ladder, the wish beside it.

The strand is shown in the colours that were read: in soft daylight and, where it was wet, as it will be dry.
"""

from __future__ import annotations

from PIL.Image import Image

from strandgauge.colour.cielab import Lab
from strandgauge.dye.targets import Target
from strandgauge.hair.levels import Ladder, load_ladder
from strandgauge.reading.model import COVERAGE, Reading
from strandgauge.reading.pipeline import Measurement
from strandgauge.show.picture.canvas import (
    EDGE,
    GAP,
    INK,
    LINE,
    MARGIN,
    NAME,
    PHRASE,
    QUIET,
    SMALL,
    TITLE,
    WIDTH,
    Canvas,
    font,
    ink_on,
    rgb,
)
from strandgauge.show.picture.upright import upright
from strandgauge.words import reading as words
from strandgauge.words import say, sentence
from strandgauge.words.reading import ZoneInWords

STRAND = (1400, 420)
"""Greatest height and width of the strand, pixels."""
_WISH = 130
_BAR, _COLUMN = 110, 92
"""Widths of the ladder and of each zone's place beside it."""


def draw_picture(
    measurement: Measurement, reading: Reading, *, ladder: Ladder | None = None, wish: Target | None = None
) -> Image:
    """Return the picture, sRGB.

    Parameters
    ----------
    measurement : the photo and what was found in it.
    reading : the result to show, which may come from several photos together.
    ladder : that of the reading; the shipped one when left out.
    wish : the wanted shade, where one is known.
    """
    canvas = Canvas()
    at = _headline(canvas, reading) + GAP
    strand = upright(measurement, STRAND[0], STRAND[1] - (_WISH if wish else 0))
    zones = {zone.name: zone.lab for zone in (reading.overall, *reading.zones)}
    picture = strand.coloured({name: zones[name] for name in ("root", "mids", "ends")})
    canvas.image.paste(picture, (MARGIN, at), picture)
    right = MARGIN + picture.width
    if wish is not None:
        # They touch, so that a difference shows at an edge.
        canvas.field(
            (right, at, right + _WISH, at + picture.height), wish.lab, say("picture.wish", shade=wish.name)
        )
        right += _WISH
    for zone, shown in zip(reading.zones, words.zones(reading), strict=False):
        _zone(canvas, shown, (right + GAP, at + round(strand.rows[zone.name])))
    bottom = at + max(picture.height, 900)
    about = [words.photo_line(reading, measurement.card.photo.taken_at)]
    if not all(zone.is_dyed for zone in reading.zones):
        _ladder(canvas, reading, ladder or load_ladder(), at, bottom)
        about.append(say("picture.interval"))
    wet = [say("picture.wet")] if reading.wet else []
    return canvas.foot(bottom + GAP, [" ".join(about), *wet, words.caution()])


def _headline(canvas: Canvas, reading: Reading) -> int:
    level, *phrases = words.headline(reading)
    value, _, margin = level.partition(" ± ")
    canvas.write((MARGIN, MARGIN - 18), value, TITLE, bold=True)
    after = MARGIN + font(TITLE, bold=True).getlength(f"{value} ")
    canvas.write((after, MARGIN + 30), f"± {margin}", PHRASE, colour=QUIET)
    at = MARGIN + TITLE + 16
    for phrase in (phrases[0], " · ".join(phrases[1:])):
        at = canvas.write((MARGIN, at), sentence(phrase), PHRASE)
    return at


def _zone(canvas: Canvas, zone: ZoneInWords, at: tuple[int, int]) -> None:
    """Write a zone's name, level and colour beside its place on the strand."""
    x, middle = at
    width = WIDTH - MARGIN - _BAR - 4 * _COLUMN - x
    y = middle - 70
    canvas.pen.line((x - GAP, middle, x - 10, middle), fill=INK, width=3)
    y = canvas.write((x, y), sentence(zone.name), NAME, bold=True)
    for text in zone.lines:
        y = canvas.write((x, y), text, LINE, width=width)


def _ladder(canvas: Canvas, reading: Reading, ladder: Ladder, top: int, bottom: int) -> None:
    """Draw the ladder, lightest up, and beside it the interval of each zone's level and of all."""
    pen, right = canvas.pen, WIDTH - MARGIN
    top += 50  # room for the names of the columns
    step = (bottom - top) / len(ladder.rungs)

    def row(level: float) -> float:
        return top + (ladder.lightest + 0.5 - min(max(level, 0.5), ladder.lightest + 0.5)) * step

    for level in ladder.rungs:
        lightness, a, b = (float(value) for value in ladder.lab_at(level))
        lab: Lab = (lightness, a, b)
        pen.rectangle((right - _BAR, row(level + 0.5), right, row(level - 0.5)), fill=rgb(lab))
        pen.text(
            (right - _BAR / 2, row(level)), f"{level:.0f}", font=font(NAME), fill=ink_on(lab), anchor="mm"
        )
    columns = (*reading.zones, reading.overall)
    names = [words.zone_name(zone.name) for zone in columns]
    widest = max(font(SMALL, bold=True).getlength(name) for name in names)
    size = min(SMALL, round(SMALL * (_COLUMN - 6) / widest))  # names of a language may be longer than ours
    for place, zone in enumerate(columns):
        x = right - _BAR - (len(columns) - place - 0.5) * _COLUMN
        whole = zone.name == "overall"
        half, wide = COVERAGE * zone.level_sd, 22 if whole else 14
        high, low = row(zone.level + half), row(zone.level - half)
        pen.line((x, top, x, bottom), fill=EDGE, width=1)
        pen.text((x, top - 28), names[place], font=font(size, bold=whole), fill=INK, anchor="mm")
        if zone.is_dyed:
            continue  # its lightness is no level
        pen.line((x, high, x, low), fill=INK, width=6 if whole else 3)
        for y in (high, low):
            pen.line((x - wide, y, x + wide, y), fill=INK, width=6 if whole else 3)
        y, radius = row(zone.level), 20 if whole else 14
        pen.ellipse(
            (x - radius, y - radius, x + radius, y + radius), fill=rgb(zone.lab), outline=INK, width=3
        )
