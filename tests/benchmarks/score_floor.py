"""Where the error of the colour as lit comes from: what is left of it when parts of the truth are given (not a test).

    python tests/benchmarks/score_floor.py FOLDER... [--photos N]

Reads photos that ``python -m sample_images.render.training`` wrote: as shipped, then with the true print, the
camera's true curve and the true lightness. Then the same patches and hair as spectra alone, under the same lamps:
through the same camera without noise, compression, local tone and uneven light, and with ever less of the camera.
Each line is the mean CIEDE2000 of root, mids and ends, by families.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import least_squares

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from sample_images.render import camera as cameras
from sample_images.render.card_sheet import COVERS
from sample_images.render.compose import Light
from sample_images.render.spectra import GRID, camera_sensitivity, illuminant, lab_of
from sample_images.render.training import mean_light, print_sheets

from strandgauge.card.sample import sample_card
from strandgauge.colour.cielab import delta_e_2000, difference_weights, lab_from_xyz, xyz_from_lab
from strandgauge.colour.srgb import RATIO_FROM_RGB, srgb_encode
from strandgauge.errors import StrandgaugeError
from strandgauge.hair.family import DARKEST, lab_from_ratio
from strandgauge.kit import shipped
from strandgauge.light.correction import fit_correction
from strandgauge.light.trust import measure_exposure
from strandgauge.reading.describe import PARTS
from strandgauge.reading.pipeline import CardReading, _measure

KIT = shipped()
SIZE = KIT.card.size
LEVELS = np.linspace(0.0, 1.0, 4001)
EVEN = 0.93
"""Light on every place of the card in the lines on spectra, of the brightest."""


# --- photos ----------------------------------------------------------------------------------------------


def read(found: CardReading) -> tuple[np.ndarray, np.ndarray]:
    """Return CIELAB (3, 3) as lit of root, mids and ends: by the fit alone, and as a reading tells it."""
    measured = _measure(found, KIT.card.window, KIT.ladder, False)
    fitted = np.array([measured.zones[part].linear for part in PARTS]) @ RATIO_FROM_RGB.T
    told = np.array([measured.colours[part].as_lit.ratio for part in PARTS])
    return lab_from_ratio(np.maximum(fitted, DARKEST)), lab_from_ratio(told)


def refitted(found: CardReading, true_print: np.ndarray | None, curve: cameras.Camera | None) -> CardReading:
    """Return the card read again, with the true print or the camera's true curve, or both."""
    photo, samples = found.photo, found.samples
    if curve is not None:
        written = cameras._curve(np.repeat(LEVELS[:, None], 3, axis=1), curve)
        codes = np.arange(256) / 255
        light = np.stack([np.interp(codes, written[:, c], LEVELS) for c in (2, 1, 0)], axis=1)
        table = np.round(srgb_encode(light) * 65535).astype(np.uint16)
        photo = replace(photo, pixels=np.stack([table[photo.pixels[..., c], c] for c in range(3)], axis=2))
        samples = sample_card(photo.pixels, found.view, found.card)
    if true_print is not None:
        samples = replace(samples, reference=true_print)
    usable = measure_exposure(found.samples).usable
    return replace(found, photo=photo, samples=samples, fitted=fit_correction(samples, SIZE, usable))


def as_light(lab: np.ndarray, true: np.ndarray) -> np.ndarray:
    """Return colours (3, 3) scaled to their true lightness."""
    xyz = xyz_from_lab(lab)
    return lab_from_xyz(xyz * (xyz_from_lab(true)[:, 1] / xyz[:, 1])[:, None])


# --- spectra ---------------------------------------------------------------------------------------------


@cache
def sheets() -> list[tuple[np.ndarray, np.ndarray]]:
    """Return true CIELAB and spectra (n, 61) of paper, ink and patches of each printed card."""
    return [(sheet.lab.round(2), sheet.spectra[:-COVERS]) for sheet, _, _ in print_sheets(None)]


def hair_spectrum(zone: dict[str, Any]) -> np.ndarray:
    """Return a reflectance (61,) of the zone's true colour as lit: the diffuse one, bent smoothly."""
    diffuse = np.interp(GRID, GRID[::4], np.maximum(zone["reflectance_diffuse_20nm"], 1e-4))
    bend = np.vander((GRID - 550) / 150, 3)
    found = least_squares(lambda p: lab_of(diffuse * np.exp(bend @ p)) - zone["lab_as_lit"], np.zeros(3))
    return np.asarray(diffuse * np.exp(bend @ found.x))


