"""Many strands in many poses and lights, for building and judging the measurement (not committed pictures).

``python -m sample_images.render.training scenes FOLDER COUNT`` renders the light components;
``... photos FOLDER OUT`` composes photographs from whatever components are there.
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .camera import Camera, develop, write_jpeg
from .card_sheet import Sheet, print_card
from .compose import HairColour, Light, Pigment, Prepared, compose, prepare
from .scene import CORNERS, Lamp, Pose, Rendered, Scene, place_camera, project, render
from .spectra import camera_sensitivity, illuminant
from .strand import StrandShape

Array = NDArray[Any]


def draw_scene(index: int) -> Scene:
    """Return the ``index``-th random scene: strand shape, pose and lamps; any prefix is a fair sample."""
    rng = np.random.default_rng(7000 + index)
    kind = index % 8
    shape = StrandShape(
        seed=index + 1,
        length=float(rng.uniform(96, 104)),
        width=float(rng.uniform(13, 21)),
        thickness=float(rng.uniform(1.2, 2.2)),
        start=float(rng.uniform(21.0, 23.5)),
        centre=float(rng.uniform(51.0, 54.0)),
        bend=float(rng.uniform(-2.2, 2.2)),
        clumps=int(rng.integers(7, 26)),
        clumping=float(rng.uniform(0.1, 0.5)),
        wave=float(rng.uniform(0.05, 0.35)),
        wave_length=float(rng.uniform(18, 34)),
        frizz=float(rng.uniform(0.03, 0.15)),
        crossing=float(rng.uniform(0.04, 0.11)),
        flyaways=float(rng.uniform(0.004, 0.02)),
        fray=float(rng.uniform(2.5, 8)),
        tied=bool(rng.random() < 0.25),
    )
    if kind in (1, 6):  # wavy
        shape = replace(
            shape, wave=float(rng.uniform(0.6, 1.3)), wave_length=float(rng.uniform(14, 24)), frizz=0.2
        )
    if kind == 3:  # thin, the bed shows a little
        shape = replace(shape, width=float(rng.uniform(12, 14)), thickness=float(rng.uniform(0.7, 0.95)))
    if kind == 4:  # frizzy with many fly-aways
        shape = replace(shape, frizz=0.3, flyaways=0.035, crossing=0.13)
    index_of_fibre = 1.55
    if index in (7, 14, 21):  # wet: drawn together, flat, a film of water
        shape = replace(shape, clumping=0.72, clumps=9, flyaways=0.002, thickness=1.2, frizz=0.03)
        index_of_fibre = 1.17
    tilt = float(rng.uniform(0, 16)) if index % 5 != 2 else float(rng.uniform(28, 42))
    roll = float(rng.normal(0, 6)) if index % 4 != 1 else float(rng.uniform(0, 360))
    if index % 6 == 5:
        roll += 180
    fill = float(rng.uniform(0.78, 0.93)) if index % 7 != 4 else float(rng.uniform(0.5, 0.6))
    pose = Pose(
        fill=fill,
        tilt=tilt,
        towards=float(rng.uniform(0, 360)),
        roll=roll,
        shift=(float(rng.uniform(-5, 5)), float(rng.uniform(-4, 4))),
    )
    for _ in range(8):
        _, homography = place_camera(pose)
        corners = project(homography, CORNERS)
        scale = np.linalg.norm(corners[1] - corners[0]) / 148
        if scale >= 5.0:
            break
        grow = min(max(5.1 / scale, 1.03), 1.3)
        pose = replace(pose, width=int(pose.width * grow) // 4 * 4, height=int(pose.height * grow) // 4 * 4)
    along, across = rng.normal(0, 14, 2)
    low, high = rng.uniform(20, 55, 2)
    lamp = {"distance": float(rng.uniform(450, 1200))}
    lamp["size"] = lamp["distance"] * float(rng.uniform(0.1, 0.2))
    lamps = (
        Lamp("dome"),
        Lamp("root", "lamp", 180 + along, float(low), **lamp),
        Lamp("ends", "lamp", 0 + along, float(low), **lamp),
        Lamp("above", "lamp", 90 + across, float(high), **lamp),
        Lamp("below", "lamp", 270 + across, float(high), **lamp),
        Lamp("window", "panel", float(rng.uniform(0, 360)), float(rng.uniform(28, 50)), 1300.0, 520.0),
    )
    if index:  # the first scene has all six, the others what time allows
        wanted = (("root", "ends", "window"), ("above", "below", "window"), ("root", "ends", "above"))[
            index % 3
        ]
        lamps = tuple(lamp for lamp in lamps if lamp.name in ("dome", *wanted))
    return Scene(shape, pose, lamps, clutter=500 + index, fibre_index=index_of_fibre)


def render_scenes(folder: Path, count: int) -> None:
    """Render scene after scene into ``folder``; what is there already is kept."""
    for index in range(count):
        path = folder / f"scene{index:03d}.npz"
        if path.exists():
            continue
        scene = draw_scene(index)
        done = render(scene, spp=8)
        part = path.with_suffix(".part.npz")
        done.save(part)
        part.rename(path)
        if scene.fibre_index < 1.5:  # the same strand dry, under the dome only: what it will look like
            shape = replace(scene.shape, clumping=0.3, thickness=1.6, frizz=0.08, flyaways=0.01)
            dry = render(replace(scene, shape=shape, fibre_index=1.55), spp=8, only_dome=True)
            dry.save(folder / f"dry{index:03d}.npz")
        print(time.strftime("%H:%M:%S"), path.name, f"{done.seconds:.0f} s", flush=True)


# --- hair colours -------------------------------------------------------------------------------------------

LIFT = np.array(  # eumelanin, pheomelanin, remainder: from black in ten steps to palest yellow
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
    ]
)


def lifted(step: float, rng: np.random.Generator | None = None, dyes: tuple[Any, ...] = ()) -> Pigment:
    """Return the pigment after ``step`` (0-10) steps of lift; ``rng`` varies the person's mixture."""
    logs = np.array([np.interp(step, np.arange(11), np.log(LIFT[:, i])) for i in range(3)])
    if rng is not None:
        logs = logs + rng.normal([0.0, -0.1, -0.1], [0.22, 0.45, 0.4])
    return Pigment(*(float(v) for v in np.exp(logs)), dyes)


