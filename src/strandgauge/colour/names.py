"""Colours in words: a name for a colour, and how one colour differs from another."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import Lab, as_lab, chroma, delta_e_2000, hue_deg
from strandgauge.files.calibration import calibration_file, read_calibration


@cache
def _vocabulary() -> tuple[tuple[str, ...], Array]:
    table = read_calibration(calibration_file("colour-words.toml"), "strandgauge.colour-words/1")
    rows = table.get("words")
    if not isinstance(rows, list) or not all(isinstance(row, list) and len(row) == 4 for row in rows):
        raise table.error("'words' must be rows of a word and its L*, a*, b*", "words")
    return tuple(str(row[0]) for row in rows), np.array([row[1:] for row in rows], dtype=float)


def colour_word(lab: ArrayLike) -> str:
    """Return the word nearest to a CIELAB colour (3,), such as 'coral' or 'greenish blond'."""
    words, anchors = _vocabulary()
    return words[int(np.argmin(delta_e_2000(np.asarray(lab, dtype=float), anchors)))]


def colour_of(word: str) -> Lab | None:
    """Return the colour that a word stands for, such as 'rose gold'; None where it is no word of the list."""
    words, anchors = _vocabulary()
    wanted = word.strip().casefold()
    return next((as_lab(lab) for known, lab in zip(words, anchors, strict=True) if known == wanted), None)


def difference_words(lab: ArrayLike, wanted: ArrayLike, least: float = 1.5) -> tuple[str, ...]:
    """Say how a CIELAB colour (3,) differs from the wanted one: deeper, lighter, duller, warmer, and so on.

    The largest difference comes first; those below ``least`` units of CIELAB are left out.
    """
    have, want = np.asarray(lab, dtype=float), np.asarray(wanted, dtype=float)
    lightness, strength = float(have[0] - want[0]), float(chroma(have) - chroma(want))
    turn = np.radians((hue_deg(have) - hue_deg(want) + 180.0) % 360.0 - 180.0)
    across = float(2.0 * np.sqrt(chroma(have) * chroma(want)) * np.sin(turn / 2.0))
    found = [
        (abs(lightness), "lighter" if lightness > 0 else "deeper"),
        (abs(strength), "brighter" if strength > 0 else "duller"),
        (abs(across), _hue_word(have - want)),
    ]
    return tuple(word for size, word in sorted(found, reverse=True) if size >= least)


def _hue_word(change: Array) -> str:
    """Name the direction of a change in the a*b* plane by its larger part."""
    if abs(change[2]) >= abs(change[1]):
        return "warmer" if change[2] > 0 else "cooler"
    return "redder" if change[1] > 0 else "greener"
