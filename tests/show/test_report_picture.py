"""The pictures show hair, swatches and ladder in the colours that were read, and the level's interval where it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from refused import refused
from strandgauge.colour.cielab import delta_e_2000
from strandgauge.colour.srgb import lab_from_srgb
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import Target, load_targets
from strandgauge.errors import CannotWriteError
from strandgauge.hair.levels import load_ladder
from strandgauge.judge.outlook import Settings, base_zones
from strandgauge.judge.reach import reach
from strandgauge.reading.cardcheck import card_check
from strandgauge.reading.model import COVERAGE
from strandgauge.reading.pipeline import measure_photo
from strandgauge.show.picture.canvas import GAP, INK, LEADING, MARGIN, PHRASE, WIDTH, save
from strandgauge.show.picture.check import draw_check
from strandgauge.show.picture.outlook import draw_outlook
from strandgauge.show.picture.reading import draw_picture
from strandgauge.show.picture.technical import SURROUND_MM, draw_technical
from strandgauge.show.picture.upright import upright
from strandphoto import jpeg, strand_photo

WISH = Target("lilac", (48.0, 20.0, -15.0))


@pytest.fixture(scope="module")
def measurement(card, sheet):
    return measure_photo(jpeg(strand_photo(card, sheet)), card=card, ladder=load_ladder())


def lab_around(picture, x: float, y: float, reach: int = 3):
    block = picture[round(y) - reach : round(y) + reach + 1, round(x) - reach : round(x) + reach + 1]
    return lab_from_srgb(block.reshape(-1, 3).mean(0) / 255)


def test_the_strand_is_large_upright_and_in_the_colours_asked_for(measurement):
    strand = upright(measurement, 1000, 300)
    height, width = strand.cover.shape
    assert 0.9 * 1000 < height <= 1002 or 0.9 * 300 < width <= 302
    assert strand.rows["root"] < strand.rows["mids"] < strand.rows["ends"] < height
    assert 0.5 < (strand.cover > 200).mean() < 1.0
    wanted = {"root": (70.0, 3.0, 30.0), "mids": (50.0, 20.0, 5.0), "ends": (40.0, 10.0, 20.0)}
    pixels = np.asarray(strand.coloured(wanted))
    for name, row in strand.rows.items():
        band = pixels[round(row) - 20 : round(row) + 20].reshape(-1, 4)
        seen = lab_from_srgb(band[band[:, 3] > 250, :3] / 255).mean(axis=0)
        assert delta_e_2000(seen, wanted[name]) < 3.0, name


@pytest.fixture(scope="module", params=[12, 10])
def ladder(request):
    """The shipped ladder, and one that ends at ten."""
    shipped = load_ladder()
    return shipped if request.param == len(shipped.lab) else type(shipped)("ten", shipped.lab[:10])


def test_the_clients_picture_draws_every_rung_and_the_levels_interval(measurement, ladder):
    picture = np.asarray(draw_picture(measurement, measurement.reading, ladder=ladder, wish=WISH))
    height, width, _ = picture.shape
    assert (width, True) == (WIDTH, height < 1.8 * WIDTH)
    bar = picture[:, WIDTH - MARGIN - 8]
    places = []
    for lab in ladder.lab:
        rows = np.flatnonzero(delta_e_2000(lab_from_srgb(bar / 255), lab) < 1.0)
        assert len(rows) > 40, lab
        places.append(rows.mean())
    assert np.all(np.diff(places) < 0)  # lightest up
    # The thick line of the whole: from the upper to the lower end of its interval.
    overall = measurement.reading.overall
    columns = picture[:, WIDTH - MARGIN - 110 - 46 - 19]
    ends = np.flatnonzero((columns == INK).all(axis=1))
    ends = ends[ends > places[-1] - 20]
    wanted = np.interp(
        [overall.level + COVERAGE * overall.level_sd, overall.level - COVERAGE * overall.level_sd],
        ladder.rungs,
        places,
    )
    assert ends.min() == pytest.approx(wanted[0], abs=5)
    assert ends.max() == pytest.approx(wanted[1], abs=5)
    wish = delta_e_2000(lab_from_srgb(picture[::4, ::4].reshape(-1, 3) / 255), WISH.lab) < 0.6
    assert wish.sum() > 100 * 800 / 16


def test_the_forecast_is_as_large_as_the_strand_and_in_the_colours_foretold(measurement):
    zones = base_zones(measurement.reading)
    outlook = reach(zones, WISH, load_shelf(), load_targets(), load_ladder(), Settings(samples=16))
    with_photo, without = (np.asarray(draw_outlook(outlook, one)) for one in (measurement, None))
    assert max(len(with_photo), len(without)) < 1.7 * WIDTH
    for zone in outlook.zones[:3]:
        for lab in (zone.base_lab, zone.predicted_lab):
            close = delta_e_2000(lab_from_srgb(without[::4, ::4].reshape(-1, 3) / 255), lab) < 0.6
            assert close.sum() > 200 * 200 / 16, zone.name
    for picture in (with_photo, without):
        corner = picture[5, 5].astype(int)
        assert corner.max() == corner.min()  # neutral ground


def test_patches_of_the_card_show_their_own_colours_in_the_technical_picture(measurement, card):
    picture = np.asarray(draw_technical(measurement, measurement.reading))
    per_mm = (WIDTH - 2 * MARGIN) / (card.size[0] + 2 * SURROUND_MM)
    ground = (picture[:, MARGIN:-MARGIN] == picture[0, 0]).all(axis=2).mean(axis=1)
    top = int(np.argmax(ground < 0.1))  # the photo; between letters there is more
    for patch in card.patches:
        x, y = ((value + SURROUND_MM) * per_mm for value in patch.centre)
        assert delta_e_2000(lab_around(picture, MARGIN + x, top + y), patch.lab) < 3, patch.id


def test_a_failed_write_leaves_the_old_picture(measurement, tmp_path, monkeypatch):
    file = tmp_path / "result.png"
    save(file, draw_technical(measurement, measurement.reading))
    with Image.open(file) as picture:
        assert picture.info["icc_profile"]
    before = file.read_bytes()
    monkeypatch.setattr(
        "pathlib.Path.replace", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left"))
    )
    with refused(CannotWriteError, "system", reason="no space left"):
        save(file, draw_picture(measurement, measurement.reading))
    assert file.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["result.png"]


def test_a_check_shows_what_was_seen_over_what_is_printed_and_crosses_what_is_not_that(measurement):
    found = measurement.card
    check = card_check(found)
    patches = tuple(replace(patch, doubted=patch.id == "A5") for patch in check.patches)
    picture = np.asarray(draw_check(found, replace(check, patches=patches)))
    top = MARGIN + round(LEADING * PHRASE) + GAP // 2
    scale = (WIDTH - 2 * MARGIN) / (found.card.size[0] + 2 * SURROUND_MM)
    for patch, told in zip(found.card.patches, patches, strict=True):
        x, y = (SURROUND_MM + place for place in patch.centre)
        above, below = (lab_around(picture, MARGIN + x * scale, top + (y + dy) * scale) for dy in (-1.6, 1.6))
        if told.doubted:
            middle = picture[round(top + y * scale), round(MARGIN + x * scale)]
            assert middle.max() < 40
        else:
            assert delta_e_2000(above, told.lab_corrected) < 2.0
            assert delta_e_2000(below, patch.lab) < 1.0


def test_dyed_hair_stands_nowhere_on_the_ladder(measurement):
    shown = measurement.reading
    dyed = replace(
        shown,
        zones=tuple(replace(zone, dye_probability=0.9) for zone in shown.zones),
        overall=replace(shown.overall, dye_probability=0.9),
    )
    root_alone = replace(dyed, zones=(shown.zones[0], *dyed.zones[1:]))

    def dark_at_the_right(reading) -> int:
        picture = np.asarray(draw_picture(measurement, reading))
        return int((picture[400:1200, WIDTH - MARGIN - 600 :].max(axis=-1) < 60).sum())

    some, none = dark_at_the_right(root_alone), dark_at_the_right(dyed)
    assert dark_at_the_right(shown) > some > none
