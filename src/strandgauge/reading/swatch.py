"""The colour of a swatch, or of a picked region of any picture, as a wanted shade."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from strandgauge.card.find import project
from strandgauge.card.model import CardDefinition
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import Lab, as_lab, lab_from_xyz
from strandgauge.colour.srgb import lab_from_srgb
from strandgauge.errors import BadColourError, CardUnseenError
from strandgauge.photo.open import Photo, open_photo
from strandgauge.reading.pipeline import FIRST_LOOK_SIDE, open_card

Pick = tuple[float, float, float, float]
"""Left, top, width and height of a region, in per cent of the picture."""


@dataclass(frozen=True, slots=True)
class Swatch:
    """A colour taken from a picture."""

    lab: Lab
    measured: bool
    """True when a card beside it made the colour a measured one."""


def swatch_colour(path: Path, card: CardDefinition, pick: Pick | None = None) -> Swatch:
    """Return the colour of a swatch.

    With the card in the picture: of what lies in the middle of its window, or of the picked region, corrected
    by the card. Without: of the picked region or the middle of the picture, as the camera made it.

    Raises
    ------
    UnreadableFileError : the picture cannot be opened.
    BadColourError : the picked region lies outside the picture.
    StrandgaugeError : the card is there but cannot be used; the subclass says why.
    """
    try:
        found = open_card(path, card)
    except CardUnseenError:
        # Most swatches come without a card, and a flat field of colour has nothing sharp in it.
        photo = open_photo(path, longest_side_wanted=FIRST_LOOK_SIDE)
        rgb = _encoded(photo, _box(photo, pick or (40.0, 40.0, 20.0, 20.0)))
        return Swatch(as_lab(np.median(lab_from_srgb(rgb), axis=0)), measured=False)
    photo = found.photo
    if found.light.problems:
        raise found.light.problems[0]
    if pick is None:
        if card.window is None:
            raise BadColourError(fault="no-window")
        x, y, width, height = card.window.box
        corners = np.array([[x + 0.35 * width, y + 0.35 * height], [x + 0.65 * width, y + 0.65 * height]])
        pixels = found.view.to_pixels(corners)
        low, high = pixels.min(axis=0), pixels.max(axis=0)
        box = (int(low[0]), int(low[1]), max(1, int(high[0] - low[0])), max(1, int(high[1] - low[1])))
    else:
        box = _box(photo, pick)
    left, top, width_px, height_px = box
    columns, rows = np.meshgrid(np.arange(width_px) + left, np.arange(height_px) + top)
    places = project(np.linalg.inv(found.view.homography), np.c_[columns.ravel(), rows.ravel()])
    xyz = found.correction.to_xyz(_encoded(photo, box), places)
    return Swatch(as_lab(np.median(lab_from_xyz(xyz), axis=0)), measured=True)


def _box(photo: Photo, pick: Pick) -> tuple[int, int, int, int]:
    height, width = photo.pixels.shape[:2]
    left, top, wide, high = pick
    if min(left, top) < 0.0 or min(wide, high) <= 0.0 or left + wide > 100.0 or top + high > 100.0:
        raise BadColourError(fault="pick-outside")
    return (
        int(left * width / 100.0),
        int(top * height / 100.0),
        max(1, int(wide * width / 100.0)),
        max(1, int(high * height / 100.0)),
    )


def _encoded(photo: Photo, box: tuple[int, int, int, int]) -> Array:
    """Return the region's pixels (N, 3) as R, G, B in 0 to 1."""
    left, top, width, height = box
    crop = photo.pixels[top : top + height, left : left + width, ::-1].reshape(-1, 3)
    if crop.size == 0:
        raise BadColourError(fault="region-outside")
    return np.asarray(crop.astype(np.float64) / np.iinfo(photo.pixels.dtype).max)
