"""A photo is opened as large as its card needs, and no larger."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from strandgauge.errors import BlurError, CardCutOffError, CardFoldedError, NoCardError, WrongCardVersionError
from strandgauge.reading import pipeline
from strandgauge.reading.pipeline import open_card
from strandphoto import jpeg
from synthetic import Shot, photograph


def shot(card, sheet, width_px: float):
    """A photo of 3200 pixels with the card this many pixels wide."""
    height = width_px * card.size[1] / card.size[0]
    corners = ((400, 300), (400 + width_px, 300), (400 + width_px, 300 + height), (400, 300 + height))
    return jpeg(photograph(sheet, card, Shot(size=(3200, 2400), corners=corners, noise=0.002)))


@pytest.mark.parametrize(("width_px", "longest"), [(2400, 1600), (900, 3200)])
def test_a_small_card_has_its_photo_opened_once_more_and_larger(card, sheet, width_px, longest):
    """Opened at 1000 pixels or more the small card has less than 3.4 pixels a millimetre; 2600 want the whole."""
    found = open_card(shot(card, sheet, width_px), card)
    assert max(found.photo.pixels.shape) == longest
    assert found.view.pixels_per_mm == pytest.approx(width_px / 148.0 * longest / 3200, rel=0.02)
    assert np.median(found.fitted.delta_e00[found.samples.is_patch]) < 1.0


@pytest.mark.parametrize(
    ("error", "looks"),
    [
        (NoCardError, 2),
        (CardCutOffError, 2),
        (BlurError, 2),
        (CardFoldedError, 2),
        (WrongCardVersionError, 1),  # marks of another version were read: a closer look reads the same
    ],
)
def test_what_a_small_picture_may_show_wrongly_is_looked_at_more_closely(card, monkeypatch, error, looks):
    seen = []

    def unseen(pixels, card):
        seen.append(max(pixels.shape))
        raise error("not seen")

    monkeypatch.setattr(pipeline, "find_card", unseen)
    photo = cv2.imencode(".jpg", np.full((1800, 2400, 3), 128, np.uint8))[1].tobytes()
    with pytest.raises(error):
        open_card(photo, card)
    assert len(seen) == looks
    assert seen == sorted(set(seen))
