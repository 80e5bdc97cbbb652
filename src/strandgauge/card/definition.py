"""Loads a card definition from its TOML file, and refuses a bad one with the line that is wrong.

The format is described in ``docs/card-format.md``; our own card and any user's chart are read alike.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar, cast, get_args

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.card import marks, values
from strandgauge.card.model import Box, CardDefinition, Marker, Patch, Place, Scale, Side, Window
from strandgauge.card.places import marker_corners, patch_box, patch_size
from strandgauge.card.shapes import TOUCH_MM, as_corners, bounds, box_corners, overlap
from strandgauge.card.values import Fault, shown
from strandgauge.card.write import SCHEMA
from strandgauge.colour.cielab import Lab, as_lab
from strandgauge.colour.illuminant import ILLUMINANTS, adapt_to_d65, lab_under, white_point
from strandgauge.errors import BadCardDefinitionError
from strandgauge.files.toml import KeyPath, TomlFile, read_toml

__all__ = ["CardDefinition", "Marker", "Patch", "Window", "load_card"]

MIN_PATCHES = 6
MAX_PATCHES = 2000
_MOST = {"marker": 500, "patch": MAX_PATCHES}

_KEYS: dict[str, list[str]] = {
    "": ["schema", "card", "window", "markers", "scale", "marker", "patch", "grid", "text", "arrow"],
    "card": [
        *["name", "version", "size", "illuminant", "observer", "source", "note"],
        *["paper", "paper_xyz", "ink", "ink_xyz"],
    ],
    "window": ["box", "root_end"],
    "markers": ["dictionary", "reserved_ids"],
    "scale": ["at", "length"],
    "marker": ["id", "dictionary", "box", "corners", "center", "size", "angle"],
    "patch": ["id", "name", "box", "center", "size", "diameter", "lab", "xyz", "label"],
    "grid": [
        *["origin", "center", "pitch", "size", "diameter", "columns"],
        *["labs", "xyzs", "ids", "names", "prefix", "label"],
    ],
    "text": marks.TEXT_KEYS,
    "arrow": marks.ARROW_KEYS,
}

T = TypeVar("T")
Shape = NDArray[np.float64]
Table = dict[str, Any]


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
    return _CardReader(read_toml(Path(path), BadCardDefinitionError, "card definition")).card()


class _CardReader:
    """Turns one parsed file into a card, going on after a mistake so that several are told at once."""

    def __init__(self, file: TomlFile) -> None:
        self.file = file
        self.faults: list[Fault] = []
        self.illuminant = "D65"

    def tried(self, read: Callable[..., T], *arguments: object) -> T | None:
        """Return what `read` returns; note the fault and return None when it finds one."""
        try:
            return read(*arguments)
        except Fault as fault:
            self.faults.append(fault)
            return None

    def stop_if_faulty(self) -> None:
        """Raise the faults noted so far as one error, first line first."""
        if not self.faults:
            return
        told = sorted(
            ((self.file.line(*fault.path), fault.message) for fault in self.faults), key=lambda x: x[0]
        )
        first, message = told[0]
        others = told[1:3]
        if others:
            also = "; ".join(f"line {line}: {text.rstrip('.')}" for line, text in others)
            more = f"; and {len(told) - 3} more" if len(told) > 3 else ""
            message = f"{message} Also {also}{more}."
        raise BadCardDefinitionError(message, where=f"{self.file.path.name}:{first}")

    def card(self) -> CardDefinition:
        """Return the whole card, or raise what is wrong with it."""
        self.tried(self.check_top)
        self.illuminant = self.tried(self.read_illuminant) or "D65"
        head = self.tried(self.read_head)
        window = self.tried(self.read_window)
        rules = self.tried(self.read_marker_rules)
        dictionary, reserved = rules or (None, None)
        markers = list(self.read_markers(dictionary)) if rules else []
        patches = list(self.read_patches())
        texts = [self.tried(marks.text, table, path) for path, table in self.tables("text")]
        arrows = [self.tried(marks.arrow, table, path) for path, table in self.tables("arrow")]
        scale = self.tried(self.read_scale)
        self.tried(self.check_counts, len(markers), len(patches))
        self.check_unique(markers, patches)
        self.stop_if_faulty()
        name, version, size, paper, ink = cast(
            "tuple[str, int, tuple[float, float] | None, Lab | None, Lab | None]", head
        )

        shapes = [(path, f"marker {item.id}", np.array(item.corners)) for path, item in markers]
        shapes += [(path, f"patch '{item.id}'", box_corners(item.box)) for path, item in patches]
        if window:
            shapes.append((("window", "box"), "the window", box_corners(window.box)))
        shift = (0.0, 0.0)
        if size is None:
            low, high = bounds(shape for _, _, shape in shapes)
            shift, size = (-low[0], -low[1]), (high[0] - low[0], high[1] - low[1])
        else:
            self.check_inside(shapes, size)
        self.check_overlaps(shapes)
        self.stop_if_faulty()

        labs = adapt_to_d65(np.array([item.lab for _, item in patches]), self.illuminant)
        return CardDefinition(
            name=name,
            version=version,
            size=size,
            illuminant=self.illuminant,
            observer="2",
            paper=self.adapted(paper),
            ink=self.adapted(ink),
            window=Window(_moved(window.box, shift), window.root_end) if window else None,
            markers=tuple(
                Marker(item.id, item.dictionary, as_corners(np.array(item.corners) + shift))
                for _, item in markers
            ),
            patches=tuple(
                Patch(item.id, _moved(item.box, shift), as_lab(lab), item.name, item.label)
                for (_, item), lab in zip(patches, labs, strict=True)
            ),
            reserved_ids=reserved,
            dictionary=dictionary or markers[0][1].dictionary,
            source_path=self.file.path,
            texts=tuple(marks.moved_text(item, shift) for item in texts if item),
            arrows=tuple(marks.moved_arrow(item, shift) for item in arrows if item),
            scale=marks.moved_scale(scale, shift) if scale else None,
        )

    # --- [card], [window] and [markers] -----------------------------------------------------------------

    def table(self, name: str) -> Table:
        """Return a table at the top of the file; an empty one when it is not there."""
        table = self.file.data.get(name, {})
        if not isinstance(table, dict):
            raise Fault((name,), f"'{name}' must be a table, written as [{name}].")
        values.check_keys(table, _KEYS[name], f" in [{name}]", (name,))
        return table

    def tables(self, name: str) -> Iterator[tuple[KeyPath, Table]]:
        """Return an array of tables, each with its path."""
        found = self.file.data.get(name, [])
        if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
            self.faults.append(Fault((name,), f"'{name}' must be a table, written as [[{name}]] for each."))
            return
        most = _MOST.get(name, 200)
        if len(found) > most:
            self.faults.append(Fault((name, most), f"there are {len(found)} [[{name}]]; {most} is the most."))
            return
        for index, table in enumerate(found):
            path = (name, index)
            yield path, table

    def check_top(self) -> None:
        """Check the keys at the top of the file."""
        data = self.file.data
        values.check_keys(data, _KEYS[""], "", ())
        if data.get("schema", SCHEMA) != SCHEMA:
            raise Fault(("schema",), f"'schema' must be \"{SCHEMA}\", not {shown(data['schema'])}.")

    def read_illuminant(self) -> str:
        """Return the illuminant that the colours are for; check the observer too."""
        head = self.file.data.get("card", {})
        if not isinstance(head, dict):
            return "D65"
        observer_degrees(head.get("observer", "2"), ("card", "observer"))
        value = values.required(head, "illuminant", ("card",))
        if not isinstance(value, str) or value.upper() not in ILLUMINANTS:
            known = ", ".join(ILLUMINANTS)
            raise Fault(("card", "illuminant"), f"unknown illuminant {shown(value)}; known are {known}.")
        return value.upper()

    def read_head(self) -> tuple[str, int, tuple[float, float] | None, Lab | None, Lab | None]:
        """Return name, version, size, paper and ink."""
        head, path = self.table("card"), ("card",)
        for free in ("source", "note"):
            if free in head and not isinstance(head[free], str):
                raise Fault((*path, free), f"'{free}' must be text in quotes.")
        return (
            values.text(head.get("name", _printable(self.file.path.stem)), (*path, "name")),
            values.whole(head.get("version", 1), (*path, "version"), 0, 1_000_000),
            values.lengths(head["size"], (*path, "size")) if "size" in head else None,
            self.colour(head, "paper", "paper_xyz", path) if {"paper", "paper_xyz"} & head.keys() else None,
            self.colour(head, "ink", "ink_xyz", path) if {"ink", "ink_xyz"} & head.keys() else None,
        )

    def read_window(self) -> Window | None:
        """Return the strand's window, if the card has one."""
        if "window" not in self.file.data:
            return None
        table = self.table("window")
        box = values.box(values.required(table, "box", ("window",)), ("window", "box"))
        side = values.choice(table.get("root_end", "left"), ("window", "root_end"), get_args(Side))
        return Window(box, cast("Side", side))

    def read_scale(self) -> Scale | None:
        """Return the millimetre scale, if the card has one."""
        return marks.scale(self.table("scale"), ("scale",)) if "scale" in self.file.data else None

    def read_marker_rules(self) -> tuple[str | None, tuple[int, int] | None]:
        """Return the dictionary that markers share, and the ids reserved for versions of this card."""
        table = self.table("markers")
        dictionary = reserved = None
        if "dictionary" in table:
            dictionary = dictionary_name(table["dictionary"], ("markers", "dictionary"))
        if "reserved_ids" in table:
            path = ("markers", "reserved_ids")
            read = values.numbers(table["reserved_ids"], path, [("first", 0, 1e6), ("last", 0, 1e6)])
            if read[0] > read[1] or any(not item.is_integer() for item in read):
                raise Fault(path, "'reserved_ids' must be two whole numbers, first and last.")
            reserved = (int(read[0]), int(read[1]))
        return dictionary, reserved

    # --- [[marker]] -------------------------------------------------------------------------------------

    def read_markers(self, shared: str | None) -> Iterator[tuple[KeyPath, Marker]]:
        """Yield the markers that are right, each with its path."""
        for path, table in self.tables("marker"):
            if marker := self.tried(self.read_marker, table, path, shared):
                yield (*path, "id"), marker

    def read_marker(self, table: Table, path: KeyPath, shared: str | None) -> Marker:
        """Return one marker."""
        values.check_keys(table, _KEYS["marker"], " in [[marker]]", path)
        if "dictionary" in table:
            dictionary = dictionary_name(table["dictionary"], (*path, "dictionary"))
        elif shared is not None:
            dictionary = shared
        else:
            raise Fault(path, "the key 'dictionary' is missing, here and in [markers].")
        number = values.whole(values.required(table, "id", path), (*path, "id"), 0, 1_000_000)
        count = dictionary_size(dictionary)
        if number >= count:
            raise Fault((*path, "id"), f"{dictionary} has ids 0 to {count - 1}, but not {number}.")
        return Marker(number, dictionary, marker_corners(table, path))

    # --- [[patch]] and [[grid]] -------------------------------------------------------------------------

    def read_patches(self) -> Iterator[tuple[KeyPath, Patch]]:
        """Yield the patches that are right, single ones and those of grids, each with its path."""
        for path, table in self.tables("patch"):
            if patch := self.tried(self.read_patch, table, path):
                yield (*path, "id"), patch
        for path, table in self.tables("grid"):
            yield from self.tried(self.read_grid, table, path) or ()

    def read_patch(self, table: Table, path: KeyPath) -> Patch:
        """Return one patch, its colour still under the definition's own illuminant."""
        values.check_keys(table, _KEYS["patch"], " in [[patch]]", path)
        name = values.text(values.required(table, "id", path), (*path, "id"))
        box = patch_box(table, path)
        words = values.text(table["name"], (*path, "name")) if table.get("name", "") != "" else ""
        return Patch(name, box, self.colour(table, "lab", "xyz", path), words, label_place(table, path))

    def read_grid(self, table: Table, path: KeyPath) -> list[tuple[KeyPath, Patch]]:
        """Return the patches of a grid, row by row, each with the path of its colour."""
        values.check_keys(table, _KEYS["grid"], " in [[grid]]", path)
        way = values.one_of(table, ("origin", "center"), path)
        kind = values.one_of(table, ("labs", "xyzs"), path)
        x, y = values.point(table[way], (*path, way))
        across, down = values.lengths(values.required(table, "pitch", path), (*path, "pitch"))
        width, height = patch_size(table, path)
        columns = values.whole(values.required(table, "columns", path), (*path, "columns"), 1, MAX_PATCHES)
        if way == "center":
            x, y = x - width / 2, y - height / 2
        colours = table[kind]
        if not isinstance(colours, list) or not colours or len(colours) % columns:
            raise Fault((*path, kind), f"'{kind}' must be a list of colours in whole rows of {columns}.")
        if len(colours) > MAX_PATCHES:
            raise Fault((*path, kind), f"there are {len(colours)} colours; {MAX_PATCHES} is the most.")
        prefix = values.text(table["prefix"], (*path, "prefix")) if table.get("prefix", "") != "" else ""
        label = label_place(table, path)
        ids = self.grid_texts(table, "ids", path, len(colours))
        names = self.grid_texts(table, "names", path, len(colours))
        read = self.lab_of_xyz if kind == "xyzs" else values.lab
        found: list[tuple[KeyPath, Patch]] = []
        for index, value in enumerate(colours):
            row, column = divmod(index, columns)
            here = (*path, kind, index)
            box = (x + column * across, y + row * down, width, height)
            name = ids[index] if ids else f"{prefix}{row_letter(row)}{column + 1}"
            found.append((here, Patch(name, box, read(value, here), names[index] if names else "", label)))
        return found

    @staticmethod
    def grid_texts(table: Table, key: str, path: KeyPath, count: int) -> list[str]:
        """Return the ids or names of a grid's patches; empty when none are given."""
        if key not in table:
            return []
        listed = table[key]
        if not isinstance(listed, list) or len(listed) != count:
            raise Fault((*path, key), f"'{key}' must be a list of {count} texts, one for each colour.")
        return [values.text(item, (*path, key, index)) for index, item in enumerate(listed)]

    # --- colours ----------------------------------------------------------------------------------------

    def colour(self, table: Table, lab_key: str, xyz_key: str, path: KeyPath) -> Lab:
        """Return a colour given either way, as CIELAB under the definition's own illuminant."""
        key = values.one_of(table, (lab_key, xyz_key), path)
        return (values.lab if key == lab_key else self.lab_of_xyz)(table[key], (*path, key))

    def lab_of_xyz(self, value: object, path: KeyPath) -> Lab:
        """Return CIELAB of tristimulus values, perfect white at Y = 100."""
        xyz = np.array(values.xyz(value, path)) / 100.0
        return as_lab(lab_under(xyz, white_point(self.illuminant)))

    def adapted(self, lab: Lab | None) -> Lab | None:
        """Return one colour for D65."""
        return lab if lab is None else as_lab(adapt_to_d65(np.array([lab]), self.illuminant)[0])

    # --- the whole --------------------------------------------------------------------------------------

    def check_counts(self, markers: int, patches: int) -> None:
        """Refuse too few or too many, unless something is wrong with one of them anyway."""
        if patches > MAX_PATCHES:
            raise Fault(("grid",), f"there are {patches} patches; {MAX_PATCHES} is the most.")
        if not self.faults and not markers:
            raise Fault((), "there is no [[marker]]; a card needs at least one.")
        if not self.faults and patches < MIN_PATCHES:
            raise Fault((), f"a card needs at least {MIN_PATCHES} patches; here are {patches}.")

    def check_unique(
        self, markers: list[tuple[KeyPath, Marker]], patches: list[tuple[KeyPath, Patch]]
    ) -> None:
        """Note ids that are used twice."""
        keys: list[tuple[KeyPath, object, str]] = [
            (path, (item.dictionary, item.id), f"marker id {item.id}") for path, item in markers
        ]
        keys += [(path, item.id, f"patch id '{item.id}'") for path, item in patches]
        seen: dict[object, KeyPath] = {}
        for path, key, name in keys:
            first = seen.setdefault(key, path)
            if first is not path:
                hint = "; give the grid its own 'prefix'" if path[0] == "grid" else ""
                self.faults.append(
                    Fault(path, f"{name} is already used on line {self.file.line(*first)}{hint}.")
                )

    def check_inside(self, shapes: list[tuple[KeyPath, str, Shape]], size: tuple[float, float]) -> None:
        """Note whatever lies outside the card."""
        for path, name, corners in shapes:
            if np.any(corners < -TOUCH_MM) or np.any(corners > np.array(size) + TOUCH_MM):
                self.faults.append(
                    Fault(path, f"{name} lies outside the card of {size[0]:g} x {size[1]:g} mm.")
                )

    def check_overlaps(self, shapes: list[tuple[KeyPath, str, Shape]]) -> None:
        """Note things that lie on each other, at the one that stands later in the file."""
        low = np.array([corners.min(axis=0) for _, _, corners in shapes])
        high = np.array([corners.max(axis=0) for _, _, corners in shapes])
        for one in range(len(shapes)):
            apart = (low[one + 1 :] > high[one] - TOUCH_MM) | (high[one + 1 :] < low[one] + TOUCH_MM)
            for other in np.flatnonzero(~apart.any(axis=1)) + one + 1:
                if not overlap(shapes[one][2], shapes[other][2]):
                    continue
                pair = sorted((shapes[one], shapes[other]), key=lambda item: self.file.line(*item[0]))
                self.faults.append(Fault(pair[1][0], f"{pair[1][1]} overlaps {pair[0][1]}."))
                if len(self.faults) > 20:
                    return


