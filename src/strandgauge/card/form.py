"""The form of a card file: its tables, their keys, and what each value may be, refused with what it should be.

Described for people in ``docs/card-format.md``.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple, get_args

import cv2
import numpy as np

from strandgauge.card.model import Align, Place, Side, Tone
from strandgauge.card.shapes import corner_turns
from strandgauge.colour.illuminant import ILLUMINANTS
from strandgauge.files.toml import KeyPath

SCHEMA = "strandgauge.card/1"
UNKNOWN = "unknown"
"""Stands for the colour of paper that is even but was not measured."""
MAX_MM = 5000.0
MAX_PATCHES = 2000
DICTIONARIES = {name.upper(): name for name in sorted(dir(cv2.aruco)) if name.startswith("DICT_")}
"""OpenCV's predefined dictionaries, as it spells them, by their names in capitals."""


class Fault(Exception):  # noqa: N818 - not an error of the package: it is collected and reported as one
    """Something wrong with the value at ``path``."""

    def __init__(self, path: KeyPath, message: str) -> None:
        super().__init__(message)
        self.path = path
        self.message = message


Table = dict[str, Any]
Kind = Callable[[Any, KeyPath], Any]
"""Takes a value and its path; returns the value as it is used, or raises a Fault."""


def named(path: KeyPath) -> str:
    """Return how a message calls a value: by its key, and its number in a list."""
    key = next(str(part) for part in reversed(path) if isinstance(part, str))
    return f"entry {path[-1] + 1} of '{key}'" if isinstance(path[-1], int) else f"'{key}'"


def shown(value: object) -> str:
    """Return a value as a message shows it."""
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."


def nearest(word: str, known: Sequence[str]) -> str:
    """Return a hint to the word that was probably meant, or else to all of them."""
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    return f"did you mean '{near[0]}'?" if near else f"known are {', '.join(known)}."


# --- kinds of values ------------------------------------------------------------------------------------


def number(least: float, most: float, *, whole: bool = False, above: bool = False) -> Kind:
    """Return the kind of a finite number between two limits, `above` the lower one or on it."""

    def read(value: object, path: KeyPath) -> float:
        if isinstance(value, bool) or not isinstance(value, int if whole else int | float):
            what = "a whole number" if whole else "a number"
            raise Fault(path, f"{named(path)} must be {what}, not {shown(value)}.")
        if not isinstance(value, int) and not math.isfinite(value):
            raise Fault(path, f"{named(path)} is not a finite number.")
        if above and value <= least:
            raise Fault(path, f"{named(path)} must be larger than {least:g}.")
        if not least <= value <= most:
            raise Fault(path, f"{named(path)} is {shown(value)}, outside {least:g} to {most:g}.")
        return value if whole else float(value)

    return read


def row(names: str, *kinds: Kind, what: str = "numbers") -> Kind:
    """Return the kind of a list with one entry for each name."""

    def read(value: object, path: KeyPath) -> tuple[Any, ...]:
        if not isinstance(value, list) or len(value) != len(kinds):
            raise Fault(path, f"{named(path)} must be {len(kinds)} {what} [{names}], not {shown(value)}.")
        return tuple(
            kind(item, (*path, at)) for at, (kind, item) in enumerate(zip(kinds, value, strict=True))
        )

    return read


def several(kind: Kind) -> Kind:
    """Return the kind of a list with an entry for each patch of a grid."""

    def read(value: object, path: KeyPath) -> list[Any]:
        if not isinstance(value, list) or not 0 < len(value) <= MAX_PATCHES:
            raise Fault(path, f"{named(path)} must be a list of 1 to {MAX_PATCHES} entries.")
        return [kind(item, (*path, at)) for at, item in enumerate(value)]

    return read


def choice(*known: str) -> Kind:
    """Return the kind of one word out of a few."""

    def read(value: object, path: KeyPath) -> object:
        if value not in known:
            raise Fault(path, f"{named(path)} is {shown(value)}; it must be one of {', '.join(known)}.")
        return value

    return read


def words(value: object, path: KeyPath) -> str:
    """Return one line of printable text, or none."""
    if not isinstance(value, str):
        raise Fault(path, f"{named(path)} must be text in quotes, not {shown(value)}.")
    if value and (not value.strip() or not value.isprintable() or len(value) > 200):
        raise Fault(path, f"{named(path)} must be one line of 1 to 200 printable characters.")
    return value


