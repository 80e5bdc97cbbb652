"""The phone page in a real browser: from a new strand to the answer, to the next one, to stop."""

from __future__ import annotations

import os
import re
import time
from functools import partial

import pytest
from phonesite import SAMPLES, serving, site  # noqa: F401

from browser import DESK, PHONE, browse, chromium, sideways  # noqa: F401

BOTH = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])


def take(page, photo):
    """Take a photo as the camera would hand it over; return the seconds until the answer is there."""
    before, begun = page.url, time.monotonic()
    page.set_input_files("#take", SAMPLES / photo)
    page.wait_for_url(lambda url: "/looks/" in url and url != before)
    page.wait_for_selector(".step h1")
    return time.monotonic() - begun


def number(page):
    return int(re.search(r"/looks/(\d+)", page.url)[1])


def answer_with(status, document, route):
    route.fulfill(status=status, json=document)


@BOTH
def test_from_a_new_strand_to_stop(browse, site, size):  # noqa: F811
    page = browse(site.address, size)
    page.get_by_role("link", name="New strand").click()
    page.get_by_label("Client, by an alias").fill(f"Marta {size[0]}")
    page.get_by_text("Earlier").click()
    page.get_by_label("How many minutes ago").fill("20")
    page.get_by_text("50", exact=True).click()
    page.get_by_text("Copper", exact=True).click()
    page.get_by_role("button", name="To the camera").click()
    page.wait_for_url(re.compile(r"/strands/\d+"))
    assert page.locator(".clock").inner_text().split()[-4:] == ["20", "min", "of", "50"]

    take(page, "marta-1005.jpg")
    assert page.locator(".step h1").inner_text() == "Go on"
    assert page.locator("h2.level").inner_text().startswith("Level 5.")
    assert page.locator(".captions dd").first.inner_text() == "copper"
    assert "turns" in page.locator("#verdict").inner_text().lower()
    # What speaks is the answer: focus has moved there from the camera.
    assert page.evaluate("document.activeElement.id") == "answer"
    assert sideways(page) <= 0

    site.let_pass(site.logbook.check(number(page)).strand_id, 29.0)
    take(page, "marta-1041.jpg")
    assert page.locator(".step h1").inner_text() == "Ready"
    assert page.locator("svg.chart desc").text_content().startswith("2 looks, from level 5.")
    assert page.locator("#verdict").inner_text().strip() == "Reads true"
    assert page.locator(".grams").count() == 4
    page.locator(".picture img").scroll_into_view_if_needed()
    assert page.locator(".picture img").evaluate("img => img.decode().then(() => img.naturalWidth)") > 600

    page.get_by_role("button", name="Gummy").click()
    page.wait_for_selector(".step.stop")
    assert page.locator(".step h1").inner_text() == "Stop"
    assert page.locator(".step").bounding_box()["width"] >= (size[0] if size == PHONE else size[0] / 2 - 1)
    assert site.logbook.check(number(page)).stretch == "gummy"

    page.get_by_role("link", name="Back to the strand").click()
    assert page.locator(".last b").inner_text() == "Stop"
    # What felt gummy once stays a stop, whatever the next photo shows.
    take(page, "marta-1041.jpg")
    assert page.locator(".step h1").inner_text() == "Stop"
    page.goto(site.address)
    card = page.locator(".card", has_text=f"Marta {size[0]}")
    assert "Stop" in card.inner_text()


def test_a_refused_photo_says_what_to_do_and_the_camera_is_ready_again(browse, site):  # noqa: F811
    browse.expected.append("status of 422")
    strand = site.strand("Refused")
    page = browse(f"{site.address}/strands/{strand}", PHONE)
    page.set_input_files("#take", SAMPLES / "refuse-glare.jpg")
    alert = page.get_by_role("alert")
    alert.wait_for()
    assert alert.locator(".do").inner_text() == (
        "Tilt or turn the card, or move the lamp, until no shine lies on it."
    )
    assert page.evaluate("document.activeElement.hasAttribute('data-alert')")
    assert page.locator("label.take").is_visible()
    assert page.locator("#take").evaluate("input => input.files.length") == 0
    assert site.logbook.checks(strand) == ()
    take(page, "marta-1022.jpg")
    assert page.locator("h2.level").inner_text().startswith("Level 6.")


def test_without_a_connection_the_photo_is_kept_and_sent_again(browse, site):  # noqa: F811
    browse.expected.append("ERR_INTERNET_DISCONNECTED")
    strand = site.strand("Offline")
    page = browse(f"{site.address}/strands/{strand}", PHONE)
    page.context.set_offline(True)
    page.set_input_files("#take", SAMPLES / "marta-1022.jpg")
    page.get_by_role("alert").wait_for()
    assert "Your photo is kept here" in page.get_by_role("alert").inner_text()
    assert page.evaluate("document.activeElement.textContent") == "Send it again"
    page.context.set_offline(False)
    page.get_by_role("button", name="Send it again").click()
    page.wait_for_url(re.compile(r"/looks/\d+"))
    assert len(site.logbook.checks(strand)) == 1


