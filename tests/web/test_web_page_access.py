"""The phone page for wet gloves, small screens, bright and dark rooms, and for those who do not see it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import html5lib
import pytest
from phonesite import site  # noqa: F401
from states import fill

from browser import (  # noqa: F401
    DESK,
    PHONE,
    SENTENCES,
    barriers,
    browse,
    chromium,
    flat,
    printed,
    show_in,
    sideways,
)
from strandgauge.codes import catalogue
from strandgauge.colour.srgb import hex_colour
from strandgauge.hair.levels import level_at_least
from strandgauge.words import say
from strandgauge.words.plan import mix_of_step, refresh_line, step_line, watch_lines

if TYPE_CHECKING:
    from playwright.sync_api import Page

SMALLEST = 48.0
TARGETS = """
() => [...document.querySelectorAll("a, button, input, textarea, summary, label[for]")]
  .filter((one) => !one.matches(".skip, .file, .tick, .camera.busy *") && one.checkVisibility())
  .map((one) => {
    const label = one.matches("input:not([type=checkbox]), textarea") ? null : one.closest("label");
    const box = (label || one).getBoundingClientRect();
    return [one.outerHTML.slice(0, 80), box.width, box.height, one.matches("label") && !!one.control
      && !one.control.matches(".file, .tick")];
  })
"""


ANY = ("minor", "moderate", "serious", "critical")
AAA = "color-contrast-enhanced"

CUT = """
() => [...document.querySelectorAll("h1, h2, h3, p, b, span, button, label, a, li, summary")]
  .filter((one) => one.checkVisibility() && !one.closest(".sr, .skip, .bar .whose, .camera .glyph")
    && one.childElementCount === 0 && one.textContent.trim())
  .filter((one) => {
    const range = document.createRange();
    range.selectNodeContents(one);
    const rows = new Set([...range.getClientRects()].map((box) => Math.round(box.top))).size;
    const box = range.getBoundingClientRect();
    const words = one.textContent.trim().split(/[\\s-]+/).length;
    const longest = Math.max(...one.textContent.trim().split(/\\s+/).map((word) => word.length));
    return box.right > innerWidth + 1 || box.left < -1 || (longest < 14 && rows > words);
  })
  .map((one) => one.outerHTML.slice(0, 100))
"""
"""Text that runs out of the window, or is broken up letter by letter."""

COVERED = """
() => [...document.querySelectorAll("a, button, summary, label[for], input[type=text]")]
  .filter((one) => !one.matches(".skip, .sr, .file, .tick") && one.checkVisibility())
  .filter((one) => {
    one.scrollIntoView({ block: "center", behavior: "instant" });
    const box = one.getClientRects()[0];
    const there = box && document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
    return !(there && (one.contains(there) || there.closest("label") === one));
  })
  .map((one) => one.outerHTML.slice(0, 100))
"""
"""What is to be tapped, and would not be hit in its middle."""


@pytest.fixture(scope="module")
def filled(site):  # noqa: F811
    """Paths of every screen, of a logbook with strands in every state; what it keeps is kept in words."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(catalogue, "entries", SENTENCES)
        return fill(site)


def test_every_screen_is_valid_and_escapes_what_was_typed(site, filled):  # noqa: F811
    for name, path in filled.items():
        answer = site.client.get(path)
        assert answer.status_code == (404 if name == "missing" else 200), name
        html5lib.HTMLParser(strict=True).parse(answer.text)
        assert "<script>alert" not in answer.text, name
        assert " style=" not in answer.text, name
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in site.client.get(filled["client"]).text
    assert "{{7*7}}" in site.client.get(filled["go on"]).text


SMALL, LOW = (320, 640), (740, 360)
MAIN = ("today", "new", "go on", "time is up", "dried", "client", "wall")
ON_PAPER = ("today", "go on", "gummy", "time is up", "earlier", "client", "plan far")


@dataclass(frozen=True)
class Elsewhere:
    """Another window, room or size of text than a phone's 360 pixels by day, and the screens looked at in it."""

    size: tuple[int, int]
    dark: bool
    text: float
    names: tuple[str, ...]
    hinders: str | None = ""
    """The rule of contrast with which all that hinders is looked for, None for no contrast; "" where that is the same
    as at 360 pixels, as are colours on a small screen."""

    def show(self, page: Page) -> None:
        show_in(page, self.size, dark=self.dark)
        page.evaluate(
            "size => { document.documentElement.style.setProperty('font-size', size, 'important');"
            "dispatchEvent(new Event('resize')); }",
            f"{16 * self.text}px",
        )


ELSEWHERE = (
    Elsewhere(PHONE, True, 1.0, ("new", "go on", "gummy", "ready", "plan far"), AAA),
    Elsewhere(DESK, False, 1.0, ("today", "far", "wall")),
    Elsewhere(DESK, True, 1.0, ("today",), AAA),
    Elsewhere(SMALL, False, 1.0, MAIN),
    Elsewhere(SMALL, False, 1.0, ("plan far",), None),
    Elsewhere(SMALL, False, 2.0, MAIN, None),
    Elsewhere(LOW, False, 1.0, MAIN),
)