class Scene:
    """One photo's sensor and lamps, its patches and its hair as the sensor's linear channels."""

    def __init__(self, truth: dict[str, Any], found: CardReading) -> None:
        self.samples = found.samples
        recipe = truth["recipe"]
        options = {k: tuple(v) if isinstance(v, list) else v for k, v in recipe["camera"].items()}
        self.camera = cameras.Camera(**options)
        self.lights = tuple(Light(x["name"], x["weight"], x["illuminant"]) for x in recipe["lights"])
        printed = np.array(recipe["card_true_lab"])
        spectra = min(sheets(), key=lambda sheet: float(np.abs(sheet[0] - printed).max()))[1]
        patch = self.samples.is_patch
        on_card = np.repeat(spectra[:1], len(patch), axis=0)
        on_card[patch] = spectra[2:]
        self.true_print = np.repeat(printed[:1], len(patch), axis=0)
        self.true_print[patch] = printed[2:]
        self.hair_spectra = np.array([hair_spectrum(truth["zones"][part]) for part in PARTS])
        self.on_card, self.hair = self.seen(on_card), self.seen(self.hair_spectra)

    def seen(self, spectra: np.ndarray) -> np.ndarray:
        """Return (n, 3) channels of reflectances (n, 61), white being 1."""
        sensor = camera_sensitivity(self.camera.sensor)
        total = np.zeros((2, 1, 3))
        for light in self.lights:
            power = illuminant(light.illuminant)
            power = power * light.weight / (power @ sensor[:, 1])
            total = total + np.stack(
                [np.broadcast_to(x @ sensor, (len(spectra), 3)) for x in (spectra * power, power)]
            )
        return np.asarray(total[0] / total[1])

    def written(self, channels: np.ndarray, curve: bool) -> np.ndarray:
        """Return encoded values (n, 3), by the camera's matrix and curve, or by the curve of sRGB alone."""
        light = channels * self.camera.exposure * EVEN
        if not curve:
            return srgb_encode(light)
        sensor, day = camera_sensitivity(self.camera.sensor), illuminant("D65")
        mean = mean_light(self.lights)
        own = (mean @ sensor) / (day @ sensor)
        aim = {"auto": own, "partial": own**0.72, "daylight": np.ones(3)}[self.camera.balance]
        cast = (own / aim) / (own / aim)[1]
        believed = mean if self.camera.balance == "auto" else day
        balanced = np.clip(light * cast, 0, 1)
        slip = np.exp([self.camera.balance_error[0], 0.0, self.camera.balance_error[1]])
        linear = balanced @ cameras.colour_matrix(self.camera.sensor, believed, self.camera).T * slip
        return np.clip(cameras._curve(np.clip(linear, 0, 1), self.camera), 0, 1)

    def corrected(self, curve: bool, true_print: bool, off: float = 0.0) -> np.ndarray:
        """Return CIELAB (3, 3) of the hair by the fit to the patches, their values `off` by so many codes."""
        noise = np.random.default_rng(self.camera.seed).normal(0, off / 255, self.on_card.shape)
        encoded = np.clip(self.written(self.on_card, curve) + noise, 0, 1)
        reference = self.true_print if true_print else self.samples.reference
        samples = replace(self.samples, encoded=encoded, reference=reference)
        correction = fit_correction(samples, SIZE, measure_exposure(self.samples).usable).for_hair
        bare = replace(correction, tone_offsets=correction.bare_offsets, veil=np.zeros((2, 3)))
        middle = np.repeat([[SIZE[0] / 2, SIZE[1] / 2]], 3, axis=0)
        return lab_from_xyz(np.maximum(bare.to_xyz(self.written(self.hair, curve), middle), 1e-4))


def matrix(channels: np.ndarray, lab: np.ndarray) -> np.ndarray:
    """Return the (3, 3) channels to XYZ that leaves the least CIEDE2000 parts, a few far ones apart."""
    weights, wanted = difference_weights(lab), xyz_from_lab(lab)

    def miss(m: np.ndarray) -> np.ndarray:
        found = lab_from_xyz(np.maximum(channels @ m.reshape(3, 3), 1e-4))
        return np.einsum("nij,nj->ni", weights, found - lab).ravel()

    start = np.linalg.lstsq(channels, wanted, rcond=None)[0]
    return np.asarray(least_squares(miss, start.ravel(), loss="cauchy", f_scale=3.0).x.reshape(3, 3))


