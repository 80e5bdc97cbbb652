"""The picture of a check: the card flat, where its colour was measured, and which patches are not as printed."""

from __future__ import annotations

import cv2
import numpy as np
from PIL.Image import Image, fromarray

from strandgauge.card.sample import sampled_boxes
from strandgauge.colour.picture import srgb_of_picture
from strandgauge.reading.model import CardCheck
from strandgauge.reading.pipeline import CardReading
from strandgauge.show.picture.canvas import GAP, LINE, MARGIN, PHRASE, QUIET, SMALL, Canvas, rgb
from strandgauge.show.picture.technical import flat_card, placed
from strandgauge.words import check as words
from strandgauge.words import said, say

_LIGHT, _DARK = (255, 255, 255), (20, 20, 20)


def draw_check(found: CardReading, check: CardCheck) -> Image:
    """Return the picture, sRGB."""
    canvas = Canvas()
    at = canvas.write((MARGIN, MARGIN), words.verdict(check), PHRASE, bold=True) + GAP // 2
    flat = flat_card(found)
    shown = fromarray(srgb_of_picture(flat.linear))
    to_pixels = np.asarray(cv2.invertAffineTransform(flat.to_card), dtype=np.float64)
    canvas.image.paste(shown, (MARGIN, at))
    odd = {row for row, patch in enumerate(check.patches) if patch.doubted}
    for row, (x, y, w, h) in enumerate(sampled_boxes(found.card)):
        corners = np.array([MARGIN, at]) + placed(np.array([[x, y], [x + w, y + h]]), to_pixels)
        (left, top), (right, bottom) = corners.min(0), corners.max(0)
        if row < len(found.card.patches):
            printed = (left, (top + bottom) / 2, right, bottom)
            canvas.pen.rectangle(printed, fill=rgb(found.card.patches[row].lab))
        for wider, colour in ((1, _LIGHT), (0, _DARK)):
            canvas.pen.rectangle((left - wider, top - wider, right + wider, bottom + wider), outline=colour)
            if row in odd:
                for ends in ((left, top, right, bottom), (left, bottom, right, top)):
                    canvas.pen.line(ends, fill=colour, width=4 + 4 * wider)
    at += shown.height + GAP // 2
    at = canvas.write((MARGIN, at), say("check.sampled"), SMALL, colour=QUIET) + GAP // 2
    for note in (*check.problems, *check.cautions):
        at = canvas.write((MARGIN, at), f"! {said(note)}", LINE)
        at = canvas.write((MARGIN, at), words.mending(note), LINE, colour=QUIET) + 10
    return canvas.foot(at, (f"{check.photo}.", *words.summary(check)))
