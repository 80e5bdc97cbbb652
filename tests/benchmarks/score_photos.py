"""Scores readings against truth: ``python tests/benchmarks/score_photos.py FOLDER`` (not a test).

FOLDER holds NNNN.jpg with NNNN.json beside them, as ``python -m sample_images.render.training`` writes them.
Wet and invalid photos are left out of the colour figures; refusals are counted by reason.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from multiprocessing import Pool
from pathlib import Path

import cv2
import numpy as np
from skimage.color import deltaE_ciede2000

from strandgauge.errors import StrandgaugeError
from strandgauge.hair.levels import load_ladder
from strandgauge.reading.pipeline import read_photo


def score(path: Path):
    """Return rows of (as lit, its truth, diffuse, its truth, sd, level, level sd) and the outcome."""
    cv2.setNumThreads(1)
    truth = json.loads(path.read_text())
    try:
        reading = read_photo(path.with_suffix(".jpg"))
    except StrandgaugeError as error:
        return [], (truth["refuse_because"], error.code)
    if not truth["valid"] or truth["wet"]:
        return [], (truth["refuse_because"], "read")
    return [
        (z.lab_as_lit, t["lab_as_lit"], z.lab, t["lab_diffuse"], z.lab_sd, (z.level, z.level_sd, 0.0))
        for z in reading.zones
        if (t := truth["zones"].get(z.name))
    ], (None, "read")


def main(folder: str) -> None:
    with Pool() as pool:
        scored = pool.map(score, sorted(Path(folder).glob("*.json")), chunksize=8)
    rows = np.array([row for part, _ in scored for row in part])
    lit, lit_true, lab, lab_true, sd, level = (rows[:, k] for k in range(6))
    off_lit, off = deltaE_ciede2000(lit, lit_true), deltaE_ciede2000(lab, lab_true)
    off_level = np.abs(level[:, 0] - load_ladder().level_of(lab_true))
    inside = np.abs(lab - lab_true) <= 1.96 * sd
    for name, d in (
        ("as lit", off_lit),
        ("diffuse", off),
        ("as lit taken for diffuse", deltaE_ciede2000(lit_true, lab_true)),
    ):
        print(f"{name:26s} mean {d.mean():.2f}  95 % {np.percentile(d, 95):.2f}  max {d.max():.2f}")
    print(f"level off by mean {off_level.mean():.2f}, max {off_level.max():.2f}; of {len(rows)} zones")
    held = (off_level <= 1.96 * level[:, 1]).mean()
    print(
        f"95 % interval holds: level {held:.3f}, L* a* b* {inside.mean(0).round(3)}, all {inside.all(1).mean():.3f}"
    )
    print(f"median half-width of level {1.96 * np.median(level[:, 1]):.2f}")
    for (wanted, got), count in sorted(Counter(outcome for _, outcome in scored).items(), key=str):
        print(f"{wanted or 'good'!s:>12} -> {got}: {count}")


if __name__ == "__main__":
    main(sys.argv[1])