def line(value: object, path: KeyPath) -> str:
    """Return one line of printable text."""
    if value == "":
        raise Fault(path, f"{named(path)} must not be empty.")
    return words(value, path)


def free(value: object, path: KeyPath) -> object:
    """Return any text."""
    if not isinstance(value, str):
        raise Fault(path, f"{named(path)} must be text in quotes.")
    return value


def boolean(value: object, path: KeyPath) -> object:
    """Return true or false."""
    if not isinstance(value, bool):
        raise Fault(path, f"{named(path)} must be true or false, not {shown(value)}.")
    return value


def illuminant(value: object, path: KeyPath) -> str:
    """Return the name of an illuminant in capitals."""
    if not isinstance(value, str) or value.upper() not in ILLUMINANTS:
        raise Fault(path, f"unknown illuminant {shown(value)}; known are {', '.join(ILLUMINANTS)}.")
    return value.upper()


def observer(value: object, path: KeyPath) -> None:
    """Refuse every observer but the 2 degree one."""
    told = str(value).strip().lower()
    if re.fullmatch(r"(10 ?(°|deg|degrees?)?|(cie ?)?1964)", told):
        raise Fault(
            path,
            "colours for the 10 degree observer cannot be turned into those for 2 degrees; give values for "
            "2 degrees here, or spectra with --profile.",
        )
    if not re.fullmatch(r"(2 ?(°|deg|degrees?)?|(cie ?)?1931)", told):
        raise Fault(path, f'unknown observer {shown(value)}; it must be "2".')


def dictionary(value: object, path: KeyPath) -> str:
    """Return the name of a predefined dictionary as OpenCV spells it."""
    if not isinstance(value, str) or value.upper() not in DICTIONARIES:
        hint = nearest(str(value).upper(), list(DICTIONARIES))
        raise Fault(path, f"unknown dictionary {shown(value)}; {hint}")
    return DICTIONARIES[value.upper()]


def corners(value: object, path: KeyPath) -> Any:  # noqa: ANN401 - four points
    """Return four corners, after checking that they go clockwise round a square."""
    read = row("top left, top right, bottom right, bottom left", *[point] * 4, what="points")(value, path)
    turns = corner_turns(np.array(read))
    if np.all(turns < 0):
        raise Fault(path, "the corners go anticlockwise; list them clockwise from the marker's top left.")
    sides = np.hypot(*(np.roll(read, -1, axis=0) - read).T)
    if not np.all(turns > 0) or sides.max() > 1.25 * sides.min() or turns.min() < 0.8 * sides.min() ** 2:
        raise Fault(path, "the four corners do not form a square.")
    return read


def size(value: object, path: KeyPath) -> Any:  # noqa: ANN401 - a pair
    """Return width and height, mm, given as two numbers or as one for both."""
    pair = row("width, height", length, length)
    return pair(value, path) if isinstance(value, list) else (length(value, path),) * 2


def paper(value: object, path: KeyPath) -> object:
    """Return the colour of the bare sheet, or the word that it is not known."""
    return value if value == UNKNOWN else lab(value, path)


count = number(0, 1_000_000, whole=True)
mm = number(-MAX_MM, MAX_MM)
length = number(0, MAX_MM, above=True)
angle = number(-360, 360)
point = row("x, y", mm, mm)
box = row("x, y, width, height", mm, mm, length, length)
lab = row("L*, a*, b*", number(0, 100), number(-128, 128), number(-128, 128))
xyz = row("X, Y, Z", number(0, 200), number(0, 100), number(0, 200))
"""Perfect white at Y = 100."""
label = choice(*get_args(Place))


# --- tables ---------------------------------------------------------------------------------------------


class Form(NamedTuple):
    """What a table may hold."""

    most: int
    """How many tables of this name there may be; those of which there may be more than one are written [[so]]."""
    keys: dict[str, Kind]
    needs: str
    """Keys that must be there; of those joined by | exactly one."""
    either: str = ""
    """Keys of which no more than one may be there."""


