"""A print's true colours beside a trusted chart: how near they come, what they claim, what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from twocards import Table, misprinted, picture, trusted_toml

from refused import refused
from strandgauge.card.definition import load_card
from strandgauge.card.profile import apply_profile, read_profile
from strandgauge.colour.cielab import delta_e_2000
from strandgauge.errors import CannotLearnCardError, StrandgaugeError
from strandgauge.learn import kept as usercalibration
from strandgauge.learn.prints import learn_print, print_cgats, print_toml
from strandgauge.words import say
from strandphoto import jpeg
from synthetic import Shot, even

CAMERA = Shot(camera=np.array([[1.1, 0.05, 0], [0.02, 0.95, 0.03], [0, 0.05, 0.8]]), exposure=0.8)
WARM = Shot(
    camera=np.diag([1.3, 0.9, 0.5]) @ np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.02, 0.12, 0.86]]),
    exposure=0.7,
)


def slope(per_100_mm, angle=0.0, colour=0.0):
    def light(x, y):
        along = (x * np.cos(angle) + y * np.sin(angle)) / 100
        both = np.exp(per_100_mm * along)
        tint = np.exp(colour * along)
        return np.stack([both * tint, both, both / tint], axis=-1) / np.exp(1.5 * abs(per_100_mm))

    return light


def lamp(x0, y0, height):
    return lambda x, y: (height**2 / ((x - x0) ** 2 + (y - y0) ** 2 + height**2)) ** 1.5


def shadow_on_the_print(depth):
    return lambda x, y: 1.0 - (1.0 - depth) / (1.0 + np.exp(-(x + 75.0) / 1.5))


CASES = {
    "even": (even, ["left"], CAMERA),
    "falling, one photo": (slope(0.3), ["left"], CAMERA),
    "falling, chart on either side": (slope(0.3), ["left", "right"], CAMERA),
    "falling aslant, tinted, chart above": (slope(0.2, 0.7, 0.04), ["above"], WARM),
    "lamp near, above the chart": (lamp(-150, 100, 300), ["left"], CAMERA),
    "lamp close over the print": (lamp(0, 0, 200), ["left", "below"], CAMERA),
}


@pytest.fixture(scope="module")
def printed(card):
    """A print with a cast of 4 and a spread of 2 CIELAB."""
    return misprinted(card, spread=2.0, cast=4.0)


@pytest.mark.parametrize("name", CASES)
def test_the_prints_colours_come_back_whatever_the_light(card, printed, trusted, name):
    """Limits set before: half the nominal error is gone, and the stated intervals hold nine in ten values."""
    light, sides, shot = CASES[name]
    tables = [Table(side=side, light=light, seed=seed, turned=seed == 1) for seed, side in enumerate(sides)]
    photos = [jpeg(picture(printed, trusted, table, shot)) for table in tables]
    learned = learn_print(photos, card, trusted, same_inks=True)
    truth, found = printed.patch_labs, learned.card.patch_labs
    error, nominal = delta_e_2000(found, truth), delta_e_2000(card.patch_labs, truth)
    assert error.mean() < 0.5 * nominal.mean()
    sd = np.array([patch.lab_sd for patch in learned.patches])
    assert np.mean(np.abs(found - truth) < 1.96 * sd) > 0.9
    assert error.mean() < learned.error
    assert learned.paper is not None
    assert delta_e_2000(learned.paper, printed.paper) < 1.5


def test_a_print_that_is_as_it_should_be_leaves_nothing_to_gain(card, trusted):
    photo = jpeg(picture(card, trusted, Table(), CAMERA))
    with refused(CannotLearnCardError, "nothing-to-gain-in-this-light"):
        learn_print([photo], card, trusted)


def test_a_print_little_off_can_be_learned_beside_its_own_inks_only(card, trusted):
    """Other inks than the chart's may look alike to people and not to the camera: small errors stay out of reach."""
    photo = jpeg(picture(misprinted(card, spread=1.5, cast=2.0), trusted, Table(), CAMERA))
    with refused(CannotLearnCardError, "nothing-to-gain-in-this-light"):
        learn_print([photo], card, trusted)
    learned = learn_print([photo], card, trusted, same_inks=True)
    assert learned.error < 2.0


