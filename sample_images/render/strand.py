"""The fibres of one strand as B-spline curves lying in the card's window.

Millimetres throughout. World axes: X to the right on the card, Y up on the card (minus the card's y), Z out
of the card; the card's top left corner is the origin and its upper face is Z = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

TINT_GROUPS = (0.72, 0.90, 1.08, 1.36)  # fibres differ in pigment: factors on absorption, equally frequent


@dataclass(frozen=True, slots=True)
class StrandShape:
    """How one strand is built: sizes in mm, fractions of one."""

    seed: int
    length: float = 101.0
    width: float = 17.0
    thickness: float = 1.7
    packing: float = 0.42
    start: float = 22.5  # x of the root end on the card
    centre: float = 52.5  # y of the axis on the card
    bend: float = 1.5  # sagitta of the axis
    clumps: int = 16
    clumping: float = 0.25  # how far fibres draw together into clumps towards the ends
    wave: float = 0.25
    wave_length: float = 26.0
    frizz: float = 0.08
    crossing: float = 0.07  # how far fibres wander sideways, in half widths
    flyaways: float = 0.012
    root_narrowing: float = 0.2
    fray: float = 5.0
    tied: bool = False
    radius: float = 0.035  # of a fibre
    twist: float = 0.0  # turns of the whole strand about its axis over its length
    locks: int = 1  # more than one: locks lying side by side, with paper between them


def _smooth_walk(rng: np.random.Generator, count: int, steps: int, knots: int) -> NDArray[np.float64]:
    """Return (count, steps) smooth random functions of unit size, cosine series with falling weights."""
    t = np.linspace(0.0, 1.0, steps)
    orders = np.arange(1, knots + 1)
    weights = rng.normal(size=(count, knots)) / orders
    phases = rng.uniform(0, 2 * np.pi, (count, knots))
    angle = np.pi * orders[None, :, None] * t[None, None, :] + phases[:, :, None]
    return np.sum(weights[:, :, None] * np.sin(angle), axis=1)


def axis_offset(shape: StrandShape, t: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the axis' sideways offset (mm) at fractions ``t`` of the length: a gentle bow with a slight
    S."""
    return shape.bend * (np.sin(np.pi * t) - 0.35 * np.sin(2 * np.pi * t) - 0.4)


def grow(shape: StrandShape) -> list[NDArray[np.float64]]:
    """Grow the strand; return one (fibres, points, 3) array of control points per tint group."""
    rng = np.random.default_rng(shape.seed)
    area = np.pi / 4 * shape.width * shape.thickness
    count = int(area * shape.packing / (np.pi * shape.radius**2))
    steps = int(shape.length / 3.2) + 4
    t = np.linspace(0.0, 1.0, steps)

    # Clump centres: even across the width with jitter, so that no wide gap opens by chance.
    clump_u = (np.arange(shape.clumps) + rng.uniform(0.1, 0.9, shape.clumps)) / shape.clumps * 2 - 1
    u = np.sin(np.arcsin(np.clip(rng.uniform(-1, 1, count), -1, 1)) * 1.0)
    clump = np.argmin(np.abs(u[:, None] + rng.normal(0, 0.04, (count, 1)) - clump_u[None]), axis=1)
    level = rng.uniform(0.0, 1.0, count)

    pull = shape.clumping * (0.25 + 0.75 * t)[None]
    wander = shape.crossing * _smooth_walk(rng, count, steps, 4)
    lateral = u[:, None] * (1 - pull) + clump_u[clump][:, None] * pull + wander
    half_width = shape.width / 2 * (1 - shape.root_narrowing * np.exp(-((t / 0.16) ** 2)))
    if shape.tied:
        half_width = half_width * (1 - 0.45 * np.exp(-((t / 0.05) ** 2)))
    phase = rng.uniform(0, 2 * np.pi, shape.clumps)[clump] + rng.normal(0, 0.35, count)
    turns = shape.length / shape.wave_length * rng.normal(1, 0.05, shape.clumps)[clump]
    wave_angle = 2 * np.pi * turns[:, None] * t[None] + 0.6 * phase[:, None]
    wave = shape.wave * (0.5 + 0.5 * t)[None] * np.sin(wave_angle)
    frizz = shape.frizz * _smooth_walk(rng, count, steps, 9)
    y = -(shape.centre + axis_offset(shape, t)[None] + half_width[None] * lateral + wave + frizz)

    dome = np.sqrt(np.clip(1 - np.clip(np.abs(lateral), 0, 1) ** 2, 0.06, 1))
    lift = 0.25 * shape.wave * np.cos(wave_angle) + 0.6 * shape.frizz * _smooth_walk(rng, count, steps, 7)
    depth = np.clip(level[:, None] + 0.16 * _smooth_walk(rng, count, steps, 5), 0, 1)
    z = 0.06 + shape.thickness * dome * depth + np.abs(lift)
    if shape.twist:
        angle = 2 * np.pi * shape.twist * t[None] + 0.4 * _smooth_walk(rng, 1, steps, 3)
        axis = -(shape.centre + axis_offset(shape, t)[None])
        middle = 0.06 + 0.5 * shape.thickness
        beside, above = y - axis, (z - middle) * shape.width / shape.thickness
        y = axis + beside * np.cos(angle) - above * np.sin(angle)
        z = middle + (beside * np.sin(angle) + above * np.cos(angle)) * shape.thickness / shape.width
        z = np.maximum(z, 0.05)
    if shape.locks > 1:
        gap = 0.45 * shape.width / shape.locks
        lock = np.floor((u + 1) / 2 * shape.locks)[:, None]
        y = y - gap * (lock - (shape.locks - 1) / 2)
    if shape.tied:
        z = z * (1 - 0.3 * np.exp(-((t / 0.05) ** 2)))

    begin = shape.start + rng.uniform(0.0, 0.9, count)
    cut = np.abs(rng.normal(0, shape.fray / 2.2, count)) + 0.3 * shape.fray * rng.random(shape.clumps)[clump]
    span = np.clip(shape.length - np.clip(cut, 0, 2.2 * shape.fray), 30, None)
    x = begin[:, None] + span[:, None] * t[None]

    loose = rng.random(count) < shape.flyaways
    number = int(loose.sum())
    if number:
        y[loose] += (1.1 + rng.random((number, 1)) * 1.6) * _smooth_walk(rng, number, steps, 5) * (0.2 + t)
        z[loose] += np.abs(0.8 * _smooth_walk(rng, number, steps, 4)) * t
    top, bottom = -(shape.centre - 15.9), -(shape.centre + 15.9)
    y = np.clip(y, bottom, top)
    points = np.stack([x, y, z], axis=-1)
    group = rng.integers(0, len(TINT_GROUPS), count)
    return [points[group == g] for g in range(len(TINT_GROUPS))]


def write_curves(path: Path, fibres: NDArray[np.float64], radius: float) -> None:
    """Write control points as a curve file, with a decoy far below the table as its last curve.

    The renderer reads one segment past the end of the last curve; the decoy makes that harmless.
    """
    decoy = np.array(
        [[0, 0, -500], [0, 1, -500], [0, 2, -500], [0, 3, -500], [0, 4, -500], [0, 5, -500]], float
    )
    with path.open("w") as file:
        for fibre in [*fibres, decoy]:
            file.write("\n".join(f"{p[0]:.4f} {p[1]:.4f} {p[2]:.4f} {radius:.4f}" for p in fibre))
            file.write("\n\n")
