"""Photos of a misprinted card beside a trusted chart, everything about them known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.card.definition import load_card
from strandgauge.card.model import CardDefinition
from synthetic import Shot, even, linear_srgb, paint, photograph

Array = NDArray[np.float64]
PIXELS_PER_MM = 8.0
GAP_MM = 8.0
MARGIN_MM = 12.0

TRUSTED = """schema = "strandgauge.card/1"
[card]
name = "trusted chart"
illuminant = "D65"
size = [140.0, 100.0]
paper = [94.0, 0.0, 1.0]
ink = [14.0, 0.0, 0.0]
[markers]
dictionary = "DICT_4X4_250"
"""


def trusted_toml(seed: int = 4) -> str:
    """Return a chart of 60 patches, 18 of them grey and spread over it, with marks of its own at the corners."""
    random = np.random.default_rng(seed)
    text = TRUSTED
    for number, (x, y) in enumerate(((5, 5), (123, 5), (123, 83), (5, 83))):
        text += f"[[marker]]\nid = {100 + number}\nbox = [{x}.0, {y}.0, 12.0, 12.0]\n"
    greys = np.tile([95.0, 82.0, 66.0, 50.0, 35.0, 20.0], 3)
    lightness = random.uniform(22, 88, 42)
    hue, strength = random.uniform(0, 2 * np.pi, 42), random.uniform(8, 42, 42)
    colours = [(grey, 0.0, 0.0) for grey in greys]
    colours += [
        (float(lit), float(c * np.cos(h)), float(c * np.sin(h)) + 12.0)
        for lit, h, c in zip(lightness, hue, strength, strict=True)
    ]
    for place, index in enumerate(random.permutation(60)):
        column, row = place % 10, place // 10
        lab = ", ".join(f"{value:.1f}" for value in colours[index])
        text += f'[[patch]]\nid = "T{place + 1}"\nbox = [{20 + 10 * column}, {20 + 10 * row}, 9, 9]\nlab = [{lab}]\n'
    return text


def load_trusted(folder: Path) -> CardDefinition:
    """Return the trusted chart, written to a folder."""
    file = folder / "trusted.toml"
    file.write_text(trusted_toml())
    return load_card(file)


def misprinted(card: CardDefinition, *, spread: float, cast: float, seed: int = 1) -> CardDefinition:
    """Return the card as a printer made it: a common cast, and every patch off by its own."""
    random = np.random.default_rng(seed)
    direction = random.standard_normal(3)
    common = cast * direction / np.linalg.norm(direction)

    def off(lab: tuple[float, float, float], own: float) -> tuple[float, float, float]:
        moved = np.asarray(lab) + common * (1.0 if lab[0] < 94 else 0.3) + own * random.standard_normal(3)
        return float(np.clip(moved[0], 3.0, 97.0)), float(moved[1]), float(moved[2])

    return replace(
        card,
        patches=tuple(replace(patch, lab=off(patch.lab, spread)) for patch in card.patches),
        paper=off(card.paper or (95.0, 0.0, 0.0), 0.5),
    )


@dataclass(frozen=True)
class Table:
    """How the two cards lie, and what light falls on them."""

    side: str = "left"
    """Where the trusted chart lies, seen from the print: left, right, above or below."""
    light: Callable[[Array, Array], Array] = even
    """Factor on the light at x, y in millimetres from the print's centre."""
    turned: bool = False
    """The whole table turned by half in the picture."""
    seed: int = 1


def picture(
    printed: CardDefinition,
    trusted: CardDefinition,
    table: Table,
    shot: Shot | None = None,
    light_of: Callable[[tuple[float, float, float]], Array] = linear_srgb,
) -> NDArray[np.uint8]:
    """Return a BGR photo of the two cards side by side; ``light_of`` is what a colour sends into the camera."""
    sheets = {one: paint(one, PIXELS_PER_MM, light_of) for one in (printed, trusted)}
    (pw, ph), (tw, th) = printed.size, trusted.size
    across = table.side in ("left", "right")
    width = pw + tw + GAP_MM if across else max(pw, tw)
    height = max(ph, th) if across else ph + th + GAP_MM
    own = {"left": (tw + GAP_MM, 0.0), "above": (0.0, th + GAP_MM)}.get(table.side, (0.0, 0.0))
    theirs = {"right": (pw + GAP_MM, 0.0), "below": (0.0, ph + GAP_MM)}.get(table.side, (0.0, 0.0))
    canvas = np.full(
        (round((height + 2 * MARGIN_MM) * PIXELS_PER_MM), round((width + 2 * MARGIN_MM) * PIXELS_PER_MM), 3),
        0.14,
        dtype=np.float32,
    )
    for one, (x, y) in ((printed, own), (trusted, theirs)):
        sheet = sheets[one]
        left, top = (round((MARGIN_MM + v) * PIXELS_PER_MM) for v in (x, y))
        canvas[top : top + sheet.shape[0], left : left + sheet.shape[1]] = sheet
    rows, columns = (
        places / PIXELS_PER_MM - MARGIN_MM for places in np.ogrid[0 : canvas.shape[0], 0 : canvas.shape[1]]
    )
    factor = table.light(columns - own[0] - pw / 2, rows - own[1] - ph / 2)
    canvas *= factor if factor.ndim == 3 else factor[..., None]
    h, w = canvas.shape[:2]
    scale = 2000 / max(h, w)
    size = (round(w * scale), round(h * scale))
    x, y = size
    corners = ((25, 20), (x - 15, 30), (x - 30, y - 20), (10, y - 35))
    shot = replace(shot or Shot(), size=size, corners=corners, seed=table.seed)
    seen = photograph(canvas, printed, shot)
    return np.ascontiguousarray(cv2.rotate(seen, cv2.ROTATE_180)) if table.turned else seen
