"""Photographs with known truth, of many strands in many rooms, for building and judging the measurement.

``python -m sample_images.render.training OUT COUNT [--first N] [--spp N] [--jobs N] [--prints N] [--card CARD.png]``
renders the strands and rooms of `world` and photographs each in several hair colours: pairs with the card turned end
for end, and single ones. Beside each NNNN.jpg lies its truth, NNNN.json, with the families it is of. The pictures are
not committed. One place takes minutes on two cores, seconds on a graphics card.
"""

from __future__ import annotations

import argparse
import json
import pickle
import tempfile
import time
from dataclasses import asdict, replace
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .camera import Camera, develop, write_jpeg
from .card_sheet import Sheet, print_card
from .compose import HairColour, Light, Prepared, compose, prepare
from .scene import CORNERS, NODES, Scene, project, render
from .spectra import camera_sensitivity, illuminant
from .world import DYED, PRINT_ODDS, PRINTS, draw_camera, draw_hair, draw_lights, draw_place, turned

Array = NDArray[Any]


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


def write_photo(
    out: Path,
    name: str,
    prepared: Prepared,
    colour: HairColour | None,
    lights: tuple[Light, ...],
    sheet: Sheet,
    camera: Camera,
    notes: dict[str, Any],
    dry: Prepared | None = None,
    spoil: str | None = None,
    gloss: float = 0.0,
) -> None:
    """Compose, spoil where asked, develop and write one photograph and its truth."""
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
        edge = (74.0, float(rng.normal(0, 20)), 5.0, 0.86)
        lights = tuple(replace(light, shadow=edge) for light in lights)
    picture, zones = compose(prepared, colour, lights, sheet, sensors, int(rng.integers(12)))
    if gloss:
        picture = _sheen(picture, prepared, gloss, float(rng.uniform(0, 360)))
    if spoil == "glare":
        at = (float(rng.uniform(40, 110)), float(rng.uniform(30, 75)))
        picture = add_glare(
            picture, r.homography, at, float(rng.uniform(12, 20)), float(rng.uniform(1.2, 2.5))
        )
    if spoil == "folded":
        picture = fold(picture, r.homography, float(rng.uniform(60, 110)), float(rng.uniform(0.35, 0.6)))
    changed = {
        "blur": {"blur": float(rng.uniform(5, 9)), "sharpen": 0.2},
        "overexposed": {"exposure": float(rng.uniform(1.9, 3.0))},
        "too dark": {"exposure": float(rng.uniform(0.015, 0.035))},
    }
    camera = replace(camera, **changed.get(spoil or "", {}))
    image = develop(picture, mean_light(lights), camera, white_level(prepared, lights))
    homography = r.homography
    if spoil == "cut off":
        corners = project(homography, CORNERS)
        left = int(corners[:, 0].min() + rng.uniform(0.06, 0.2) * np.ptp(corners[:, 0]))
        image = image[:, left:]
        homography = np.array([[1, 0, -left], [0, 1, 0], [0, 0, 1.0]]) @ homography
    write_jpeg(image, out / f"{name}.jpg", camera.quality, notes.get("taken"))
    record: dict[str, Any] = {
        "photo": f"{name}.jpg",
        "valid": spoil is None,
        "refuse_because": spoil,
        **notes,
        "wet": r.scene.fibre_index < 1.5,
        "zones": zones,
        "card_to_pixels": homography.tolist(),
        "recipe": {
            "directional_share": round(sum(x.weight for x in lights if x.name != "dome"), 3),
            "gloss": gloss,
            "lights": [asdict(light) for light in lights],
            "camera": asdict(camera),
            "colour": None if colour is None else asdict(colour),
            "card_true_lab": sheet.lab.round(2).tolist(),
        },
    }
    if dry is not None and colour is not None:
        _, dry_zones = compose(dry, colour, (Light("dome", 1.0, "D65"),), sheet, sensors)
        record["dry_zones"] = {k: {"lab_diffuse": v["lab_diffuse"]} for k, v in dry_zones.items()}
    (out / f"{name}.json").write_text(json.dumps(record))


