"""Loads a card definition from its TOML file, and refuses a bad one with the line that is wrong.

The format is described in ``docs/card-format.md``; our own card and any user's chart are read alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.card.form import MAX_PATCHES, UNKNOWN, Fault, Table, read_tables
from strandgauge.card.model import (
    Arrow,
    Box,
    CardDefinition,
    Corners,
    Marker,
    Patch,
    Point,
    Scale,
    Text,
    Window,
)
from strandgauge.card.shapes import TOUCH_MM, as_corners, bounds, box_corners, overlap, turned
from strandgauge.colour.cielab import Lab, as_lab
from strandgauge.colour.illuminant import adapt_to_d65, lab_under, white_point
from strandgauge.errors import BadCardDefinitionError
from strandgauge.files.toml import KeyPath, TomlFile, read_toml

MIN_PATCHES = 6

Placed = tuple[KeyPath, str, NDArray[np.float64]]
"""Path of something on the card, what it is, and its corners, mm, shape (4, 2)."""


def load_card(path: Path) -> CardDefinition:
    """Load and check a card definition.

    Parameters
    ----------
    path : TOML file in the format of ``docs/card-format.md``.

    Returns
    -------
    CardDefinition
        With every colour adapted to D65 and the 2 degree observer.

    Raises
    ------
    BadCardDefinitionError
        The file cannot be read, or something in it is wrong; ``where`` names file and line of the first
        mistake, and the message names the next ones too.
    """
    file = read_toml(Path(path), BadCardDefinitionError, "card-definition")
    faults: list[Fault] = []
    tables = read_tables(file.data, faults)
    light = _only(tables["card"]).get("illuminant", "D65")
    rules = _only(tables["markers"])
    markers = list(_markers(tables["marker"], rules.get("dictionary"), faults))
    patches = [((*at, "id"), _patch(table, light)) for at, table in tables["patch"]]
    for at, table in tables["grid"]:
        patches += _grid(table, at, light, faults)
    _check_counts(len(markers), len(patches), faults)
    _check_unique(file, markers, patches, faults)
    for at, table in tables["arrow"]:
        if table["from"] == table["to"]:
            faults.append(Fault((*at, "to"), "an arrow must have a length."))
    first, last = rules.get("reserved_ids", (0, 0))
    if first > last:
        faults.append(Fault(("markers", "reserved_ids"), "'reserved_ids' must be first and last, rising."))
    _refuse(file, faults)

    head = _only(tables["card"])
    shapes: list[Placed] = [(at, f"marker {item.id}", np.array(item.corners)) for at, item in markers]
    shapes += [(at, f"patch '{item.id}'", box_corners(item.box)) for at, item in patches]
    shapes += [((*at, "box"), "the window", box_corners(table["box"])) for at, table in tables["window"]]
    low, high = bounds(shape for _, _, shape in shapes)
    shift = (0.0, 0.0) if "size" in head else (-low[0], -low[1])
    size = head.get("size", (high[0] - low[0], high[1] - low[1]))
    if "size" in head:
        _check_inside(shapes, size, faults)
    _check_overlaps(file, shapes, faults)
    _refuse(file, faults)

    return _assembled(file, tables, [item for _, item in markers], [item for _, item in patches], size, shift)


def _assembled(
    file: TomlFile,
    tables: dict[str, list[tuple[KeyPath, Table]]],
    markers: list[Marker],
    patches: list[Patch],
    size: tuple[float, float],
    shift: Point,
) -> CardDefinition:
    """Return the card, everything on it moved and every colour adapted to D65."""
    head, rules = _only(tables["card"]), _only(tables["markers"])
    light = head["illuminant"]
    labs = adapt_to_d65(np.array([item.lab for item in patches]), light)
    return CardDefinition(
        name=head.get("name", _printable(file.path.stem)),
        version=head.get("version", 1),
        size=size,
        illuminant=light,
        observer="2",
        paper=_sheet_colour(head, "paper", light),
        ink=_sheet_colour(head, "ink", light),
        window=Window(**_moved(_only(tables["window"]), shift)) if tables["window"] else None,
        markers=tuple(replace(item, corners=as_corners(np.array(item.corners) + shift)) for item in markers),
        patches=tuple(
            replace(item, lab=as_lab(lab), **_moved({"box": item.box}, shift))
            for item, lab in zip(patches, labs, strict=True)
        ),
        reserved_ids=rules.get("reserved_ids"),
        dictionary=rules.get("dictionary", markers[0].dictionary),
        source_path=file.path,
        texts=tuple(Text(**_moved(table, shift)) for _, table in tables["text"]),
        arrows=tuple(Arrow(**_moved(table, shift)) for _, table in tables["arrow"]),
        scale=Scale(**_moved(_only(tables["scale"]), shift)) if tables["scale"] else None,
        even_paper=head.get("paper") == UNKNOWN,
        excluded=tuple(_moved(table, shift)["box"] for _, table in tables["exclude"]),
    )


def _moved(table: Table, shift: Point) -> Table:
    """Return a table's values, its places moved, under the names that the records give them."""
    places = {"at": "at", "box": "box", "from": "start", "to": "end"}
    return {
        places.get(key, key): (value[0] + shift[0], value[1] + shift[1], *value[2:])
        if key in places
        else value
        for key, value in table.items()
    }


