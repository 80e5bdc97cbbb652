"""What is said of strands that something lies on or under, drawn over the sample photos in their own perspective.

    python tests/benchmarks/score_covered.py [--seed N]

For each sample that is read a finger across the strand and at one end, clips of 6 to 12 mm, foil and towels between
card and strand, and no strand at all are drawn, and the photo is read. Printed are the outcomes, and by how much
colour as lit moved where it was still read.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from score_hair import SKIN, told
from stuffs import noise

from strandgauge.colour.cielab import delta_e_2000
from strandgauge.colour.srgb import srgb_decode, srgb_encode
from strandgauge.errors import StrandgaugeError
from strandgauge.kit import shipped
from strandgauge.reading.pipeline import Measurement

KIT = shipped()
SAMPLES = Path(__file__).parents[2] / "sample_images"
FINE = 8
"""Places a millimetre at which things are drawn on the card."""
SHAPE = tuple(round(side * FINE) for side in KIT.card.size[::-1])
Y, X = (part.astype(np.float32) / FINE for part in np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]])
LEFT, TOP, WIDTH, HEIGHT = KIT.card.window.box if KIT.card.window else (0.0, 0.0, 0.0, 0.0)
MIDDLE = TOP + HEIGHT / 2
CLIPS = {
    "black": (0.02, 0.02, 0.02),
    "silver": (0.5, 0.5, 0.52),
    "pink": (0.8, 0.25, 0.4),
    "mottled": (0.25, 0.12, 0.05),
}
TOWELS = {
    "white": (0.8, 0.8, 0.78),
    "beige": (0.6, 0.5, 0.36),
    "red": (0.5, 0.06, 0.06),
    "blue": (0.1, 0.2, 0.5),
    "black": (0.04, 0.04, 0.045),
}
Random = np.random.Generator
Drawing = tuple[np.ndarray, np.ndarray]
"""(H, W, 3) reflectance and (H, W) where it is, on the card."""


def strand_of(m: Measurement) -> np.ndarray:
    to_card = FINE * m.region.to_card
    hair = cv2.dilate(m.strand.hair.view(np.uint8), np.ones((3, 3), np.uint8)).astype(np.float32)
    return cv2.warpAffine(hair, to_card, SHAPE[::-1]) > 0.5


def finger(rng: Random, *, across: bool) -> Drawing:
    half, way = rng.uniform(7, 9), rng.choice([-1, 1])
    if across:
        aside = X - LEFT - WIDTH * rng.uniform(0.2, 0.8) + 0.15 * (Y - MIDDLE)
        ahead = (Y - MIDDLE) * way - rng.uniform(-2, 6)
    else:
        aside = Y - MIDDLE - rng.uniform(-3, 3)
        ahead = (X - LEFT - WIDTH / 2) * way - WIDTH / 2 + rng.uniform(8, 24)
        ahead = -ahead
    inside = np.hypot(np.maximum(ahead, 0), aside) < half
    shade = 0.5 + 0.5 * np.sqrt(np.clip(1 - (aside / half) ** 2, 0, 1))
    light = shade * (1 + 0.02 * noise(rng, SHAPE, 2, 2) + 0.03 * noise(rng, SHAPE, 12, 12))
    nail = (np.hypot((ahead + 3) / 6.0, aside / 5.5) < 1)[..., None]
    skin = np.array(SKIN[rng.integers(len(SKIN))])
    return np.where(nail, np.minimum(1.25 * skin + 0.03, 1), skin) * light[..., None], inside


def clip(rng: Random, name: str) -> Drawing:
    half = rng.uniform(3, 6)
    off = X - LEFT - WIDTH * rng.uniform(0.2, 0.8)
    inside = (np.abs(off) < half) & (np.abs(Y - MIDDLE) < rng.uniform(10, 16))
    shade = 0.7 + 0.3 * np.sqrt(np.clip(1 - (off / half) ** 2, 0, 1))
    if name in ("silver", "black"):
        shade = shade + 0.9 * np.exp(-(((off - 1) / 0.5) ** 2))
    grain = 0.3 * noise(rng, SHAPE, 10, 10) if name == "mottled" else 0.01 * noise(rng, SHAPE, 2, 2)
    return np.clip(shade * (1 + grain), 0.1, 3)[..., None] * CLIPS[name], inside


def below(m: Measurement, light: np.ndarray, tint: tuple[float, ...], beyond_mm: float) -> Drawing:
    inside = (np.abs(X - LEFT - WIDTH / 2) < WIDTH / 2 + beyond_mm) & (
        np.abs(Y - MIDDLE) < HEIGHT / 2 + beyond_mm
    )
    return np.clip(light, 0.1, 2.2)[..., None] * tint, inside & ~strand_of(m)


def foil(rng: Random, m: Measurement) -> Drawing:
    down, right = np.gradient(noise(rng, SHAPE, 14, 14))
    light = np.exp(6 * (down + 0.7 * right))
    return below(m, np.clip(light / np.median(light), 0.3, 2.2), (0.45, 0.45, 0.46), 2.0)


def towel(rng: Random, m: Measurement, name: str) -> Drawing:
    x, y = (np.abs(np.sin(np.pi * at / 1.1 + 0.5 * noise(rng, SHAPE, 6, 6))) for at in (X, Y))
    return below(m, 0.75 + 0.25 * x * y + 0.12 * noise(rng, SHAPE, 4, 4), TOWELS[name], 1.0)


def bare(m: Measurement) -> Drawing:
    near = cv2.dilate(strand_of(m).view(np.uint8), np.ones((25, 25), np.uint8))
    return np.full((*SHAPE, 3), 0.85), near > 0


def photographed(rng: Random, file: Path, m: Measurement, drawing: Drawing) -> bytes:
    """Return the photo with a drawing on the card, in the light that falls on the window's paper."""
    linear = srgb_decode(cv2.imread(str(file))[..., ::-1] / 255).astype(np.float32)
    size = linear.shape[1::-1]
    scale = size[0] / m.card.photo.pixels.shape[1]
    view = np.diag([scale, scale, 1]) @ m.card.view.homography @ np.diag([1 / FINE, 1 / FINE, 1])
    near = np.zeros(SHAPE, np.uint8)
    near[
        round((TOP + 2) * FINE) : round((TOP + HEIGHT - 2) * FINE),
        round(LEFT * FINE) : round((LEFT + WIDTH) * FINE),
    ] = 1
    window = linear[cv2.warpPerspective(near, view, size) > 0]
    bright = window.sum(1)
    paper = np.median(window[bright > np.quantile(bright, 0.85)], axis=0) / 0.85
    colour, on = (cv2.warpPerspective(part.astype(np.float32), view, size) for part in drawing)
    shadow = 1 - 0.3 * cv2.GaussianBlur(on, (0, 0), 8)[..., None]
    seen = linear * shadow * (1 - on[..., None]) + colour * paper * on[..., None]
    seen = srgb_encode(np.clip(seen, 0, 1)) + 0.003 * rng.standard_normal(seen.shape)
    codes = np.clip(255 * seen[..., ::-1], 0, 255).round().astype(np.uint8)
    return cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, 93])[1].tobytes()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    rng = np.random.default_rng(parser.parse_args().seed)
    things: dict[str, Callable[[Measurement], Drawing]] = {
        "a finger across": lambda m: finger(rng, across=True),
        "a finger at one end": lambda m: finger(rng, across=False),
        **{f"a {name} clip": lambda m, name=name: clip(rng, name) for name in CLIPS},
        "foil below": lambda m: foil(rng, m),
        **{f"a {name} towel below": lambda m, name=name: towel(rng, m, name) for name in TOWELS},
        "no strand": bare,
    }
    read: list[tuple[Path, Measurement]] = []
    for file in sorted(SAMPLES.glob("*.jpg")):
        try:
            read.append((file, KIT.measure(file)))
        except StrandgaugeError as error:
            print(f"{file.name}: {told(error)}, left out")
    for name, draw in things.items():
        outcomes, moved = Counter[str](), []
        for file, m in read:
            try:
                again = KIT.measure(photographed(rng, file, m, draw(m)))
            except StrandgaugeError as error:
                outcomes[told(error)] += 1
                continue
            outcomes["read"] += 1
            moved.append(float(delta_e_2000(m.reading.overall.lab_as_lit, again.reading.overall.lab_as_lit)))
        print(f"{name}: {dict(outcomes)}" + (f", as lit moved by {max(moved):.1f} at most" if moved else ""))


if __name__ == "__main__":
    main()
