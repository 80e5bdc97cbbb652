"""A strand as a small picture: flat, root end on the left, in true colour, every strand at one exposure.

Strips of several photos can be laid side by side: the correction has cancelled each photo's own light and
exposure, and a millimetre of strand is the same number of pixels in each.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.picture import srgb_of_picture
from strandgauge.reading.pipeline import Measurement

JPEG_QUALITY = 85


def strand_strip(measurement: Measurement, *, width: int = 720) -> NDArray[np.uint8]:
    """Return the card's window as (H, width, 3) sRGB in R, G, B, root end on the left."""
    light = measurement.region.linear
    height = max(1, round(light.shape[0] * width / light.shape[1]))
    small = cv2.resize(light, (width, height), interpolation=cv2.INTER_AREA)
    return srgb_of_picture(np.asarray(small, dtype=np.float32))


def strip_jpeg(measurement: Measurement, *, width: int = 720) -> bytes:
    """Return the strip as a JPEG file in sRGB."""
    strip = cv2.cvtColor(strand_strip(measurement, width=width), cv2.COLOR_RGB2BGR)
    done, encoded = cv2.imencode(".jpg", strip, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        raise ValueError("the strip could not be encoded")
    return encoded.tobytes()
