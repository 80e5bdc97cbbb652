"""Strands of every colour are told from paper, measured where they lie, or refused with the reason."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, lab2xyz

from strandgauge.errors import StrandError
from strandgauge.hair.levels import load_ladder
from strandgauge.reading.pipeline import measure_photo
from synthetic import XYZ_TO_SRGB, Shot, photograph

pytestmark = pytest.mark.whole

PPM = 12
COLOURS = {
    "black": (14, 0, 0),
    "dark brown": (22, 5, 7),
    "orange": (36, 13, 28),
    "gold": (56, 8, 36),
    "pale yellow": (76, 1, 24),
    "white": (82, 0, 8),
    "grey": (58, 0, 3),
    "blue": (60, -6, -20),
}


def lay(sheet, root, ends=None, *, middle=52.5, width=17.0, start=24.0, length=100.0, bend=2.0, shade=0.0):
    """Paint a strand of parallel fibres: CIELAB from `root` to `ends`, millimetres for where it lies."""
    rng = np.random.default_rng(3)
    picture = sheet.copy()
    rows, columns = round(width * PPM), round(length * PPM)
    along = np.linspace(0, 1, columns)[None, :, None]
    colour = np.asarray(root, float) * (1 - along) + np.asarray(ends or root, float) * along
    fibres = np.exp(rng.normal(0, 0.22, (rows, 1, 1)))
    body = fibres / fibres.mean() * (lab2xyz(colour) @ XYZ_TO_SRGB.T)
    top = ((middle + bend * np.sin(np.linspace(0, 3, columns))) * PPM - rows / 2).astype(int)
    left = round(start * PPM)
    if shade:  # its shadow, on one side
        for i in range(columns):
            edge = top[i] + rows
            fade = np.linspace(shade, 0, 4 * PPM)[:, None]
            picture[edge : edge + 4 * PPM, left + i] *= 1 - fade
    for i in range(columns):
        picture[top[i] : top[i] + rows, left + i] = body[:, i]
    return picture


def measured(picture, card, **shot):
    ok, data = cv2.imencode(".jpg", photograph(picture, card, Shot(**shot)), [cv2.IMWRITE_JPEG_QUALITY, 93])
    assert ok
    return measure_photo(data.tobytes(), card=card, ladder=load_ladder())


@pytest.mark.parametrize("name", ["black", "pale yellow", "grey", "blue"])
def test_hair_of_every_colour_is_isolated_and_its_colour_found(card, sheet, name):
    m = measured(lay(sheet, COLOURS[name]), card)
    assert m.coordinates.length_mm == pytest.approx(100, abs=3)
    assert m.coordinates.width_mm == pytest.approx(17, abs=2.5)
    for zone in m.reading.zones:
        assert deltaE_ciede2000(np.array(zone.lab_as_lit), np.array(COLOURS[name], float)) < 2.0


@pytest.mark.parametrize("name", ["grey", "white"])
def test_the_strands_own_shadow_is_not_hair(card, sheet, name):
    m = measured(lay(sheet, COLOURS[name], shade=0.45), card)
    assert m.coordinates.width_mm == pytest.approx(17, abs=2.5)
    assert deltaE_ciede2000(np.array(m.reading.overall.lab_as_lit), np.array(COLOURS[name], float)) < 2.0


def test_zones_lie_where_they_are_said_to(card, sheet):
    """A strand dark for its first 30 % and pale from there: root dark, mids and ends pale, nothing in between."""
    picture = lay(sheet, COLOURS["pale yellow"])
    dark = lay(sheet, COLOURS["dark brown"])
    split = round((24.0 + 30.0) * PPM)
    picture[:, :split] = dark[:, :split]
    root, mids, ends = measured(picture, card).reading.zones
    assert root.lab_as_lit[0] == pytest.approx(22, abs=2)
    assert mids.lab_as_lit[0] == pytest.approx(76, abs=2)
    assert ends.lab_as_lit[0] == pytest.approx(76, abs=2)
    assert root.level < 5 < 9 < ends.level


def test_level_shares_are_those_of_the_hair(card, sheet):
    reading = measured(lay(sheet, (60.0, 7.0, 34.0), (72.0, 2.0, 28.0)), card).reading
    for zone in (reading.overall, *reading.zones):
        assert sum(zone.level_shares.values()) == pytest.approx(1.0)
    assert max(reading.overall.level_shares, key=reading.overall.level_shares.__getitem__) == "9"


@pytest.mark.parametrize(
    ("strand", "code", "fault"),
    [
        (None, "no-strand", None),
        ({"width": 2.0}, "strand-too-thin", "width"),
        ({"length": 24.0}, "strand-off-window", "length"),
    ],
)
def test_a_strand_that_cannot_be_measured_is_refused(card, sheet, strand, code, fault):
    picture = sheet if strand is None else lay(sheet, COLOURS["orange"], **strand)
    with pytest.raises(StrandError) as caught:
        measured(picture, card)
    assert caught.value.code == code
    assert dict(caught.value.facts).get("fault") == fault
    assert caught.value.photo == "photo"


def test_one_sided_light_is_told(card, sheet):
    plain = measured(lay(sheet, COLOURS["gold"]), card).reading
    shaded = measured(lay(sheet, COLOURS["gold"], shade=0.6), card).reading
    assert "one-sided-light" not in [note.code for note in plain.notes]
    assert "one-sided-light" in [note.code for note in shaded.notes]
