"""Only hair is hair: what has no fibres, or none that could be hair's, is refused; every sample of hair is not."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from strandgauge.errors import NotHairError
from strandgauge.kit import shipped
from strandgauge.strand.fibres import LEAST_STRENGTH, check_fibres

SAMPLES = Path(__file__).parents[2] / "sample_images"


def test_the_limit_is_one():
    check_fibres(LEAST_STRENGTH * 1.01)
    with pytest.raises(NotHairError):
        check_fibres(LEAST_STRENGTH * 0.99)


def test_a_smooth_strip_where_the_strand_was_is_refused(tmp_path):
    """The strand of a sample, smoothed to the flat colour of skin or cloth."""
    photo = cv2.imread(str(SAMPLES / "marta-1041.jpg"))
    height, width = photo.shape[:2]
    smooth = cv2.GaussianBlur(photo, (0, 0), 12.0)
    rows, columns = slice(int(0.38 * height), int(0.62 * height)), slice(int(0.2 * width), int(0.8 * width))
    changed = photo.copy()
    changed[rows, columns] = smooth[rows, columns]
    file = tmp_path / "smooth.jpg"
    cv2.imwrite(str(file), changed)
    with pytest.raises(NotHairError):
        shipped().measure(file)


@pytest.mark.parametrize("side", [400, 1000])
def test_small_copies_of_hair_are_still_hair(tmp_path, side):
    for name in ("uneven.jpg", "tilted.jpg"):
        photo = cv2.imread(str(SAMPLES / name))
        scale = side / max(photo.shape[:2])
        file = tmp_path / name
        cv2.imwrite(str(file), cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))
        assert np.isfinite(shipped().measure(file).reading.overall.level)
