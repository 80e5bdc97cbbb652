"""Scores `learn card` on simulated photos in which inks, cameras and lights are spectra.

    python tests/benchmarks/score_prints.py

An invented printer's print of the card, misprinted, lies beside a trusted chart of other inks or of the same; two
photos each, the chart on either side, the light falling by 20 % in 100 mm. Cameras: 0 is a measured one, 2 to 4 are
invented. Cameras, inks and lights are those that the sample photos were rendered with.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import product
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "learn"), str(ROOT)]

from sample_images.render.spectra import (  # noqa: E402
    camera_sensitivity,
    draw_inks,
    illuminant,
    lab_of,
    paper_spectrum,
    printed_spectrum,
    smooth_spectrum,
)
from twocards import Table, load_trusted, misprinted, picture  # noqa: E402

from strandgauge.card.model import CardDefinition  # noqa: E402
from strandgauge.colour.cielab import delta_e_2000  # noqa: E402
from strandgauge.errors import CannotLearnCardError  # noqa: E402
from strandgauge.learn import prints as learnprint  # noqa: E402
from strandgauge.reading.pipeline import default_card  # noqa: E402
from strandphoto import jpeg  # noqa: E402
from synthetic import Shot  # noqa: E402

Array = NDArray[np.float64]
Lab = tuple[float, float, float]
Spectra = dict[Lab, Array]

PRINTERS, CAMERAS = (51, 61), (0, 2, 3, 4)
DAYLIGHT = ("D50", "D65")
SMOOTH, OTHER = None, 77
"""Inks of the trusted chart: smooth spectra, and another printer's."""
SPREADS_AND_CASTS = ((1.5, 2.0), (2.0, 4.0), (3.0, 6.0))


@dataclass(frozen=True)
class Case:
    """One pair of photos."""

    printer: int
    chart: int | None
    camera: int
    light: str
    same_inks: bool


def cases() -> Iterator[tuple[str, list[Case]]]:
    """Yield groups of cases by name."""
    lamps = ("A", "LED-B3", "FL11")
    yield (
        "other inks, daylight",
        [Case(*one, False) for one in product(PRINTERS, (SMOOTH, OTHER), CAMERAS, DAYLIGHT)],
    )
    yield "other inks, lamps", [Case(*one, False) for one in product(PRINTERS, (OTHER,), CAMERAS, lamps)]
    yield (
        "same inks, any light",
        [
            Case(p, p, c, light, True)
            for p, c, light in product(PRINTERS, CAMERAS, (*DAYLIGHT, "A", "LED-B3"))
        ],
    )


@cache
def printed(card: CardDefinition, inks: int | None) -> tuple[CardDefinition, Spectra]:
    """Return the card as these inks come out, with the spectrum of each of its colours."""
    paper = paper_spectrum(np.array(card.paper))

    def spectrum(lab: Lab) -> Array:
        wanted = np.array(lab)
        return smooth_spectrum(wanted) if inks is None else printed_spectrum(wanted, paper, draw_inks(inks))

    made = {patch.id: spectrum(patch.lab) for patch in card.patches}
    true = {name: tuple(float(v) for v in lab_of(one)) for name, one in made.items()}
    sheet = tuple(float(v) for v in lab_of(paper))
    spectra = {true[name]: one for name, one in made.items()} | {sheet: paper, card.ink: spectrum(card.ink)}
    patches = tuple(replace(patch, lab=true[patch.id]) for patch in card.patches)
    return replace(card, patches=patches, paper=sheet), spectra


def seen_by(case: Case, spectra: Spectra) -> Callable[[Lab], Array]:
    """Return what a colour sends into the camera under the light, white balanced."""
    weights = camera_sensitivity(case.camera) * illuminant(case.light)[:, None]
    return lambda lab: (spectra[lab] @ weights) / weights.sum(0)


def score(case: Case, card: CardDefinition, misprint: CardDefinition, chart: CardDefinition) -> Array:
    """Return taken (1 or 0), true, nominal and claimed error, and the share of values within 95 % intervals."""
    own, own_spectra = printed(misprint, case.printer)
    trusted, chart_spectra = printed(chart, case.chart)
    light_of = seen_by(case, own_spectra | chart_spectra)
    photos = [
        jpeg(picture(own, trusted, Table(side=side, light=falling), Shot(exposure=0.8), light_of))
        for side in ("left", "right")
    ]
    asked = learnprint._refuse_if_no_better
    taken = [1.0]

    def note(learned: learnprint.LearnedPrint, share: float, sure_of_inks: bool) -> None:
        try:
            asked(learned, share, sure_of_inks)
        except CannotLearnCardError:
            taken[0] = 0.0

    learnprint._refuse_if_no_better = note
    try:
        learned = learnprint.learn_print(
            photos, card, trusted, same_inks=case.same_inks, daylight=case.light in DAYLIGHT
        )
    finally:
        learnprint._refuse_if_no_better = asked
    found, true = learned.card.patch_labs, own.patch_labs
    sd = np.array([patch.lab_sd for patch in learned.patches])
    return np.array(
        [
            taken[0],
            delta_e_2000(found, true).mean(),
            delta_e_2000(card.patch_labs, true).mean(),
            learned.error,
            np.mean(np.abs(found - true) < 1.96 * sd),
        ]
    )


def falling(x: Array, y: Array) -> Array:
    """Light that falls by 20 % in 100 mm."""
    return np.exp(0.2 * x / 100.0) / 1.4


def main() -> None:
    """Print a row for each group."""
    card = default_card()
    print(
        "misprint | group | pairs | nominal | learned | claimed | within 95 % | taken | of these worse than nominal"
    )
    with TemporaryDirectory() as folder:
        chart = load_trusted(Path(folder))
    for spread, cast in SPREADS_AND_CASTS:
        misprint = misprinted(card, spread=spread, cast=cast)
        for name, group in cases():
            rows = np.array([score(case, card, misprint, chart) for case in group])
            taken = rows[rows[:, 0] > 0]
            worse = int((taken[:, 1] > taken[:, 2]).sum())
            _, error, nominal, claimed, within = rows.mean(0)
            print(
                f"{spread} {cast} | {name} | {len(rows)} | {nominal:.1f} | {error:.1f} | {claimed:.1f} | "
                f"{100 * within:.0f} % | {len(taken)} | {worse}",
                flush=True,
            )


if __name__ == "__main__":
    main()