# --- the table -------------------------------------------------------------------------------------------


def photos(
    folders: list[Path], most: int
) -> Iterator[tuple[dict[str, Any], CardReading, tuple[np.ndarray, np.ndarray]]]:
    """Yield truth, the card and the colours as lit, as `read` returns them, of some photos that are read."""
    truths = sorted(path for folder in folders for path in folder.glob("[0-9]*.json"))
    for at in np.random.default_rng(11).permutation(len(truths))[:most]:
        truth = json.loads(truths[at].read_text())
        if truth["valid"] and not truth["wet"]:
            try:
                measured = KIT.measure(truths[at].with_suffix(".jpg"))
            except StrandgaugeError:
                continue
            yield truth, measured.card, read(measured.card)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path, metavar="FOLDER")
    parser.add_argument("--photos", type=int, default=300)
    asked = parser.parse_args()
    lines: dict[str, list[np.ndarray]] = defaultdict(list)
    truths, scenes, true = [], [], []
    for truth, found, (fitted_lab, shipped_lab) in photos(asked.folders, asked.photos):
        scene = Scene(truth, found)
        lit = np.array([truth["zones"][part]["lab_as_lit"] for part in PARTS])
        try:
            by_print, _ = read(refitted(found, scene.true_print, None))
            by_curve, _ = read(refitted(found, None, scene.camera))
            by_both, _ = read(refitted(found, scene.true_print, scene.camera))
        except StrandgaugeError:
            continue
        lines["photo, as shipped"].append(shipped_lab)
        lines["photo, by the fit alone"].append(fitted_lab)
        lines["photo, true lightness"].append(as_light(fitted_lab, lit))
        lines["photo, true print"].append(by_print)
        lines["photo, true curve"].append(by_curve)
        lines["photo, true print and curve"].append(by_both)
        lines["spectra, whole camera"].append(scene.corrected(True, False))
        lines["spectra, values off by 0.4 of a code"].append(scene.corrected(True, False, 0.4))
        lines["spectra, true print"].append(scene.corrected(True, True))
        lines["spectra, curve of sRGB"].append(scene.corrected(False, False))
        lines["spectra, both"].append(scene.corrected(False, True))
        to_xyz = matrix(scene.on_card, scene.true_print)
        lines["spectra, matrix alone, true print"].append(lab_from_xyz(np.maximum(scene.hair @ to_xyz, 1e-4)))
        truths.append(truth)
        scenes.append(scene)
        true.append(lit)
    undyed = np.array([not truth["dyed"] for truth in truths])
    strands = np.concatenate(
        [scene.hair_spectra for scene, plain in zip(scenes, undyed, strict=True) if plain]
    )[::3]
    strands = np.vstack([strands, np.full((len(strands) // 8, 61), 0.87)])
    for scene in scenes:
        to_xyz = matrix(scene.seen(strands), lab_of(strands))
        lines["spectra, matrix fitted to hair"].append(lab_from_xyz(np.maximum(scene.hair @ to_xyz, 1e-4)))

    def of(family: str, name: str) -> np.ndarray:
        return np.array([truth["families"][family] == name for truth in truths])

    lit = np.array(true)
    columns = {
        "all": np.ones(len(truths), bool),
        "invented": of("sensor", "invented"),
        "measured 0": of("sensor", "measured 0"),
        "measured 1": of("sensor", "measured 1"),
        "smooth inks": of("inks", "smooth"),
        "three inks": of("inks", "three inks"),
        "true prints": of("print", "true"),
        "local tone": of("camera", "local"),
        "undyed": undyed,
    }
    print("| | " + " | ".join(f"{name} ({rows.sum()})" for name, rows in columns.items()) + " |")
    print("|---" * (len(columns) + 1) + "|")
    for name, found_lab in lines.items():
        off = delta_e_2000(np.array(found_lab).reshape(-1, 3), lit.reshape(-1, 3)).reshape(-1, 3)
        print(f"| {name} | " + " | ".join(f"{off[rows].mean():.2f}" for rows in columns.values()) + " |")


if __name__ == "__main__":
    main()
