"""The card as a picture and as a page to print, judged by other libraries than those that made them."""

from __future__ import annotations

import re
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pikepdf
import pypdf
import pypdfium2
import pytest
from PIL import Image, ImageCms
from skimage.color import lab2rgb, lab2xyz, xyz2rgb

from refused import refused
from strandgauge.card.definition import load_card
from strandgauge.card.drawing import Writing
from strandgauge.card.model import CardDefinition, Marker
from strandgauge.card.page import card_pdf, draw_page
from strandgauge.card.pdf import text_width
from strandgauge.card.picture import card_png, card_png_bytes
from strandgauge.errors import CannotWriteError

pytestmark = pytest.mark.whole

CHART = """\
[card]
illuminant = "D65"
{size}
[[marker]]
id = 17
dictionary = "DICT_APRILTAG_36h11"
center = [40, 40]
size = 30
angle = 30
[[grid]]
origin = [80, 20]
pitch = 12
size = 10
columns = 3
labs = [[96, 0, 0], [50, 20, 20], [50, -20, 20], [50, 20, -20], [50, -20, -20], [20, 0, 0]]
"""


def chart(folder: Path, size: str = "") -> CardDefinition:
    path = folder / "chart.toml"
    path.write_text(CHART.format(size=size))
    return load_card(path)


def found_corners(picture: np.ndarray, markers: tuple[Marker, ...]) -> dict[int, np.ndarray]:
    """Return the corners of the markers that OpenCV's own detector finds, pixel edges counted from 0."""
    found = {}
    for name in {marker.dictionary for marker in markers}:
        dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name))
        parameters = cv2.aruco.DetectorParameters()
        parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
        corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(picture)
        ids = [] if ids is None else ids.ravel()
        found.update({int(one): at[0] + 0.5 for one, at in zip(ids, corners, strict=True)})
    return found


def region(picture: np.ndarray, box: tuple[float, ...], scale: float) -> np.ndarray:
    x, y, width, height = (round(value * scale) for value in box)
    return picture[max(y, 0) : y + height, max(x, 0) : x + width].reshape(-1, 3)


# --- the picture ----------------------------------------------------------------------------------------


def test_every_pixel_of_a_patch_is_the_srgb_of_its_cielab(card: CardDefinition) -> None:
    picture = card_png(card)
    assert picture.shape == (2100, 2960, 3)
    for patch in card.patches:
        expected = lab2rgb(np.array(patch.lab), illuminant="D65", observer="2") * 255
        assert np.abs(region(picture, patch.box, 20) - expected).max() <= 1.0, patch.id
    paper = lab2rgb(np.array(card.paper), illuminant="D65", observer="2") * 255
    assert np.abs(picture[0, 0] - paper).max() <= 1.0
    assert picture.max() < 250  # the paper is no perfect white


@pytest.mark.parametrize("scale", [7.3, 11.811])
def test_patches_are_flat_at_any_scale(card: CardDefinition, scale: float) -> None:
    picture = card_png(card, scale)
    assert picture.shape[:2] == (round(105 * scale), round(148 * scale))
    for patch in card.patches:
        x, y, width, height = patch.box
        whole = picture[
            int(np.ceil(y * scale)) : int((y + height) * scale),
            int(np.ceil(x * scale)) : int((x + width) * scale),
        ]
        assert len(np.unique(whole.reshape(-1, 3), axis=0)) == 1, patch.id


def test_all_colours_lie_inside_srgb_as_they_are_and_relative_to_the_paper(card: CardDefinition) -> None:
    labs = np.vstack([card.patch_labs, [card.paper, card.ink]])
    xyz = lab2xyz(labs, illuminant="D65", observer="2")
    white, paper = lab2xyz(np.array([[100.0, 0, 0], card.paper]), illuminant="D65", observer="2")
    for seen in (xyz, xyz / paper * white):
        linear = seen @ np.linalg.inv(XYZ_FROM_SRGB).T
        assert linear.min() > 0.0
        assert linear.max() < 1.0 + 1e-3


XYZ_FROM_SRGB = np.array(  # IEC 61966-2-1
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)