FORMS = {
    "card": Form(
        1,
        {"name": line, "version": count, "size": size, "illuminant": illuminant, "observer": observer}
        | {"paper": paper, "paper_xyz": xyz, "ink": lab, "ink_xyz": xyz, "source": free, "note": free},
        "illuminant",
        "paper|paper_xyz ink|ink_xyz",
    ),
    "window": Form(1, {"box": box, "root_end": choice(*get_args(Side))}, "box"),
    "markers": Form(1, {"dictionary": dictionary, "reserved_ids": row("first, last", count, count)}, ""),
    "scale": Form(1, {"at": point, "length": number(10, 1000, whole=True)}, "at"),
    "marker": Form(
        500,
        {"id": count, "dictionary": dictionary, "box": box, "corners": corners}
        | {"center": point, "size": size, "angle": angle},
        "id box|corners|center box|corners|size",
        "corners|angle",
    ),
    "patch": Form(
        MAX_PATCHES,
        {"id": line, "name": words, "box": box, "center": point, "size": size, "diameter": length}
        | {"lab": lab, "xyz": xyz, "label": label},
        "id box|center box|size|diameter lab|xyz",
    ),
    "grid": Form(
        200,
        {"origin": point, "center": point, "pitch": size, "size": size, "diameter": length}
        | {"columns": number(1, MAX_PATCHES, whole=True), "labs": several(lab), "xyzs": several(xyz)}
        | {"ids": several(line), "names": several(line), "prefix": words, "label": label, "angle": angle},
        "origin|center pitch size|diameter columns labs|xyzs",
    ),
    "exclude": Form(200, {"box": box}, "box"),
    "text": Form(
        200,
        {"at": point, "size": number(0.5, 100), "text": line, "align": choice(*get_args(Align))}
        | {"bold": boolean, "tone": choice(*get_args(Tone))},
        "at size text",
    ),
    "arrow": Form(200, {"from": point, "to": point, "width": number(0.05, 20)}, "from to"),
}


def read_tables(data: Table, faults: list[Fault]) -> dict[str, list[tuple[KeyPath, Table]]]:
    """Return the tables of a file, each with its path, and note what is wrong; tables with faults are left out."""
    found: dict[str, list[tuple[KeyPath, Table]]] = {name: [] for name in FORMS}
    for key, value in {"card": {}, **data}.items():
        try:
            if key == "schema":
                choice(SCHEMA)(value, (key,))
            elif key not in FORMS:
                raise Fault((key,), f"unknown key '{key}'; {nearest(key, ['schema', *FORMS])}")
            else:
                for path, table in _listed(key, value):
                    if (read := _read(key, table, path, faults)) is not None:
                        found[key].append((path, read))
        except Fault as fault:
            faults.append(fault)
    return found


def _listed(name: str, value: object) -> Iterator[tuple[KeyPath, Table]]:
    """Yield the table or tables of one name, with their paths."""
    most = FORMS[name].most
    if most == 1 and isinstance(value, dict):
        yield (name,), value
    elif most > 1 and isinstance(value, list) and all(isinstance(item, dict) for item in value):
        if len(value) > most:
            raise Fault((name, most), f"there are {len(value)} [[{name}]]; {most} is the most.")
        yield from (((name, at), item) for at, item in enumerate(value))
    else:
        written = f"[{name}]" if most == 1 else f"[[{name}]] for each"
        raise Fault((name,), f"'{name}' must be a table, written as {written}.")


def _read(name: str, table: Table, path: KeyPath, faults: list[Fault]) -> Table | None:
    """Return a table with its values as they are used, or None after noting what is wrong with it."""
    form, before = FORMS[name], len(faults)
    read: Table = {}
    for key, value in table.items():
        try:
            if key not in form.keys:
                raise Fault((*path, key), f"unknown key '{key}' in [{name}]; {nearest(key, list(form.keys))}")
            read[key] = form.keys[key](value, (*path, key))
        except Fault as fault:
            faults.append(fault)
    if len(faults) > before:
        return None
    for group in (form.needs + " " + form.either).split():
        keys = group.split("|")
        told = " or ".join(f"'{key}'" for key in keys)
        given = [key for key in keys if key in table]
        if len(given) > 1:
            faults.append(Fault((*path, given[1]), f"give only one of {told}."))
        elif not given and group in form.needs.split():
            faults.append(Fault(path, f"the key {told} is missing."))
    return read if len(faults) == before else None