def test_under_lamps_other_inks_are_trusted_less_than_in_daylight(card, printed, trusted):
    """The photo cannot show what it was lit by, so lamps are reckoned with until told otherwise."""
    photos = [jpeg(picture(printed, trusted, Table(side=side), CAMERA)) for side in ("left", "right")]
    daylight = learn_print(photos, card, trusted, daylight=True)
    own_inks = learn_print(photos, card, trusted, same_inks=True)
    assert daylight.error > own_inks.error
    with refused(CannotLearnCardError, "nothing-to-gain-in-this-light"):
        learn_print(photos, card, trusted)


def test_a_chart_that_is_not_what_it_says_is_no_better_than_nothing(card, printed, trusted):
    """Its own patches, each left out, tell: printed by a bad printer, it cannot teach another print."""
    photo = jpeg(picture(printed, misprinted(trusted, spread=5.0, cast=1.0), Table(), CAMERA))
    with pytest.raises(StrandgaugeError) as refusal:
        learn_print([photo], card, trusted)
    assert refusal.value.code in ("cannot-learn-card", "card-mismatch")


def test_a_shadow_on_the_print_alone_is_not_taken_for_its_colour(card, printed, trusted):
    photo = jpeg(picture(printed, trusted, Table(light=shadow_on_the_print(0.7)), CAMERA))
    with refused(CannotLearnCardError, "paper"):
        learn_print([photo], card, trusted)


def test_photos_that_disagree_are_less_sure(card, printed, trusted):
    """A soft shadow in the gap that one photo cannot show: two photos, the chart on either side, do."""
    shade = shadow_on_the_print(0.93)
    tables = [Table(light=shade), Table(side="right", light=lambda x, y: 1.0 + 0 * x)]
    one, two = (jpeg(picture(printed, trusted, table, CAMERA)) for table in tables)
    alone, both = (learn_print(photos, card, trusted, same_inks=True) for photos in ([two], [one, two]))
    sds = [np.mean([patch.lab_sd[0] for patch in learned.patches]) for learned in (alone, both)]
    assert sds[1] > sds[0]


def test_cards_that_cannot_be_told_apart_or_are_not_there_are_refused(card, printed, trusted):
    with refused(CannotLearnCardError, "same-marks"):
        learn_print([b"unread"], card, card)
    with refused(CannotLearnCardError, "no-photo"):
        learn_print([], card, trusted)
    photo = jpeg(picture(printed, trusted, Table(), CAMERA))
    other = replace(trusted, markers=tuple(replace(marker, id=marker.id + 20) for marker in trusted.markers))
    with pytest.raises(StrandgaugeError) as refusal:
        learn_print([photo], card, other)
    assert refusal.value.where == f"photo, {say('place.chart')}"
    bright = jpeg(
        picture(printed, trusted, Table(light=lambda x, y: 1.0 + 0.9 / (1 + np.exp(-(x + 75) / 4))), CAMERA)
    )
    with pytest.raises(StrandgaugeError) as refusal:
        learn_print([bright], card, trusted)
    assert refusal.value.where == f"photo, {say('place.print')}"


def test_a_print_of_another_size_is_refused(card, printed, trusted):
    small = replace(
        card,
        size=(card.size[0] * 1.2, card.size[1] * 1.2),
        markers=tuple(
            replace(marker, corners=tuple((x * 1.2, y * 1.2) for x, y in marker.corners))
            for marker in card.markers
        ),
        patches=tuple(replace(patch, box=tuple(1.2 * v for v in patch.box)) for patch in card.patches),
        window=None,
    )
    photo = jpeg(picture(printed, trusted, Table(), CAMERA))
    with refused(CannotLearnCardError, "size") as caught:
        learn_print([photo], small, trusted)
    assert [dict(caught.value.facts)[end] for end in ("low", "high")] == pytest.approx([83.3, 83.3], abs=0.7)


