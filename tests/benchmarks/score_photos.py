"""Scores readings against truth (not a test).

``python tests/benchmarks/score_photos.py FOLDER [FOLDER ...]`` reads NNNN.jpg with NNNN.json beside them, as
``python -m sample_images.render.training`` writes them, and prints errors and how often 95 % intervals hold, for
single photos and for pairs with the card turned, by the shipped model of the light. With ``--left-out`` it prints the
same by family, each family judged by a model fitted to the others alone (calibration/fit_as_lit.py).
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from skimage.color import deltaE_ciede2000

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "calibration"))
import fit_as_lit as fitting

from strandgauge.hair.family import lab_from_ratio
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.posterior import load_error_model, load_telling
from strandgauge.strand.direction import load_light_model

Row = tuple[fitting.Zone, dict[str, Any]]
HEAD = (
    "| left out | zones | as lit | diffuse | 95 % | level | 95 % | worst | half-width | level holds "
    "| L\\* a\\* b\\* hold | together | zones' difference holds |"
)


def numbers(rows: Sequence[Row]) -> str:
    """Return one line of the table; levels are of undyed hair."""
    ladder = load_ladder()
    true = np.array([zone.true_lab for zone, _ in rows])
    lit = lab_from_ratio(np.array([zone.ratio for zone, _ in rows]))
    lit_true = np.array([zone.lit_lab for zone, _ in rows])
    lab, sd, together = (np.array([found[k] for _, found in rows]) for k in ("lab", "sd", "together"))
    level, level_sd = (np.array([found[k] for _, found in rows]) for k in ("level", "level_sd"))
    undyed = np.array([not zone.dyed for zone, _ in rows])
    off_lit, off = deltaE_ciede2000(lit, lit_true), deltaE_ciede2000(lab, true)
    off_level = np.abs(level - ladder.level_of(true))
    held = np.abs(lab - true) <= 1.96 * sd
    all_held = (np.abs(lab - true) <= together).all(1)
    single = rows[0][0].apart is None
    lit_told = f"{off_lit.mean():.2f}" if single else ""
    each = " ".join(f"{100 * share:.0f}" for share in held.mean(0))
    return (
        f"{len(rows)} | {lit_told} | {off.mean():.2f} | {np.percentile(off, 95):.1f} "
        f"| {off_level[undyed].mean():.2f} | {np.percentile(off_level[undyed], 95):.1f} "
        f"| {off_level[undyed].max():.1f} | {1.96 * np.median(level_sd[undyed]):.2f} "
        f"| {100 * (off_level <= 1.96 * level_sd)[undyed].mean():.0f} % | {each} % | {100 * all_held.mean():.0f} % "
        f"| {100 * differences(rows):.0f} % |"
    )


def differences(rows: Sequence[Row]) -> float:
    """Return how often the interval of the difference of two zones' levels holds."""
    ladder = load_ladder()
    strands: dict[str, dict[str, Row]] = {}
    for zone, found in rows:
        strands.setdefault(zone.photo, {})[zone.name] = (zone, found)
    held = []
    for parts in strands.values():
        for one, two, far in (("root", "mids", 0), ("mids", "ends", 0), ("root", "ends", 1)):
            if one in parts and two in parts:
                (a, x), (b, y) = parts[one], parts[two]
                shared = x["zone_correlation"][far] * x["level_sd"] * y["level_sd"]
                sd = np.sqrt(max(x["level_sd"] ** 2 + y["level_sd"] ** 2 - 2 * shared, 0.0))
                truth = ladder.level_of(a.true_lab) - ladder.level_of(b.true_lab)
                held.append(abs(x["level"] - y["level"] - truth) <= 1.96 * sd)
    return float(np.mean(held)) if held else float("nan")


def judged(zones: list[fitting.Zone], models: fitting.Models) -> list[Row]:
    """Return zones and pairs with what is said of them."""
    ladder = load_ladder()
    telling = load_telling()
    return [(z, fitting.estimate(z, models, telling, ladder)) for z in (*zones, *fitting.pairs_of(zones))]


def plain(zone: fitting.Zone) -> bool:
    """Return whether a zone is of lifted hair beside a print that a reading can rely on."""
    good = zone.families["print"] in ("true", "good") and zone.families["gloss"] == "matt"
    return good and zone.kind in ("lifted", "patchy", "three zones")


def print_rows(name: str, rows: list[Row]) -> None:
    """Print one line for single photos and one for pairs."""
    for kind, part in (
        ("", [r for r in rows if r[0].apart is None]),
        (", turned pairs", [r for r in rows if r[0].apart is not None]),
    ):
        if len(part) > 8:
            print(f"| {name}{kind} | {numbers(part)}", flush=True)


def left_out(zones: list[fitting.Zone]) -> None:
    """Judge each family by a model fitted to the others."""
    for name, rows in fitting.families_left_out(zones, load_telling(), load_ladder()).items():
        print_rows(name, rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+")
    parser.add_argument("--left-out", action="store_true")
    chosen = parser.parse_args()
    zones, outcomes = fitting.measure(chosen.folders)
    print(HEAD)
    print("|---" * (HEAD.count("|") - 1 - HEAD.count("\\|")) + "|")
    if chosen.left_out:
        rows = fitting.crossed(zones, load_telling(), load_ladder())
        print_rows("place", rows)
        print_rows("place; hair near the ladder, good matt prints", [row for row in rows if plain(row[0])])
        print_rows("place: undyed", [row for row in rows if not row[0].dyed])
        left_out(zones)
    else:
        print_rows("none", judged(zones, (load_error_model(), load_light_model())))
    for (wanted, got), count in sorted(Counter(outcomes).items(), key=str):
        print(f"{wanted or 'good'!s:>12} -> {got}: {count}")


if __name__ == "__main__":
    main()