DYES = {  # centre and width in nm of what is absorbed
    "pink": (530.0, 42.0),
    "violet": (572.0, 48.0),
    "blue": (612.0, 52.0),
    "red": (508.0, 48.0),
    "green": (640.0, 48.0),
    "yellow": (440.0, 40.0),
}

KINDS = (
    "black",
    "pale yellow",
    "orange",
    "pastel",
    "brown",
    "uneven",
    "yellow",
    "dark brown",
    "gold",
    "stained",
    "grey",
    "red orange",
    "orange gold",
    "patchy",
    "palest",
    "three zones",
)
STEPS_OF = {
    "black": (0.0, 0.7),
    "dark brown": (0.9, 1.9),
    "brown": (1.9, 3.2),
    "red orange": (3.2, 4.4),
    "orange": (4.4, 5.8),
    "orange gold": (5.6, 6.8),
    "gold": (6.6, 7.6),
    "yellow": (7.4, 8.7),
    "pale yellow": (8.7, 9.5),
    "palest": (9.5, 10.0),
}


def draw_colour(kind: str, rng: np.random.Generator) -> HairColour:
    """Return a random hair colour of one kind."""
    seed = int(rng.integers(1 << 30))

    def like(step: float, dyes: tuple[Any, ...] = ()) -> Pigment:
        return lifted(float(np.clip(step, 0, 10)), np.random.default_rng(seed), dyes)

    if kind in STEPS_OF:
        step = float(rng.uniform(*STEPS_OF[kind]))
        drift = float(rng.normal(0, 0.25))
        return HairColour(((0.0, like(step + drift)), (1.0, like(step - drift))))
    if kind == "grey":
        share = float(rng.uniform(0.1, 0.5))
        white = Pigment(float(rng.uniform(0.004, 0.03)), 0.001, float(rng.uniform(0.004, 0.02)))
        dark = Pigment(float(rng.uniform(0.2, 1.5)), 0.03, 0.04)
        return HairColour(((0.0, white), (1.0, white)), dark, share, seed)
    if kind == "pastel":
        name = list(DYES)[int(rng.integers(len(DYES)))]
        amount = float(np.exp(rng.uniform(np.log(0.012), np.log(0.3))))
        second = list(DYES)[int(rng.integers(len(DYES)))]
        dyes = ((amount, *DYES[name]), (amount * float(rng.uniform(0, 0.5)), *DYES[second]))
        step = float(rng.uniform(8.0, 10.0))
        fade = float(rng.uniform(0.5, 1.0))
        faded = tuple((a * fade, c, w) for a, c, w in dyes)
        return HairColour(((0.0, like(step, dyes)), (1.0, like(step, faded))))
    if kind == "stained":
        name = ("green", "violet", "blue", "pink")[int(rng.integers(4))]
        step = float(rng.uniform(5.5, 9.5))
        amount = float(rng.uniform(0.5, 2.0)) * 0.5 * 10 ** (-step / 7)
        dyes = ((amount, *DYES[name]),)
        if rng.random() < 0.5:
            return HairColour(
                ((0.0, like(step)), (0.4, like(step)), (0.65, like(step, dyes)), (1.0, like(step, dyes)))
            )
        return HairColour(((0.0, like(step, dyes)), (1.0, like(step, dyes))))
    if kind == "patchy":
        step = float(rng.uniform(4.5, 9.5))
        other = step - float(rng.uniform(1.0, 2.6))
        return HairColour(
            ((0.0, like(step)), (1.0, like(step))), like(other), float(rng.uniform(0.15, 0.5)), seed
        )
    first = float(rng.uniform(2.5, 9.5))
    if kind == "uneven":
        second = float(np.clip(first + rng.choice([-1, 1]) * rng.uniform(1.2, 3.0), 0.5, 10))
        at = float(rng.uniform(0.25, 0.7))
        return HairColour(
            ((0.0, like(first)), (at - 0.06, like(first)), (at + 0.06, like(second)), (1.0, like(second)))
        )
    second, third = (float(np.clip(first + rng.normal(0, 1.6), 0.5, 10)) for _ in range(2))
    return HairColour(
        (
            (0.0, like(first)),
            (0.29, like(first)),
            (0.37, like(second)),
            (0.63, like(second)),
            (0.71, like(third)),
            (1.0, like(third)),
        )
    )


