"""The card as a picture and as a page to print."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from strandgauge.card.drawing import draw_card
from strandgauge.card.model import CardDefinition
from strandgauge.card.picture import paint, png_bytes
from strandgauge.errors import CannotWriteError

Paper = Literal["a4", "letter"]

DEFAULT_PIXELS_PER_MM = 20.0
MAX_MEGAPIXELS = 200


def card_png(card: CardDefinition, pixels_per_mm: float = DEFAULT_PIXELS_PER_MM) -> NDArray[np.uint8]:
    """Return the card alone as a picture, without a margin.

    Each pixel is the sRGB of the definition's CIELAB for D65, a perfect white being 255: the paper, which is
    no perfect white, is darker than that.

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
            f"a picture of this card at {pixels_per_mm:g} pixels per mm would have {megapixels:.0f} "
            f"megapixels, more than {MAX_MEGAPIXELS}.",
            remedy="Give a smaller --scale.",
        )
    return paint(draw_card(card), pixels_per_mm)


def card_png_bytes(card: CardDefinition, pixels_per_mm: float = DEFAULT_PIXELS_PER_MM) -> bytes:
    """Return :func:`card_png` as a PNG file that states its scale and colour space."""
    title = f"{card.name}, version {card.version}, {pixels_per_mm:g} pixels per mm"
    return png_bytes(card_png(card, pixels_per_mm), pixels_per_mm, title)


def card_pdf(card: CardDefinition, paper: Paper = "a4") -> bytes:
    """Return a page to print, as a vector PDF: the card in its true size, cut marks, how to use it.

    Colours are sRGB by its ICC profile, relative to the card's paper (see :mod:`strandgauge.card.pdf`); the
    same card always gives the same bytes.

    Raises
    ------
    CannotWriteError
        The card does not fit on the paper.
    """
    from strandgauge.card.page import draw_page
    from strandgauge.card.pdf import pdf_bytes

    return pdf_bytes(draw_page(card, paper), f"{card.name}, version {card.version}")
