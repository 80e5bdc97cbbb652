"""Photos of a card made from nothing but its definition, with every property of light and camera known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import lab2xyz

from strandgauge.card.model import CardDefinition

Array = NDArray[np.float64]
XYZ_TO_SRGB = np.linalg.inv(
    np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    )
)


def srgb_curve(linear: Array) -> Array:
    """Encode linear light as a camera with the plain sRGB curve does."""
    return np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    )


def even(x: Array, y: Array) -> Array:
    """Light of equal strength everywhere."""
    return np.ones_like(x)


@dataclass(frozen=True)
class Shot:
    """How a synthetic photo is taken."""

    size: tuple[int, int] = (1600, 1200)
    corners: tuple[tuple[float, float], ...] = ((180, 170), (1430, 150), (1460, 1050), (150, 1040))
    """Where the card's corners fall in the picture, pixels."""
    camera: Array = field(default_factory=lambda: np.eye(3))
    """Linear sRGB to the camera's own primaries, white balance and exposure included."""
    exposure: float = 0.85
    curve: Callable[[Array], Array] = srgb_curve
    light: Callable[[Array, Array], Array] = even
    """Factor on the light at x, y, each -1 to 1 over the card; may return (..., 3) for coloured light."""
    noise: float = 0.004
    blur_px: float = 0.0
    background: float = 0.12
    seed: int = 1


def linear_srgb(lab: tuple[float, float, float] | Array) -> Array:
    """Return the linear sRGB (..., 3) of CIELAB colours, perfect white = 1."""
    return np.asarray(lab2xyz(np.asarray(lab, dtype=float))) @ XYZ_TO_SRGB.T


def paint(
    card: CardDefinition,
    pixels_per_mm: float = 12.0,
    light_of: Callable[[tuple[float, float, float]], Array] = linear_srgb,
) -> Array:
    """Return the card as linear sRGB (H, W, 3), perfect white = 1, or as what ``light_of`` makes of its colours."""
    width, height = card.size
    shape = (round(height * pixels_per_mm), round(width * pixels_per_mm))
    sheet = np.empty((*shape, 3))
    sheet[:] = light_of(card.paper or (95.0, 0.0, 0.0))
    for patch in card.patches:
        x, y, w, h = (round(v * pixels_per_mm) for v in patch.box)
        sheet[y : y + h, x : x + w] = light_of(patch.lab)
    ink = light_of(card.ink or (16.0, 0.0, 0.0))
    for marker in card.markers:
        corners = np.asarray(marker.corners)
        side = round(float(np.linalg.norm(corners[1] - corners[0])) * pixels_per_mm)
        dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, marker.dictionary))
        tile = cv2.aruco.generateImageMarker(dictionary, marker.id, side)
        x, y = (round(v * pixels_per_mm) for v in corners[0])
        block = sheet[y : y + side, x : x + side]
        block[tile == 0] = ink
    return sheet


def photograph(sheet: Array, card: CardDefinition, shot: Shot) -> NDArray[np.uint8]:
    """Return the BGR photo (H, W, 3) of a painted sheet."""
    # In single precision: the temporaries are large, and memory costs more time here than arithmetic.
    height, width = sheet.shape[:2]
    x, y = np.meshgrid(*(2 * np.arange(count, dtype=np.float32) / count - 1 for count in (width, height)))
    factor = np.asarray(shot.light(x, y), dtype=np.float32)
    seen = sheet.astype(np.float32)
    seen *= factor if factor.ndim == 3 else factor[..., None]
    seen = seen @ (shot.camera.T * shot.exposure).astype(np.float32)
    np.maximum(seen, 0, out=seen)
    from_corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=np.float32) - 0.5
    to_picture = cv2.getPerspectiveTransform(from_corners, np.asarray(shot.corners, dtype=np.float32))
    picture = cv2.warpPerspective(
        cv2.GaussianBlur(seen, (0, 0), 2.0),
        to_picture,
        shot.size,
        flags=cv2.INTER_LINEAR,
        borderValue=(shot.background,) * 3,
    )
    if shot.blur_px > 0:
        picture = cv2.GaussianBlur(picture, (0, 0), shot.blur_px)
    encoded = shot.curve(picture).astype(np.float32)
    encoded += np.float32(shot.noise) * _noise(shot.seed, picture.shape)
    np.clip(encoded, 0, 1, out=encoded)
    encoded *= 255
    encoded += 0.5
    return np.ascontiguousarray(encoded.astype(np.uint8)[..., ::-1])


@lru_cache(maxsize=4)
def _noise(seed: int, shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Return what a sensor adds, of standard deviation 1: the same photo after photo, and slow to draw."""
    return np.random.default_rng(seed).standard_normal(shape).astype(np.float32)