# --- light and camera ---------------------------------------------------------------------------------------

DAYLIGHTS = ("D65", "D55", "D50", "D75", "D60")
WARM = ("A", "LED-B1", "LED-B2", "LED-V1", "LED-BH1", "LED-RGB1", "FL12", "FL4")
NEUTRAL = ("LED-B3", "LED-B4", "LED-B5", "LED-V2", "FL2", "FL7", "FL11", "FL3.5", "FL3.9", "FL3.14")


def draw_lights(prepared: Prepared, rng: np.random.Generator) -> tuple[Light, ...]:
    """Return a random mixture of a scene's lights, from fully diffuse to nine tenths directional."""
    names = [lamp.name for lamp in prepared.rendered.scene.lamps if lamp.name != "dome"]
    family = (DAYLIGHTS, DAYLIGHTS, NEUTRAL, WARM)[int(rng.integers(4))]
    lamp = str(rng.choice(family))
    share = 0.0 if rng.random() < 0.12 else float(rng.uniform(0.08, 0.9))
    chosen = rng.permutation(names)[: 1 if rng.random() < 0.6 else 2]
    parts = rng.dirichlet(np.ones(len(chosen)))
    dome = lamp
    if rng.random() < 0.12:
        dome = str(rng.choice(DAYLIGHTS))
        share = min(share, 0.3)
    lights = [Light("dome", 1 - share, dome)]
    for name, part in zip(chosen, parts, strict=True):
        if share * part < 0.02:
            continue
        shadow = None
        if rng.random() < 0.12:
            angle, soft = float(rng.uniform(-40, 40)), float(rng.uniform(4, 25))
            depth = min(float(rng.uniform(0.2, 0.9)), 0.5 / max(share * part, 0.1))
            shadow = (float(rng.uniform(20, 128)), angle + 180 * int(rng.integers(2)), soft, depth)
        lights.append(Light(str(name), share * float(part), lamp, shadow))
    total = sum(light.weight for light in lights)
    return tuple(replace(light, weight=light.weight / total) for light in lights)