# --- observers and dictionaries -------------------------------------------------------------------------


def observer_degrees(value: object, path: KeyPath) -> None:
    """Refuse every observer but the 2 degree one."""
    told = str(value).strip().lower()
    if re.fullmatch(r"(2 ?(°|deg|degrees?)?|(cie ?)?1931)", told):
        return
    if re.fullmatch(r"(10 ?(°|deg|degrees?)?|(cie ?)?1964)", told):
        raise Fault(
            path,
            "colours for the 10 degree observer cannot be turned into those for 2 degrees; give values for "
            "2 degrees here, or spectra with --profile.",
        )
    raise Fault(path, f'unknown observer {shown(value)}; it must be "2".')


def dictionary_name(value: object, path: KeyPath) -> str:
    """Return the name of a predefined dictionary as OpenCV spells it."""
    known = {name.upper(): name for name in sorted(dir(cv2.aruco)) if name.startswith("DICT_")}
    asked = str(value).upper()
    if isinstance(value, str) and asked in known:
        return known[asked]
    near = difflib.get_close_matches(asked, known, n=1, cutoff=0.6)
    hint = (
        f"did you mean '{known[near[0]]}'?" if near else "DICT_4X4_250 or DICT_APRILTAG_36h11, for example."
    )
    raise Fault(path, f"unknown dictionary {shown(value)}; {hint}")


def dictionary_size(name: str) -> int:
    """Return how many markers a predefined dictionary of OpenCV holds."""
    return int(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name)).bytesList.shape[0])


# --- small helpers --------------------------------------------------------------------------------------


def label_place(table: Table, path: KeyPath) -> Place | None:
    """Return beside which edge of a patch its id is printed, if it is."""
    if "label" not in table:
        return None
    return cast("Place", values.choice(table["label"], (*path, "label"), get_args(Place)))


def row_letter(row: int) -> str:
    """Return A to Z, then AA, AB and so on."""
    letters, row = "", row + 1
    while row:
        row, rest = divmod(row - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _moved(box: Box, shift: tuple[float, float]) -> Box:
    return box[0] + shift[0], box[1] + shift[1], box[2], box[3]


def _printable(text: str) -> str:
    return "".join(letter for letter in text if letter.isprintable()).strip()[:200] or "card"
