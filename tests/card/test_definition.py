"""Card definitions: what is read, what is written back, and how a bad one is refused."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from strandgauge.card.definition import load_card
from strandgauge.card.model import CardDefinition
from strandgauge.card.write import card_toml
from strandgauge.colour.cielab import chroma
from strandgauge.errors import BadCardDefinitionError
from strandgauge.files.calibration import calibration_file
from strandgauge.files.toml import read_toml
from strandgauge.light.correction import NEUTRAL_CHROMA

CHART = """\
[card]
name = "chart"
size = [100, 80]
illuminant = "D65"
paper = [94, 0, -1]

[window]
box = [10, 50, 80, 20]

[markers]
dictionary = "DICT_4X4_50"

[[marker]]
id = 3
box = [2, 2, 10, 10]

[[marker]]
id = 4
center = [92, 8]
size = 10

[[patch]]
id = "red"
box = [20, 5, 8, 8]
lab = [45, 50, 28]

[[grid]]
origin = [20, 20]
pitch = [10, 10]
size = 8
columns = 3
labs = [
    [90, 0, 0], [70, 0, 0], [50, 0, 0],
    [40, 0, 0], [30, 0, 0], [20, 0, 0],
]

[scale]
at = [20, 45]
length = 50

[[text]]
at = [50, 48]
size = 2
text = "chart"