def _only(tables: list[tuple[KeyPath, Table]]) -> Table:
    """Return the one table of its name; an empty one when it is not there."""
    return tables[0][1] if tables else {}


def _refuse(file: TomlFile, faults: Sequence[Fault]) -> None:
    """Raise the faults found so far, if any, as one error, first line first."""
    if not faults:
        return
    told = sorted(((file.line(*fault.path), fault.message) for fault in faults), key=lambda item: item[0])
    first, message = told[0]
    if others := told[1:3]:
        also = "; ".join(f"line {line}: {text.rstrip('.')}" for line, text in others)
        more = f"; and {len(told) - 3} more" if len(told) > 3 else ""
        message = f"{message} Also {also}{more}."
    raise BadCardDefinitionError(message, where=f"{file.path.name}:{first}")


# --- markers and patches --------------------------------------------------------------------------------


def _markers(
    tables: list[tuple[KeyPath, Table]], shared: str | None, faults: list[Fault]
) -> Iterator[tuple[KeyPath, Marker]]:
    """Yield the markers that are right, each with the path of its id."""
    for path, table in tables:
        name = table.get("dictionary", shared)
        size = table["box"][2:] if "box" in table else table.get("size", (1.0, 1.0))
        if name is None:
            faults.append(Fault(path, "the key 'dictionary' is missing, here and in [markers]."))
        elif table["id"] >= (count := dictionary_size(name)):
            message = f"{name} has ids 0 to {count - 1}, but not {table['id']}."
            faults.append(Fault((*path, "id"), message))
        elif abs(size[0] - size[1]) > 0.02 * max(size):
            key = "box" if "box" in table else "size"
            faults.append(Fault((*path, key), "a marker must be as wide as it is high."))
        else:
            yield (*path, "id"), Marker(table["id"], name, _marker_corners(table))


def _marker_corners(table: Table) -> Corners:
    """Return a marker's corners, clockwise from its own top left, however its place is given."""
    if "corners" in table:
        return cast("Corners", table["corners"])
    return as_corners(turned(box_corners(_box(table)), table.get("angle", 0.0)))


def dictionary_size(name: str) -> int:
    """Return how many markers a predefined dictionary of OpenCV holds."""
    return int(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name)).bytesList.shape[0])


def _box(table: Table) -> Box:
    """Return the box of a marker or a patch; of a round patch, that of the square inscribed in it."""
    if "box" in table:
        return cast("Box", table["box"])
    (x, y), (width, height) = table["center"], _size(table)
    return x - width / 2, y - height / 2, width, height


def _size(table: Table) -> tuple[float, float]:
    side = table.get("diameter", 0.0) / math.sqrt(2.0)
    return cast("tuple[float, float]", table.get("size", (side, side)))


def _patch(table: Table, light: str) -> Patch:
    """Return one patch, its colour still under the definition's own illuminant."""
    lab = table["lab"] if "lab" in table else _lab_of_xyz(table["xyz"], light)
    return Patch(table["id"], _box(table), lab, table.get("name", ""), table.get("label"))


def _grid(table: Table, path: KeyPath, light: str, faults: list[Fault]) -> Iterator[tuple[KeyPath, Patch]]:
    """Yield the patches of a grid, row by row, each with the path of its colour."""
    key, columns = "labs" if "labs" in table else "xyzs", table["columns"]
    colours, names = table[key], table.get("names")
    if len(colours) % columns:
        message = f"'{key}' must be a list of colours in whole rows of {columns}."
        faults.append(Fault((*path, key), message))
        return
    prefix = table.get("prefix", "")
    default = [f"{prefix}{row_letter(at // columns)}{at % columns + 1}" for at in range(len(colours))]
    ids, names = table.get("ids", default), table.get("names", [""] * len(colours))
    for texts, listed in (("ids", ids), ("names", names)):
        if len(listed) != len(colours):
            message = f"'{texts}' must be a list of {len(colours)} texts, one for each colour."
            faults.append(Fault((*path, texts), message))
            return
    turn = math.radians(table.get("angle", 0.0))
    along, across = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    size, pitch = _size(table), table["pitch"]
    first = np.zeros(2) if "center" in table else (size[0] * along + size[1] * across) / 2
    first += table["center"] if "center" in table else table["origin"]
    width, height = _upright_within(size, turn)
    for at, (colour, name, words) in enumerate(zip(colours, ids, names, strict=True)):
        row, column = divmod(at, columns)
        x, y = (first + column * pitch[0] * along + row * pitch[1] * across).tolist()
        box = (x - width / 2, y - height / 2, width, height)
        lab = colour if key == "labs" else _lab_of_xyz(colour, light)
        yield (*path, key, at), Patch(name, box, lab, words, table.get("label"))