def test_a_photo_that_came_at_a_bad_time_is_kept_and_one_too_large_is_not(browse, site):  # noqa: F811
    browse.expected += ["status of 503", "status of 403", "status of 413"]
    page = browse(f"{site.address}/strands/{site.strand('Busy')}", PHONE)
    said = page.get_by_role("alert")
    answers = [
        (503, {"message": "Too many photos at once.", "remedy": "Wait a moment."}, "Wait a moment.", True),
        (403, {"message": "No entry."}, "Scan the code on the salon's computer again", True),
        (
            413,
            {"message": "Too large.", "remedy": "Send it as it was taken."},
            "Send it as it was taken.",
            False,
        ),
    ]
    for status, document, words, kept in answers:
        page.route("**/look", partial(answer_with, status, document))
        page.set_input_files("#take", SAMPLES / "marta-1022.jpg")
        said.get_by_text(words).wait_for()
        assert page.get_by_role("button", name="Send it again").is_visible() == kept


def test_the_whole_way_without_script(browse, site):  # noqa: F811
    browse.expected.append("status of 422")
    page = browse(site.address, PHONE, script=False)
    page.get_by_role("link", name="New strand").click()
    page.get_by_label("Client, by an alias").fill("Plain")
    page.get_by_text("Rose", exact=True).click()
    page.get_by_role("button", name="To the camera").click()
    page.set_input_files("#choose", SAMPLES / "refuse-blur.jpg")
    page.get_by_role("button", name="Read this photo").click()
    assert "hold still" in page.get_by_role("alert").inner_text()
    page.set_input_files("#take", SAMPLES / "turned-a.jpg")
    page.get_by_role("button", name="Read this photo").click()
    assert page.url.endswith("#answer")
    assert page.locator(".captions dd").first.inner_text() == "rose"
    page.get_by_role("button", name="40 g").click()
    grams = [float(text.split()[0]) for text in page.locator(".mix:last-of-type .grams b").all_inner_texts()]
    assert sum(grams) == pytest.approx(40.0, abs=0.2)
    page.get_by_role("button", name="Slow").click()
    assert page.locator(".step h1").inner_text() == "Rinse"
    page.get_by_label("Your note").fill("porous ends")
    page.get_by_role("button", name="Keep the note").click()
    assert page.get_by_label("Your note").input_value() == "porous ends"


def test_the_whole_way_by_keyboard(browse, site):  # noqa: F811
    page = browse(site.address, DESK)
    cameras = []
    page.on("filechooser", lambda camera: cameras.append(camera))

    def tab_to(words):
        for _ in range(90):
            page.keyboard.press("Tab")
            said = page.evaluate(
                "(() => { const at = document.activeElement;"
                "return (at.labels && at.labels.length ? at.labels[0] : at).textContent.trim() })()"
            )
            ring = page.evaluate(
                "(() => { const at = document.activeElement; const own = getComputedStyle(at).outlineStyle;"
                "const seen = at.nextElementSibling && getComputedStyle(at.nextElementSibling).outlineStyle;"
                "return own === 'solid' || seen === 'solid' })()"
            )
            if said.startswith(words):
                assert ring, f"'{words}' is reached, but does not show it"
                return
        raise AssertionError(f"'{words}' cannot be reached by keyboard")

    tab_to("New strand")
    page.keyboard.press("Enter")
    page.wait_for_url("**/strands/new")
    page.wait_for_load_state()
    tab_to("Client, by an alias")
    page.keyboard.type("Keys")
    tab_to("To the camera")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/strands/\d+"))
    page.wait_for_load_state()
    tab_to("Take photo")
    page.keyboard.press("Enter")
    until = time.monotonic() + 10.0
    while not cameras and time.monotonic() < until:
        page.wait_for_timeout(20)
    cameras[0].set_files(SAMPLES / "turned-a.jpg")
    page.wait_for_url(re.compile(r"/looks/\d+"))
    page.wait_for_load_state()
    tab_to("Springs back")
    page.keyboard.press("Enter")
    page.wait_for_selector("button[aria-pressed='true']")
    assert site.logbook.check(number(page)).stretch == "springs back"


def test_another_shade_is_tried_and_aimed_for(browse, site):  # noqa: F811
    strand = site.strand("Olga", target="silver", ago=30)
    look = site.look(strand, "marta-1041.jpg")
    page = browse(f"{site.address}/looks/{look}", PHONE)
    page.locator(".instead a").first.click()
    tried = page.locator(".captions dd").first.inner_text()
    assert tried != "silver"
    assert page.locator("#verdict").inner_text().strip() == "Reads true"
    assert site.logbook.strand(strand).target == "silver"
    page.get_by_role("button", name="Aim for").click()
    assert site.logbook.strand(strand).target == tried
    assert page.url == f"{site.address}/looks/{look}#answer"
    assert page.locator(".captions dd").first.inner_text() == tried
    assert page.locator(".trying").count() == 0


@pytest.mark.skipif(
    os.getloadavg()[0] > 1.5 * (os.cpu_count() or 1), reason="other work keeps this machine busy"
)
def test_an_answer_comes_soon(browse, tmp_path):  # noqa: F811
    with serving(tmp_path / "logbook.sqlite3") as fresh:
        strand = fresh.strand("Ines")
        begun = time.monotonic()
        page = browse(f"{fresh.address}/strands/{strand}", PHONE)
        take(page, "twelve-megapixels.jpg")
        cold = time.monotonic() - begun
        warm = min(take(page, "marta-1022.jpg") for _ in range(3))
    print(f"cold page to answer {cold:.2f} s, warm {warm:.2f} s")
    assert cold < 4.0
    assert warm < 1.5
