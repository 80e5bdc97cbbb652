"""A wide world of strands, rooms, phones and prints to draw photographs from, each with the families it is of.

Families are what is left out together when a model that learned from these pictures is judged: the lock's shape,
where the light comes from, the lamp's kind, the phone's processing, the sensor, the print and the kind of hair.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .camera import Camera
from .compose import HairColour, Light, Pigment
from .scene import CORNERS, Lamp, Pose, Scene, place_camera, project
from .spectra import PAINTS
from .strand import StrandShape

SHAPES = ("round", "flat", "twisted", "thin", "curly", "teased", "wavy")
LIGHTINGS = ("soft", "lamp", "window", "wall", "two")
LAMPS: dict[str, tuple[str, ...]] = {
    "daylight": ("D65", "D55", "D50", "D75", "D60", "ID50"),
    "blue-pumped": ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5"),
    "violet-pumped": ("LED-V1", "LED-V2"),
    "mixed-led": ("LED-BH1", "LED-RGB1"),
    "tube": ("FL2", "FL4", "FL7", "FL11", "FL12", "FL3.5", "FL3.9", "FL3.14", "FL3.7", "FL3.15"),
    "incandescent": ("A", "ISO 7589 Photoflood"),
}
LAMP_ODDS = (0.36, 0.22, 0.1, 0.06, 0.16, 0.1)
PROCESSINGS = ("plain", "strong", "local")
PRINTS: dict[str, tuple[tuple[float, float], ...]] = {
    "true": ((0.0, 0.0),),
    "good": ((0.5, 0.3), (1.0, 0.5), (0.7, 0.7)),
    "fair": ((1.5, 0.8), (1.2, 1.2), (2.0, 0.6)),
    "poor": ((2.5, 1.5), (3.0, 1.0), (1.5, 2.2)),
}
PRINT_ODDS = (0.4, 0.25, 0.2, 0.15)


@dataclass(frozen=True, slots=True)
class Place:
    """One strand on its card, seen twice: as it lies, and with the card turned end for end in the same room."""

    first: Scene
    turned: Scene
    shape: str


def draw_place(index: int) -> Place:
    """Return the ``index``-th strand, pose and room; any run of seven holds every shape once."""
    rng = np.random.default_rng(31_000 + index)
    u = rng.uniform
    name = SHAPES[index % len(SHAPES)]
    shape = StrandShape(
        seed=5000 + index,
        length=u(96, 104),
        width=u(13, 20),
        thickness=u(1.4, 2.4),
        packing=u(0.34, 0.48),
        start=u(21.0, 23.5),
        centre=u(51.0, 54.0),
        bend=u(-2.2, 2.2),
        clumps=int(rng.integers(7, 26)),
        clumping=u(0.1, 0.5),
        wave=u(0.05, 0.35),
        wave_length=u(18, 34),
        frizz=u(0.03, 0.15),
        crossing=u(0.04, 0.11),
        flyaways=u(0.004, 0.02),
        fray=u(2.5, 8),
        tied=bool(rng.random() < 0.25),
        radius=u(0.026, 0.045),
    )
    changes: dict[str, dict[str, Any]] = {
        "round": {"thickness": u(2.4, 3.6), "width": u(11, 15)},
        "flat": {
            "thickness": u(0.9, 1.3),
            "width": u(17, 23),
            "frizz": u(0.02, 0.06),
            "crossing": u(0.02, 0.05),
        },
        "twisted": {"twist": u(1.0, 3.5), "width": u(9, 13), "thickness": u(2.5, 4.5)},
        "thin": {"width": u(10, 13), "thickness": u(0.8, 1.1)},
        "curly": {"wave": u(1.2, 2.4), "wave_length": u(11, 20), "frizz": u(0.15, 0.3), "width": u(13, 17)},
        "teased": {"frizz": u(0.3, 0.6), "crossing": u(0.14, 0.24), "flyaways": u(0.03, 0.06)},
        "wavy": {"wave": u(0.6, 1.2), "wave_length": u(14, 26), "frizz": u(0.1, 0.22)},
    }
    shape = replace(shape, **changes[name])
    fibre = {
        "roughness_along": u(0.14, 0.5),
        "roughness_around": u(0.18, 0.5),
        "cuticle_tilt": u(1.0, 4.0),
        "fibre_index": u(1.52, 1.58),
    }
    if index % 12 == 7:  # wet: drawn together, flat, a film of water
        shape = replace(shape, clumping=0.72, clumps=9, flyaways=0.002, thickness=1.3, frizz=0.03)
        fibre["fibre_index"] = 1.17
    lamps = _draw_lamps(rng)
    first = Scene(shape, _draw_pose(rng), lamps, clutter=2 * index, **fibre)
    around = tuple(replace(lamp, azimuth=lamp.azimuth + 180) for lamp in lamps)
    return Place(first, replace(first, pose=_draw_pose(rng), lamps=around, clutter=2 * index + 1), name)


def _draw_pose(rng: np.random.Generator) -> Pose:
    u = rng.uniform
    roll = float(rng.normal(0, 6)) if rng.random() < 0.8 else u(0, 360)
    pose = Pose(
        fill=u(0.78, 0.93) if rng.random() < 0.85 else u(0.55, 0.7),
        tilt=u(0, 16) if rng.random() < 0.85 else u(20, 36),
        towards=u(0, 360),
        roll=roll + 180 * int(rng.integers(2)),
        shift=(u(-5, 5), u(-4, 4)),
    )
    for _ in range(8):
        _, homography = place_camera(pose)
        corners = project(homography, CORNERS)
        scale = np.linalg.norm(corners[1] - corners[0]) / 148
        if scale >= 5.0:
            break
        grow = min(max(5.1 / scale, 1.03), 1.3)
        pose = replace(pose, width=int(pose.width * grow) // 4 * 4, height=int(pose.height * grow) // 4 * 4)
    return pose


def _draw_lamps(rng: np.random.Generator) -> tuple[Lamp, ...]:
    """Return the dome, one lamp and three other lights, from anywhere around the card."""
    u = rng.uniform

    def disc(name: str) -> Lamp:
        away = u(400, 1300)
        return Lamp(name, "lamp", u(0, 360), u(18, 72), away, away * u(0.05, 0.22))

    others = [
        disc("lamp 2"),
        Lamp("window", "panel", u(0, 360), u(22, 55), u(900, 1800), u(380, 700)),
        Lamp("wall", "wall", u(0, 360), 0.0, u(180, 700), u(500, 1000)),
        Lamp("sky", "sky", u(0, 360), u(20, 70), 0.0, u(1.5, 6.0)),
        Lamp("ceiling", "ceiling", 0.0, 90.0, u(900, 2000), u(300, 1200)),
    ]
    chosen = sorted(rng.permutation(len(others))[:3])
    return (Lamp("dome"), disc("lamp"), *(others[i] for i in chosen))


def draw_lights(names: tuple[str, ...], rng: np.random.Generator) -> tuple[tuple[Light, ...], str, str]:
    """Return a mixture of a room's lights, its lighting family and its lamp family."""
    u = rng.uniform
    family = str(rng.choice(list(LAMPS), p=LAMP_ODDS))
    spectrum = str(rng.choice(LAMPS[family]))
    there = [n for n in names if n != "dome"]
    lighting = str(rng.choice(LIGHTINGS, p=(0.2, 0.25, 0.25, 0.12, 0.18)))
    soft = [n for n in there if n in ("sky", "ceiling")]
    hard = [n for n in there if n.startswith("lamp")]
    parts: dict[str, float] = {}
    if lighting == "soft" and soft:
        parts[str(rng.choice(soft))] = u(0.2, 0.9)
    elif lighting == "window" and "window" in there:
        parts["window"] = u(0.2, 0.85)
    elif lighting == "wall" and "wall" in there:
        parts["wall"] = u(0.1, 0.4)
        if rng.random() < 0.5:
            parts[str(rng.choice(hard))] = u(0.1, 0.4)
    elif lighting == "two":
        a, b = rng.permutation(there)[:2]
        parts[str(a)], parts[str(b)] = u(0.1, 0.45), u(0.1, 0.4)
    elif lighting == "soft":
        parts[str(rng.choice(there))] = u(0.03, 0.2)
    else:
        lighting = "lamp"
        parts[str(rng.choice(hard))] = u(0.2, 0.8)
    dome = (
        str(rng.choice(LAMPS["daylight"])) if rng.random() < 0.1 and sum(parts.values()) < 0.4 else spectrum
    )
    paint = str(rng.choice(list(PAINTS)))
    lights = [Light("dome", 1.0 - sum(parts.values()), dome)]
    for name, share in parts.items():
        shadow = None
        if name not in ("sky", "ceiling") and rng.random() < 0.14:
            depth = min(u(0.2, 0.9), 0.45 / max(share, 0.1))
            shadow = (u(20, 128), u(-40, 40) + 180 * int(rng.integers(2)), u(4, 25), depth)
        colour = f"{spectrum} off {paint}" if name == "wall" else spectrum
        lights.append(Light(name, share, colour, shadow))
    return tuple(lights), lighting, family


