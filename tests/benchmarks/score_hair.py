"""What is told from hair, and how much hair is taken for something else, on rendered photos.

    python tests/benchmarks/score_hair.py FOLDER... [--photos N] [--drawn N] [--seed N]

Each photo that should be read is read as it is; then, in the flat and corrected window of some of them, stuffs that
are no strand (`stuffs.py`), something lying on the strand, and two strands side by side are drawn, from those photos'
own paper and hair, and judged. Printed are the outcomes: a refusal's code and fault, the notes that ask to look, or
``read``.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np
from stuffs import FINE, STUFFS

from strandgauge.colour.picture import lab_of_picture
from strandgauge.errors import StrandgaugeError
from strandgauge.kit import shipped
from strandgauge.light.region import Region
from strandgauge.reading.pipeline import Measurement, hair_doubts
from strandgauge.strand.fibres import fibres
from strandgauge.strand.isolate import isolate_strand
from strandgauge.strand.lines import lines
from strandgauge.strand.zones import measure_zones, strand_coordinates

KIT = shipped()
PAPER = KIT.card.paper or (95.0, 0.0, 0.0)
PPM = 4.0
ASKED = {"no-direction", "unbroken", "even-ribs", "paper-between", "as-cut"}
"""Notes that ask to look whether it is hair."""
TINTS = [(0.45, 0.33, 0.17), (0.12, 0.07, 0.035), (0.35, 0.35, 0.36), (0.3, 0.13, 0.05), (0.04, 0.028, 0.02)]
SKIN = [(0.62, 0.4, 0.3), (0.45, 0.26, 0.17), (0.15, 0.08, 0.05)]


def paper_of(m: Measurement) -> np.ndarray:
    away = cv2.dilate(m.strand.hair.view(np.uint8), np.ones((17, 17), np.uint8)) == 0
    return np.median(m.region.linear[away], axis=0)


def laid(
    rng: np.random.Generator,
    m: Measurement,
    light: np.ndarray,
    inside: np.ndarray,
    tints: list[tuple[float, ...]],
) -> np.ndarray:
    """Return the window with some stuff in place of the strand."""
    height, width = m.region.linear.shape[:2]
    top, left = (round((width_mm * PPM - side) / 2) for width_mm, side in ((26, height), (100, width)))
    at = np.array([[PPM / FINE, 0, -left], [0, PPM / FINE, -top]], np.float32)

    def seen(part: np.ndarray, blur: float) -> np.ndarray:
        soft = cv2.GaussianBlur(part.astype(np.float32), (0, 0), 0.4 * FINE / PPM)
        return cv2.GaussianBlur(cv2.warpAffine(soft, at, (width, height)), (0, 0), blur)

    mask = seen(inside, 0.8)[..., None]
    stuff = np.clip(seen(np.where(inside, light, light[inside].mean()), 0.6), 0.05, 3)[..., None]
    shade = 1 - 0.15 * cv2.GaussianBlur(mask, (0, 0), 5)[..., None]
    return paper_of(m) * shade * (1 - mask) + stuff * tints[rng.integers(len(tints))] * mask


def printed(m: Measurement) -> np.ndarray:
    """Return the window with a picture of hair in it, cut straight, its dots too fine for so few pixels."""
    height, width = m.region.linear.shape[:2]
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    middle = np.polyval(np.polyfit(x[0], m.strand.centre, 1), x[0])
    inside = (np.abs(y - middle) < 0.6 * np.median(m.strand.half_width)) & (np.abs(x - width / 2) < 38 * PPM)
    mask = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 0.8)[..., None]
    shade = 1 - 0.1 * cv2.GaussianBlur(mask, (0, 0), 5)[..., None]
    return paper_of(m) * shade * (1 - mask) + m.region.linear * mask


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
        notes = hair_doubts(fibres(region, strand), lines(region, strand, at, PAPER), PPM)
        measure_zones(region, strand, at)
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
    for name, draw in STUFFS.items():
        yield name, laid(rng, m, *draw(rng), SKIN if name == "a finger" else TINTS), none
    yield "a printed picture of hair", printed(m), none
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
    asked: Callable[[str], bool] = ASKED.__contains__
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
