"""Stuffs that are no loose strand of hair, drawn flat: their light and shade, and where they are.

Each function returns light (H, W), about 1 on the usual place, and the outline (H, W) bool, at ``FINE`` places a
millimetre, of something 88 mm long that lies along the middle of a window of 100 by 26 mm. Sizes are those of things
in a salon or a household, from memory.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

FINE = 10
SHAPE = (26 * FINE, 100 * FINE)
Y, X = (part.astype(np.float32) / FINE for part in np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]])
Y -= 13.0
"""Millimetres from the middle line, and from the left."""
Drawing = tuple[np.ndarray, np.ndarray]
Random = np.random.Generator


def noise(rng: Random, shape: tuple[int, int], along: float, across: float) -> np.ndarray:
    made = cv2.GaussianBlur(rng.standard_normal(shape).astype(np.float32), (0, 0), along, sigmaY=across)
    return made / made.std()


def wavering(rng: Random, mm: float, every: float) -> np.ndarray:
    """Return (1, W) millimetres by which a line wavers, standard deviation ``mm``."""
    return mm * noise(rng, (1, SHAPE[1]), every * FINE, 1)


def between(upper: np.ndarray | float, lower: np.ndarray | float) -> np.ndarray:
    return (upper < Y) & (lower > Y) & (np.abs(X - 50) < 44)


def round_over(half: float | np.ndarray) -> np.ndarray:
    """Return the shade of something round of this half width, lit from above."""
    return 0.45 + 0.55 * np.sqrt(np.clip(1 - (Y / half) ** 2, 0, 1))


def strip(rng: Random, light: np.ndarray, uneven_mm: float) -> Drawing:
    half = rng.uniform(4.5, 10)
    return light, between(
        -half + wavering(rng, uneven_mm, 1.0),
        half + wavering(rng, uneven_mm, 1.0),
    )


def ribs(period: float) -> Callable[[Random], Drawing]:
    def draw(rng: Random) -> Drawing:
        wave = np.abs(np.sin(np.pi * (Y / period + 0.12 * noise(rng, SHAPE, 200, 30)))) ** 0.7
        light = 0.45 + rng.uniform(0.3, 0.75) * wave + 0.08 * noise(rng, SHAPE, 1.5, 1.5)
        return strip(rng, light, rng.choice([0, 0.1, 0.3]))

    return draw


def wood(uneven_mm: float) -> Callable[[Random], Drawing]:
    def draw(rng: Random) -> Drawing:
        bend = rng.uniform(0.5, 1.2) * noise(rng, SHAPE, 250, 40)
        rings = np.sin(2 * np.pi * (Y / rng.uniform(1.8, 4) + bend))
        grain = rng.uniform(0.04, 0.08) * noise(rng, SHAPE, 60, 1.2) + 0.05 * noise(rng, SHAPE, 12, 0.8)
        return strip(rng, 0.85 + rng.uniform(0.05, 0.12) * rings + grain, uneven_mm)

    return draw


def cord(rng: Random) -> Drawing:
    """Two to four plies turned about each other."""
    half, plies, turn = rng.uniform(3, 6), rng.integers(2, 5), rng.uniform(1.5, 3)
    angle = np.arcsin(np.clip(Y / half, -1, 1))
    ply = (plies * (angle / (2 * np.pi) + X / (turn * 2 * half)) + 0.05 * noise(rng, SHAPE, 60, 60)) % 1
    light = round_over(half) * (0.4 + 0.6 * np.sqrt(np.sin(np.pi * ply)))
    fuzz = 0.06 * noise(rng, SHAPE, 2, 1)
    bulge = half * (1 - 0.06 * np.abs(np.cos(np.pi * plies * X / (turn * 2 * half))))
    return light + fuzz, between(-bulge + wavering(rng, 0.1, 0.5), bulge + wavering(rng, 0.1, 0.5))


def yarns(rng: Random) -> Drawing:
    """Yarns of 1 to 2 mm side by side, each turned, with fuzz."""
    thick, half = rng.uniform(1.0, 2.0), rng.uniform(4, 8)
    lane = Y / thick + 0.25 * noise(rng, SHAPE, 120, 8)
    inside = lane % 1
    turned = (X / rng.uniform(1.5, 3) + inside + 7.3 * np.floor(lane)) % 1
    light = (0.35 + 0.65 * np.sqrt(np.sin(np.pi * inside))) * (0.75 + 0.25 * np.sin(np.pi * turned))
    light = light + 0.06 * noise(rng, SHAPE, 2, 1)
    return light, between(-half + wavering(rng, 0.3, 3), half + wavering(rng, 0.3, 3))


def satin(rng: Random) -> Drawing:
    """A ribbon: gloss that comes and goes along it where it is not quite flat, a weave too fine to be seen."""
    half = rng.uniform(4.5, 10)
    gloss = np.exp(rng.uniform(0.15, 0.4) * (noise(rng, SHAPE, 80, 150) + 0.3 * noise(rng, SHAPE, 40, 3)))
    light = 0.8 * gloss + rng.uniform(0.01, 0.03) * noise(rng, SHAPE, 30, 0.7)
    bow = wavering(rng, 1.0, 25)
    return light, between(bow - half, bow + half)


def plait(rng: Random) -> Drawing:
    """Three strands of hair over each other in turn."""
    wide, length = rng.uniform(3.5, 5.5), rng.uniform(14, 24)
    light, inside = np.zeros(SHAPE, np.float32), np.zeros(SHAPE, bool)
    top = np.full(SHAPE, -9.0, np.float32)
    for k in range(3):
        phase = 2 * np.pi * (X / length + k / 3)
        middle, height = wide * np.sin(phase), np.cos(2 * phase)
        off = (Y - middle) / (0.75 * wide)
        fibres = noise(rng, SHAPE, 40, 1.2)
        slope = Y - middle
        rows = np.clip((slope + 13) * FINE, 0, SHAPE[0] - 1).astype(np.float32)
        bent = cv2.remap(fibres, (X * FINE).astype(np.float32), rows, cv2.INTER_LINEAR)
        shade = (0.5 + 0.5 * np.sqrt(np.clip(1 - off * off, 0, 1))) * (0.8 + 0.2 * height)
        here = (np.abs(off) < 1) & (height > top)
        light = np.where(here, shade * (1 + 0.15 * bent), light)
        top, inside = np.where(here, height, top), inside | here
    return light, inside & (np.abs(X - 50) < 44)


def knit(rng: Random) -> Drawing:
    """Stitches like a V, in rows and columns."""
    wide = rng.uniform(2.0, 4.5)
    tall = 0.75 * wide
    lane = Y / wide + 0.05 * noise(rng, SHAPE, 60, 60)
    v = np.abs(lane % 1 - 0.5)
    thread = ((X + 1.4 * wide * v) / tall + 0.05 * noise(rng, SHAPE, 60, 60)) % 1
    light = (0.35 + 0.65 * np.sqrt(np.sin(np.pi * thread))) * (0.6 + 0.4 * np.sin(2 * np.pi * v) ** 2)
    return strip(rng, light + 0.05 * noise(rng, SHAPE, 2, 2), 0.3)


def handle(rng: Random) -> Drawing:
    """The lacquered handle of a brush: round, tapered, with a line of gloss."""
    half = np.interp(X[:1], [6, 50, 94], np.sort(rng.uniform(2.8, 6, 3)))
    at = rng.uniform(-0.5, 0.2)
    gloss = 1.2 * np.exp(-(((Y / half - at) / 0.08) ** 2))
    return round_over(half) + gloss + 0.01 * noise(rng, SHAPE, 20, 2), between(-half, half)


def felt(rng: Random) -> Drawing:
    fibres = sum(
        cv2.warpAffine(
            noise(rng, SHAPE, 12, 0.8),
            cv2.getRotationMatrix2D((SHAPE[1] / 2, SHAPE[0] / 2), turn, 1),
            SHAPE[::-1],
            borderMode=cv2.BORDER_REFLECT,
        )
        for turn in range(0, 180, 30)
    )
    return strip(rng, 0.9 + 0.05 * fibres, 0.2)


def fur(rng: Random) -> Drawing:
    """Short fibres that lie more or less along, in tufts."""
    lean = cv2.GaussianBlur(noise(rng, SHAPE, 30, 25), (0, 0), 8) * 14
    rows = ((Y + 13) * FINE + lean).astype(np.float32)
    made = noise(rng, SHAPE, rng.uniform(15, 35), 1.5)
    made = cv2.remap(
        made, (X * FINE).astype(np.float32), rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
    )
    tufts = noise(rng, SHAPE, 35, 15)
    return strip(rng, 0.85 + 0.18 * made + 0.12 * tufts, 0.8)


def comb(rng: Random) -> Drawing:
    """A comb lying along: a back, and teeth across with paper between them."""
    period, half = rng.uniform(1.2, 3), rng.uniform(6, 11)
    teeth = (X / period) % 1 < rng.uniform(0.5, 0.7)
    back = half - 0.35 * 2 * half > Y
    inside = between(-half, half) & ((-half + 0.35 * 2 * half > Y) | teeth)
    return 0.8 + 0.1 * back + 0.02 * noise(rng, SHAPE, 2, 2), inside


def pencil(rng: Random) -> Drawing:
    """Strokes along, some over each other, paper's grain in them."""
    half, light = rng.uniform(4, 8), np.ones(SHAPE, np.float32)
    inside = np.zeros(SHAPE, np.float32)
    for _ in range(rng.integers(120, 260)):
        x, y = rng.uniform(6, 70), 13 + rng.uniform(-half, half)
        ends = (x, y), (x + rng.uniform(10, 40), y + rng.normal(0, 0.8))
        points = np.round(np.multiply(ends, FINE)).astype(int)
        stroke = cv2.line(np.zeros(SHAPE, np.float32), *map(tuple, points.tolist()), 1.0, rng.integers(4, 9))
        inside = np.maximum(inside, stroke)
        light = light * (1 - 0.25 * stroke)
    grain = noise(rng, SHAPE, 2, 2)
    return 0.4 + 0.9 * light + 0.1 * grain, (inside > 0) & (np.abs(X - 50) < 44) & (grain < 1.5)