def _sheen(picture: Array, prepared: Prepared, strength: float, azimuth: float) -> Array:
    """Add what a glossy print sends back of the room: a veil over the card, stronger towards one side."""
    r = prepared.rendered
    h, w = picture.shape[:2]
    ys, xs = np.mgrid[0:h, 0:w] + 0.5
    card = project(np.linalg.inv(r.homography), np.stack([xs.ravel(), ys.ravel()], 1)).reshape(h, w, 2)
    inside = (card[..., 0] > 0) & (card[..., 0] < 148) & (card[..., 1] > 0) & (card[..., 1] < 105)
    a = np.radians(azimuth)
    side = ((card[..., 0] - 74) * np.cos(a) + (card[..., 1] - 52.5) * np.sin(a)) / 74
    veil = strength * (1 + 0.7 * side) * cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 1.0)
    x, y, bw, bh = r.box
    veil[y : y + bh, x : x + bw] *= 1 - r.share
    return np.asarray(picture + veil[..., None].astype(np.float32))


def transport(prepared: Prepared) -> dict[str, Any]:
    """Return each zone's mean radiance under each light at the absorptions `NODES`, of white in the same place."""
    r = prepared.rendered
    x, y, w, h = r.box
    found: dict[str, Any] = {}
    for zone, mask in prepared.zones.items():
        found[zone] = {}
        for lamp in r.scene.lamps:
            white = prepared.bare[lamp.name][y : y + h, x : x + w][mask].mean() / 0.87
            sent = prepared.strand[lamp.name][mask].mean(0)
            found[zone][lamp.name] = {"white": float(white), "sent": [float(v) for v in sent]}
    return found


# --- one place ----------------------------------------------------------------------------------------------

SHEETS = 24
PRINTS_FROM = 70
"""Seed of the first printed card; the next ones follow it."""


def print_sheets(card: Path | None, first: int = PRINTS_FROM) -> list[tuple[Sheet, str, str]]:
    """Return the printed cards with their print family and their inks; from another ``first`` on, other ones."""
    rng = np.random.default_rng(29 + first)
    wanted = []
    for i in range(SHEETS):
        family = list(PRINTS)[int(np.searchsorted(np.cumsum(PRINT_ODDS), (i * 7 % SHEETS + 0.5) / SHEETS))]
        spread, cast = PRINTS[family][int(rng.integers(len(PRINTS[family])))]
        wanted.append((first + i, spread, cast, card, i % 3 != 2, family))
    with get_context("spawn").Pool() as pool:
        return pool.map(_print_one, wanted)


def _print_one(job: tuple[int, float, float, Path | None, bool, str]) -> tuple[Sheet, str, str]:
    seed, spread, cast, card, smooth, family = job
    return print_card(seed, spread, cast, card, smooth), family, "smooth" if smooth else "three inks"


@cache
def _sheets(path: Path) -> list[tuple[Sheet, str, str]]:
    return pickle.loads(path.read_bytes())  # type: ignore[no-any-return]