def turned(lights: tuple[Light, ...]) -> tuple[Light, ...]:
    """Return the same room's lights as a card turned end for end sees them; the lamps are turned in its scene."""
    return tuple(
        replace(x, shadow=None if x.shadow is None else (148 - x.shadow[0], x.shadow[1] + 180, *x.shadow[2:]))
        for x in lights
    )


def draw_camera(rng: np.random.Generator) -> tuple[Camera, str, str]:
    """Return a phone-like camera with its settings, its processing family and its sensor family."""
    u = rng.uniform
    processing = str(rng.choice(PROCESSINGS, p=(0.4, 0.25, 0.35)))
    kind = rng.random()
    exposure = u(0.35, 0.6) if kind < 0.12 else u(0.96, 1.05) if kind > 0.94 else u(0.6, 0.93)
    red, blue = rng.normal(0, 0.05, 2)
    strong = processing == "strong"
    sensor = int(rng.integers(0, 2)) if rng.random() < 0.35 else int(rng.integers(2, 30))
    camera = Camera(
        sensor=sensor,
        balance=str(rng.choice(["auto", "auto", "auto", "partial", "partial", "daylight"])),
        balance_error=(float(red), float(blue)),
        exposure=exposure,
        saturation=u(1.1, 1.3) if strong else u(0.95, 1.12),
        contrast=u(0.25, 0.5) if strong else u(0.0, 0.25),
        lifted_blacks=float(rng.choice([0.0, 0.0, 0.01, 0.03])),
        gamma=u(0.85, 1.08),
        channel_gamma=tuple(float(v) for v in 1 + rng.normal(0, 0.015, 3)),  # type: ignore[arg-type]
        shoulder=float(rng.choice([0.0, 0.2, 0.4])),
        flare=u(0.002, 0.03),
        vignette=u(0.0, 0.14),
        blur=u(0.35, 0.8),
        noise=float(np.exp(rng.uniform(np.log(0.003), np.log(0.018)))),
        sharpen=u(0, 0.9),
        quality=int(rng.integers(80, 95)),
        matrix_error=0.012,
        seed=int(rng.integers(1 << 30)),
        local_tone=u(0.06, 0.28) if processing == "local" else 0.0,
        local_size=u(0.03, 0.12),
    )
    return camera, processing, f"measured {sensor}" if sensor < 2 else "invented"