[[arrow]]
from = [2, 60]
to = [8, 60]
"""


def write(folder: Path, text: str | bytes, name: str = "chart.toml") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def refusal(path: Path) -> BadCardDefinitionError:
    with pytest.raises(BadCardDefinitionError) as caught:
        load_card(path)
    return caught.value


# --- the card that ships --------------------------------------------------------------------------------


def test_the_shipped_card_has_neutral_steps_on_all_sides_of_the_strand() -> None:
    card = load_card(calibration_file("cards", "strand-a6.toml"))
    assert card.size == (148.0, 105.0)  # A6 of ISO 216, lying
    neutrals = [patch for patch in card.patches if chroma(patch.lab) < NEUTRAL_CHROMA]
    assert len({patch.lab[0] for patch in neutrals}) >= 8
    assert card.window is not None
    x, y, width, height = card.window.box
    sides = {
        "left": [p for p in neutrals if p.centre[0] < x],
        "right": [p for p in neutrals if p.centre[0] > x + width],
        "above": [p for p in neutrals if x < p.centre[0] < x + width and p.centre[1] < y],
        "below": [p for p in neutrals if x < p.centre[0] < x + width and p.centre[1] > y + height],
    }
    assert {side: len({p.lab[0] for p in found}) >= 4 for side, found in sides.items()} == dict.fromkeys(
        sides, True
    )


def test_the_shipped_card_tells_its_version_by_its_marker_ids() -> None:
    card = load_card(calibration_file("cards", "strand-a6.toml"))
    assert card.reserved_ids is not None
    first, last = card.reserved_ids
    start = first + 4 * (card.version - 1)
    assert [marker.id for marker in card.markers] == list(range(start, start + 4))
    assert start + 3 <= last


# --- what can be written --------------------------------------------------------------------------------


def test_a_chart_is_read_as_written(tmp_path: Path) -> None:
    card = load_card(write(tmp_path, CHART))
    assert [patch.id for patch in card.patches] == ["red", "A1", "A2", "A3", "B1", "B2", "B3"]
    assert card.patches[5].box == (30.0, 30.0, 8.0, 8.0)
    assert card.patches[5].lab == (30.0, 0.0, 0.0)
    assert card.markers[1].corners == ((87.0, 3.0), (97.0, 3.0), (97.0, 13.0), (87.0, 13.0))
    assert card.window is not None
    assert (card.window.root_end, card.paper, card.ink) == ("left", (94.0, 0.0, -1.0), None)


@pytest.mark.parametrize(
    ("written", "same_as"),
    [
        ("box = [20, 5, 8, 8]", "center = [24, 9]\nsize = 8"),
        ("box = [20, 5, 8, 8]", "center = [24, 9]\nsize = [8, 8]"),
        ("box = [20, 5, 8, 8]", "center = [24, 9]\ndiameter = 11.313708498984761"),
        ("origin = [20, 20]", "center = [24, 24]"),
        ("box = [2, 2, 10, 10]", "box = [2, 2, 10, 10]\nangle = 360"),
        ("box = [2, 2, 10, 10]", "corners = [[2, 2], [12, 2], [12, 12], [2, 12]]"),
        ("box = [2, 2, 10, 10]\n", "box = [2, 2, 10, 10]\ndictionary = 'dict_4x4_50'\n"),
        ('illuminant = "D65"', 'illuminant = "d65"\nobserver = 2\nsource = "measured by ourselves"'),
        (CHART[:5], "\ufeff" + CHART[:5]),
        ("\n", "\r\n"),
    ],
)
def test_the_same_can_be_written_in_several_ways(tmp_path: Path, written: str, same_as: str) -> None:
    assert written in CHART
    one = load_card(write(tmp_path, CHART, "one.toml"))
    other = load_card(write(tmp_path, CHART.replace(written, same_as), "other.toml"))
    assert np.allclose([p.box for p in one.patches], [p.box for p in other.patches], atol=1e-12)
    same = {"source_path": one.source_path, "patches": one.patches}
    assert dataclasses.replace(other, **same) == one


def test_an_angle_turns_a_marker_clockwise_about_its_centre(tmp_path: Path) -> None:
    straight = load_card(write(tmp_path, CHART)).marker_corners[0]
    quarter = load_card(write(tmp_path, CHART.replace("10, 10]", "10, 10]\nangle = 90", 1))).marker_corners[0]
    assert np.array_equal(quarter, np.roll(straight, -1, axis=0))  # its top left comes to the top right
    tilted = load_card(write(tmp_path, CHART.replace("10, 10]", "10, 10]\nangle=89.9", 1))).marker_corners[0]
    assert np.abs(tilted - quarter).max() < 0.02


def test_a_grid_is_turned_about_its_first_place(tmp_path: Path) -> None:
    straight = load_card(write(tmp_path, CHART)).patches[1:]
    turned = CHART.replace("size = [100, 80]\n", "")
    for place in ("origin = [20, 20]", "center = [24, 24]"):
        about = np.array([24.0, 24.0] if "center" in place else [20.0, 20.0])
        for angle, share in ((0, 1.0), (90, 1.0), (-180, 1.0), (30, 1 / (np.cos(np.pi / 6) + 0.5))):
            text = turned.replace("origin = [20, 20]", f"{place}\nangle = {angle}")
            text = text.replace("[window]\nbox = [10, 50, 80, 20]\n", "").replace(
                "box = [2, 2", "box = [-90, -90"
            )
            text = text.replace("center = [92, 8]", "center = [192, 108]").replace(
                "box = [20, 5", "box = [90, 5"
            )
            card = load_card(write(tmp_path, text))
            shift = np.array([90.0, 90.0])  # the marker is the first of everything
            turn = cv2.getRotationMatrix2D((0, 0), -angle, 1.0)[:, :2]  # which turns anticlockwise
            for before, after in zip(straight, card.patches[1:], strict=True):
                expected = turn @ (np.array(before.centre) - about) + about + shift
                assert np.allclose(after.centre, expected, atol=1e-9)
                assert np.allclose(after.box[2:], np.array(before.box[2:]) * share)


def test_paper_of_unknown_colour_and_places_to_exclude_survive(tmp_path: Path) -> None:
    text = CHART.replace("[94, 0, -1]", '"unknown"') + "[[exclude]]\nbox = [60, 5, 20, 30]\n"
    card = load_card(write(tmp_path, text))
    assert (card.paper, card.even_paper, card.excluded) == (None, True, ((60.0, 5.0, 20.0, 30.0),))
    again = load_card(write(tmp_path, card_toml(card)))
    assert again == card


def test_without_a_size_the_card_is_the_box_around_everything(tmp_path: Path) -> None:
    moved = CHART.replace("size = [100, 80]\n", "").replace("box = [2, 2, 10, 10]", "box = [-20, -6, 10, 10]")
    card = load_card(write(tmp_path, moved))
    assert card.size == (117.0, 76.0)
    assert card.markers[0].corners[0] == (0.0, 0.0)
    assert card.patches[0].box == (40.0, 11.0, 8.0, 8.0)
    assert card.window is not None
    assert card.window.box == (30.0, 56.0, 80.0, 20.0)
    assert card.texts[0].at == (70.0, 54.0)


def test_tristimulus_values_and_other_lights_become_cielab_for_d65(tmp_path: Path) -> None:
    # An even grey stays neutral in any light. Y of L* 50 is 18.4187 (CIE 15); X and Z are that times the D50
    # white of the ICC profile format (0.9642, 1, 0.8249), which differs from CIE's in the fifth digit.
    chart = CHART.replace('"D65"', '"D50"').replace("lab = [45, 50, 28]", "xyz = [17.7593, 18.4187, 15.1936]")
    card = load_card(write(tmp_path, chart))
    assert card.patches[0].lab == pytest.approx((50.0, 0.0, 0.0), abs=0.02)
    assert card.patches[3].lab == pytest.approx((50.0, 0.0, 0.0), abs=1e-9)
    assert card.illuminant == "D50"


@pytest.mark.parametrize(
    ("d50", "d65"),
    [
        # Primaries of sRGB: CIELAB of its ICC profile (D50, Bradford) and of IEC 61966-2-1 itself (D65), as
        # widely tabulated by colour calculators; quoted from memory.
        ((54.29, 80.81, 69.89), (53.24, 80.09, 67.20)),
        ((87.82, -79.29, 80.99), (87.73, -86.18, 83.18)),
        ((29.57, 68.30, -112.03), (32.30, 79.19, -107.86)),
    ],
)
def test_adaptation_from_d50_on_published_values(
    tmp_path: Path, d50: tuple[float, ...], d65: tuple[float, ...]
) -> None:
    chart = CHART.replace('"D65"', '"D50"').replace("[45, 50, 28]", str(list(d50)))
    assert load_card(write(tmp_path, chart)).patches[0].lab == pytest.approx(d65, abs=0.05)


# --- writing back ---------------------------------------------------------------------------------------

COLOURS = st.tuples(st.floats(0, 100), st.floats(-128, 128), st.floats(-128, 128))
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=12)


@st.composite
def charts(draw: st.DrawFn) -> str:
    """Return the text of a valid definition: a grid of patches under a row of markers."""
    columns, rows = draw(st.integers(2, 6)), draw(st.integers(3, 5))
    side = draw(st.floats(1.0, 30.0))
    gap = draw(st.floats(0.0, 20.0))
    ids = draw(st.lists(WORDS, min_size=columns * rows, max_size=columns * rows, unique=True))
    labs = draw(st.lists(COLOURS, min_size=columns * rows, max_size=columns * rows))
    quoted = ", ".join(f'"{word}"'.replace("\\", "\\\\") if '"' not in word else f"'{word}'" for word in ids)
    marker = draw(st.floats(2.0, 40.0))
    lines = ["[card]", f"name = '''{draw(WORDS)} '''", 'illuminant = "D65"']
    if draw(st.booleans()):
        lines.append(f"ink = {list(draw(COLOURS))}")
    for index in range(draw(st.integers(1, 4))):
        centre = [index * 2 * marker, -1.5 * marker]
        lines += ["[[marker]]", 'dictionary = "DICT_APRILTAG_36h11"', f"id = {index}", f"center = {centre}"]
        lines += [f"size = {marker}", f"angle = {draw(st.floats(-360, 360))}"]
    lines += [
        "[[grid]]",
        f"origin = [0, {draw(st.floats(0, 50))}]",
        f"pitch = {side + gap}",
        f"size = {side}",
    ]
    lines += [f"columns = {columns}", f"labs = {[list(lab) for lab in labs]}"]
    if "'" not in quoted.replace("'\"'", ""):
        lines.append(f"ids = [{quoted}]")
    return "\n".join(lines)


@settings(max_examples=40, deadline=None)
@given(text=charts())
@pytest.mark.whole
def test_any_card_survives_being_written_and_read(
    text: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("cards")
    card = load_card(write(folder, text))
    again = load_card(write(folder, card_toml(card), "again.toml"))
    assert dataclasses.replace(again, source_path=card.source_path) == card


def test_the_shipped_card_survives_being_written_and_read(tmp_path: Path) -> None:
    card = load_card(calibration_file("cards", "strand-a6.toml"))
    again = load_card(write(tmp_path, card_toml(card)))
    assert dataclasses.replace(again, source_path=card.source_path) == card
    assert len(again.texts) == len(card.texts) > 0


# --- bad definitions ------------------------------------------------------------------------------------

BAD = [
    # what is written, what stands there instead, part of the message, the line to be named as it then reads
    ('name = "chart"', "name = 3", "must be text", None),
    ('name = "chart"', 'nam = "chart"', "did you mean 'name'", None),
    ('name = "chart"', 'name = "a\\nb"', "printable", None),
    ("size = [100, 80]", "size = [100, -80]", "larger than 0", None),
    ("size = [100, 80]", "size = [100, 80, 3]", "2 numbers", None),
    ("size = [100, 80]", "size = [100, inf]", "not a finite number", None),
    ('illuminant = "D65"\n', "", "'illuminant' is missing", "[card]"),
    ('illuminant = "D65"', 'illuminant = "D95"', "unknown illuminant", None),
    ('illuminant = "D65"', 'illuminant = "D65"\nobserver = "10"', "10 degree observer", 'observer = "10"'),
    ('illuminant = "D65"', 'illuminant = "D65"\nobserver = "3"', "unknown observer", 'observer = "3"'),
    ("paper = [94, 0, -1]", "paper = [104, 0, -1]", "outside 0 to 100", None),
    ("paper = [94, 0, -1]", "paper = [94, 0, -200]", "outside -128 to 128", None),
    ("paper = [94, 0, -1]", "paper = [94, true, -1]", "must be a number", None),
    ("paper = [94, 0, -1]", "paper = [94, 0, -1]\npaper_xyz = [80, 85, 90]", "only one of", "paper_xyz = "),
    ("paper = [94, 0, -1]", "paper = 'unkown'", "3 numbers", None),
    ("columns = 3", "columns = 3\nangle = 361", "outside -360 to 360", "angle = "),
    ("[scale]", "[[exclude]]\nbox = [1, 2, 3]\n[scale]", "4 numbers", "box = [1, 2, 3]"),
    ("[window]", "[windows]", "did you mean 'window'", None),
    ("box = [10, 50, 80, 20]\n", "", "'box' is missing", "[window]"),
    ("box = [10, 50, 80, 20]", "box = [10, 30, 80, 20]", "overlaps the window", "    [40, 0, 0]"),
    ("box = [10, 50, 80, 20]", "box = [10, 50, 80, 20]\nroot_end = 'up'", "must be one of", "root_end"),
    ('"DICT_4X4_50"', '"DICT_4X4_5O"', "did you mean 'DICT_4X4_50'", "dictionary"),
    ('dictionary = "DICT_4X4_50"', "", "here and in [markers]", "[[marker]]"),
    ('dictionary = "DICT_4X4_50"', "reserved_ids = [9, 4]", "first and last", None),
    ("id = 3", "id = 50", "ids 0 to 49", None),
    ("id = 3", "id = -3", "outside 0", None),
    ("id = 3", "id = 3.0", "whole number", None),
    ("id = 4", "id = 3", "marker id 3 is already used on line 14", None),
    ("box = [2, 2, 10, 10]", "box = [2, 2, 10, 8]", "as wide as it is high", None),
    ("box = [2, 2, 10, 10]", "box = [-2, 2, 10, 10]", "outside the card", "id = 3"),
    ("box = [2, 2, 10, 10]", "size = 10", "'box' or 'corners' or 'center' is missing", "[[marker]]"),
    (
        "box = [2, 2, 10, 10]",
        "box = [2, 2, 10, 10]\nsize = 10",
        "only one of 'box' or 'corners' or 'size'",
        "size = 10",
    ),
    ("box = [2, 2, 10, 10]", "corners = [[2,2],[2,12],[12,12],[12,2]]", "anticlockwise", None),
    ("box = [2, 2, 10, 10]", "corners = [[2,2],[12,2],[2,12],[12,12]]", "do not form a square", None),
    ("box = [2, 2, 10, 10]", "corners = [[2,2],[12,2],[12,12]]", "4 points", None),
    ("box = [2, 2, 10, 10]", "corners = [\n[2,2],\n[12,2],\n[12,nan],\n[2,12]]", "not a finite", "[12,nan]"),
    ('id = "red"\n', "", "'id' is missing", "[[patch]]"),
    ('id = "red"', 'id = "A2"', "patch id 'A2' is already used on line 23", "    [90, 0, 0]"),
    ("lab = [45, 50, 28]", "labb = [45, 50, 28]", "did you mean 'lab'", None),
    ("lab = [45, 50, 28]", "xyz = [45, 150, 28]", "outside 0 to 100", None),
    ("lab = [45, 50, 28]", "lab = [45, 50]", "3 numbers [L*, a*, b*]", None),
    ("lab = [45, 50, 28]", "", "'lab' or 'xyz' is missing", "[[patch]]"),
    ("box = [20, 5, 8, 8]", "box = [9, 5, 8, 8]", "overlaps marker 3", 'id = "red"'),
    ("box = [20, 5, 8, 8]", "center = [24, 9]", "'size' or 'diameter' is missing", "[[patch]]"),
    ("pitch = [10, 10]", "pitch = [10, 7]", "overlaps patch", "    [40, 0, 0]"),
    ("columns = 3", "columns = 4", "whole rows of 4", "labs = ["),
    ("    [40, 0, 0],", "    [40, 0, 'x'],", "must be a number", "    [40, 0, 'x']"),
    ("columns = 3", "columns = 3\nids = ['a', 'b']", "list of 6 texts", "ids = "),
    ("length = 50", "length = 5", "outside 10", None),
    ("size = 2\n", "size = 0\n", "outside 0.5", None),
    ("to = [8, 60]", "to = [2, 60]", "must have a length", None),
    ("[card]", "[card", "not valid TOML", None),
    ("id = 4", "id = 4\nid = 5", "not valid TOML", "id = 5"),
    ("columns = 3", "columns = = 3", "not valid TOML", None),
]


@pytest.mark.parametrize(("written", "wrong", "message", "line"), BAD)
def test_a_bad_definition_names_its_line(
    tmp_path: Path, written: str, wrong: str, message: str, line: str | None
) -> None:
    assert CHART.count(written) >= 1
    text = CHART.replace(written, wrong, 1)
    error = refusal(write(tmp_path, text))
    assert message in error.message
    assert error.where is not None
    name, number = error.where.split(":")
    assert name == "chart.toml"
    named = text.splitlines()[int(number) - 1]
    assert named.startswith(line or wrong.splitlines()[0]), f"{named!r} was named"


def test_several_mistakes_are_told_at_once(tmp_path: Path) -> None:
    text = CHART.replace("[94, 0, -1]", "[194, 0, -1]").replace("id = 3", "id = 99").replace("[20, 5", "[20")
    error = refusal(write(tmp_path, text))
    assert error.where == "chart.toml:5"
    assert "line 14: DICT_4X4_50 has ids 0 to 49" in error.message
    assert "line 24: 'box' must be 4 numbers" in error.message
    assert "\n" not in str(error)


def test_too_few_patches_or_no_markers_are_refused(tmp_path: Path) -> None:
    few = CHART.replace("columns = 3", "columns = 2").replace("    [40, 0, 0], [30, 0, 0], [20, 0, 0],\n", "")
    few = few.replace("[90, 0, 0], ", "")
    assert "at least 6 patches; here are 3" in refusal(write(tmp_path, few)).message
    none = CHART.replace("[[marker]]\nid = 3\nbox = [2, 2, 10, 10]\n", "")
    none = none.replace("[[marker]]\nid = 4\ncenter = [92, 8]\nsize = 10\n", "")
    assert "at least one" in refusal(write(tmp_path, none)).message


@pytest.mark.parametrize(
    ("content", "message", "where"),
    [
        (b"", "'illuminant' is missing", "chart.toml:1"),
        (b'[card]\nname = "\xff"', "not UTF-8", "chart.toml:2"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not UTF-8", "chart.toml:1"),
        (b"a = 1\n" + b"# filled up\n" * 200_000, "larger than 2 MB", "chart.toml"),
        (b"a = " + b"[" * 5000, "nested too deeply", "chart.toml:1"),
        (b"a = 1\nb = [1,\n2", "not valid TOML", "chart.toml:3"),
    ],
)
@pytest.mark.usefixtures("worded")
def test_a_file_that_is_no_definition_is_refused(
    tmp_path: Path, content: bytes, message: str, where: str
) -> None:
    error = refusal(write(tmp_path, content))
    assert message in error.message
    assert error.where == where


@pytest.mark.usefixtures("worded")
def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    assert "no such card definition" in refusal(tmp_path / "none.toml").message
    assert "folder" in refusal(tmp_path).message


# --- lines of values ------------------------------------------------------------------------------------


def test_the_line_of_every_value_is_known(tmp_path: Path) -> None:
    text = '''\
# a comment = [ "
first = """one
[not.a.table]
two\\""""   # ends
"quo.ted" = 'it''
[a."b c".d]
list = [ # [
  1, "]", [2,
  3], { x = 1, y = [
  4] },
]
[[rows]]
date = 1979-05-27 07:32:00
inner.deep = true
[[rows.sub]]
k = 1
[[rows]]
[rows.only]
k = 2
[[twin.twin]]
[[twin.twin]]
k = 3
'''.replace("'it''", "'it'")
    lines = read_toml(write(tmp_path, text), BadCardDefinitionError, "card definition").lines
    expected = {
        ("first",): 2,
        ("quo.ted",): 5,
        ("a", "b c", "d"): 6,
        ("a", "b c", "d", "list"): 7,
        ("a", "b c", "d", "list", 0): 8,
        ("a", "b c", "d", "list", 2, 1): 9,
        ("a", "b c", "d", "list", 3, "y", 0): 10,
        ("rows", 0): 12,
        ("rows", 0, "date"): 13,
        ("rows", 0, "inner", "deep"): 14,
        ("rows", 0, "sub", 0, "k"): 16,
        ("rows", 1): 17,
        ("rows", 1, "only", "k"): 19,
        ("twin",): 20,
        ("twin", "twin", 1, "k"): 22,
    }
    assert {path: lines.get(path) for path in expected} == expected


def test_a_card_can_be_a_key(tmp_path: Path) -> None:
    card = load_card(write(tmp_path, CHART))
    known: dict[CardDefinition, int] = {card: 1}
    assert known[load_card(tmp_path / "chart.toml")] == 1
