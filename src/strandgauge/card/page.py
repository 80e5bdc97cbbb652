"""Lays the card out on a page to print: cut marks round it, and how to print and use it above and below."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from strandgauge.card.drawing import (
    DEFAULT_INK,
    GREY,
    Area,
    Drawing,
    Writing,
    draw_card,
    marker_modules,
)
from strandgauge.card.model import CardDefinition, Point, Text
from strandgauge.card.pdf import pdf_bytes, text_width
from strandgauge.card.shapes import bounds
from strandgauge.colour.cielab import Lab
from strandgauge.errors import CannotWriteError

PAGE_MM: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height, upright (ISO 216; ANSI/ASME Y14.1)."""
UNPRINTABLE_MM = 6.0
QUIET_MODULES = 2
"""Bare border that a marker needs, in its own little squares."""
CUT_GAP_MM, CUT_MM, CUT_WIDTH_MM = 2.0, 6.0, 0.1
MARGIN_MM, GUTTER_MM = 20.0, 10.0
TITLE_MM, HEADING_MM, BODY_MM, SMALL_MM = 6.5, 3.8, 3.2, 2.5
LEADING = 1.5
FULL_TEXT_MM, SHORT_TEXT_MM = 86.0, 18.0
"""Room needed above, and as much below, for all instructions, and for the one that matters most."""


@dataclass(frozen=True, slots=True)
class _Step:
    heading: str
    body: str


_PRINT = _Step(
    "Print",
    "On matt paper, in colour, best quality, at 100 % (actual size). Switch off ‘fit to page’ and every "
    "colour ‘enhancement’.",
)
_CHECK = _Step(
    "Measure and cut",
    "The scale on the card must measure {length} mm exactly. The squares must be even, without stripes. Cut "
    "along the corner marks, and the strip to write on for its back; glue the card to stiff board if it curls.",
)
_CUT = _Step(
    "Check and cut",
    "The squares must be even, without stripes. Cut along the corner marks; glue the card to stiff board if "
    "it curls.",
)
_LAY = _Step(
    "Lay the strand",
    "Clean, dry and combed, root end at ROOT, straight along the window. Spread it about a finger wide and "
    "several layers deep, so that no paper shows through. Keep hair off the squares.",
)
_PHOTO = _Step(
    "Take the photo",
    "Soft light from all round, such as open shade. No flash, one kind of light, no shadow and no shine on "
    "the card. Camera straight above, the whole card in the picture, sharp.",
)
_CAUTIONS = (
    "The card tells colour alone. It cannot see damage, nor whether hair or scalp can take more: follow the "
    "maker's directions.",
    "No printer is exact, and every reading allows for that. For closer readings have the squares of this print "
    "measured with an instrument, and name the file of values: strandgauge read PHOTO --profile VALUES.txt "
    "(docs/printing.md says how). Keep the card dry and in the dark; print a new one when it is stained or faded.",
)
_STUB = (("Salon or class", 0.36), ("Printer and paper", 0.38), ("Printed on", 0.26))
"""What is written by hand on the strip for the card's back, and the share of its width."""
STUB_MM = 12.0


def card_pdf(card: CardDefinition, paper: str = "a4") -> bytes:
    """Return the page to print, as a vector PDF; the same card always gives the same bytes.

    Raises
    ------
    CannotWriteError
        The card does not fit on the paper.
    """
    return pdf_bytes(draw_page(card, paper), f"{card.name}, version {card.version}")


def draw_page(card: CardDefinition, paper: str) -> Drawing:
    """Return the page to print, the card in its middle.

    Raises
    ------
    CannotWriteError
        The card does not fit on the paper.
    """
    width, height = _page_size(card, paper)
    left, top = (width - card.size[0]) / 2, (height - card.size[1]) / 2
    cut_left, cut_top, cut_right, cut_bottom = _cut_box(card)
    drawn = draw_card(card)
    shapes = [_moved(shape, (left, top)) for shape in drawn.shapes]
    ink = card.ink or DEFAULT_INK
    cut = (left + cut_left, top + cut_top, left + cut_right, top + cut_bottom)
    shapes.append(Area(tuple(_cut_marks(*cut)), ink))
    room = min(cut[1], height - cut[3]) - UNPRINTABLE_MM - CUT_GAP_MM - CUT_MM
    if room >= FULL_TEXT_MM - MARGIN_MM and width - 2 * MARGIN_MM > 100:
        shapes += _instructions(card, ink, width, cut[3])
        shapes += _stub(cut[0] + CUT_MM, cut[1] - CUT_GAP_MM - STUB_MM, cut[2] - cut[0] - 2 * CUT_MM)
    elif room >= SHORT_TEXT_MM - UNPRINTABLE_MM:
        words = f"{card.name}, version {card.version}: print at 100 % on matt paper, no colour ‘enhancement’"
        at = (width / 2, cut[1] - CUT_GAP_MM - CUT_MM - 2.0)
        shapes.append(Writing(Text(at, BODY_MM, words, "middle", False, "ink"), ink))
    return Drawing((width, height), drawn.paper, tuple(shapes))


def _page_size(card: CardDefinition, paper: str) -> tuple[float, float]:
    """Return width and height of the page, turned when the card fits better so."""
    short, long = PAGE_MM[paper]
    free = 2 * UNPRINTABLE_MM
    for width, height in ((short, long), (long, short)):
        if card.size[0] <= width - free and card.size[1] <= height - free:
            return width, height
    raise CannotWriteError(fault="paper", width=card.size[0], height=card.size[1], paper=paper.upper())


