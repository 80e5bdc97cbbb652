"""What is told from hair, and how much hair is taken for something else, on rendered photos.

    python tests/benchmarks/score_hair.py FOLDER... [--photos N] [--drawn N] [--seed N]

Each photo that should be read is read as it is; then, in the flat and corrected window of some of them, cloth with
ribs, wood, something lying on the strand, and two strands side by side are drawn, from those photos' own paper and
hair, and judged. Printed are the outcomes: a refusal's code and fault, the notes that ask to look, or ``read``.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np

from strandgauge.colour.picture import lab_of_picture
from strandgauge.errors import StrandgaugeError
from strandgauge.kit import shipped
from strandgauge.light.region import Region
from strandgauge.reading.pipeline import Measurement, hair_doubts
from strandgauge.strand.fibres import fibres
from strandgauge.strand.isolate import isolate_strand
from strandgauge.strand.lines import lines
from strandgauge.strand.zones import strand_coordinates

KIT = shipped()
PAPER = KIT.card.paper or (95.0, 0.0, 0.0)
PPM = 4.0
TINTS = [(0.45, 0.33, 0.17), (0.12, 0.07, 0.035), (0.35, 0.35, 0.36), (0.3, 0.13, 0.05), (0.04, 0.028, 0.02)]
FINE = 10
"""Places a millimetre at which stuffs are drawn."""


def noise(rng: np.random.Generator, shape: tuple[int, int], along: float, across: float) -> np.ndarray:
    made = cv2.GaussianBlur(rng.standard_normal(shape).astype(np.float32), (0, 0), along, sigmaY=across)
    return made / made.std()


def paper_of(m: Measurement) -> np.ndarray:
    away = cv2.dilate(m.strand.hair.view(np.uint8), np.ones((17, 17), np.uint8)) == 0
    return np.median(m.region.linear[away], axis=0)


def ribbed(rng: np.random.Generator, period: float) -> np.ndarray:
    shape = (22 * FINE, 100 * FINE)
    y = np.mgrid[0 : shape[0], 0 : shape[1]][0] / FINE
    wave = np.abs(np.sin(np.pi * (y / period + 0.12 * noise(rng, shape, 200, 30)))) ** 0.7
    return 0.45 + rng.uniform(0.3, 0.75) * wave + 0.08 * noise(rng, shape, 1.5, 1.5)


def wooden(rng: np.random.Generator) -> np.ndarray:
    shape = (22 * FINE, 100 * FINE)
    y = np.mgrid[0 : shape[0], 0 : shape[1]][0] / FINE
    rings = np.sin(2 * np.pi * (y / rng.uniform(1.8, 4) + rng.uniform(0.5, 1.2) * noise(rng, shape, 250, 40)))
    grain = rng.uniform(0.04, 0.08) * noise(rng, shape, 60, 1.2) + 0.05 * noise(rng, shape, 12, 0.8)
    return 0.85 + rng.uniform(0.05, 0.12) * rings + grain


def strip(rng: np.random.Generator, m: Measurement, texture: np.ndarray, wobble_mm: float) -> np.ndarray:
    """Return the window with a strip of some stuff in place of the strand."""
    height, width = m.region.linear.shape[:2]
    small = cv2.resize(
        texture.astype(np.float32), None, fx=PPM / FINE, fy=PPM / FINE, interpolation=cv2.INTER_AREA
    )
    full = np.zeros((height, width), np.float32)
    top, left = (height - small.shape[0]) // 2, (width - small.shape[1]) // 2
    full[top : top + small.shape[0], left : left + small.shape[1]] = cv2.GaussianBlur(small, (0, 0), 0.6)
    half = rng.uniform(4.5, 10) * PPM
    upper, lower = (
        height / 2 + side * half + wobble_mm * PPM * noise(rng, (1, width), 10, 1)[0] for side in (-1, 1)
    )
    rows = np.arange(height)[:, None]
    inside = np.clip(rows - upper + 0.5, 0, 1) * np.clip(lower - rows + 0.5, 0, 1)
    inside *= np.abs(np.arange(width) - width / 2) < 44 * PPM
    mask = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 0.8)[..., None]
    shade = 1 - 0.15 * cv2.GaussianBlur(mask, (0, 0), 5)[..., None]
    stuff = np.clip(full, 0.05, 3)[..., None] * TINTS[rng.integers(len(TINTS))]
    return paper_of(m) * shade * (1 - mask) + stuff * mask


def covered(rng: np.random.Generator, m: Measurement, light: float) -> np.ndarray:
    """Return the window with a flat dark rectangle of 7 to 14 by 6 to 12 mm lying on the strand."""
    strand = m.strand
    at = round(strand.first + rng.uniform(0.15, 0.85) * (strand.last - strand.first))
    middle = strand.centre[at] + rng.uniform(-0.3, 0.3) * strand.half_width[at]
    size = rng.uniform(7, 14) * PPM, rng.uniform(6, 12) * PPM
    corners = cv2.boxPoints(((at, middle), size, rng.uniform(-20, 20)))
    mask = cv2.fillConvexPoly(
        np.zeros(m.region.linear.shape[:2], np.float32), np.int32(np.round(corners)), 1.0
    )
    mask = cv2.GaussianBlur(mask, (0, 0), 0.8)[..., None]
    return m.region.linear * (1 - mask) + light * mask


def beside(
    rng: np.random.Generator, one: Measurement, other: Measurement, gap: float, shade: float
) -> np.ndarray:
    """Return the window with two strands, `gap` mm apart where they are nearest; what is between them is shaded."""
    height, width = one.region.linear.shape[:2]
    across = sum(2 * np.median(m.strand.half_width) for m in (one, other)) / PPM + max(gap, 0)
    scale, rows = min(1.0, 26.0 / across), np.arange(height)[:, None]
    laid = []
    for m in (one, other):
        axis = cv2.GaussianBlur(m.strand.centre[None].astype(np.float32), (0, 0), 12)[0]
        x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
        y = ((y - height / 2) / scale + axis).astype(np.float32)
        wide = cv2.dilate(m.strand.hair.view(np.uint8), np.ones((3, 3), np.uint8)).astype(np.float32)
        light = cv2.remap(m.region.linear, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        laid.append((light, cv2.GaussianBlur(cv2.remap(wide, x, y, cv2.INTER_LINEAR), (0, 0), 0.7)))
    inside = [mask > 0.5 for _, mask in laid]
    both = inside[0].any(0) & inside[1].any(0)
    lowest, highest = height - 1 - inside[0][::-1].argmax(0), inside[1].argmax(0)
    apart = float(np.percentile((lowest - highest)[both], 90)) + gap * PPM
    up = round(-apart / 2)
    for at, rise in enumerate((up, up + round(apart))):
        move = np.array([[1, 0, 0], [0, 1, rise]], np.float32)
        light, mask = (cv2.warpAffine(part, move, (width, height)) for part in laid[at])
        laid[at] = light, mask[..., None]
    (a, on_a), (b, on_b) = laid
    near = np.minimum(*(cv2.GaussianBlur(mask, (0, 0), 5) for mask in (on_a, on_b)))[..., None]
    around = cv2.GaussianBlur(np.clip(on_a + on_b, 0, 1), (0, 0), 4)[..., None]
    seen = paper_of(one) * (1 - 0.25 * around) * (1 - shade * np.clip(2.2 * near, 0, 1)) + 0 * rows[..., None]
    seen = seen * (1 - on_a) + a * on_a
    return seen * (1 - on_b) + b * on_b


def judged(rng: np.random.Generator, linear: np.ndarray, clipped: np.ndarray) -> str:
    """Return what is said of a window in linear light, seen with a little noise."""
    grain = cv2.GaussianBlur(rng.standard_normal(linear.shape).astype(np.float32), (0, 0), 0.5)
    root = np.cbrt(np.maximum(linear, 0)) + 0.004 * grain / grain.std()
    linear = (np.maximum(root, 0) ** 3).astype(np.float32)
    region = Region(linear, lab_of_picture(linear), clipped, PPM, np.zeros((2, 3)))
    try:
        strand = isolate_strand(region, PAPER, 2.0)
        at = strand_coordinates(strand, PPM)
        notes = hair_doubts(fibres(region, strand, at), lines(region, strand, at, PAPER), PPM)
    except StrandgaugeError as error:
        return told(error)
    return ", ".join(f"{note.code}?" for note in notes) or "read"


def told(error: StrandgaugeError) -> str:
    return ": ".join([error.code, *(str(value) for name, value in error.facts if name == "fault")])


def drawn(
    rng: np.random.Generator, strands: list[Measurement]
) -> Iterator[tuple[str, np.ndarray, np.ndarray]]:
    """Yield each stuff once: its name, the window, and what is clipped there."""
    m, other = (strands[at] for at in rng.choice(len(strands), 2, replace=False))
    none = np.zeros_like(m.region.clipped)
    for period in (0.8, 0.9, 1.0, 1.2, 1.5):
        yield (
            f"ribs of {period} mm along",
            strip(rng, m, ribbed(rng, period), rng.choice([0, 0.1, 0.3])),
            none,
        )
    for name, wobble in (("cut straight", 0.0), ("its sides uneven by 0.3 mm", 0.3)):
        yield f"wood along, {name}", strip(rng, m, wooden(rng), wobble), none
    for name, light in (("black", 0.012), ("dark grey", 0.05)):
        yield f"a {name} sticker", covered(rng, m, light), m.region.clipped
    for gap in (-1.0, -0.3, 0.0, 0.5, 1.0, 2.0):
        for name, shade in (("lit", 0.0), ("in shade", 0.5)):
            yield f"two strands, {gap:+.1f} mm apart, {name} between", beside(rng, m, other, gap, shade), none


def measured(path: Path) -> tuple[str, Measurement | None]:
    try:
        m = KIT.measure(path.with_suffix(".jpg"))
    except StrandgaugeError as error:
        return told(error), None
    asked: Callable[[str], bool] = {"no-direction", "even-ribs", "paper-between", "as-cut"}.__contains__
    return ", ".join(f"{note.code}?" for note in m.reading.notes if asked(note.code)) or "read", m


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path, metavar="FOLDER")
    parser.add_argument("--photos", type=int, default=100)
    parser.add_argument("--drawn", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng = np.random.default_rng(asked.seed)
    paths = sorted(path for folder in asked.folders for path in folder.glob("[0-9]*.json"))
    paths = [path for path in paths if json.loads(path.read_text())["valid"]]
    kept, outcomes = [], Counter[str]()
    for at in rng.permutation(len(paths))[: asked.photos]:
        outcome, m = measured(paths[at])
        outcomes[outcome] += 1
        # A strand of usual shape, so that two of them lie side by side.
        if m is not None and json.loads(paths[at].read_text())["families"]["shape"] in (
            "thin",
            "flat",
            "round",
        ):
            kept.append(m)
    print(f"hair, {sum(outcomes.values())} photos: {dict(outcomes)}")
    seen: dict[str, Counter[str]] = {}
    for _ in range(asked.drawn):
        for name, linear, clipped in drawn(rng, kept):
            seen.setdefault(name, Counter())[judged(rng, linear, clipped)] += 1
    for name, counts in seen.items():
        print(f"{name}: {dict(counts)}")


if __name__ == "__main__":
    main()
