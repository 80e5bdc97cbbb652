"""Writes illuminants.toml, cameras.toml and inks.toml: the lights, cameras and printers that photos may come from.

Run from the project's root, only when the choice changes: ``python calibration/make_spectra.py``.
The illuminants are CIE tables as the library colour-science carries them, averaged to the 10 nm grid. Cameras and
inks are drawn at random around what is usual for such devices; none is a measured one.
"""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np

GRID = np.arange(400, 701, 10)
HERE = Path(__file__).parent
LIGHTS = {
    "daylight": ("D50", "D65", "D75"),
    "incandescent": ("A",),
    "fluorescent": ("FL1", "FL2", "FL4", "FL7", "FL8", "FL10", "FL11", "FL12", "FL3.5", "FL3.12"),
    "LED": ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-RGB1", "LED-V1", "LED-V2"),
}
CAMERAS, PRINTERS = 8, 8


def bump(centre: float, width: float) -> np.ndarray:
    return np.exp(-0.5 * ((GRID - centre) / width) ** 2)


def row(values: np.ndarray) -> str:
    return "[" + ", ".join(f"{v:.4g}" for v in values) + "]"


def illuminants() -> str:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    text = [
        "# Relative spectral power of CIE illuminants, 400-700 nm by 10 nm, mean 1 over the grid.\n"
        "# Source: CIE 15:2018 tables as carried by the library colour-science, averaged over +-5 nm.\n\n"
        'schema = "strandgauge.illuminants/1"\n'
    ]
    fine = np.arange(395, 706, 1)
    for kind, names in LIGHTS.items():
        for name in names:
            table = colour.SDS_ILLUMINANTS[name]
            power = np.interp(fine, table.wavelengths, table.values)
            binned = np.array([power[(fine >= g - 5) & (fine <= g + 5)].mean() for g in GRID])
            text.append(
                f'[[illuminant]]\nname = "{name}"\nkind = "{kind}"\npower = {row(binned / binned.mean())}\n'
            )
    return "\n".join(text)


def cameras() -> str:
    rng = np.random.default_rng(5)
    n = rng.normal
    text = [
        "# Plausible camera sensitivities, 400-700 nm by 10 nm: drawn at random around the usual shapes.\n"
        "# Invented; no camera was measured. Add measured ones if you have them.\n\n"
        'schema = "strandgauge.cameras/1"\n'
    ]
    for index in range(CAMERAS):
        red = bump(602 + n(0, 8), 34 + n(0, 4)) + rng.uniform(0, 0.2) * bump(530, 30) + rng.uniform(0, 0.08) * bump(445, 20)
        green = bump(533 + n(0, 6), 38 + n(0, 4)) + rng.uniform(0, 0.15) * bump(600, 30) + rng.uniform(0, 0.1) * bump(460, 25)
        blue = bump(458 + n(0, 6), 27 + n(0, 3)) + rng.uniform(0, 0.15) * bump(520, 25)
        cut = 1 / (1 + np.exp((GRID - 665 - n(0, 8)) / rng.uniform(5, 12)))
        text.append(
            f'[[camera]]\nname = "plausible {index + 1}"\nred = {row(red * cut)}\ngreen = {row(green * cut)}\n'
            f"blue = {row(blue * cut)}\n"
        )
    return "\n".join(text)


def inks() -> str:
    rng = np.random.default_rng(8)
    n = rng.normal
    text = [
        "# Plausible printers: absorption shapes of cyan, magenta, yellow and black, 400-700 nm by 10 nm, and how much\n"
        "# of a grey is printed in black. Drawn at random around the usual shapes; invented, none was measured.\n\n"
        'schema = "strandgauge.inks/1"\n'
    ]
    for index in range(PRINTERS):
        cyan = bump(642 + n(0, 9), 54 + n(0, 5)) + rng.uniform(0.05, 0.13) * bump(425, 42)
        magenta = bump(546 + n(0, 5), 30 + n(0, 3)) + rng.uniform(0.12, 0.26) * bump(437, 34)
        yellow = 1 / (1 + np.exp((GRID - 488 - n(0, 5)) / rng.uniform(9, 13))) + 0.01
        black = 1 + 0.12 * n() * (550 - GRID) / 150
        text.append(
            f'[[inks]]\nname = "plausible {index + 1}"\nblack_share = {rng.uniform(0.1, 0.85):.2f}\ncyan = {row(cyan)}\n'
            f"magenta = {row(magenta)}\nyellow = {row(yellow)}\nblack = {row(black)}\n"
        )
    return "\n".join(text)


if __name__ == "__main__":
    for name, make in (("illuminants", illuminants), ("cameras", cameras), ("inks", inks)):
        (HERE / f"{name}.toml").write_text(make(), encoding="utf-8")
