"""What opening a 12 megapixel photo costs beside what the decoder alone costs.

``pytest tests/benchmarks --benchmark-enable`` prints the times; without it each runs once, as a test.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from strandgauge.photo import open_photo


@pytest.fixture(scope="module")
def photo_file(tmp_path_factory) -> Path:
    """Return a 4000 x 3000 JPEG of about 3 MB, as a phone writes it: smooth shapes and sensor noise."""
    random = np.random.default_rng(7)
    shapes = cv2.resize(
        random.integers(0, 256, (60, 80, 3), np.uint8), (4000, 3000), interpolation=cv2.INTER_CUBIC
    )
    noise = random.normal(0, 6, (3000, 4000, 1)).astype(np.int16)
    file = tmp_path_factory.mktemp("speed") / "photo.jpg"
    cv2.imwrite(str(file), np.clip(shapes + noise, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 88])
    return file


@pytest.mark.benchmark(group="open a 12 MP JPEG")
def test_open_photo(benchmark, photo_file):
    assert benchmark(open_photo, photo_file).pixels.shape == (1500, 2000, 3)


@pytest.mark.benchmark(group="open a 12 MP JPEG")
def test_reduced_decode_alone(benchmark, photo_file):
    data = np.frombuffer(photo_file.read_bytes(), np.uint8)
    assert benchmark(cv2.imdecode, data, cv2.IMREAD_REDUCED_COLOR_2).shape == (1500, 2000, 3)


@pytest.mark.benchmark(group="open a 12 MP JPEG")
def test_plain_full_size_read(benchmark, photo_file):
    assert benchmark(cv2.imread, str(photo_file)).shape == (3000, 4000, 3)
