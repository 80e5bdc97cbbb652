"""The annotated picture shows the hair in its true colour, and the swatches in the colours read."""

from __future__ import annotations

import numpy as np
import pytest

from strandgauge.colour.cielab import delta_e_2000, lab_from_srgb
from strandgauge.errors import CannotWriteError
from strandgauge.reading.pipeline import measure_photo
from strandgauge.show.picture.reading import GAP, MARGIN, WIDTH, draw_picture, write_picture
from strandphoto import jpeg, strand_photo


@pytest.fixture(scope="module")
def measurement(card, sheet):
    return measure_photo(jpeg(strand_photo(card, sheet)))


@pytest.fixture(scope="module")
def picture(measurement):
    return np.asarray(draw_picture(measurement, measurement.reading))


def lab_around(picture, x: float, y: float, reach: int = 3):
    block = picture[round(y) - reach : round(y) + reach + 1, round(x) - reach : round(x) + reach + 1]
    return lab_from_srgb(block.reshape(-1, 3).mean(0) / 255)


def find_photo(picture) -> tuple[int, float]:
    """Return the row where the photo begins and its pixels per millimetre: 148 mm of card, 4 mm around it."""
    per_mm = (WIDTH - 2 * MARGIN) / (148 + 2 * 4)
    column = picture[:, MARGIN + 5].astype(int)
    not_paper = np.abs(column - picture[0, 0]).sum(1) > 200
    below_the_headline = 270
    return below_the_headline + int(np.argmax(not_paper[below_the_headline:])), per_mm


def test_patches_of_the_card_show_their_own_colours(picture, card):
    top, per_mm = find_photo(picture)
    for patch in card.patches:
        x, y = patch.centre
        shown = lab_around(picture, MARGIN + (x + 4) * per_mm, top + (y + 4) * per_mm)
        assert delta_e_2000(shown, patch.lab) < 3, patch.id


def test_swatches_are_the_colours_read(picture, measurement):
    reading = measurement.reading
    assert delta_e_2000(lab_around(picture, MARGIN + 100, MARGIN + 100), reading.overall.lab) < 0.6
    top, per_mm = find_photo(picture)
    y = top + (105 + 8) * per_mm + GAP + 75
    width = (WIDTH - 2 * MARGIN - 2 * GAP) / 3
    for column, zone in enumerate(reading.zones):
        x = MARGIN + column * (width + GAP) + width / 2
        assert delta_e_2000(lab_around(picture, x, y), zone.lab) < 0.6


def test_a_failed_write_leaves_the_old_picture(measurement, tmp_path, monkeypatch):
    file = tmp_path / "result.png"
    file.write_bytes(b"old")
    monkeypatch.setattr(
        "pathlib.Path.replace", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left"))
    )
    with pytest.raises(CannotWriteError, match="no space left"):
        write_picture(file, measurement)
    assert file.read_bytes() == b"old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["result.png"]