@pytest.fixture
def two_photos(tmp_path, printed, trusted):
    """Two photos on disk, the chart on either side, and the chart's definition."""
    for side in ("left", "right"):
        (tmp_path / f"{side}.jpg").write_bytes(jpeg(picture(printed, trusted, Table(side=side), CAMERA)))
    chart = tmp_path / "chart.toml"
    chart.write_text(trusted_toml())
    return tmp_path / "left.jpg", tmp_path / "right.jpg", "--trusted", chart


def test_a_learned_print_is_used_and_named_from_then_on_but_never_printed(
    document, strandgauge, two_photos, tmp_path, card, home
):
    assert strandgauge("card", "--png", tmp_path / "before.png")[0] == 0
    learned = document("learn", "card", *two_photos, "--daylight", "--name", "desk print")
    assert learned["in_use"]
    assert len(learned["learned"]["patches"]) == len(card.patches)
    current = usercalibration.current_card()
    assert current.profile_name == "own print 'desk print'"
    assert current.patch_labs == pytest.approx(
        np.array([patch["lab"] for patch in learned["learned"]["patches"]]), abs=1e-3
    )
    checked = document("check", two_photos[0])
    assert checked["card"] == "strand card A6 v1, own print 'desk print'"
    assert checked["trusted"]
    named = document("check", two_photos[0], "--card", card.source_path)
    assert named["card"] == "strand card A6 v1"
    mean = [np.mean([p["delta_e00_leave_one_out"] for p in one["patches"]]) for one in (checked, named)]
    assert mean[0] < 0.6 * mean[1]
    # what is printed next stays the nominal card, or every print would be off by the last one's error
    assert strandgauge("card", "--png", tmp_path / "after.png")[0] == 0
    assert (tmp_path / "after.png").read_bytes() == (tmp_path / "before.png").read_bytes()
    assert strandgauge("learn", "remove", "desk print")[0] == 0
    assert document("check", two_photos[0])["card"] == "strand card A6 v1"


def test_the_files_hold_what_was_learned(strandgauge, two_photos, tmp_path, card, trusted, home):
    learned = learn_print(two_photos[:2], card, trusted, daylight=True)
    cgats, toml = tmp_path / "print.cgats", tmp_path / "print.toml"
    cgats.write_text(print_cgats(learned))
    toml.write_text(print_toml(learned))
    assert apply_profile(card, read_profile(cgats)).patch_labs == pytest.approx(
        learned.card.patch_labs, abs=1e-3
    )
    again = load_card(toml)
    assert again.patch_labs == pytest.approx(learned.card.patch_labs)
    assert (again.window, again.markers, again.paper) == (card.window, card.markers, learned.paper)
    out = tmp_path / "out.cgats"
    assert strandgauge("learn", "card", *two_photos, "--daylight", "--name", "x", "--out", out)[0] == 0
    assert out.read_text() == cgats.read_text()
    assert not home.exists()
    code, told, _ = strandgauge("learn", "card", "--profile", out, "--name", "measured")
    assert code == 0
    assert told.strip() == say("learned.kept-used", file=home / "cards" / "measured.toml")
    assert usercalibration.current_card().patch_labs == pytest.approx(learned.card.patch_labs, abs=1e-3)


@pytest.mark.parametrize(
    "options", [[], ["--trusted", "x.toml"], ["--profile", "a", "--trusted", "x.toml", "y.jpg"]]
)
def test_it_needs_photos_and_a_chart_or_measurements(strandgauge, options):
    code, _, err = strandgauge("learn", "card", "--name", "x", *options)
    assert code == 2
    assert len(err.splitlines()) == 1
