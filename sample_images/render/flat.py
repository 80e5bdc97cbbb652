"""Photographs without a path tracer: the card and a strand as flat colours, through lamps and camera.

What a photograph tells of print, sensor, lamp and processing does not hang on where each fibre lies. So a strand of
even colour, as bright as rendered strands are in each light (`training` writes that down for every place), is laid on
the flat card, lit by lamps in their places and developed as any other photograph: a tenth of a second each, against
seconds. Prints, sensors and lamps are drawn from a wider world than that of the rendered photographs.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .camera import develop
from .card_sheet import PIXELS_PER_MM, Sheet, print_card
from .compose import HairColour, Light, _share
from .scene import node_weights
from .spectra import WIDE_SENSORS, camera_sensitivity, illuminant, lab_of
from .training import mean_light
from .world import DYED, LAMPS, PRINT_ODDS, PRINTS, draw_camera, draw_hair, draw_lights

Array = NDArray[Any]
SCALE = 5
"""Pixels a millimetre."""
MARGIN = 8
"""Millimetres of table around the card."""
CARD = (148, 105)
TO_PICTURE = np.array([[SCALE, 0, MARGIN * SCALE - 0.5], [0, SCALE, MARGIN * SCALE - 0.5], [0, 0, 1.0]])
"""(3, 3) card millimetres to pixels, their centres at integers."""
ZONE_BOXES = {"root": (22.0, 33.0), "mids": (55.0, 33.0), "ends": (88.0, 33.0)}
"""From where on the card, and over how many millimetres, each zone lies."""
STRAND_ROWS = (44.5, 60.5)


@dataclass(frozen=True, slots=True)
class FlatPhoto:
    """A developed photograph and what is true of it."""

    jpeg: bytes
    lit: dict[str, Array]
    """(3,) CIELAB of each zone as lit, and ..."""
    diffuse: dict[str, Array]
    """... under light from all round."""
    dyed: bool
    families: dict[str, str]


def draw_print(seed: int, layout: Path | None = None) -> tuple[Sheet, str, str]:
    """Return a printed card, how true it is, and its inks."""
    rng = np.random.default_rng(seed + 77)
    family = str(rng.choice(list(PRINTS), p=PRINT_ODDS))
    spread, cast = PRINTS[family][int(rng.integers(len(PRINTS[family])))]
    widen = float(rng.uniform(0.7, 1.3))
    smooth = bool(rng.random() < 0.6)
    sheet = print_card(seed, spread * widen, cast * widen, layout, smooth)
    half = PIXELS_PER_MM // SCALE // 2
    step = PIXELS_PER_MM / SCALE
    rows, columns = ((np.arange(side * SCALE) + 0.5) * step for side in (CARD[1], CARD[0]))
    small = sheet.index[np.ix_(rows.astype(int) - half + 1, columns.astype(int) - half + 1)]
    return replace(sheet, index=small), family, "smooth" if smooth else "three inks"


@dataclass(frozen=True, slots=True)
class Transport:
    """What one rendered strand sends back of each of its lights."""

    lamps: tuple[dict[str, Any], ...]
    views: tuple[dict[str, Any], ...]
    shape: str


def transports(folders: list[Path]) -> list[Transport]:
    """Read what `training` wrote down of every place."""
    found = []
    for path in sorted(p for folder in folders for p in folder.glob("place*.json")):
        place = json.loads(path.read_text())
        if place["scene"]["fibre_index"] > 1.5:
            found.append(Transport(tuple(place["scene"]["lamps"]), tuple(place["views"]), place["shape"]))
    return found


def _field(lights: dict[str, Any], name: str, rng: np.random.Generator) -> Array:
    """Return how much light (H, W) of one lamp falls on each place, 1 in the middle of the card."""
    xs = (np.arange((CARD[0] + 2 * MARGIN) * SCALE) + 0.5) / SCALE - MARGIN - CARD[0] / 2
    ys = (np.arange((CARD[1] + 2 * MARGIN) * SCALE) + 0.5) / SCALE - MARGIN - CARD[1] / 2
    x, y = np.meshgrid(xs.astype(np.float32), ys.astype(np.float32))
    at = lights[name]
    if at["kind"] in ("lamp", "panel"):
        a, e = np.radians(at["azimuth"]), np.radians(at["elevation"])
        source = at["distance"] * np.array([np.cos(e) * np.cos(a), -np.cos(e) * np.sin(a), np.sin(e)])
        squared = (x - source[0]) ** 2 + (y - source[1]) ** 2 + source[2] ** 2
        return np.asarray((at["distance"] ** 2 / squared) ** 1.5)
    slope = 0.35 if at["kind"] == "wall" else 0.05
    a, b = rng.normal(0, slope / 75, 2)
    return np.asarray(np.exp(a * x + b * y))


def _shade(light: Light) -> Array | float:
    if light.shadow is None:
        return 1.0
    x0, angle, soft, depth = light.shadow
    xs = (np.arange((CARD[0] + 2 * MARGIN) * SCALE) + 0.5) / SCALE - MARGIN
    ys = (np.arange((CARD[1] + 2 * MARGIN) * SCALE) + 0.5) / SCALE - MARGIN
    x, y = np.meshgrid(xs, ys)
    a = np.radians(angle)
    across = (x - x0) * np.cos(a) + (y - 52.5) * np.sin(a)
    return np.asarray(1 - depth / (1 + np.exp(-across / max(soft, 0.3))), dtype=np.float32)


def _zone_absorption(colour: HairColour, zone: str) -> Array:
    at = {"root": 0.165, "mids": 0.5, "ends": 0.825}[zone]
    stops = np.array([s for s, _ in colour.stops])
    logs = np.log(np.stack([p.spectrum() for _, p in colour.stops]))
    body = np.exp([np.interp(at, stops, column) for column in logs.T])
    if colour.pieces is None:
        return np.asarray(body)
    return np.asarray(np.exp(0.6 * np.log(body) + 0.4 * np.log(colour.pieces.spectrum())))


def photograph(
    rng: np.random.Generator,
    place: Transport,
    sheet: tuple[Sheet, str, str],
    measured_sensors: bool = True,
) -> FlatPhoto:
    """Draw hair, lights and a phone, and take one photograph of a strand on a printed card."""
    printed, quality, inks = sheet
    view = place.views[int(rng.integers(len(place.views)))]
    names = tuple(lit["name"] for lit in place.lamps)
    by_name = {lit["name"]: lit for lit in place.lamps}
    colour, kind = draw_hair(rng)
    lights, lighting, family = draw_lights(names, rng)
    if rng.random() < 0.3:
        second = str(rng.choice([n for some in LAMPS.values() for n in some]))
        blend = f" + {rng.uniform(0.1, 0.5):.3f} {second}"
        lights = tuple(
            x if " off " in x.illuminant else replace(x, illuminant=x.illuminant + blend) for x in lights
        )
    phone, processing, sensor = draw_camera(rng)
    wide = rng.random() < 0.7 or (phone.sensor < 2 and not measured_sensors)
    if wide:
        sensor, phone = "wide", replace(phone, sensor=WIDE_SENSORS + int(rng.integers(1 << 20)))
    sensors = camera_sensitivity(phone.sensor)
    d65 = illuminant("D65") @ sensors
    height, width = (CARD[1] + 2 * MARGIN) * SCALE, (CARD[0] + 2 * MARGIN) * SCALE
    picture = np.zeros((height, width, 3), np.float32)
    bare = np.zeros((height, width), np.float32)
    inside = np.s_[MARGIN * SCALE : -MARGIN * SCALE, MARGIN * SCALE : -MARGIN * SCALE]
    rows = slice(*(int((y + MARGIN) * SCALE) for y in STRAND_ROWS))
    spans = {
        zone: slice(int((x + MARGIN) * SCALE), int((x + w + MARGIN) * SCALE))
        for zone, (x, w) in ZONE_BOXES.items()
    }
    weights = {zone: node_weights(_zone_absorption(colour, zone)) for zone in ZONE_BOXES}
    lit = {zone: np.zeros(61) for zone in ZONE_BOXES}
    reference = {zone: np.zeros(61) for zone in ZONE_BOXES}
    table = float(rng.uniform(0.05, 0.8)) * (1 - float(rng.uniform(0, 0.6)) * (0.5 - np.linspace(0, 1, 61)))
    hair = np.zeros((height, width, 3), np.float32)
    for light in lights:
        power = illuminant(light.illuminant) * light.weight
        power = power / (illuminant(light.illuminant) @ sensors[:, 1]) * d65[1]
        falls = (_field(by_name, light.name, rng) * _shade(light)).astype(np.float32)
        bare += light.weight * falls
        seen = ((printed.spectra * power) @ sensors / d65).astype(np.float32)
        around = ((table * power) @ sensors / d65).astype(np.float32)
        scene = np.empty_like(picture)
        scene[:] = around
        scene[inside] = seen[printed.index]
        for zone, span in spans.items():
            sent = view[zone][light.name]
            reflected = np.array(sent["sent"]) @ weights[zone] / sent["white"]
            hair[rows, span] = ((np.maximum(reflected, 0) * power) @ sensors / d65).astype(np.float32)
            gain = float(falls[rows, span].mean())
            lit[zone] += gain * power * reflected
            reference[zone] += gain * power
        scene[rows, spans["root"].start : spans["ends"].stop] = hair[
            rows, spans["root"].start : spans["ends"].stop
        ]
        picture += falls[..., None] * scene
    strand = np.s_[rows, spans["root"].start : spans["ends"].stop]
    picture[strand] *= _texture(rng, picture[strand].shape[:2])[..., None]
    gloss = float(rng.uniform(0.003, 0.025)) if rng.random() < 0.2 else 0.0
    if gloss:
        picture[inside] += gloss * _sheen(rng)[..., None] * _not_strand(rows, spans)[..., None]
    white = float(np.percentile(bare[inside], 95))
    developed = develop(picture, mean_light(lights), phone, white)
    ok, jpeg = cv2.imencode(".jpg", developed[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, phone.quality])
    if not ok:
        raise ValueError("the photograph cannot be written as JPEG")
    diffuse = {}
    for zone in ZONE_BOXES:
        dome = view[zone]["dome"]
        diffuse[zone] = lab_of(np.maximum(np.array(dome["sent"]) @ weights[zone] / dome["white"], 1e-5))
    return FlatPhoto(
        jpeg.tobytes(),
        {zone: lab_of(np.maximum(_share(lit[zone], reference[zone]), 1e-5)) for zone in ZONE_BOXES},
        diffuse,
        kind in DYED,
        {
            "sensor": sensor,
            "print": quality,
            "inks": inks,
            "lamp": family,
            "lighting": lighting,
            "camera": processing,
            "gloss": "glossy" if gloss else "matt",
        },
    )


def _texture(rng: np.random.Generator, size: tuple[int, int]) -> Array:
    """Return brightness (H, W) of fibres along the strand, 1 on average."""
    fine = cv2.GaussianBlur(rng.normal(size=size).astype(np.float32), (0, 0), sigmaX=15, sigmaY=0.7)
    coarse = cv2.GaussianBlur(rng.normal(size=size).astype(np.float32), (0, 0), sigmaX=30, sigmaY=5)
    texture = np.exp(
        rng.uniform(0.1, 0.4) * fine / fine.std() + rng.uniform(0.0, 0.3) * coarse / coarse.std()
    )
    thirds = np.array_split(np.arange(size[1]), 3)
    for part in thirds:
        texture[:, part] /= texture[:, part].mean()
    return np.asarray(texture)


def _sheen(rng: np.random.Generator) -> Array:
    xs = (np.arange(CARD[0] * SCALE) + 0.5) / SCALE - 74
    ys = (np.arange(CARD[1] * SCALE) + 0.5) / SCALE - 52.5
    a = np.radians(rng.uniform(0, 360))
    return np.asarray(1 + 0.7 * (xs[None] * np.cos(a) + ys[:, None] * np.sin(a)) / 74, dtype=np.float32)


def _not_strand(rows: slice, spans: dict[str, slice]) -> Array:
    mask = np.ones((CARD[1] * SCALE, CARD[0] * SCALE), np.float32)
    off = MARGIN * SCALE
    mask[rows.start - off : rows.stop - off, spans["root"].start - off : spans["ends"].stop - off] = 0
    return mask