def _upright_within(size: tuple[float, float], turn: float) -> tuple[float, float]:
    """Return width and height of an upright box about the centre of a turned one, as large as fits into it."""
    cos, sin = abs(math.cos(turn)), abs(math.sin(turn))
    width, height = size if cos >= sin else size[::-1]
    share = min(size[0] / (width * cos + height * sin), size[1] / (width * sin + height * cos))
    return share * width, share * height


def row_letter(row: int) -> str:
    """Return A to Z, then AA, AB and so on."""
    letters, row = "", row + 1
    while row:
        row, rest = divmod(row - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


# --- colours --------------------------------------------------------------------------------------------


def _lab_of_xyz(xyz: tuple[float, float, float], light: str) -> Lab:
    """Return CIELAB of tristimulus values, perfect white at Y = 100."""
    return as_lab(lab_under(np.array(xyz) / 100.0, white_point(light)))


def _sheet_colour(head: Table, name: str, light: str) -> Lab | None:
    """Return the colour of paper or ink, given either way, for D65."""
    xyz = head.get(f"{name}_xyz")
    lab = _lab_of_xyz(xyz, light) if xyz else head.get(name)
    return as_lab(adapt_to_d65(np.array([lab]), light)[0]) if lab and lab != UNKNOWN else None


# --- the whole ------------------------------------------------------------------------------------------


def _check_counts(markers: int, patches: int, faults: list[Fault]) -> None:
    """Refuse too few or too many, unless something is wrong with one of them anyway."""
    if patches > MAX_PATCHES:
        faults.append(Fault(("grid",), f"there are {patches} patches; {MAX_PATCHES} is the most."))
    elif not faults and not markers:
        faults.append(Fault((), "there is no [[marker]]; a card needs at least one."))
    elif not faults and patches < MIN_PATCHES:
        faults.append(Fault((), f"a card needs at least {MIN_PATCHES} patches; here are {patches}."))


def _check_unique(
    file: TomlFile,
    markers: list[tuple[KeyPath, Marker]],
    patches: list[tuple[KeyPath, Patch]],
    faults: list[Fault],
) -> None:
    """Note ids that are used twice."""
    keys: list[tuple[KeyPath, Any, str]] = [
        (path, (item.dictionary, item.id), f"marker id {item.id}") for path, item in markers
    ]
    keys += [(path, item.id, f"patch id '{item.id}'") for path, item in patches]
    seen: dict[Any, KeyPath] = {}
    for path, key, name in keys:
        first = seen.setdefault(key, path)
        if first is not path:
            hint = "; give the grid its own 'prefix'" if path[0] == "grid" else ""
            faults.append(Fault(path, f"{name} is already used on line {file.line(*first)}{hint}."))


def _check_inside(shapes: list[Placed], size: tuple[float, float], faults: list[Fault]) -> None:
    """Note whatever lies outside the card."""
    for path, name, corners in shapes:
        if np.any(corners < -TOUCH_MM) or np.any(corners > np.array(size) + TOUCH_MM):
            faults.append(Fault(path, f"{name} lies outside the card of {size[0]:g} x {size[1]:g} mm."))


def _check_overlaps(file: TomlFile, shapes: list[Placed], faults: list[Fault]) -> None:
    """Note things that lie on each other, at the one that stands later in the file."""
    low = np.array([corners.min(axis=0) for _, _, corners in shapes])
    high = np.array([corners.max(axis=0) for _, _, corners in shapes])
    for one in range(len(shapes)):
        apart = (low[one + 1 :] > high[one] - TOUCH_MM) | (high[one + 1 :] < low[one] + TOUCH_MM)
        for other in np.flatnonzero(~apart.any(axis=1)) + one + 1:
            if overlap(shapes[one][2], shapes[other][2]):
                pair = sorted((shapes[one], shapes[other]), key=lambda item: file.line(*item[0]))
                faults.append(Fault(pair[1][0], f"{pair[1][1]} overlaps {pair[0][1]}."))
        if len(faults) > 20:
            return


def _printable(text: str) -> str:
    return "".join(letter for letter in text if letter.isprintable()).strip()[:200] or "card"