def finger(rng: Random) -> Drawing:
    """Skin with ridges 0.45 mm apart and creases at the joints."""
    half = rng.uniform(6.5, 9)
    bend = 0.8 * noise(rng, SHAPE, 120, 60)
    light = round_over(half) + 0.04 * np.sin(2 * np.pi * (Y / 0.45 + 3 * bend))
    for at in (20, 45, 75):
        for _ in range(3):
            crease = X - at - rng.normal(0, 1.5) - 0.02 * Y**2 - wavering(rng, 0.2, 3)
            light = light - 0.15 * np.exp(-((crease / 0.25) ** 2))
    return light + 0.015 * noise(rng, SHAPE, 6, 6), between(-half, half)


def feather(rng: Random) -> Drawing:
    """A shaft, and barbs that leave it at an angle."""
    half = rng.uniform(5, 10) * np.sqrt(np.clip(1 - ((X[:1] - 40) / 56) ** 2, 0, 1))
    barbs = noise(rng, (900, 900), 90, rng.uniform(1.0, 2.0))
    slant = np.tan(np.radians(rng.uniform(20, 50)))
    row = ((np.abs(Y) - X * slant) * np.cos(np.arctan(slant)) * FINE) % 899
    column = ((X + np.abs(Y) * slant) * FINE * 0.7) % 899
    light = 0.8 + 0.2 * cv2.remap(barbs, column.astype(np.float32), row.astype(np.float32), cv2.INTER_LINEAR)
    shaft = np.abs(Y) < np.interp(X[:1], [0, 100], [0.9, 0.25])
    split = wavering(rng, 0.5, 1)
    return np.where(shaft, 1.3, light), between(-half + split, half + split)


