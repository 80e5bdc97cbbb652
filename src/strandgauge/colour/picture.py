"""CIELAB and sRGB of whole pictures: what `cielab` and `srgb` do for single colours, at a picture's speed."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.cielab import EPSILON, KAPPA, LAB_OF_ROOT
from strandgauge.colour.srgb import RATIO_FROM_RGB, srgb_encode

_LAB_FROM_ROOT = np.column_stack([LAB_OF_ROOT, (-16, 0, 0)]).astype(np.float32)


def lab_of_picture(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return CIELAB (H, W, 3) of linear sRGB (H, W, 3), clipped to 0 to 1 [CIE 15:2018, 8.2.1].

    OpenCV's own conversion makes tables first, which takes a tenth of a first reading.
    """
    ratio = cv2.transform(np.clip(linear, 0, 1), RATIO_FROM_RGB.astype(np.float32))
    root = np.cbrt(ratio)
    dark = ratio <= EPSILON
    if dark.any():
        root = np.where(dark, ratio * np.float32(KAPPA / 116) + np.float32(16 / 116), root)
    return np.asarray(cv2.transform(root, _LAB_FROM_ROOT), dtype=np.float32)


def srgb_of_picture(linear: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Return sRGB codes (H, W, 3), 0 to 255, of linear sRGB (H, W, 3), clipped to 0 to 1."""
    return _codes().take((np.clip(linear, 0, 1) * np.float32(65535) + np.float32(0.5)).astype(np.uint16))


@cache
def _codes() -> NDArray[np.uint8]:
    """Return the code of each of 65536 steps of light; one is a twentieth of a code at most."""
    return np.round(255.0 * srgb_encode(np.linspace(0.0, 1.0, 65536))).astype(np.uint8)