def draw_camera(rng: np.random.Generator) -> Camera:
    """Return a random phone-like camera and its settings for one picture."""
    balance = str(rng.choice(["auto", "auto", "auto", "partial", "partial", "daylight"]))
    kind = rng.random()
    exposure = float(rng.uniform(0.6, 0.93))
    if kind < 0.14:
        exposure = float(rng.uniform(0.3, 0.55))
    elif kind > 0.92:
        exposure = float(rng.uniform(0.98, 1.08))
    red, blue = rng.normal(0, 0.05, 2)
    return Camera(
        sensor=int(rng.integers(0, 9)),
        balance=balance,
        balance_error=(float(red), float(blue)),
        exposure=exposure,
        saturation=float(rng.uniform(0.95, 1.2)),
        contrast=float(rng.choice([0.0, 0.1, 0.2, 0.3, 0.45])),
        lifted_blacks=float(rng.choice([0.0, 0.0, 0.01, 0.03])),
        gamma=float(rng.uniform(0.85, 1.08)),
        channel_gamma=tuple(float(v) for v in 1 + rng.normal(0, 0.015, 3)),  # type: ignore[arg-type]
        shoulder=float(rng.choice([0.0, 0.0, 0.2, 0.4])),
        flare=float(rng.uniform(0.003, 0.03)),
        vignette=float(rng.uniform(0.0, 0.14)),
        blur=float(rng.uniform(0.35, 0.8)),
        noise=float(np.exp(rng.uniform(np.log(0.004), np.log(0.02)))),
        sharpen=float(rng.uniform(0, 0.9)),
        quality=int(rng.integers(80, 96)),
        matrix_error=0.012,
        seed=int(rng.integers(1 << 30)),
    )


def mean_light(lights: tuple[Light, ...]) -> Array:
    """Return the spectrum (61,) a white balance would aim at: the lights by their weight."""
    total = np.zeros(61)
    for light in lights:
        power = illuminant(light.illuminant)
        total = total + light.weight * power / (power * illuminant("D65")).sum()
    return total / total.mean()


def white_level(prepared: Prepared, lights: tuple[Light, ...]) -> float:
    """Return how bright a white card is at the bright side (95th percentile), relative to its centre."""
    bare = sum(light.weight * prepared.bare[light.name] for light in lights)
    corners = project(prepared.rendered.homography, CORNERS)
    # type: ignore[union-attr]
    mask = cv2.fillConvexPoly(np.zeros(bare.shape, np.uint8), np.round(corners).astype(np.int32), 1)
    return float(np.percentile(bare[mask > 0], 95) / 0.87)  # type: ignore[index]


# --- spoilt pictures ----------------------------------------------------------------------------------------

SPOILS = (
    "no strand",
    "glare",
    "blur",
    "overexposed",
    "two lights",
    "cut off",
    "folded",
    "too dark",
    "uneven",
)