# --- hair ---------------------------------------------------------------------------------------------------

LIFT = (
    np.array(  # eumelanin, pheomelanin, remainder: from black in steps to palest yellow, then to white blond
        [
            [8.0, 0.01, 0.01],
            [1.7, 0.3, 0.1],
            [1.0, 0.25, 0.25],
            [0.42, 0.25, 0.30],
            [0.20, 0.20, 0.30],
            [0.10, 0.11, 0.26],
            [0.05, 0.06, 0.20],
            [0.026, 0.032, 0.115],
            [0.014, 0.015, 0.062],
            [0.0075, 0.007, 0.032],
            [0.003, 0.003, 0.012],
            [0.001, 0.001, 0.005],
            [0.0002, 0.0002, 0.001],
        ]
    )
)
DYES = {  # centre and width in nm of what is absorbed
    "pink": (530.0, 42.0),
    "violet": (572.0, 48.0),
    "blue": (612.0, 52.0),
    "red": (508.0, 48.0),
    "green": (640.0, 48.0),
    "yellow": (440.0, 40.0),
}
KIND_ODDS = {
    "lifted": 0.42,
    "white blond": 0.06,
    "natural": 0.12,
    "red": 0.05,
    "grey": 0.05,
    "toned": 0.07,
    "pastel": 0.06,
    "vivid": 0.03,
    "stained": 0.05,
    "patchy": 0.04,
    "three zones": 0.05,
}
DYED = ("toned", "pastel", "vivid", "stained")