def test_nothing_is_printed_where_paper_must_be_bare(card: CardDefinition) -> None:
    picture = card_png(card)
    paper = picture[0, 0]
    bare = np.all(picture == paper, axis=2)
    patches = np.zeros(bare.shape, dtype=bool)
    around = np.zeros(bare.shape, dtype=bool)
    for patch in card.patches:
        x, y, width, height = (round(20 * value) for value in patch.box)
        patches[y : y + height, x : x + width] = True
        around[y - 14 : y + height + 14, x - 14 : x + width + 14] = True  # 0.7 mm
    assert np.all(bare[around & ~patches])
    assert card.window is not None
    assert np.all(region(picture, card.window.box, 20) == paper)
    for marker in card.markers:
        corners = np.array(marker.corners)
        (left, top), (right, _) = corners.min(axis=0), corners.max(axis=0)
        quiet = 2 * (right - left) / 6  # two modules of a 4x4 marker with its border
        side = right - left
        with_zone = region(picture, (left - quiet, top - quiet, side + 2 * quiet, side + 2 * quiet), 20)
        itself = region(picture, (left, top, side, side), 20)
        printed = [int((pixels != paper).any(axis=1).sum()) for pixels in (with_zone, itself)]
        assert printed[0] == printed[1], f"something is printed in the quiet zone of marker {marker.id}"


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_all_that_is_written_can_be_read_and_overlaps_nothing(card: CardDefinition, paper: str) -> None:
    boxes = []
    for shape in draw_page(card, paper).shapes:
        if isinstance(shape, Writing):
            text = shape.text
            assert text.size >= 2.0, text  # mm: 5.7 points
            width = text_width(text.text, text.size, bold=text.bold)
            left = text.at[0] - {"left": 0.0, "middle": width / 2, "right": width}[text.align]
            boxes.append((left, text.at[1] - 0.75 * text.size, left + width, text.at[1] + 0.2 * text.size))
    assert len(boxes) > 60
    a, b = np.array(boxes)[:, None], np.array(boxes)[None]
    apart = (
        (a[..., 2] <= b[..., 0])
        | (b[..., 2] <= a[..., 0])
        | (a[..., 3] <= b[..., 1])
        | (b[..., 3] <= a[..., 1])
    )
    assert np.all(apart | np.eye(len(boxes), dtype=bool))


def test_markers_are_found_where_the_definition_has_them(card: CardDefinition) -> None:
    found = found_corners(card_png(card), card.markers)
    assert sorted(found) == [marker.id for marker in card.markers]
    for marker in card.markers:
        assert np.abs(found[marker.id] / 20 - marker.corners).max() < 0.05, marker.id


def test_a_users_chart_with_a_tilted_marker_and_no_window(tmp_path: Path) -> None:
    card = chart(tmp_path, "size = [120, 80]")
    found = found_corners(card_png(card, 10), card.markers)
    assert np.abs(found[17] / 10 - card.markers[0].corners).max() < 0.1


def test_the_file_states_its_scale_and_colour_space(card: CardDefinition) -> None:
    content = card_png_bytes(card)
    assert re.search(rb"pHYs\x00\x00\x4e\x20\x00\x00\x4e\x20\x01", content)  # 20000 pixels a metre
    assert content.count(b"sRGB") == 1
    with Image.open(BytesIO(content)) as picture:
        assert np.array_equal(np.asarray(picture), card_png(card))
    assert content == card_png_bytes(card)


def test_a_picture_too_large_for_any_memory_is_refused(card: CardDefinition) -> None:
    with refused(CannotWriteError, "pixels", scale=500):
        card_png(card, 500)


# --- the page -------------------------------------------------------------------------------------------

SIZES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
POINTS = 72 / 25.4


@pytest.fixture(scope="module", params=["a4", "letter"])
def page(request: pytest.FixtureRequest, card: CardDefinition) -> tuple[str, bytes]:
    return request.param, card_pdf(card, request.param)


def rastered(content: bytes, scale: float) -> np.ndarray:
    """Return the first page as R, G, B at `scale` pixels per mm."""
    document = pypdfium2.PdfDocument(content)
    picture = np.asarray(document[0].render(scale=scale / POINTS).to_pil().convert("RGB"))
    document.close()
    return picture


def test_the_page_has_the_size_of_the_paper_and_is_printed_unscaled(page: tuple[str, bytes]) -> None:
    paper, content = page
    document = pypdf.PdfReader(BytesIO(content))
    assert len(document.pages) == 1
    box = document.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(np.array(SIZES[paper]) * POINTS, abs=1e-3)
    assert document.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"


def test_the_card_lies_in_the_middle_in_its_true_size(card: CardDefinition, page: tuple[str, bytes]) -> None:
    paper, content = page
    scale = 10.0
    picture = rastered(content, scale)
    offset = (np.array(SIZES[paper]) - card.size) / 2
    found = found_corners(picture, card.markers)
    assert sorted(found) == [marker.id for marker in card.markers]
    for marker in card.markers:
        assert np.abs(found[marker.id] / scale - offset - marker.corners).max() < 0.1, marker.id


def test_patches_are_printed_relative_to_the_paper(card: CardDefinition, page: tuple[str, bytes]) -> None:
    paper, content = page
    picture = rastered(content, 4.0)
    offset = (np.array(SIZES[paper]) - card.size) / 2
    xyz = lab2xyz(np.vstack([card.patch_labs, card.paper]), illuminant="D65", observer="2")
    white = lab2xyz(np.array([100.0, 0, 0]), illuminant="D65", observer="2")
    expected = xyz2rgb(xyz / xyz[-1] * white) * 255
    for patch, colour in zip(card.patches, expected, strict=False):
        x, y = ((np.array(patch.centre) + offset) * 4).astype(int)
        assert np.abs(picture[y, x] - colour).max() <= 2.5, patch.id
    assert np.all(rastered(content, 4.0)[:, :40] == 255)  # bare paper is left unpainted