def add_glare(
    picture: Array, homography: Array, at: tuple[float, float], size: float, strength: float
) -> Array:
    """Add a lamp's reflection on the card: a soft bright spot around ``at`` (card mm)."""
    h, w = picture.shape[:2]
    ys, xs = np.mgrid[0:h, 0:w] + 0.5
    card = project(np.linalg.inv(homography), np.stack([xs.ravel(), ys.ravel()], 1)).reshape(h, w, 2)
    far = np.hypot((card[..., 0] - at[0]) / 1.5, card[..., 1] - at[1]) / size
    inside = (card[..., 0] > 0) & (card[..., 0] < 148) & (card[..., 1] > 0) & (card[..., 1] < 105)
    spot = strength / (1 + far**4) * cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 1.5)
    return np.asarray(picture + spot[..., None].astype(np.float32))


def fold(picture: Array, homography: Array, at: float, steep: float) -> Array:
    """Fold the card along x = ``at`` mm: what lies to its right rises, foreshortened and shaded."""
    h, w = picture.shape[:2]
    ys, xs = np.mgrid[0:h, 0:w] + 0.5
    card = project(np.linalg.inv(homography), np.stack([xs.ravel(), ys.ravel()], 1)).reshape(h, w, 2)
    x, y = card[..., 0], card[..., 1]
    past = np.clip(x - at, 0, None)
    source_x = x + steep * past * 0.6
    source_y = 52.5 + (y - 52.5) / (1 + 0.006 * steep * past)
    beyond = (source_x > 148) & (x > at)
    source_x = np.where(beyond, source_x + 12, source_x)
    mapped = project(homography, np.stack([source_x.ravel(), source_y.ravel()], 1)).reshape(h, w, 2) - 0.5
    turned = cv2.remap(
        picture.astype(np.float32),
        mapped.astype(np.float32),
        None,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REFLECT,
    )
    shade = np.where((x > at) & ~beyond, 1 - 0.35 * steep, 1.0)
    shade = cv2.GaussianBlur(shade.astype(np.float32), (0, 0), 1.2)
    return np.asarray(turned * shade[..., None])


# --- photographs --------------------------------------------------------------------------------------------


