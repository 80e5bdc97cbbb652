"""The picture of an outlook: the strand as it is and as foretold, side by side, the wish at their edge; the mix.

One column, large type, on neutral grey: made for a phone's screen, and for paper.
"""

from __future__ import annotations

from collections.abc import Sequence

from PIL.Image import Image

from strandgauge.colour.cielab import Lab
from strandgauge.judge.outlook import Outlook, ZoneOutlook
from strandgauge.reading.pipeline import Measurement
from strandgauge.show.picture.canvas import (
    GAP,
    INK,
    LINE,
    MARGIN,
    NAME,
    SMALL,
    WIDTH,
    Canvas,
    font,
    ink_on,
    wrapped,
)
from strandgauge.show.picture.upright import upright
from strandgauge.words import said, say, sentence
from strandgauge.words.colour import shade_name
from strandgauge.words.judge import (
    first_thing,
    formula_text,
    instead_line,
    mix_line,
    needs_line,
    saying,
    verdict_headline,
)
from strandgauge.words.reading import zone_name

TITLES = (64, 56, 48)
STRAND = (860, 220)
"""Greatest height and width of a strand, pixels."""
_FIELD = 150
_LINE = 30


def draw_outlook(outlook: Outlook, measurement: Measurement | None = None) -> Image:
    """Return the picture, sRGB; ``measurement`` is the photo of the hair, where there is one, else plain fields."""
    canvas = Canvas()
    headline, room = first_thing(outlook), WIDTH - 2 * MARGIN
    # The largest of three sizes at which the verdict takes no more than two lines.
    size = next((s for s in TITLES if len(wrapped(headline, font(s, bold=True), room)) <= 2), TITLES[-1])
    at = canvas.write((MARGIN, MARGIN), headline, size, bold=True)
    at = canvas.write((MARGIN, at), verdict_headline(outlook), LINE) + GAP
    zones = outlook.own_zones
    at = _side_by_side(canvas, outlook, zones, measurement, at) + GAP
    at = _by_level(canvas, outlook, at) + GAP
    if outlook.verdict != "true" and outlook.instead:
        at = _instead(canvas, outlook, at) + GAP
    return canvas.foot(at, [" ".join(said(caution) for caution in outlook.cautions)])


def _side_by_side(
    canvas: Canvas, outlook: Outlook, zones: Sequence[ZoneOutlook], measurement: Measurement | None, top: int
) -> int:
    """Draw now, forecast and wish, touching each other; write each zone's outlook and mix beside its place."""
    at = top + round(1.4 * _LINE)
    now = {zone.name: zone.base_lab for zone in zones}
    then = {zone.name: zone.predicted_lab for zone in zones}
    if measurement is not None:
        strand = upright(measurement, *STRAND)
        pictures = [strand.coloured(colours) for colours in (now, then)]
        width, height = pictures[0].size
        rows = {name: at + round(row) for name, row in strand.rows.items()}
        for place, picture in enumerate(pictures):
            canvas.image.paste(picture, (MARGIN + place * width, at), picture)
    else:
        width, height = STRAND[1], 230 * len(zones)
        step = height // len(zones)
        rows = {zone.name: at + place * step + step // 2 for place, zone in enumerate(zones)}
        for place, zone in enumerate(zones):
            for column, colours in enumerate((now, then)):
                left, high = MARGIN + column * width, at + place * step
                canvas.field((left, high, left + width, high + step), colours[zone.name])
    right = MARGIN + 2 * width
    canvas.field((right, at, right + _FIELD, at + height), outlook.target.lab)
    names = (say("picture.now"), say("picture.then"), say("picture.wished"))
    for x, name in zip((MARGIN, MARGIN + width, right), names, strict=True):
        canvas.pen.text((x + 6, top), name, font=font(_LINE, bold=True), fill=INK)
    below, x = at, right + _FIELD + GAP
    # Zones of which the same is to be said are told of once.
    told: dict[tuple[str, ...], list[str]] = {}
    for zone in zones:
        told.setdefault(_lines(zone, outlook.target.lab), []).append(zone.name)
    for lines, who in told.items():
        below = max(sum(rows.get(name, at) for name in who) // len(who) - 100, below)
        title = sentence(", ".join(zone_name(name) for name in who))
        below = canvas.write((x, below), title, NAME, bold=True)
        for line in lines:
            below = canvas.write((x, below), line, _LINE)
        below += GAP
    return max(at + height, below)


def _lines(zone: ZoneOutlook, wanted: Lab) -> tuple[str, ...]:
    """Say what a zone becomes, and what to mix for it."""
    first = []
    if zone.pretone is not None:
        first = [say("picture.pretone", formula=_unbroken(formula_text(zone.pretone.formula)))]
    told = sentence(saying(zone, wanted))
    if zone.formula is None:
        return (told,)
    return told, *first, say("picture.mix", formula=_unbroken(mix_line(zone)))


def _unbroken(formula: str) -> str:
    """Keep each dye on one line with its grams."""
    return ", ".join(part.replace(" ", "\u00a0") for part in formula.split(", "))


def _by_level(canvas: Canvas, outlook: Outlook, top: int) -> int:
    at = canvas.write((MARGIN, top), f"{needs_line(outlook)} {say('picture.by_level')}", LINE) + 6
    width = (WIDTH - 2 * MARGIN) // len(outlook.strip)
    for place, step in enumerate(outlook.strip):
        left = MARGIN + place * width
        canvas.field((left, at, left + width, at + 90), step.predicted_lab)
        number = f"{step.level:.0f}"
        canvas.pen.text(
            (left + 12, at + 8), number, font=font(NAME, bold=True), fill=ink_on(step.predicted_lab)
        )
        if round(outlook.base_level) == step.level:
            canvas.pen.rectangle((left + 2, at + 2, left + width - 3, at + 87), outline=INK, width=6)
            canvas.pen.text((left + 6, at + 96), say("picture.here"), font=font(SMALL, bold=True), fill=INK)
    return at + 96 + round(1.3 * SMALL)


def _instead(canvas: Canvas, outlook: Outlook, top: int) -> int:
    at = canvas.write((MARGIN, top), instead_line(outlook, ""), LINE) + 6
    width = (WIDTH - 2 * MARGIN) // len(outlook.instead)
    for place, one in enumerate(outlook.instead):
        left = MARGIN + place * width
        canvas.field((left, at, left + width, at + 110), one.predicted_lab, shade_name(one.name))
    return at + 110
