"""Checks the values of a card definition, each refused with what it should have been."""

from __future__ import annotations

import difflib
import math
from collections.abc import Sequence
from typing import Any

from strandgauge.card.model import Box, Point
from strandgauge.colour.cielab import Lab
from strandgauge.files.toml import KeyPath

MAX_MM = 5000.0


class Fault(Exception):  # noqa: N818 - not an error of the package: it is collected and reported as one
    """Something wrong with the value at ``path``."""

    def __init__(self, path: KeyPath, message: str) -> None:
        super().__init__(message)
        self.path = path
        self.message = message


def shown(value: object) -> str:
    """Return a value as an error message shows it."""
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."


def last_key(path: KeyPath) -> str:
    """Return the innermost key of a path, list positions left out."""
    return next(str(key) for key in reversed(path) if isinstance(key, str))


def check_keys(table: dict[str, Any], known: Sequence[str], place: str, path: KeyPath) -> None:
    """Refuse a key that the format does not know."""
    for key in table:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1, cutoff=0.6)
            hint = f"did you mean '{near[0]}'?" if near else f"known are {', '.join(known)}."
            raise Fault((*path, key), f"unknown key '{key}'{place}; {hint}")


def required(table: dict[str, Any], key: str, path: KeyPath) -> Any:  # noqa: ANN401 - whatever TOML holds
    """Return the value of a key that must be there."""
    if key not in table:
        raise Fault(path, f"the key '{key}' is missing.")
    return table[key]


def one_of(table: dict[str, Any], keys: Sequence[str], path: KeyPath) -> str:
    """Return which one of several keys is there; exactly one must be."""
    given = [key for key in keys if key in table]
    told = " or ".join(f"'{key}'" for key in keys)
    if not given:
        raise Fault(path, f"the key {told} is missing.")
    if len(given) > 1:
        raise Fault((*path, given[1]), f"give only one of {told}.")
    return given[0]


def text(value: object, path: KeyPath) -> str:
    """Return one line of printable text."""
    if not isinstance(value, str):
        raise Fault(path, f"'{last_key(path)}' must be text in quotes, not {shown(value)}.")
    if not value.strip() or not value.isprintable() or len(value) > 200:
        raise Fault(path, f"'{last_key(path)}' must be one line of 1 to 200 printable characters.")
    return value


def choice(value: object, path: KeyPath, known: Sequence[str]) -> str:
    """Return one word out of a few."""
    if not isinstance(value, str) or value not in known:
        raise Fault(path, f"'{last_key(path)}' is {shown(value)}; it must be one of {', '.join(known)}.")
    return value


def whole(value: object, path: KeyPath, least: int, most: int) -> int:
    """Return a whole number between two limits."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise Fault(path, f"'{last_key(path)}' must be a whole number, not {shown(value)}.")
    if not least <= value <= most:
        raise Fault(path, f"'{last_key(path)}' is {value}, outside {least} to {most}.")
    return value


def number(value: object, path: KeyPath, least: float, most: float, name: str = "") -> float:
    """Return a finite number between two limits."""
    name = name or f"'{last_key(path)}'"
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Fault(path, f"{name} must be a number, not {shown(value)}.")
    if not math.isfinite(value):
        raise Fault(path, f"{name} is not a finite number.")
    if not least <= value <= most:
        raise Fault(path, f"{name} is {value:g}, outside {least:g} to {most:g}.")
    return float(value)


def numbers(value: object, path: KeyPath, limits: Sequence[tuple[str, float, float]]) -> tuple[float, ...]:
    """Return a list of numbers, each with its name and limits."""
    if not isinstance(value, list) or len(value) != len(limits):
        wanted = ", ".join(name for name, _, _ in limits)
        raise Fault(path, f"'{last_key(path)}' must be {len(limits)} numbers [{wanted}], not {shown(value)}.")
    return tuple(
        number(item, (*path, index), least, most, f"{name} of '{last_key(path)}'")
        for index, (item, (name, least, most)) in enumerate(zip(value, limits, strict=True))
    )


def point(value: object, path: KeyPath) -> Point:
    """Return a place [x, y], mm."""
    x, y = numbers(value, path, [(name, -MAX_MM, MAX_MM) for name in ("x", "y")])
    return x, y


def length(value: object, path: KeyPath) -> float:
    """Return a length above 0, mm."""
    read = number(value, path, -MAX_MM, MAX_MM)
    if read <= 0:
        raise Fault(path, f"'{last_key(path)}' must be larger than 0.")
    return read


def lengths(value: object, path: KeyPath) -> Point:
    """Return width and height, mm, given as two numbers or as one for both."""
    if not isinstance(value, list):
        side = length(value, path)
        return side, side
    width, height = numbers(value, path, [(name, -MAX_MM, MAX_MM) for name in ("width", "height")])
    if min(width, height) <= 0:
        raise Fault(path, f"width and height of '{last_key(path)}' must be larger than 0.")
    return width, height


def box(value: object, path: KeyPath) -> Box:
    """Return [x, y, width, height], mm."""
    names = ("x", "y", "width", "height")
    x, y, width, height = numbers(value, path, [(name, -MAX_MM, MAX_MM) for name in names])
    if min(width, height) <= 0:
        raise Fault(path, f"width and height of '{last_key(path)}' must be larger than 0.")
    return x, y, width, height


def lab(value: object, path: KeyPath) -> Lab:
    """Return CIELAB as written."""
    lightness, a, b = numbers(value, path, [("L*", 0, 100), ("a*", -128, 128), ("b*", -128, 128)])
    return lightness, a, b


def xyz(value: object, path: KeyPath) -> tuple[float, float, float]:
    """Return tristimulus values, perfect white at Y = 100."""
    x, y, z = numbers(value, path, [("X", 0, 200), ("Y", 0, 100), ("Z", 0, 200)])
    return x, y, z
