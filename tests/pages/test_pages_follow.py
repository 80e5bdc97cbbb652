"""The page of one strand's lift."""

from __future__ import annotations

import math

import html5lib
import pytest
from batchrecords import strand, strip
from curves import curve, first_look, look, slowing, stalled

from browser import DESK, PHONE, barriers, flat, printed, show_in, sideways
from strandgauge.lift.curve import Estimate
from strandgauge.show.pages.follow import answer, facts, follow_page
from strandgauge.words import say
from strandgauge.words.lift import headline, stop_signs
from strandgauge.words.reading import caution

NASTY = '"><script>alert(1)</script>.jpg'


def page(made) -> str:
    readings = [strand(one.level, photo=one.photo) for one in reversed(made.looks)]
    return follow_page(made, readings, {one.photo: strip(round(one.level)) for one in made.looks})


@pytest.fixture
def opened(browse, tmp_path):
    def open_page(made, *more, **settings):
        file = tmp_path / "lift.html"
        file.write_text(page(made), encoding="utf-8")
        return browse(file.as_uri(), *more, **settings)

    return open_page


@pytest.mark.parametrize("made", [curve(), stalled(), first_look(), slowing()])
def test_it_is_valid_html(made):
    parser = html5lib.HTMLParser()
    parser.parse(page(made))
    assert parser.errors == []


@pytest.mark.parametrize(
    ("made", "kind", "word"),
    [
        (curve(), "go", "go-on"),
        (slowing(), "slow", "slowing"),
        (stalled(), "stop", "stop"),
        (curve(state="light enough", stop=True), "stop", "stop"),
        (curve(chance_in_time=0.02), "slow", "not-in-time"),
        (curve(looks=(look(5, 5.2), look(20, 9.9, used=False))), "look", "look-again"),
        (first_look(), "look", "look-again"),
    ],
)
def test_the_answer_has_a_word_and_a_shape(made, kind, word):
    assert (answer(made).kind, answer(made).word) == (kind, say(f"lift-page.{word}"))
    assert f'class="word">{say(f"lift-page.{word}")}<' in page(made)


def outlook(made) -> str:
    """Return what is said below the level that the shade needs."""
    needed = say("lift-page.needs", shade="Pastel pink")
    return next(more for name, _, more in facts(made) if name == needed)


@pytest.mark.parametrize(
    ("changes", "said", "about", "chance"),
    [
        # The last look was at 22 of 50 minutes.
        ({"minutes_to_need": Estimate(20.0, 12.0, 26.0)}, "soon", (20, 12, 26), 47),
        ({"minutes_to_need": Estimate(20.0, 12.0, 60.0)}, "soon-or-later", (20, 12, 60), 47),
        ({"minutes_to_need": Estimate(40.0, 30.0, 60.0)}, "perhaps-past-limit", (), 47),
        (
            {"minutes_to_need": Estimate(math.inf, 30.0, math.inf), "chance_in_time": 0.01},
            "past-limit",
            (),
            1,
        ),
        (
            {"minutes_to_need": Estimate(math.inf, 30.0, math.inf), "chance_in_time": None, "limit": None},
            "untold",
            (),
            None,
        ),
        (
            {"minutes_to_need": Estimate(0.0, 0.0, 9.0), "state": "light enough", "stop": True},
            "about-there",
            (),
            None,
        ),
        (
            {"minutes_to_need": Estimate(0.0, 0.0, 0.0), "level_now": Estimate(9.5, 9.2, 9.8)},
            "reached",
            (),
            None,
        ),
        (
            {"minutes_to_need": Estimate(5.0, 1.0, 9.0), "stop": True, "state": "stalled"},
            "not-reached",
            (),
            None,
        ),
    ],
)
def test_the_wait_never_goes_past_the_limit_nor_past_a_stop(changes, said, about, chance):
    more = {} if chance is None else {"chance": say("lift-page.chance", chance=chance)}
    if about:
        more |= {"time": f"{about[0]}\u00a0min", "low": about[1], "high": about[2]}
    assert outlook(curve(**changes)) == say(f"lift-page.{said}", **more)


def test_stop_never_comes_with_a_next_look():
    next_look = say("lift-page.next-look")
    assert next_look in [name for name, _, _ in facts(curve())]
    assert next_look not in [name for name, _, _ in facts(stalled(next_look=5.0))]


def test_a_needed_level_is_rounded_up():
    assert "9.1" in [value for _, value, _ in facts(curve(needs_level=9.02))]
    assert (say("lift-page.wanted-level"), "9.0") in [fact[:2] for fact in facts(curve(target=None))]


def test_without_a_limit_it_says_to_look_it_up():
    said = tuple(say(f"lift-page.{code}") for code in ("limit", "no-limit", "look-up"))
    assert said in facts(first_look())


