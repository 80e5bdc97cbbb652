"""How right patches come out that the fit of light and camera has not seen, on rendered photos of known print.

    python tests/benchmarks/score_patches.py FOLDER... [--photos N] [--with field.BRIGHTNESS_SD=0.5 ...]

Four lines, mean CIEDE2000 from what was truly printed: a quarter of the strand card's patches left out at a time; and
the same card as a chart that confounds tone and place (light greys above, dark ones below, no others), once without
its paper, once with paper of unknown and once of known colour, judged by the greys left out. ``--with`` tries another
value of a constant of ``light/``.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import replace
from importlib import import_module
from pathlib import Path

import numpy as np

from strandgauge.card.sample import Samples
from strandgauge.colour.cielab import delta_e_2000
from strandgauge.errors import StrandgaugeError
from strandgauge.light.correction import fit_correction, with_paper_seen
from strandgauge.light.trust import measure_exposure
from strandgauge.reading.pipeline import default_card, open_card

CARD = default_card()


def photos(folders: list[Path], most: int) -> Iterator[tuple[Samples, np.ndarray]]:
    """Yield samples and true print (N, 3) of every other photo, the first of turned pairs."""
    truths = sorted(path for folder in folders for path in folder.glob("[0-9]*.json"))
    firsts = [path for path in truths if path.stem[-1].isdigit() or path.stem.endswith("a")]
    for at in np.random.default_rng(5).permutation(len(firsts))[:most]:
        try:
            found = open_card(firsts[at].with_suffix(".jpg"), CARD)
        except StrandgaugeError:
            continue
        samples, printed = found.samples, json.loads(firsts[at].read_text()).get("card_true_lab")
        true = samples.reference.copy()
        if printed is not None:  # paper, ink, patches
            true[~samples.is_patch] = printed[0]
            true[samples.is_patch] = printed[2:]
        yield samples, true


def left_out(samples: Samples, true: np.ndarray, fit: np.ndarray, judged: np.ndarray) -> float:
    """Return the mean CIEDE2000 of samples `judged` by a fit to those in `fit` alone."""
    usable = measure_exposure(samples).usable
    if np.isnan(samples.reference).any():
        samples = with_paper_seen(samples, CARD.size, usable & fit)
    lab = fit_correction(samples, CARD.size, usable & fit).lab[judged & usable]
    return float(delta_e_2000(lab, true[judged & usable]).mean())


def scores(samples: Samples, true: np.ndarray) -> list[float]:
    patch = samples.is_patch
    quarter = np.full(len(patch), -1)
    quarter[patch] = np.random.default_rng(1).permutation(patch.sum()) % 4
    row = np.array([name[0] if name != "paper" else "" for name in samples.ids])
    lightness = samples.reference[:, 0]
    chart = np.isin(row, ["A", "D"]) | ((row == "B") & (lightness > 52)) | ((row == "C") & (lightness < 52))
    unknown = replace(samples, reference=np.where(patch[:, None], samples.reference, np.nan))
    return [
        float(np.mean([left_out(samples, true, quarter != k, quarter == k) for k in range(4)])),
        left_out(samples, true, chart, patch & ~chart),
        left_out(unknown, true, chart | ~patch, patch & ~chart),
        left_out(samples, true, chart | ~patch, patch & ~chart),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path, metavar="FOLDER")
    parser.add_argument("--photos", type=int, default=200)
    parser.add_argument("--with", dest="changes", nargs="*", default=[], metavar="MODULE.NAME=VALUE")
    asked = parser.parse_args()
    for change in asked.changes:
        name, value = change.split("=")
        module, constant = name.split(".")
        setattr(import_module(f"strandgauge.light.{module}"), constant, float(value))
    rows = np.array([scores(*photo) for photo in photos(asked.folders, asked.photos)])
    print(f"{len(rows)} photos")
    for name, column in zip(("strand card", "chart", "paper unknown", "paper known"), rows.T, strict=True):
        middle, most = np.percentile(column, (50, 95))
        print(f"{name:14} mean {column.mean():.3f}, median {middle:.3f}, 95 % {most:.2f}")


if __name__ == "__main__":
    main()