def test_cut_marks_point_at_the_corners_from_outside(card: CardDefinition, page: tuple[str, bytes]) -> None:
    paper, content = page
    scale = 20.0
    dark = rastered(content, scale).min(axis=2) < 160
    left, top = ((np.array(SIZES[paper]) - card.size) / 2).tolist()
    right, bottom = left + card.size[0], top + card.size[1]
    for x in (left, right):
        outside = slice(round((top - 7) * scale), round((top - 3) * scale))
        column = dark[outside, round(x * scale) - 3 : round(x * scale) + 3]
        assert column.any(axis=1).all()
    for y in (top, bottom):
        outside = slice(round((left - 7) * scale), round((left - 3) * scale))
        row = dark[round(y * scale) - 3 : round(y * scale) + 3, outside]
        assert row.any(axis=0).all()
    edge = dark[round(top * scale) : round(bottom * scale), round(left * scale) : round(right * scale)]
    assert not edge[:40].any()  # nothing of them on the card itself
    assert not edge[:, :40].any()


def test_every_font_is_embedded(page: tuple[str, bytes]) -> None:
    fonts = pypdf.PdfReader(BytesIO(page[1])).pages[0]["/Resources"]["/Font"]
    used = [font.get_object() for font in fonts.values()]
    assert len(used) == 2
    for font in used:
        assert font["/Subtype"] == "/TrueType"
        program = font["/FontDescriptor"]["/FontFile2"].get_data()
        assert program[:4] in (b"\x00\x01\x00\x00", b"true")


def test_every_colour_is_given_in_a_space_that_an_icc_profile_defines(page: tuple[str, bytes]) -> None:
    with pikepdf.open(BytesIO(page[1])) as pdf:
        first = pdf.pages[0]
        steps = list(pikepdf.parse_content_stream(first))
        operators = {str(step.operator) for step in steps}
        assert not operators & {"rg", "RG", "g", "G", "k", "K", "sh", "Do", "S", "B", "b", "s"}
        assert {str(step.operands[0]) for step in steps if str(step.operator) == "cs"} == {"/CardRGB"}
        spaces = [first.Resources.ColorSpace.CardRGB, first.Resources.ColorSpace.DefaultRGB]
        profiles = [bytes(space[1].read_bytes()) for space in spaces]
        profiles.append(pdf.Root.OutputIntents[0].DestOutputProfile.read_bytes())
        painted = [at for at, step in enumerate(steps) if str(step.operator) in ("f", "Tj", "TJ")]
        assert painted[0] > next(at for at, step in enumerate(steps) if str(step.operator) == "sc")
    assert len(set(profiles)) == 1
    profile = ImageCms.ImageCmsProfile(BytesIO(profiles[0]))
    grey = ImageCms.profileToProfile(
        Image.new("RGB", (1, 1), (200, 100, 50)), profile, ImageCms.createProfile("sRGB"), outputMode="RGB"
    )
    assert np.abs(np.array(grey.getpixel((0, 0))) - (200, 100, 50)).max() <= 1


def test_the_page_tells_how_to_print_and_to_use_the_card(page: tuple[str, bytes]) -> None:
    text = " ".join(pypdf.PdfReader(BytesIO(page[1])).pages[0].extract_text().split())
    for words in ("at 100 %", "enhancement", "100 mm", "root end at ROOT", "No flash", "whole card"):
        assert words in text
    assert "cannot see damage" in text


def test_the_same_card_gives_the_same_bytes(card: CardDefinition, page: tuple[str, bytes]) -> None:
    paper, content = page
    assert card_pdf(card, paper) == content


def test_a_wide_chart_turns_the_page_and_one_too_large_is_refused(tmp_path: Path) -> None:
    wide = card_pdf(chart(tmp_path, "size = [270, 180]"))
    box = pypdf.PdfReader(BytesIO(wide)).pages[0].mediabox
    assert float(box.width) > float(box.height)
    assert 17 in found_corners(rastered(wide, 8.0), chart(tmp_path).markers)
    with refused(CannotWriteError, "paper", width=300, height=180, paper="A4"):
        card_pdf(chart(tmp_path, "size = [300, 180]"))


def test_a_marker_at_the_edge_of_a_chart_keeps_its_bare_border(tmp_path: Path) -> None:
    card = chart(tmp_path)  # without a size: the marker is at the very edge
    scale = 20.0
    dark = rastered(card_pdf(card), scale).min(axis=2) < 200
    (left, top), (right, bottom) = card.marker_corners[0].min(axis=0), card.marker_corners[0].max(axis=0)
    assert left == 0.0
    offset = (np.array(SIZES["a4"]) - card.size) / 2
    quiet = 2 * (right - left) / 8  # two modules of a 36h11 marker with its border
    x, y = offset[0] - quiet, offset[1] + top - quiet  # where the cut is to be
    row = dark[round((offset[1] + (top + bottom) / 2) * scale)]
    assert not row[round(x * scale) : round(offset[0] * scale) - 1].any()
    mark = dark[round((y - 7) * scale) : round((y - 3) * scale), round(x * scale) - 2 : round(x * scale) + 3]
    assert mark.any(axis=1).all()