@pytest.mark.usefixtures("worded")
def test_every_screen_on_a_phone_and_the_main_ones_elsewhere_and_on_paper(browse, site, filled):  # noqa: F811
    """Each is opened once and then shown in one window after the other, since opening takes longest."""
    browse.expected.append("status of 404")
    page = browse("about:blank", PHONE)
    for name, path in filled.items():
        show_in(page, PHONE)
        page.goto(site.address + path)
        assert sideways(page) <= 0, name
        assert barriers(page, ANY, contrast=AAA) == [], name
        small = [
            target
            for target in page.evaluate(TARGETS)
            if not target[3] and min(target[1], target[2]) < SMALLEST - 0.01
        ]
        assert small == [], name
        if name in ON_PAPER:
            page.emulate_media(color_scheme="dark")
            sheets = printed(page, "A4")
            assert len(sheets) <= 2, name
            if name in ("gummy", "time is up"):
                assert flat(say(f"moment-word.{name.replace(' ', '-')}")) in sheets[0]
        for other in ELSEWHERE:
            if name in other.names:
                other.show(page)
                assert sideways(page) <= 0, (name, other)
                assert page.evaluate(CUT) == [], (name, other)
                assert page.evaluate(COVERED) == [], (name, other)
                assert other.hinders == "" or barriers(page, ANY, contrast=other.hinders) == [], (name, other)


def test_the_plan_is_one_link_away_and_tells_every_step(site, browse, filled):  # noqa: F811
    page = browse(site.address + filled["far"], PHONE)
    page.locator("a[href$='/plan']").press("Enter")
    page.wait_for_url("**/plan")
    judged = site.service.judged(int(filled["far"].split("/")[-1]))
    plan = site.service.plan(judged)
    assert {"ask-history", "lift"} <= {step.do for step in plan.steps}
    shown = page.locator("main").inner_text()
    headings = page.locator(".steps h2").all_inner_texts()
    assert headings == [step_line(step) for step in plan.steps]
    assert plan.steps[1].level == level_at_least(judged.outlook.needs_level)  # as the answer has it
    for step in plan.steps:
        for line in (mix_of_step(step), *watch_lines(step)):
            assert line in shown
    assert shown.count(say("outlook.generic-shelf")) == 1
    first_mix = next(mix_of_step(step) for step in plan.steps if step.formula)
    assert shown.index(say("outlook.generic-shelf")) < shown.index(first_mix)
    assert refresh_line(plan) in shown
    fills = page.locator("#fading + .zones rect").evaluate_all(
        "all => all.map((one) => one.getAttribute('fill'))"
    )
    assert fills == [hex_colour(faded.lab) for faded in plan.fade]
    assert len(fills) == 3
    page.locator("#ask").click()
    page.wait_for_url("**/history")


def test_where_the_answer_is_to_stop_there_is_no_plan(site, filled):  # noqa: F811
    for name in ("gummy", "time is up", "done"):
        assert '/plan"' not in site.client.get(filled[name]).text
        planned = site.client.get(filled[name] + "/plan").text
        assert 'class="steps"' not in planned
        assert 'id="step-word"' in planned


@pytest.mark.usefixtures("worded")
def test_the_answer_is_seen_without_scrolling(browse, site, filled):  # noqa: F811
    page = browse("about:blank", PHONE)
    for name in ("go on", "ready", "gummy", "time is up"):
        page.goto(site.address + filled[name] + "#answer")
        dock = page.locator(".dock").bounding_box()
        assert dock["y"] + dock["height"] == pytest.approx(PHONE[1], abs=1), name
        for part in (".step h1", "h2.level", ".phrases", "#verdict", ".field.pair", ".captions", "#stretch"):
            box = page.locator(part).bounding_box()
            assert box["y"] >= 0, (name, part)
            assert box["y"] + box["height"] <= dock["y"] + 1, (name, part)


@pytest.mark.parametrize("dark", [False, True])
def test_the_fields_show_what_was_computed_in_light_and_dark(browse, site, filled, dark):  # noqa: F811
    from io import BytesIO

    from PIL import Image

    outlook = site.service.judged(int(filled["far"].split("/")[-1])).outlook
    page = browse(
        site.address + filled["far"], PHONE, dark=dark, script=False
    )  # nothing is drawn anew meanwhile
    picture = Image.open(BytesIO(page.locator(".field.pair").screenshot())).convert("RGB")
    width, height = picture.size
    places = [(width // 4, height // 2), *((3 * width // 4, height * row // 6) for row in (1, 3, 5))]
    seen = ["#{:02x}{:02x}{:02x}".format(*picture.getpixel(place)) for place in places]
    zones = [zone for zone in outlook.zones if zone.name != "overall"]
    assert seen == [hex_colour(outlook.target.lab), *(hex_colour(zone.predicted_lab) for zone in zones)]
    words = page.locator(".captions").inner_text()
    assert outlook.target.name in words
    for zone in zones:
        assert zone.name in words


def test_the_letters_come_from_the_server_itself(browse, site):  # noqa: F811
    page = browse(site.address, PHONE)
    loaded = "document.fonts.ready.then(() => [...document.fonts].map((face) => face.status))"
    assert page.evaluate(loaded) == ["loaded"]
    assert page.evaluate("getComputedStyle(document.body).fontFamily").startswith("strandgauge,")
    assert site.client.get("/static/letters.woff2").headers["content-type"] == "font/woff2"