@pytest.mark.parametrize("made", [curve(), stalled(), first_look(), slowing()])
def test_stop_signs_and_caution_are_always_there(made, opened):
    shown = opened(made, PHONE)
    for sign in stop_signs():
        assert shown.get_by_text(sign).is_visible()
    assert caution() in shown.inner_text("footer").replace("\n", " ")


@pytest.mark.usefixtures("worded")
def test_looks_are_in_order_of_time_in_pictures_and_table(opened):
    made = stalled()
    shown = opened(made)
    times = ["10\u00a0min", "25\u00a0min", "40\u00a0min"]
    assert shown.locator(".strands figcaption b").all_inner_texts() == times
    assert shown.locator("tbody th").all_inner_texts() == times
    widths = shown.locator(".strands img").evaluate_all(
        "all => all.map(one => one.getBoundingClientRect().width)"
    )
    assert max(widths) - min(widths) < 1
    # Each look has the words of its own reading, though the readings came in another order.
    assert (
        shown.locator(".strands img")
        .first.get_attribute("alt")
        .startswith(say("lift-page.strip", time="10\u00a0min", level="6.0"))
    )


def test_it_fits_the_screen_and_bars_nobody(opened):
    shown = opened(curve(), PHONE)
    for size, dark in ((PHONE, False), (PHONE, True), (DESK, False)):
        show_in(shown, size, dark=dark)
        assert sideways(shown) <= 0
        # Colours in the light are judged on the desk.
        assert barriers(shown, contrast="color-contrast" if dark or size == DESK else None) == []
        assert shown.locator("h1").all_inner_texts() == [headline(curve())]


def test_the_answer_is_above_the_fold_of_a_phone(opened):
    shown = opened(stalled(), PHONE)
    box = shown.locator(".answer").bounding_box()
    assert box["y"] + box["height"] < PHONE[1] / 2
    assert float(shown.locator(".word").evaluate("e => getComputedStyle(e).fontSize").rstrip("px")) >= 36


@pytest.mark.parametrize("looks", [3, 8])
def test_it_prints_on_one_sheet(opened, looks):
    shown = opened(slowing(looks=tuple(look(5 + 4 * i, 5.2 + 0.5 * i) for i in range(looks))))
    for paper in ("A4", "Letter"):
        (said,) = printed(shown, paper)
        for phrase in (say("lift-page.slowing"), caution()[:30], stop_signs()[0]):
            assert flat(phrase) in said


def test_hair_colours_are_the_same_in_light_and_dark(opened):
    fields = [
        opened(stalled(), dark=dark)
        .locator("td .swatch svg")
        .evaluate_all(
            "all => all.map(one => [getComputedStyle(one.querySelector('rect')).fill,"
            " getComputedStyle(one).borderTopColor])"
        )
        for dark in (False, True)
    ]
    assert fields[0] == fields[1]
    assert len(fields[0]) == 3


def test_the_keyboard_reaches_the_content_and_shows_where_it_is(opened):
    shown = opened(curve())
    shown.keyboard.press("Tab")
    assert shown.evaluate("document.activeElement.className") == "skip"
    assert shown.locator(".skip").bounding_box()["y"] >= 0
    shown.keyboard.press("Enter")
    assert shown.evaluate("document.activeElement.id") == "main"
    shown.keyboard.press("Tab")
    focused = shown.evaluate(
        "[document.activeElement.getAttribute('aria-label'), getComputedStyle(document.activeElement).outlineStyle]"
    )
    assert focused == [say("lift-page.table"), "solid"]


def test_names_from_files_are_text_and_nothing_else(opened):
    made = curve(
        looks=(look(5, 5.2, photo=NASTY), look(20, 6.4, photo="\u202egpj.evil\udcff\x01.jpg")),
        target="</title><img src=x onerror=alert(1)>",
    )
    parser = html5lib.HTMLParser()
    parser.parse(page(made))
    assert parser.errors == []
    shown = opened(made)
    assert NASTY in shown.locator("tbody td.long").first.inner_text()
    assert shown.locator("title, h1").all_inner_texts()
    assert shown.locator("script").count() == 1  # that which fits the page to paper
    assert shown.locator("img:not(.strip)").count() == 0


def test_two_photos_of_one_name_keep_their_own_readings(browse, tmp_path):
    made = curve(looks=(look(5, 5.2, photo="a.jpg"), look(20, 8.0, photo="a.jpg")))
    file = tmp_path / "lift.html"
    file.write_text(follow_page(made, [strand(5.2, photo="a.jpg"), strand(8.0, photo="a.jpg")], {}), "utf-8")
    undertones = browse(file.as_uri()).locator("tbody td:nth-child(4)").all_inner_texts()
    assert undertones == ["red-orange", "yellow-orange"]