class Writer:
    """Writes numbered photographs with their truth."""

    def __init__(self, out: Path) -> None:
        self.out = out
        (out / "masks").mkdir(parents=True, exist_ok=True)
        self.number = len(list(out.glob("[0-9]*.json")))

    def write(
        self,
        prepared: Prepared,
        colour: HairColour,
        lights: tuple[Light, ...],
        sheet: Sheet,
        camera: Camera,
        notes: dict[str, Any],
        dry: Prepared | None = None,
        turn: int = 0,
        spoil: str | None = None,
        table: int = 0,
    ) -> None:
        """Compose, spoil where asked, develop and write one photograph."""
        rng = np.random.default_rng(camera.seed + 17)
        r = prepared.rendered
        sensors = camera_sensitivity(camera.sensor)
        if spoil == "two lights":
            lamps = [lamp.name for lamp in r.scene.lamps if lamp.name != "dome"]
            lights = (
                Light("dome", 0.5, "D65", (float(rng.uniform(55, 95)), float(rng.normal(0, 15)), 6.0, 0.85)),
                Light(str(rng.choice(lamps)), 0.5, "A", (float(rng.uniform(55, 95)), 180.0, 6.0, 0.9)),
            )
        if spoil == "uneven":
            lights = tuple(
                replace(light, shadow=(74.0, float(rng.normal(0, 20)), 5.0, 0.86)) for light in lights
            )
        picture, zones = compose(
            prepared, colour if spoil != "no strand" else None, lights, sheet, sensors, table
        )
        if spoil == "glare":
            at = (float(rng.uniform(40, 110)), float(rng.uniform(30, 75)))
            picture = add_glare(
                picture, r.homography, at, float(rng.uniform(12, 20)), float(rng.uniform(1.2, 2.5))
            )
        if spoil == "folded":
            picture = fold(picture, r.homography, float(rng.uniform(60, 110)), float(rng.uniform(0.35, 0.6)))
        if spoil == "blur":
            camera = replace(camera, blur=float(rng.uniform(5, 9)), sharpen=0.2)
        if spoil == "overexposed":
            camera = replace(camera, exposure=float(rng.uniform(1.9, 3.0)))
        if spoil == "too dark":
            camera = replace(camera, exposure=float(rng.uniform(0.015, 0.035)))
        homography = r.homography.copy()
        image = develop(picture, mean_light(lights), camera, white_level(prepared, lights))
        if spoil == "cut off":
            corners = project(homography, CORNERS)
            left = int(corners[:, 0].min() + rng.uniform(0.06, 0.2) * np.ptp(corners[:, 0]))
            image = image[:, left:]
            homography = np.array([[1, 0, -left], [0, 1, 0], [0, 0, 1.0]]) @ homography
        if turn:
            h, w = image.shape[:2]
            image = np.rot90(image, 2)
            homography = np.array([[-1, 0, w], [0, -1, h], [0, 0, 1.0]]) @ homography
        name = f"{self.number:04d}"
        self.number += 1
        write_jpeg(image, self.out / f"{name}.jpg", camera.quality)
        directional = sum(light.weight for light in lights if light.name != "dome")
        record: dict[str, Any] = {
            "photo": f"{name}.jpg",
            "valid": spoil is None,
            "refuse_because": spoil,
            **notes,
            "wet": r.scene.fibre_index < 1.5,
            "zones": zones if spoil != "no strand" else {},
            "card_to_pixels": homography.tolist(),
            "pixels_per_mm": round(
                float(np.linalg.norm(np.diff(project(homography, CORNERS)[:2], axis=0))) / 148, 2
            ),
            "card_is": {
                "spread": notes["misprint"][0],
                "cast": notes["misprint"][1],
                "true_lab": sheet.lab.round(2).tolist(),
            },
            "recipe": {
                "directional_share": round(directional, 3),
                "lights": [asdict(light) for light in lights],
                "lamps": [asdict(lamp) for lamp in r.scene.lamps],
                "camera": asdict(camera),
                "colour": asdict(colour),
                "pose": asdict(r.scene.pose),
                "shape": asdict(r.scene.shape),
            },
        }
        if dry is not None:
            _, dry_zones = compose(dry, colour, (Light("dome", 1.0, "D65"),), sheet, sensors)
            record["dry_zones"] = {k: {"lab_diffuse": v["lab_diffuse"]} for k, v in dry_zones.items()}
        (self.out / f"{name}.json").write_text(json.dumps(record, indent=1))


