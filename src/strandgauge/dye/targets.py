"""Wanted shades: the list that ships with the package, the user's own, or any colour typed in."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from strandgauge.colour.cielab import Lab, as_lab
from strandgauge.colour.names import colour_of
from strandgauge.colour.srgb import lab_from_srgb
from strandgauge.errors import BadColourError, UnknownTargetError
from strandgauge.files.calibration import CalibrationTable, Key, calibration_file, read_calibration
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.warmth import undertone

_NUMBER = r"\s*([-+]?(?:\d+\.?\d*|\.\d+))\s*"
_BETWEEN = r"(?:,|(?<=\s))"
_LAB = re.compile(rf"^{_NUMBER}{_BETWEEN}{_NUMBER}{_BETWEEN}{_NUMBER}$")
_LEVEL = re.compile(r"^level (\d+(?:\.\d+)?)$")
_HEX = re.compile(r"^#([0-9a-fA-F]{6}|[0-9a-fA-F]{3})$")


@dataclass(frozen=True, slots=True)
class Target:
    """A wanted shade."""

    name: str
    lab: Lab
    """At its clearest."""
    deep: tuple[Lab, ...] = ()
    """Colours that still go by its name on darker hair, one deeper than the other."""


def load_targets(path: Path | None = None, extra: Iterable[Path] = ()) -> tuple[Target, ...]:
    """Read the wanted shades; a later file's shade replaces an earlier one of the same name.

    Raises
    ------
    BadCalibrationError : a file cannot be used; the line is named.
    """
    found = {target.name: target for target in (_read(path) if path is not None else _shipped())}
    for one in extra:
        found.update({target.name: target for target in _read(one)})
    return tuple(found.values())


@cache
def _shipped() -> tuple[Target, ...]:
    return _read(calibration_file("targets.toml"))


def _read(path: Path) -> tuple[Target, ...]:
    table = read_calibration(path, "strandgauge.targets/1")
    targets: list[Target] = []
    for row in range(table.rows("target")):
        name = table.text("target", row, "name")
        if name in {target.name for target in targets}:
            raise table.error(f"'{name}' is named twice", "target", row, "name")
        deep = table.get("target", row, "deep")
        steps = len(deep) if isinstance(deep, list) else 0
        if deep is not None and not steps:
            raise table.error("'deep' must be a list of L*, a*, b*", "target", row, "deep")
        targets.append(
            Target(
                name,
                _lab(table, "target", row, "lab"),
                tuple(_lab(table, "target", row, "deep", step) for step in range(steps)),
            )
        )
    if not targets:
        raise table.error("the file holds no [[target]]", "target")
    return tuple(targets)


def _lab(table: CalibrationTable, *key: Key) -> Lab:
    lightness, a, b = table.numbers(*key, count=3, low=-128.0, high=128.0)
    if not 0.0 <= lightness <= 100.0:
        raise table.error(f"L* is {lightness:g}, outside 0 to 100", *key)
    return lightness, a, b


def parse_colour(text: str) -> Lab | None:
    """Return the CIELAB of a colour typed as ``L,a,b`` (or with blanks) or ``#rrggbb``; None where it is neither.

    Raises
    ------
    BadColourError : it is one of the two, but no colour.
    """
    text = text.strip().replace("\N{MINUS SIGN}", "-")
    if found := _LAB.match(text):
        lightness, a, b = (float(value) for value in found.groups())
        if not (0.0 <= lightness <= 100.0 and abs(a) <= 128.0 and abs(b) <= 128.0):
            raise BadColourError(fault="out-of-range", text=text)
        return lightness, a, b
    if found := _HEX.match(text):
        digits = found.group(1)
        full = digits if len(digits) == 6 else "".join(2 * digit for digit in digits)
        rgb = np.array([int(full[i : i + 2], 16) for i in (0, 2, 4)]) / 255.0
        return as_lab(lab_from_srgb(rgb))
    if text.startswith("#") or text.count(",") == 2:
        raise BadColourError(fault="none", text=text)
    return None


def named_colour(text: str) -> Lab | None:
    """Return the colour of a word that this program prints: a colour word, an undertone, or 'level 9'.

    Levels and undertones are those of lifted hair on the ladder that ships.
    """
    if (lab := colour_of(text)) is not None:
        return lab
    ladder, wanted = load_ladder(), text.strip().casefold()
    if found := _LEVEL.match(wanted):
        level = float(found.group(1))
        return as_lab(ladder.lab_at(level)) if 1.0 <= level <= ladder.lightest else None
    rungs = [as_lab(lab) for lab in ladder.lab]
    return next((lab for lab in rungs if undertone(lab, ladder) == wanted), None)


def find_target(text: str, targets: Iterable[Target]) -> Target:
    """Return the shade of that name, else the colour of that word (see `named_colour`) or the one typed in.

    Raises
    ------
    UnknownTargetError : no shade has that name; the nearest names are told.
    BadColourError : a malformed colour.
    """
    shades = tuple(targets)
    wanted = text.strip().casefold()
    for target in shades:
        if target.name.casefold() == wanted:
            return target
    lab = parse_colour(text.strip()) or named_colour(text)
    if lab is not None:
        return Target(text.strip(), lab)
    from difflib import get_close_matches

    near = get_close_matches(wanted, [target.name for target in shades], n=3, cutoff=0.7)
    if near:
        raise UnknownTargetError(fault="near", text=text, near=", ".join(near))
    raise UnknownTargetError(fault="named", text=text)
