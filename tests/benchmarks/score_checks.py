"""How often a check doubts what is damaged, and what is not, on rendered photos.

    python tests/benchmarks/score_checks.py FOLDER... [--photos N] [--second]

Damage is done to the numbers that the camera wrote: 1, 3 or 6 patches covered by the colour of another one, two
exchanged, a veil of 10 % of white, colours strengthened by 40 %. Other prints are made of the definition's numbers:
4, 6, half and all colours exchanged at random, the card laid out another way round; or of the camera's, in greys.
Photos that are refused anyway are left out. Without damage it also tells the error of patches left out, truly fitted
anew and by the fit's slopes. ``--second`` takes the second photo of each turned pair.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from strandgauge.card.sample import Samples
from strandgauge.colour.arrays import Mask
from strandgauge.colour.cielab import chroma, delta_e_2000
from strandgauge.colour.srgb import srgb_decode, srgb_encode
from strandgauge.errors import StrandgaugeError
from strandgauge.light.correction import NEUTRAL_CHROMA, fit_correction, refit_left_out
from strandgauge.light.doubts import find_doubts
from strandgauge.light.otherprint import WAYS, laid, other_print
from strandgauge.light.trust import LIMITS
from strandgauge.reading.pipeline import CardReading, default_card, open_card

CARD = default_card()


def photos(folders: list[Path], most: int, second: bool) -> Iterator[CardReading]:
    truths = sorted(path for folder in folders for path in folder.glob("[0-9]*.json"))
    chosen = [path for path in truths if path.stem.endswith("b") == second]
    for at in np.random.default_rng(6).permutation(len(chosen))[:most]:
        try:
            found = open_card(chosen[at].with_suffix(".jpg"), CARD)
        except StrandgaugeError:
            continue
        if not found.light.problems:
            yield found


def damaged(samples: Samples, rng: np.random.Generator) -> Iterator[tuple[str, Samples, set[int]]]:
    """Yield each damage: its name, the samples, and the rows that it was done to."""
    patches = np.flatnonzero(samples.is_patch)

    def unlike(row: int) -> int:
        """Return a patch of quite another colour."""
        apart = delta_e_2000(samples.reference[row], samples.reference[patches])
        return int(rng.choice(patches[apart > 20]))

    for count in (1, 3, 6):
        rows = [int(row) for row in rng.choice(patches, count, replace=False)]
        encoded = samples.encoded.copy()
        encoded[rows] = samples.encoded[[unlike(row) for row in rows]]
        yield f"{count} covered", replace(samples, encoded=encoded), set(rows)
    row = int(rng.choice(patches))
    other, encoded = unlike(row), samples.encoded.copy()
    encoded[[row, other]] = samples.encoded[[other, row]]
    yield "exchanged", replace(samples, encoded=encoded), {row, other}
    linear = srgb_decode(samples.encoded)
    veiled = (linear + 0.1 * linear.max()) / 1.1
    yield "veil", replace(samples, encoded=srgb_encode(veiled)), set()
    grey = (samples.encoded @ [0.299, 0.587, 0.114])[:, None]
    strong = np.clip(grey + 1.4 * (samples.encoded - grey), 0, 1)
    yield "colours", replace(samples, encoded=strong), set()


def reprinted(samples: Samples, rng: np.random.Generator) -> Iterator[tuple[str, Samples]]:
    """Yield the samples beside the definition of another print, and those of a print in greys."""
    colours = np.flatnonzero(samples.is_patch & (chroma(samples.reference) >= NEUTRAL_CHROMA))
    yield "itself", samples
    for count in (4, 6, len(colours) // 2, len(colours)):
        rows, reference = rng.permutation(colours)[:count], samples.reference.copy()
        reference[rows] = reference[np.roll(rows, 1)]
        yield f"{count} colours exchanged", replace(samples, reference=reference)
    for way in WAYS:
        yield way, replace(samples, reference=laid(samples, CARD.size, way))
    light = samples.encoded[samples.is_patch & (samples.reference[:, 0] > 85)].mean(0)
    grey = (samples.encoded @ [0.299, 0.587, 0.114])[:, None]
    yield "in greys", replace(samples, encoded=grey * light / light.mean())


def told_of(samples: Samples, usable: Mask) -> str:
    fitted = fit_correction(samples, CARD.size, usable)
    colours = samples.is_patch & (chroma(samples.reference) >= NEUTRAL_CHROMA)
    misfit = float(np.median(fitted.delta_e00[colours]))
    error = other_print(samples, fitted, CARD, misfit, fits=misfit <= LIMITS.misfit[1])
    return (
        " ".join(str(value) for name, value in error.facts if name in ("fault", "way"))
        if error
        else "nothing"
    )


CODES = {"veil": "veiled", "colours": "strong-colours"}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path, metavar="FOLDER")
    parser.add_argument("--photos", type=int, default=150)
    parser.add_argument("--second", action="store_true")
    asked = parser.parse_args()
    rng = np.random.default_rng(7)
    hits, false, errors = defaultdict(list), defaultdict(list), []
    prints: dict[str, Counter[str]] = defaultdict(Counter)
    for found in photos(asked.folders, asked.photos, asked.second):
        samples, fitted = found.samples, found.fitted
        usable, patch = fitted.weight > 0, samples.is_patch
        left_out = refit_left_out(samples, CARD.size, fitted)
        true = delta_e_2000(left_out, samples.reference)
        judged = patch & usable
        errors.append(
            (fitted.delta_e00[judged].mean(), fitted.delta_e00_left_out[judged].mean(), true[judged].mean())
        )
        whole = find_doubts(samples, fitted, left_out, CARD)
        for code in ("patches-unlike", "patches-exchanged", *CODES.values()):
            false[code].append(code in [note.code for note in whole.notes])
        for name, other in reprinted(samples, np.random.default_rng(len(errors))):
            prints[name][told_of(other, usable)] += 1
        for name, spoilt, rows in damaged(samples, rng):
            again = fit_correction(spoilt, CARD.size, usable)
            doubts = find_doubts(spoilt, again, again.lab_left_out, CARD)
            rows &= set(np.flatnonzero(usable).tolist())
            codes = [note.code for note in doubts.notes]
            hits[name].append(CODES[name] in codes if name in CODES else rows <= set(doubts.odd))
            if name == "exchanged":
                hits["named with each other"].append("patches-exchanged" in codes)
    print(f"{len(errors)} photos")
    print(
        "patches, mean CIEDE2000: fitted {:.3f}, left out by slopes {:.3f}, truly {:.3f}".format(
            *np.mean(errors, 0)
        )
    )
    for title, shares in (("told", hits), ("told without damage", false)):
        print(
            f"{title}: " + ", ".join(f"{name} {100 * np.mean(each):.1f} %" for name, each in shares.items())
        )
    for name, counts in prints.items():
        print(f"{name}: {dict(counts)}")


if __name__ == "__main__":
    main()
