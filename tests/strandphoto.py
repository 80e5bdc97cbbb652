"""A made-up photo of a strand on the card: fibres drawn over the painted card, seen by the synthetic camera.

The fibres are flat strokes of known colour without gloss or shadow, enough to run everything end to end; how
right the numbers are on real-looking hair is another test's business.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.card.model import CardDefinition
from synthetic import Shot, linear_srgb, photograph

PIXELS_PER_MM = 12
ZONE_LABS = ((40.0, 12.0, 30.0), (57.0, 9.0, 36.0), (66.0, 5.0, 32.0))
"""Orange roots, yellow-orange mids, yellow ends."""


def strand_photo(
    card: CardDefinition,
    sheet: NDArray[np.float64],
    *,
    seed: int = 3,
    light: Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]] = lambda x, y: (
        1 + 0.12 * x
    ),
) -> NDArray[np.uint8]:
    """Return a BGR photo of an unevenly lifted strand lying in the card's window."""
    random = np.random.default_rng(seed)
    x, y, width, height = (round(PIXELS_PER_MM * v) for v in card.window.box)
    columns = np.arange(x + 20, x + width - 25)
    along = np.linspace(0, 1, len(columns))
    places = [0, 0.3, 0.45, 0.7, 0.8, 1]
    labs = [np.interp(along, places, [lab[k] for lab in ZONE_LABS for _ in range(2)]) for k in range(3)]
    colours = linear_srgb(np.stack(labs, axis=1))
    axis = y + height / 2 + 6 * np.sin(5 * along)
    # Of the fibres over each other in a place, the last one is seen.
    shades = np.zeros(sheet.shape[:2])
    for _ in range(2600):
        wave = random.uniform(0, 5) * np.sin(along * random.uniform(3, 9) + random.uniform(0, 6))
        rows = (axis + min(max(random.normal(0, 35), -75), 75) + wave).astype(int)
        shades[rows, columns] = shades[rows + 1, columns] = random.uniform(0.8, 1.2)
    seen = shades > 0
    covered = sheet.astype(np.float32)
    covered[seen] = colours[np.nonzero(seen)[1] - columns[0]] * shades[seen][:, None]
    camera = np.array([[1.1, 0.05, 0.0], [0.02, 0.95, 0.03], [0.0, 0.05, 0.8]])
    return photograph(covered, card, Shot(camera=camera, light=light))


def jpeg(pixels: NDArray[np.uint8]) -> bytes:
    """Return a BGR picture as a JPEG file."""
    ok, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 92])
    assert ok
    return data.tobytes()
