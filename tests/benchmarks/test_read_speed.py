"""What a reading costs in a warm process beside a plain full-size decode, and how soon help comes.

``pytest tests/benchmarks --benchmark-enable`` prints the times; without it each runs once, as a test.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from strandgauge.kit import shipped
from strandphoto import jpeg, strand_photo


@pytest.fixture(scope="module")
def photo_file(tmp_path_factory, card, sheet) -> Path:
    """Return a 4000 x 3000 JPEG of a strand on the card, with a sensor's noise at full size."""
    large = cv2.resize(strand_photo(card, sheet), (4000, 3000), interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(7).normal(0, 6, (3000, 4000, 1)).astype(np.int16)
    file = tmp_path_factory.mktemp("speed") / "strand.jpg"
    file.write_bytes(jpeg(np.clip(large + noise, 0, 255).astype(np.uint8)))
    return file


@pytest.mark.benchmark(group="read a 12 MP JPEG")
def test_read_photo(benchmark, photo_file):
    assert benchmark(shipped().measure, photo_file).reading.overall.level > 1


@pytest.mark.benchmark(group="read a 12 MP JPEG")
def test_plain_full_size_read(benchmark, photo_file):
    assert benchmark(cv2.imread, str(photo_file)).shape == (3000, 4000, 3)


@pytest.mark.benchmark(group="start")
def test_help(benchmark):
    command = [sys.executable, "-c", "from strandgauge.cli import main; main()", "--help"]
    done = benchmark(subprocess.run, command, capture_output=True)
    assert done.returncode == 0
    assert b"read" in done.stdout