def grass(rng: Random) -> Drawing:
    """Blades of 3 to 6 mm that lie along, some over others, with veins."""
    light, inside = np.zeros(SHAPE, np.float32), np.zeros(SHAPE, bool)
    for _ in range(rng.integers(5, 9)):
        wide, lean = rng.uniform(1.5, 3), rng.normal(0, 0.04)
        middle = rng.uniform(-5, 5) + lean * (X - 50) + wavering(rng, 0.5, 20)
        off = Y - middle
        half = wide * np.clip((X[:1] - 2) / 20, 0, 1) ** 0.5
        here = np.abs(off) < half
        veins = 0.06 * np.sin(2 * np.pi * off / rng.uniform(0.35, 0.6)) - 0.2 * np.exp(-((off / 0.2) ** 2))
        shade = 0.8 + 0.25 * off / wide * rng.choice([-1, 1]) + veins + 0.03 * noise(rng, SHAPE, 60, 2)
        light, inside = np.where(here, shade * rng.uniform(0.7, 1.15), light), inside | here
    return light, inside & (np.abs(X - 50) < 44)


STUFFS: dict[str, Callable[[Random], Drawing]] = {
    **{f"ribs of {period} mm along": ribs(period) for period in (0.8, 0.9, 1.0, 1.2, 1.5)},
    "wood along, cut straight": wood(0.0),
    "wood along, its sides uneven by 0.3 mm": wood(0.3),
    "a cord": cord,
    "yarns side by side": yarns,
    "a satin ribbon": satin,
    "a plait of hair": plait,
    "knitted cloth": knit,
    "a brush's handle": handle,
    "felt": felt,
    "fur": fur,
    "a comb": comb,
    "pencil strokes": pencil,
    "a finger": finger,
    "a feather": feather,
    "blades of grass": grass,
}