def photograph(index: int, out: Path, sheets: Path, spp: int, pairs: int, singles: int) -> str:
    """Render the ``index``-th place and write its photographs; return a line for the log."""
    cv2.setNumThreads(1)
    began = time.time()
    place = draw_place(index)
    scenes: tuple[Scene, Scene] = (place.first, place.turned)
    views = [prepare(render(scene, spp=spp), noisy=spp < 48) for scene in scenes]
    rendered = time.time() - began
    dry = None
    if place.first.fibre_index < 1.5:
        shape = replace(place.first.shape, clumping=0.3, thickness=1.8, frizz=0.08, flyaways=0.01)
        scene = replace(place.first, shape=shape, fibre_index=1.55)
        dry = prepare(render(scene, spp=spp, only_dome=True), noisy=spp < 48)
    (out / f"place{index:04d}.json").write_text(
        json.dumps(
            {
                "place": index,
                "shape": place.shape,
                "nodes": NODES.tolist(),
                "scene": asdict(place.first),
                "views": [transport(v) for v in views],
            }
        )
    )
    rng = np.random.default_rng(52_000 + index)
    names = tuple(lamp.name for lamp in place.first.lamps)
    for shot in range(pairs + singles):
        colour, kind = draw_hair(rng)
        lights, lighting, lamp = draw_lights(names, rng)
        camera, processing, sensor = draw_camera(rng)
        sheet, quality, inks = _sheets(sheets)[int(rng.integers(SHEETS))]
        gloss = float(rng.uniform(0.003, 0.025)) if rng.random() < 0.2 else 0.0
        notes: dict[str, Any] = {
            "scene": index,
            "strand": f"s{index:04d}{shot}",
            "kind": kind,
            "dyed": kind in DYED,
            "pair": f"p{index:04d}{shot}" if shot < pairs else None,
            "families": {
                "shape": place.shape,
                "lighting": lighting,
                "lamp": lamp,
                "camera": processing,
                "sensor": sensor,
                "print": quality,
                "inks": inks,
                "gloss": "glossy" if gloss else "matt",
            },
            "taken": f"2026:03:{1 + index % 28:02d} {9 + shot:02d}:{index % 60:02d}:10",
        }
        name = f"{index:04d}{shot}"
        if shot >= pairs:
            side = int(rng.integers(2))
            spoil = SPOILS[int(rng.integers(len(SPOILS)))] if rng.random() < 0.08 else None
            write_photo(
                out,
                name,
                views[side],
                None if spoil == "no strand" else colour,
                lights if side == 0 else turned(lights),
                sheet,
                camera,
                notes,
                dry,
                spoil,
                gloss,
            )
            continue
        slip = rng.normal(0, 0.03, 2)
        second = replace(
            camera,
            seed=camera.seed + 1,
            exposure=camera.exposure * float(rng.uniform(0.93, 1.06)),
            balance_error=(camera.balance_error[0] + slip[0], camera.balance_error[1] + slip[1]),
        )
        later = {**notes, "taken": notes["taken"][:-2] + "31"}
        write_photo(out, name + "a", views[0], colour, lights, sheet, camera, notes, dry, gloss=gloss)
        write_photo(out, name + "b", views[1], colour, turned(lights), sheet, second, later, dry, gloss=gloss)
    return f"{index} {place.shape}: rendered in {rendered:.0f} s, done in {time.time() - began:.0f} s"


def main() -> None:
    """Photograph places on several processes side by side."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("count", type=int)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--spp", type=int, default=8)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--singles", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=1e9, help="start no further place after this long")
    parser.add_argument(
        "--prints", type=int, default=PRINTS_FROM, help="seed of the first of the printed cards"
    )
    parser.add_argument("--card", type=Path)
    a = parser.parse_args()
    began = time.time()
    a.out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        sheets = Path(folder) / "sheets.pickle"
        sheets.write_bytes(pickle.dumps(print_sheets(a.card, a.prints)))
        print(f"cards printed after {time.time() - began:.0f} s", flush=True)
        todo = [i for i in range(a.first, a.first + a.count) if not (a.out / f"place{i:04d}.json").exists()]
        with get_context("spawn").Pool(a.jobs, maxtasksperchild=8) as pool:
            jobs = ((i, a, sheets, began) for i in todo)
            for line in pool.imap_unordered(_job, jobs):
                print(f"{time.time() - began:.0f} s: {line}", flush=True)


def _job(job: tuple[int, argparse.Namespace, Path, float]) -> str:
    index, a, sheets, began = job
    if time.time() - began > a.seconds:
        return f"{index} left out"
    return photograph(index, a.out, sheets, a.spp, a.pairs, a.singles)


if __name__ == "__main__":
    main()