def _cut_box(card: CardDefinition) -> tuple[float, float, float, float]:
    """Return left, top, right and bottom of the cut: round the card, and round every marker's bare border."""
    points = [card.outline]
    for marker, corners in zip(card.markers, card.marker_corners, strict=True):
        low, high = corners.min(axis=0), corners.max(axis=0)
        quiet = QUIET_MODULES * (high - low) / marker_modules(marker.dictionary)
        points.append(np.array([low - quiet, high + quiet]))
    (left, top), (right, bottom) = bounds(points)
    return left, top, right, bottom


def _cut_marks(left: float, top: float, right: float, bottom: float) -> Iterator[tuple[Point, ...]]:
    """Yield two strokes for each corner of what is cut out, clear of it."""
    half = CUT_WIDTH_MM / 2
    for x, outward in ((left, -1), (right, 1)):
        for y in (top, bottom):
            yield _stroke(x + outward * CUT_GAP_MM, y - half, outward * CUT_MM, CUT_WIDTH_MM)
    for y, outward in ((top, -1), (bottom, 1)):
        for x in (left, right):
            yield _stroke(x - half, y + outward * CUT_GAP_MM, CUT_WIDTH_MM, outward * CUT_MM)


def _stroke(x: float, y: float, width: float, height: float) -> tuple[Point, ...]:
    return (x, y), (x + width, y), (x + width, y + height), (x, y + height)


def _instructions(
    card: CardDefinition, ink: Lab, width: float, card_bottom: float
) -> Iterator[Area | Writing]:
    """Yield the title and the steps above the card, the other steps and the cautions below it."""
    right = width - MARGIN_MM
    column = (right - MARGIN_MM - GUTTER_MM) / 2
    columns = (MARGIN_MM, MARGIN_MM + column + GUTTER_MM)
    y = 27.0
    yield Writing(Text((MARGIN_MM, y), TITLE_MM, card.name, "left", True, "ink"), ink)
    yield Writing(Text((right, y), BODY_MM, f"version {card.version}", "right", False, "grey"), GREY)
    yield Area((_stroke(MARGIN_MM, y + 4.0, right - MARGIN_MM, 0.2),), GREY)

    check = replace(_CHECK, body=_CHECK.body.format(length=card.scale.length)) if card.scale else _CUT
    above, below = (_PRINT, check), (_LAY, _PHOTO) if card.window else (_PHOTO,)
    for number, (step, x) in enumerate(zip(above, columns, strict=True), start=1):
        yield from _step(number, step, (x, y + 14.0), column, ink)
    bottom = card_bottom + CUT_GAP_MM + CUT_MM
    for number, (step, x) in enumerate(zip(below, columns, strict=False), start=3):
        yield from _step(number, step, (x, bottom + 9.0), column, ink)

    y = bottom + 45.0
    yield Area((_stroke(MARGIN_MM, y, right - MARGIN_MM, 0.2),), GREY)
    y += 5.0
    for caution in _CAUTIONS:
        for line in _wrapped(caution, SMALL_MM, right - MARGIN_MM):
            yield Writing(Text((MARGIN_MM, y), SMALL_MM, line, "left", False, "grey"), GREY)
            y += SMALL_MM * LEADING
        y += 1.0


def _stub(left: float, top: float, width: float) -> Iterator[Area | Writing]:
    """Yield the strip for the card's back, its edge dashed, with lines to write on."""
    dash = 1.5
    across, down = (range(round(side / (2 * dash))) for side in (width, STUB_MM))
    edge = [
        _stroke(left + (2 * i + 0.5) * dash, y, dash, CUT_WIDTH_MM)
        for i in across
        for y in (top, top + STUB_MM)
    ]
    edge += [
        _stroke(x, top + (2 * i + 0.5) * dash, CUT_WIDTH_MM, dash) for i in down for x in (left, left + width)
    ]
    yield Area(tuple(edge), GREY)
    room, gap = width - 6.0, 3.0
    x = left + gap
    for name, share in _STUB:
        yield Area((_stroke(x, top + 7.5, share * room - gap, CUT_WIDTH_MM),), GREY)
        yield Writing(Text((x, top + 10.6), SMALL_MM, name, "left", False, "grey"), GREY)
        x += share * room


def _step(number: int, step: _Step, at: Point, width: float, ink: Lab) -> Iterator[Writing]:
    """Yield a numbered heading with its text below."""
    x, y = at
    yield Writing(Text((x, y), HEADING_MM, f"{number}   {step.heading}", "left", True, "ink"), ink)
    y += BODY_MM * LEADING * 1.25
    for line in _wrapped(step.body, BODY_MM, width):
        yield Writing(Text((x, y), BODY_MM, line, "left", False, "ink"), ink)
        y += BODY_MM * LEADING


def _wrapped(words: str, size: float, width: float) -> Iterator[str]:
    """Yield the lines of a paragraph that fit into a width, mm."""
    line = ""
    for word in words.replace("100 %", "100\u00a0%").split(" "):
        longer = f"{line} {word}".strip()
        if line and text_width(longer, size, bold=False) > width:
            yield line
            longer = word
        line = longer
    yield line


def _moved(shape: Area | Writing, by: Point) -> Area | Writing:
    if isinstance(shape, Writing):
        x, y = shape.text.at
        return Writing(replace(shape.text, at=(x + by[0], y + by[1])), shape.colour)
    polygons = tuple(tuple((x + by[0], y + by[1]) for x, y in polygon) for polygon in shape.polygons)
    return Area(polygons, shape.colour)