def lifted(
    step: float, rng: np.random.Generator | None = None, dyes: tuple[Any, ...] = (), spread: float = 1.0
) -> Pigment:
    """Return the pigment after ``step`` (0-12) steps of lift; ``rng`` varies the person's mixture by ``spread``."""
    logs = np.array([np.interp(step, np.arange(len(LIFT)), np.log(LIFT[:, i])) for i in range(3)])
    if rng is not None:
        logs = logs + rng.normal([0.0, -0.1, -0.1], spread * np.array([0.22, 0.45, 0.4]))
    return Pigment(*(float(v) for v in np.exp(logs)), dyes)


def draw_hair(rng: np.random.Generator) -> tuple[HairColour, str]:
    """Return a strand's colour along its length and its kind."""
    kind = str(rng.choice(list(KIND_ODDS), p=list(KIND_ODDS.values())))
    seed = int(rng.integers(1 << 30))
    u = rng.uniform

    def like(step: float, dyes: tuple[Any, ...] = ()) -> Pigment:
        return lifted(float(np.clip(step, 0, 12)), np.random.default_rng(seed), dyes, 1.25)

    def band(name: str, amount: float) -> tuple[float, float, float]:
        centre, width = DYES[name]
        return amount, centre + float(rng.normal(0, 8)), width * u(0.8, 1.25)

    def even(pigment: Pigment, other: Pigment | None = None) -> HairColour:
        return HairColour(((0.0, pigment), (1.0, other or pigment)))

    drift = float(rng.normal(0, 0.25))
    if kind in ("lifted", "white blond"):
        step = u(0.0, 10.0) if kind == "lifted" else u(9.8, 12.0)
        return even(like(step + drift), like(step - drift)), kind
    if kind == "natural":  # one pigment, never lifted: less chromatic than the ladder
        eumelanin = float(np.exp(u(np.log(0.05), np.log(5.0))))
        part = Pigment(eumelanin, eumelanin * u(0.02, 0.35), eumelanin * u(0.0, 0.12))
        return even(part), kind
    if kind == "red":
        pheomelanin = float(np.exp(u(np.log(0.15), np.log(1.5))))
        return even(Pigment(pheomelanin * u(0.1, 0.6), pheomelanin, pheomelanin * u(0.05, 0.4))), kind
    if kind == "grey":
        white = Pigment(u(0.002, 0.03), 0.001, u(0.004, 0.03))
        dark = Pigment(u(0.2, 2.5), u(0.02, 0.3), u(0.02, 0.2))
        return HairColour(((0.0, white), (1.0, white)), dark, u(0.1, 0.6), seed), kind
    if kind in ("toned", "pastel", "vivid"):
        names = ["violet", "blue"] if kind == "toned" else list(DYES)
        low, high = {"toned": (0.004, 0.05), "pastel": (0.02, 0.25), "vivid": (0.25, 1.2)}[kind]
        amount = float(np.exp(u(np.log(low), np.log(high))))
        first, second = str(rng.choice(names)), str(rng.choice(names))
        dyes = (band(first, amount), band(second, amount * u(0, 0.5)))
        step, fade = u(7.5, 11.0), u(0.5, 1.0)
        faded = tuple((a * fade, c, w) for a, c, w in dyes)
        return even(like(step, dyes), like(step, faded)), kind
    if kind == "stained":
        step = u(5.0, 9.8)
        dyes = (
            band(str(rng.choice(["green", "violet", "blue", "pink"])), u(0.5, 2.0) * 0.5 * 10 ** (-step / 7)),
        )
        if rng.random() < 0.5:
            stops = ((0.0, like(step)), (0.4, like(step)), (0.65, like(step, dyes)), (1.0, like(step, dyes)))
            return HairColour(stops), kind
        return even(like(step, dyes)), kind
    if kind == "patchy":
        step = u(4.5, 10.0)
        other = like(step - u(1, 2.6))
        return HairColour(even(like(step)).stops, other, u(0.15, 0.5), seed), kind
    at = u(2.5, 10.0)
    steps = [at, *(float(np.clip(at + rng.normal(0, 1.4), 0.5, 11)) for _ in range(2))]
    edges = ((0.0, 0.29), (0.37, 0.63), (0.71, 1.0))
    return HairColour(tuple((e, like(s)) for s, pair in zip(steps, edges, strict=True) for e in pair)), kind
