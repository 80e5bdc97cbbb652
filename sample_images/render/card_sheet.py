"""The card as the renderer's own texture, drawn from the card's definition file.

Millimetres and CIELAB are read from the definition; each patch gets a reflectance spectrum of invented inks
that has exactly the wanted CIELAB under D65. A picture of the card (`strandgauge card --png`) may be
given: then
text, rules and everything else outside the patches are taken from it.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .spectra import Inks, draw_inks, paper_spectrum, printed_spectrum, smooth_spectrum

Array = NDArray[Any]
DEFINITION = Path(__file__).resolve().parents[2] / "calibration" / "cards" / "strand-a6.toml"
PIXELS_PER_MM = 16
COVERS = 32


@dataclass(frozen=True, slots=True)
class Sheet:
    """A printed card. ``index`` (H, W) names a row of ``spectra`` (n, 61), reflectances.

    Rows from 0 are paper, ink, then the patches in the definition's order; the last `COVERS` are paper partly
    covered by ink, for the edges of text and rules.
    """

    index: Array
    spectra: Array
    lab: Array  # (n - COVERS, 3) true colour of paper, ink and patches
    name: str


def _layout(picture: Path | None) -> tuple[Array, Array, list[Array], dict[str, Any]]:
    with DEFINITION.open("rb") as file:
        d = tomllib.load(file)
    w, h = (round(v * PIXELS_PER_MM) for v in d["card"]["size"])
    index = np.zeros((h, w), np.uint8)
    cover = np.zeros((h, w), np.float32)
    labs = [np.array(d["card"]["paper"]), np.array(d["card"]["ink"])]

    def span(box: list[float]) -> tuple[slice, slice]:
        x0, y0, x1, y1 = (
            round(v * PIXELS_PER_MM) for v in (box[0], box[1], box[0] + box[2], box[1] + box[3])
        )
        return slice(y0, y1), slice(x0, x1)

    if picture is not None:
        p = cv2.imread(str(picture), cv2.IMREAD_GRAYSCALE)
        p = cv2.resize(p, (w, h), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
        linear = np.where(p > 0.04045, ((p + 0.055) / 1.055) ** 2.4, p / 12.92)
        paper, ink = (((lab[0] + 16) / 116) ** 3 for lab in labs)
        cover = np.clip((paper - linear) / (paper - ink), 0, 1).astype(np.float32)
        cover[cover < 0.03] = 0
    else:
        dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, d["markers"]["dictionary"]))
        for m in d["marker"]:
            rows, columns = span(m["box"])
            side = rows.stop - rows.start
            bits = cv2.aruco.generateImageMarker(dictionary, m["id"], 6 * 8)
            bits = cv2.resize(bits, (columns.stop - columns.start, side), interpolation=cv2.INTER_NEAREST)
            cover[rows, columns] = bits < 128
    for patch in d["patch"]:
        rows, columns = span(patch["box"])
        index[rows, columns] = len(labs)
        labs.append(np.array(patch["lab"]))
    return index, cover, labs, d


def print_card(
    seed: int, spread: float = 0.0, cast: float = 0.0, picture: Path | None = None, smooth: bool = False
) -> Sheet:
    """Print the card on an invented printer; ``spread`` and ``cast`` misprint it by about so many CIELAB
    units.

    The spread is smooth in colour, as a printer's errors are: near colours err alike. The cast is common
    to all
    printed colours; the paper stays within half of it. ``smooth`` prints have smooth spectra instead of three
    inks'.
    """
    index, cover, labs, d = _layout(picture)
    rng = np.random.default_rng(seed)
    lab = np.array(labs)
    errors = np.zeros_like(lab)
    if spread:
        knots = rng.uniform([0, -50, -50], [100, 50, 50], (14, 3))
        moves = rng.normal(0, 1, (14, 3))
        near = np.exp(-(((lab[:, None] - knots[None]) / [28, 32, 32]) ** 2).sum(-1))
        errors = near @ moves + 0.35 * rng.normal(0, 1, lab.shape)
        errors *= spread / np.sqrt((errors**2).sum(1).mean())
    common = rng.normal(0, 1, 3)
    common *= cast / max(float(np.linalg.norm(common)), 1e-9)
    shift = errors + common
    shift[0] *= 0.3
    true = lab + shift
    true[1:, 0] = np.clip(true[1:, 0], 13, 94)
    inks: Inks = draw_inks(seed)
    paper = paper_spectrum(true[0])
    cache: dict[tuple[float, ...], Array] = {}
    rows = [paper]
    for colour in true[1:]:
        key = tuple(np.round(colour, 6))
        if key not in cache:
            cache[key] = smooth_spectrum(colour) if smooth else printed_spectrum(colour, paper, inks)
        rows.append(cache[key])
    part = np.linspace(0, 1, COVERS)[:, None]
    spectra = np.concatenate([np.stack(rows), (1 - part) * rows[0] + part * rows[1]])
    covered = (len(rows) + np.round(cover * (COVERS - 1))).astype(np.uint8)
    return Sheet(np.where(index == 0, covered, index), spectra, true, str(d["card"]["name"]))