def write_photos(
    folder: Path, out: Path, card: Path | None, per_scene: int = 6, wait: bool = True, smooth: bool = False
) -> None:
    """Compose photographs of every rendered scene in ``folder`` as they appear, a few colours each."""
    writer = Writer(out)
    sheets = [print_card(40 + i, s, c, card, smooth) for i, (s, c) in enumerate(MISPRINTS)]
    done = {f"scene{json.loads(p.read_text())['scene']:03d}.npz" for p in out.glob("[0-9]*.json")}
    while True:
        paths = [p for p in sorted(folder.glob("scene*.npz")) if p.name not in done and ".part" not in p.name]
        if not paths:
            if not wait:
                break
            time.sleep(5)
            continue
        path = paths[0]
        done.add(path.name)
        rendered = Rendered.load(path)
        prepared = prepare(rendered)
        index = int(path.stem[5:])
        rng = np.random.default_rng(4242 + index)
        strand = index * per_scene
        dry_path = folder / f"dry{index:03d}.npz"
        wet = rendered.scene.fibre_index < 1.5
        if wet:
            while not dry_path.exists():
                time.sleep(5)
        dry = prepare(Rendered.load(dry_path)) if wet else None
        full = np.zeros(rendered.bare.shape[1:], np.uint8)
        x, y, w, h = rendered.box
        full[y : y + h, x : x + w] = np.round(rendered.share * 255)
        cv2.imwrite(str(out / "masks" / f"scene{index:03d}.png"), full)
        for c in range(per_scene):
            kind = KINDS[(5 * strand + strand // 16) % len(KINDS)]
            colour = draw_colour(kind, rng)
            notes: dict[str, Any] = {"strand": f"s{strand:03d}", "scene": index, "kind": kind, "pair": None}
            strand += 1
            for shot in range(3):
                lights = draw_lights(prepared, rng)
                camera = draw_camera(rng)
                if camera.balance == "daylight" and lights[0].illuminant in WARM and rng.random() < 0.75:
                    camera = replace(camera, balance="partial")  # few cameras leave so strong a cast
                k = int(rng.integers(len(sheets)))
                spoil = None
                if shot == 2 and c == index % per_scene:
                    spoil = SPOILS[index % len(SPOILS)]
                turn = int(rng.random() < 0.2)
                table = int(rng.integers(12))
                names = [light.name for light in lights]
                opposite = {"root": "ends", "ends": "root", "above": "below", "below": "above"}
                can_turn = (
                    all(n == "dome" or opposite.get(n) in prepared.strand for n in names) and len(names) > 1
                )
                if shot == 0 and not can_turn:
                    along = [n for n in opposite if n in prepared.strand and opposite[n] in prepared.strand]
                    share = float(rng.uniform(0.25, 0.85))
                    lamp = lights[0].illuminant
                    lights = (Light("dome", 1 - share, lamp), Light(str(rng.choice(along)), share, lamp))
                notes = {**notes, "pair": None, "misprint": MISPRINTS[k]}
                if shot == 0:
                    notes["pair"] = f"p{strand:03d}"
                writer.write(prepared, colour, lights, sheets[k], camera, notes, dry, turn, spoil, table)
                if (
                    shot == 0
                ):  # the same strand with the card turned end for end: the light comes from the other side
                    turned = tuple(replace(light, name=opposite.get(light.name, "dome")) for light in lights)
                    turned = tuple(
                        replace(light, shadow=None if s is None else (148 - s[0], s[1] + 180, s[2], s[3]))
                        for light, s in ((light, light.shadow) for light in turned)
                    )
                    red, blue = rng.normal(0, 0.03, 2)
                    second = replace(
                        camera,
                        seed=camera.seed + 1,
                        exposure=camera.exposure * float(rng.uniform(0.93, 1.06)),
                        balance_error=(
                            camera.balance_error[0] + float(red),
                            camera.balance_error[1] + float(blue),
                        ),
                    )
                    writer.write(
                        prepared, colour, turned, sheets[k], second, notes, dry, 1 - turn, None, table
                    )
        print(time.strftime("%H:%M:%S"), "photos of", path.name, writer.number, flush=True)


MISPRINTS = (
    (0.0, 0.0),
    (1.0, 0.5),
    (1.5, 1.0),
    (2.0, 1.0),
    (1.0, 2.0),
    (2.5, 1.5),
    (0.7, 0.3),
    (3.0, 1.0),
    (1.5, 2.5),
    (1.2, 0.6),
)

if __name__ == "__main__":
    if sys.argv[1] == "scenes":
        render_scenes(Path(sys.argv[2]), int(sys.argv[3]))
    else:  # photos SCENES OUT [CARD.png], or smooth SCENES OUT [CARD.png] for prints of smooth spectra
        smooth_print = sys.argv[1] == "smooth"
        card_picture = Path(sys.argv[4]) if len(sys.argv) > 4 else None
        write_photos(
            Path(sys.argv[2]),
            Path(sys.argv[3]),
            card_picture,
            per_scene=2 if smooth_print else 6,
            wait=not smooth_print,
            smooth=smooth_print,
        )
