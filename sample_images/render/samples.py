"""Makes the sample photographs of ``sample_images/`` and their truth file.

``python -m sample_images.render.samples --cache FOLDER --card CARD.png`` from the repository's root, after
``strandgauge card --png CARD.png``. Rendered light components stay in the cache folder (about half an hour on
two cores), composing the photographs from them takes a minute or two.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .camera import Camera, develop, write_heic, write_jpeg
from .card_sheet import Sheet, print_card
from .compose import HairColour, Light, Pigment, Prepared, compose, prepare
from .scene import CORNERS, Lamp, Pose, Rendered, Scene, project, render
from .spectra import camera_sensitivity
from .strand import StrandShape
from .training import add_glare, mean_light, white_level
from .truth import Outline
from .world import DYES, lifted

Array = NDArray[Any]
HERE = Path(__file__).resolve().parents[1]
LARGEST = 1_150_000  # bytes of a committed picture

DOME = Lamp("dome")


def _window(azimuth: float, elevation: float = 38.0) -> Lamp:
    return Lamp("window", "panel", azimuth, elevation, 1300.0, 520.0)


def _lamp(name: str, azimuth: float, elevation: float, distance: float = 700.0, size: float = 95.0) -> Lamp:
    return Lamp(name, "lamp", azimuth, elevation, distance, size)


def _big(**changes: Any) -> Pose:
    return replace(Pose(width=1680, height=1260, fill=0.84), **changes)


# One entry a strand: everything that decides its fibres, its place and the lights that are in the room.
SCENES: dict[str, Scene] = {
    "client-1": Scene(
        StrandShape(seed=301, width=17.5, length=101, bend=1.2, clumps=14, wave=0.22, tied=True),
        _big(tilt=9, towards=265, roll=-3),
        (DOME, _window(62), _lamp("lamp", 150, 55)),
        811,
    ),
    "client-2": Scene(
        StrandShape(
            seed=302, width=16.5, length=100, bend=-1.0, clumps=15, wave=0.25, tied=True, centre=52.0
        ),
        _big(tilt=12, towards=300, roll=5, shift=(2.0, 1.0)),
        (DOME, _window(62), _lamp("lamp", 150, 55)),
        812,
    ),
    "client-3": Scene(
        StrandShape(seed=303, width=17.0, length=100, bend=1.8, clumps=15, wave=0.28, frizz=0.11, tied=True),
        _big(tilt=7, towards=240, roll=178, shift=(-2.0, 2.0)),
        (DOME, _window(62), _lamp("lamp", 150, 55)),
        813,
    ),
    "uneven": Scene(
        StrandShape(
            seed=304, width=18.5, length=102, bend=-1.6, clumps=20, wave=0.9, wave_length=23, frizz=0.16
        ),
        _big(tilt=10, towards=200, roll=8),
        (DOME, _window(110, 42)),
        814,
    ),
    "stained": Scene(
        StrandShape(seed=305, width=15.0, length=99, bend=1.0, clumps=11, wave=0.3, clumping=0.4),
        _big(tilt=14, towards=280, roll=-11, shift=(3.0, -2.0)),
        (DOME, _window(300, 40)),
        815,
    ),
    "wet": Scene(
        StrandShape(
            seed=306,
            width=14.5,
            length=101,
            thickness=1.2,
            bend=1.4,
            clumps=9,
            clumping=0.72,
            frizz=0.03,
            flyaways=0.002,
        ),
        _big(tilt=11, towards=250, roll=2),
        (DOME, _window(80, 45)),
        816,
        fibre_index=1.17,
    ),
    "brown": Scene(
        StrandShape(seed=307, width=19.0, length=103, bend=0.8, clumps=18, wave=0.15),
        _big(tilt=8, towards=310, roll=4),
        (DOME, _lamp("lamp", 60, 52, 900, 140)),
        817,
    ),
    "black": Scene(
        StrandShape(
            seed=308, width=16.0, length=98, bend=-1.2, clumps=12, wave=0.7, wave_length=20, frizz=0.12
        ),
        _big(tilt=6, towards=270, roll=-6, width=1260, height=1680),
        (DOME, _window(85, 65)),
        818,
    ),
    "shadow": Scene(
        StrandShape(seed=309, width=17.0, length=100, bend=1.5, clumps=16, wave=0.3),
        _big(tilt=10, towards=230, roll=-4),
        (DOME, _lamp("lamp", 35, 40, 650, 90)),
        819,
    ),
    "tilted": Scene(
        StrandShape(seed=310, width=18.0, length=102, bend=-1.8, clumps=17, wave=0.35, flyaways=0.02),
        _big(tilt=37, towards=245, roll=12, fill=0.9),
        (DOME, _window(20, 40)),
        820,
    ),
    "turned": Scene(
        StrandShape(seed=311, width=16.5, length=101, bend=1.1, clumps=14, wave=0.25, tied=True),
        _big(tilt=8, towards=268, roll=3),
        (DOME, _lamp("root", 176, 36, 800, 130), _lamp("ends", -4, 36, 800, 130)),
        821,
    ),
    "pastel": Scene(
        StrandShape(
            seed=312,
            width=15.5,
            length=97,
            bend=-0.8,
            clumps=13,
            wave=1.0,
            wave_length=19,
            frizz=0.15,
            flyaways=0.02,
        ),
        _big(tilt=9, towards=275, roll=-2, width=1760, height=1320),
        (DOME, _window(130, 45)),
        822,
    ),
}


@dataclass(frozen=True, slots=True)
class Shot:
    """One sample photograph: what is on it and how it was taken."""

    name: str
    scene: str
    what: str
    strand: str
    colour: HairColour
    lights: tuple[Light, ...]
    camera: Camera
    taken: str
    print_of: tuple[int, float, float] = (51, 0.8, 0.5)  # printer, misprint's spread and cast in CIELAB
    table: int = 0
    orientation: int = 1
    turn: bool = False
    enlarge: float = 1.0
    spoil: str | None = None  # the code of the error a reader must give
    turned_with: str | None = None


def _even(step: float, seed: int, drift: float = 0.0, dyes: tuple[Any, ...] = ()) -> HairColour:
    def like(s: float) -> Pigment:
        return lifted(s, np.random.default_rng(seed), dyes)

    return HairColour(((0.0, like(step + drift)), (1.0, like(step - drift))))


def _shots() -> list[Shot]:
    day = (Light("dome", 0.55, "D65"), Light("window", 0.45, "D65"))
    salon = (Light("dome", 0.62, "D55"), Light("window", 0.30, "D55"), Light("lamp", 0.08, "LED-B4"))
    root, ends = lifted(8.9, np.random.default_rng(21)), lifted(6.4, np.random.default_rng(21))
    middle = lifted(7.4, np.random.default_rng(21))
    uneven = HairColour(
        ((0.0, root), (0.26, root), (0.42, middle), (0.60, middle), (0.74, ends), (1.0, ends)),
        lifted(6.2, np.random.default_rng(21)),
        0.22,
        5,
    )
    gold = lifted(7.9, np.random.default_rng(33))
    green = replace(gold, dyes=((0.055, *DYES["green"]),))
    stained = HairColour(((0.0, gold), (0.34, gold), (0.52, green), (1.0, green)))
    pair = _even(7.6, 61)
    phone = Camera(sensor=3, exposure=0.80, contrast=0.22, saturation=1.08, seed=1, quality=90)
    other = Camera(sensor=0, exposure=0.76, contrast=0.12, saturation=1.03, seed=2, quality=90, sharpen=0.4)
    third = Camera(sensor=6, exposure=0.84, contrast=0.32, saturation=1.12, shoulder=0.2, seed=3, quality=89)
    fourth = Camera(
        sensor=5, exposure=0.74, contrast=0.15, saturation=1.0, lifted_blacks=0.01, seed=4, quality=91
    )

    def cam(base: Camera, seed: int, **changes: Any) -> Camera:
        rng = np.random.default_rng(seed)
        slip = tuple(float(v) for v in rng.normal(0, 0.03, 2))
        return replace(base, seed=seed, balance_error=slip, **changes)  # type: ignore[arg-type]

    return [
        Shot(
            "marta-1005.jpg",
            "client-1",
            "first look, 5 minutes in: red orange, soft daylight from a window",
            "marta",
            _even(5.0, 11, -0.1),
            salon,
            cam(phone, 101),
            "2026:03:14 10:05:21",
            table=0,
        ),
        Shot(
            "marta-1022.jpg",
            "client-2",
            "the same client 17 minutes later: orange gold",
            "marta",
            _even(6.9, 11, -0.1),
            salon,
            cam(phone, 102),
            "2026:03:14 10:22:40",
            table=0,
        ),
        Shot(
            "marta-1041.jpg",
            "client-3",
            "rinsed and dried: pale yellow, the card upside down in the picture",
            "marta",
            _even(9.7, 11, 0.1),
            salon,
            cam(phone, 103),
            "2026:03:14 10:41:03",
            table=0,
        ),
        Shot(
            "uneven.jpg",
            "uneven",
            "lighter at the root than at the ends, with darker pieces; cool daylight",
            "ines",
            uneven,
            (Light("dome", 0.6, "D75"), Light("window", 0.4, "D75")),
            cam(other, 104, balance="partial"),
            "2026:03:14 11:30:10",
            (52, 1.5, 0.8),
            table=5,
        ),
        Shot(
            "stained.jpg",
            "stained",
            "gold with the green rest of an old ash tone from the middle down",
            "noor",
            stained,
            day,
            cam(third, 105),
            "2026:03:15 09:12:44",
            (53, 1.2, 0.6),
            table=3,
        ),
        Shot(
            "wet.jpg",
            "wet",
            "towel-dry, still wet: orange gold",
            "lena",
            _even(7.0, 44),
            (Light("dome", 0.6, "D50"), Light("window", 0.4, "D50")),
            cam(phone, 106, exposure=0.72),
            "2026:03:15 14:03:09",
            table=4,
        ),
        Shot(
            "warm-led.jpg",
            "brown",
            "brown under a warm LED, white balance leaving some of the warmth",
            "sami",
            _even(3.0, 55),
            (Light("dome", 0.55, "LED-B1"), Light("lamp", 0.45, "LED-B1")),
            cam(third, 107, balance="partial"),
            "2026:03:15 18:40:55",
            (52, 1.5, 0.8),
            table=2,
        ),
        Shot(
            "fluorescent.jpg",
            "black",
            "natural black under fluorescent tubes, taken upright",
            "yun",
            _even(0.4, 66),
            (Light("dome", 0.5, "FL11"), Light("window", 0.5, "FL11")),
            cam(other, 108, exposure=0.82),
            "2026:03:16 08:55:30",
            (54, 1.0, 1.0),
            table=1,
            orientation=6,
        ),
        Shot(
            "uneven-light.jpg",
            "shadow",
            "red brown to orange, one near lamp and a shadow's edge across the card",
            "ada",
            _even(4.3, 77, 0.2),
            (Light("dome", 0.48, "LED-B3"), Light("lamp", 0.52, "LED-B3", (96.0, -12.0, 14.0, 0.55))),
            cam(third, 109),
            "2026:03:16 12:20:02",
            (53, 1.2, 0.6),
            table=8,
        ),
        Shot(
            "tilted.jpg",
            "tilted",
            "gold, the phone held far aslant",
            "ida",
            _even(7.7, 88),
            day,
            cam(fourth, 110),
            "2026:03:16 15:31:47",
            (51, 0.8, 0.5),
            table=10,
        ),
        Shot(
            "turned-a.jpg",
            "turned",
            "yellow orange, a side light from the root end",
            "ben",
            pair,
            (Light("dome", 0.4, "LED-B4"), Light("root", 0.6, "LED-B4")),
            cam(phone, 111),
            "2026:03:17 10:10:05",
            (51, 0.8, 0.5),
            table=2,
            turned_with="turned-b.jpg",
        ),
        Shot(
            "turned-b.jpg",
            "turned",
            "the same strand, the card turned end for end: the light comes from the ends",
            "ben",
            pair,
            (Light("dome", 0.4, "LED-B4"), Light("ends", 0.6, "LED-B4")),
            cam(phone, 112),
            "2026:03:17 10:10:31",
            (51, 0.8, 0.5),
            table=2,
            turn=True,
            turned_with="turned-a.jpg",
        ),
        Shot(
            "pastel.heic",
            "pastel",
            "pale yellow toned to a pastel pink, HEIC as phones write it",
            "mio",
            _even(9.3, 99, 0.1, ((0.03, *DYES["pink"]),)),
            (Light("dome", 0.65, "D60"), Light("window", 0.35, "D60")),
            cam(fourth, 113, wide_gamut=False),
            "2026:03:17 16:45:12",
            (54, 1.0, 1.0),
            table=5,
        ),
        Shot(
            "twelve-megapixels.jpg",
            "client-3",
            "yellow, at 12 megapixels",
            "marta",
            _even(9.2, 11, 0.1),
            salon,
            cam(other, 114, noise=0.004, blur=0.9, sharpen=0.8, quality=84),
            "2026:03:14 10:36:50",
            table=5,
            enlarge=2.38125,
        ),
        Shot(
            "refuse-glare.jpg",
            "client-2",
            "a lamp mirrored on a glossy card",
            "marta",
            _even(6.9, 11, -0.1),
            salon,
            cam(third, 115),
            "2026:03:14 10:21:58",
            table=0,
            spoil="glare",
        ),
        Shot(
            "refuse-cut-off.jpg",
            "uneven",
            "the card's root end is outside the picture",
            "ines",
            uneven,
            day,
            cam(other, 116),
            "2026:03:14 11:29:40",
            (52, 1.5, 0.8),
            table=5,
            spoil="card-cut-off",
        ),
        Shot(
            "refuse-overexposed.jpg",
            "shadow",
            "far overexposed",
            "ada",
            _even(8.4, 77),
            (Light("dome", 0.7, "D65"), Light("lamp", 0.3, "D65")),
            cam(fourth, 117, exposure=2.3),
            "2026:03:16 12:18:33",
            (53, 1.2, 0.6),
            table=8,
            spoil="overexposed",
        ),
        Shot(
            "refuse-blur.jpg",
            "stained",
            "shaken and out of focus",
            "noor",
            stained,
            day,
            cam(third, 118, blur=11.0, sharpen=0.2),
            "2026:03:15 09:12:20",
            (53, 1.2, 0.6),
            table=3,
            spoil="blur",
        ),
    ]


def enlarge(prepared: Prepared, s: float) -> Prepared:
    """Return a prepared scene with ``s`` times the pixels each way; the card is then drawn finer."""
    r = prepared.rendered
    x, y, w, h = r.box
    box = (round(x * s), round(y * s), round(w * s), round(h * s))
    grow = np.diag([s, s, 1.0])

    def size(a: Array, to: tuple[int, int]) -> Array:
        return np.asarray(cv2.resize(np.ascontiguousarray(a), to, interpolation=cv2.INTER_CUBIC))

    full = (round(r.bare.shape[2] * s), round(r.bare.shape[1] * s))
    homography = grow @ r.homography
    bigger = replace(
        r,
        homography=homography,
        box=box,
        bare=np.zeros((1, full[1], full[0])),
        share=np.clip(size(r.share, box[2:]), 0, 1),
        where=cv2.resize(r.where, box[2:], interpolation=cv2.INTER_NEAREST),
        table=size(r.table, full),
        strand=np.zeros((1, 1, 1, 1)),
    )
    strand = {
        k: np.maximum(np.stack([size(v[..., i], box[2:]) for i in range(v.shape[2])], axis=-1), 0)
        for k, v in prepared.strand.items()
    }
    bare = {k: size(v, full) for k, v in prepared.bare.items()}
    zones = {
        k: cv2.resize(v.astype(np.uint8), box[2:], interpolation=cv2.INTER_NEAREST) > 0
        for k, v in prepared.zones.items()
    }
    shape: Outline | None = prepared.outline
    return Prepared(bigger, strand, bare, shape, zones)


def render_all(cache: Path) -> None:
    """Render what the cache lacks."""
    cache.mkdir(parents=True, exist_ok=True)
    for name, scene in SCENES.items():
        path = cache / f"{name}.npz"
        if path.exists():
            continue
        done = render(scene, spp=7)
        done.save(path)
        if scene.fibre_index < 1.5:
            shape = replace(scene.shape, clumping=0.3, thickness=1.6, frizz=0.08, flyaways=0.01, clumps=15)
            render(replace(scene, shape=shape, fibre_index=1.55), spp=7, only_dome=True).save(
                cache / f"{name}-dry.npz"
            )
        print(time.strftime("%H:%M:%S"), name, f"{done.seconds:.0f} s", flush=True)


def photograph(shot: Shot, prepared: Prepared, sheet: Sheet) -> tuple[Array, dict[str, Any], Array]:
    """Return the picture (H, W, 3) as a viewer shows it, the zones' truth and the homography card mm to
    pixels."""
    r = prepared.rendered
    picture, zones = compose(
        prepared, shot.colour, shot.lights, sheet, camera_sensitivity(shot.camera.sensor), shot.table
    )
    if shot.spoil == "glare":
        picture = add_glare(picture, r.homography, (84.0, 66.0), 17.0, 1.6)
    homography = r.homography.copy()
    image = develop(picture, mean_light(shot.lights), shot.camera, white_level(prepared, shot.lights))
    if shot.spoil == "card-cut-off":
        corners = project(homography, CORNERS)
        left = int(corners[:, 0].min() + 0.15 * np.ptp(corners[:, 0]))
        image = image[:, left:]
        homography = np.array([[1, 0, -left], [0, 1, 0], [0, 0, 1.0]]) @ homography
    if shot.turn:
        h, w = image.shape[:2]
        image = np.rot90(image, 2)
        homography = np.array([[-1, 0, w], [0, -1, h], [0, 0, 1.0]]) @ homography
    return image, zones, homography


def main() -> None:
    """Render, compose and write everything."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument(
        "--cache", type=Path, required=True, help="folder for the rendered light components"
    )
    arguments.add_argument("--card", type=Path, help="picture of the card, from strandgauge card --png")
    arguments.add_argument("--out", type=Path, default=HERE)
    arguments.add_argument("--only", nargs="*", default=None, help="names of the pictures to make")
    arguments.add_argument("--render-only", action="store_true")
    chosen = arguments.parse_args()
    render_all(chosen.cache)
    if chosen.render_only:
        return
    truth_path = chosen.out / "truth.json"
    records: dict[str, Any] = {}
    if truth_path.exists() and chosen.only is not None:
        records = {s["photo"]: s for s in json.loads(truth_path.read_text())["samples"]}
    for shot in _shots():
        if chosen.only is not None and shot.name not in chosen.only:
            continue
        prepared = prepare(Rendered.load(chosen.cache / f"{shot.scene}.npz"))
        sheet = print_card(*shot.print_of, chosen.card)
        wet = prepared.rendered.scene.fibre_index < 1.5
        if shot.enlarge > 1.0:
            prepared = enlarge(prepared, shot.enlarge)
        image, zones, homography = photograph(shot, prepared, sheet)
        path = chosen.out / shot.name
        for quality in range(shot.camera.quality, 40, -3):
            if path.suffix == ".heic":
                write_heic(image, path, quality - 20, shot.taken)
            else:
                write_jpeg(image, path, quality, shot.taken, shot.orientation)
            if path.stat().st_size < LARGEST:
                break
        record: dict[str, Any] = {
            "photo": shot.name,
            "what": shot.what,
            "refuse": shot.spoil,
            "taken": shot.taken,
            "strand_of": shot.strand,
            "wet": wet,
            "turned_with": shot.turned_with,
            "zones": {} if shot.spoil else zones,
            "megapixels": round(image.shape[0] * image.shape[1] / 1e6, 1),
            "card_to_pixels": np.round(homography / homography[2, 2], 8).tolist(),
            "lights": [
                {"light": light.name, "share": light.weight, "illuminant": light.illuminant}
                for light in shot.lights
            ],
            "misprint": {"spread": shot.print_of[1], "cast": shot.print_of[2]},
        }
        if wet:
            dry = prepare(Rendered.load(chosen.cache / f"{shot.scene}-dry.npz"))
            _, dry_zones = compose(
                dry, shot.colour, (Light("dome", 1.0, "D65"),), sheet, camera_sensitivity(0)
            )
            record["dry_zones"] = {k: {"lab_diffuse": v["lab_diffuse"]} for k, v in dry_zones.items()}
        records[shot.name] = record
        print(
            shot.name,
            image.shape,
            path.stat().st_size,
            {k: v["lab_diffuse"] for k, v in zones.items()},
            flush=True,
        )
    order = [s.name for s in _shots() if s.name in records]
    document = {
        "schema": "strandgauge.samples/1",
        "about": (
            "True colours of the strands in the sample photographs, from the renderer that made them and "
            "the CIE "
            "observer. lab_diffuse: under a uniform D65 dome, white card in the same place = 100. "
            "lab_as_lit: in "
            "the photograph's own light, its spectrum and unevenness cancelled by a white card in the same "
            "place. "
            "Zones as shares of the strand's visible length from the root end (root 8-25 %, mids 41-59 %, "
            "ends "
            "75-90 %, overall 8-90 %), middle 60 % of its width, everything visible there averaged. refuse: "
            "the "
            "code of the error that a reader must give, or null. dry_zones: the same hair dry. "
            "card_to_pixels: "
            "homography from card mm to pixels of the picture as a viewer shows it. misprint: how far the "
            "printed "
            "card is off its definition, CIELAB, smooth spread and common cast. "
            "reflectance_diffuse_20nm: 400-700 nm by 20 nm."
        ),
        "illuminant": "D65",
        "observer": "2",
        "samples": [records[name] for name in order],
    }
    truth_path.write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
