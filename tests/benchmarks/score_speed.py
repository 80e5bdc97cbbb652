"""Measures a warm reading beside a plain decode: ``python tests/benchmarks/score_speed.py [PHOTO...]`` (not a test).

Printed is processor time of one thread, the least of many repeats, so that other work on the machine counts little.
Without photos it takes the 12 megapixel sample, and the sample `uneven` enlarged with a sensor's noise.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from strandgauge.files.threads import one_thread

one_thread()  # before the libraries load, as every command does

import cv2  # noqa: E402
import numpy as np  # noqa: E402

from strandgauge.kit import shipped  # noqa: E402

SAMPLES = Path(__file__).parents[2] / "sample_images"


def noisy(where: Path, width: int) -> Path:
    """Write the sample as JPEG of that width, 4 : 3, as a camera would: with noise in every pixel."""
    size = (width, width * 3 // 4)
    large = cv2.resize(cv2.imread(str(SAMPLES / "uneven.jpg")), size, interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(7).normal(0, 5, (*large.shape[:2], 1))
    file = where / f"noisy-{size[0] * size[1] / 1e6:.0f}-megapixels.jpg"
    cv2.imwrite(str(file), np.clip(large + noise, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 92])
    return file


def least_ms(work: Callable[[], object], repeats: int) -> float:
    """Return the least processor time of the work, ms, once it has been done."""
    work()
    spent = []
    for _ in range(repeats):
        began = time.process_time()
        work()
        spent.append(time.process_time() - began)
    return 1000.0 * min(spent)


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("photos", nargs="*", type=Path)
    options.add_argument("--repeats", type=int, default=40)
    given = options.parse_args()
    cv2.setNumThreads(1)
    kit = shipped()
    with tempfile.TemporaryDirectory() as name:
        made = [noisy(Path(name), width) for width in (1632, 2000, 2304, 4000)]
        print("photo                        read ms  decode ms  ratio")
        for photo in given.photos or [SAMPLES / "twelve-megapixels.jpg", *made]:
            read = least_ms(lambda photo=photo: kit.measure(photo), given.repeats)
            decode = least_ms(lambda photo=photo: cv2.imread(str(photo)), given.repeats)
            print(f"{photo.name:28} {read:7.1f} {decode:10.1f} {read / decode:6.2f}", flush=True)


if __name__ == "__main__":
    main()
