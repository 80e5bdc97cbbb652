"""The phone page in a real browser: from a new strand to the answer, to the next one, to stop."""

from __future__ import annotations

import re
import time
from datetime import timedelta

import pytest
from phonesite import SAMPLES, serving, site  # noqa: F401

from browser import DESK, PHONE, browse, chromium, sideways  # noqa: F401
from strandgauge.errors import BadEntryError, DifferentStrandsError
from strandgauge.words import say
from strandgauge.words.judge import short_verdict, surer


def shot(photo):
    """Return a photo as the camera hands it over: taken now."""
    return {"name": "camera.jpg", "mimeType": "image/jpeg", "buffer": (SAMPLES / photo).read_bytes()}


def take(page, photo, button="#take-dry"):
    """Take a photo, and wait until the answer is there."""
    strip = page.locator(".picture").get_attribute("src") if page.locator(".picture").count() else ""
    page.set_input_files(button, shot(photo))
    page.wait_for_function(
        "(strip) => { const now = document.querySelector('.picture');"
        "return now && now.getAttribute('src') !== strip && !document.querySelector('#queue') }",
        arg=strip,
    )


def until(page, code):
    """Wait until the big word is what the catalogue has for a code, without touching the page."""
    page.wait_for_function(
        "(text) => document.querySelector('.step h1')?.textContent === text",
        arg=say(code),
    )


def until_level(page, whole):
    """Wait until a level is shown that begins with this number."""
    page.locator(f"h2.level[data-level^='{whole}.']").wait_for()


def choose(page, shade):
    """Tap a shade, where need be under all shades."""
    tile = page.locator(f"input[name='target'][value='{shade}'] + label")
    if not tile.is_visible():
        page.locator(".shades summary").click()
    tile.click()


def number(page):
    return int(re.search(r"/strands/(\d+)", page.url)[1])


def test_from_a_new_strand_to_the_result(browse, site):  # noqa: F811
    """On the smallest screen; that nothing to be tapped is covered on others is held in test_web_page_access."""
    page = browse(f"{site.address}/today", (320, 640))
    taps = 0

    def tap(what):
        nonlocal taps
        taps += 1
        page.locator(what).click()

    tap(".dock a[href='/strands/new']")
    page.locator("#client").fill("Marta")
    page.locator("label[for='limit-50']").click()
    choose(page, "copper")
    taps += 2  # the camera's button and its shutter
    page.set_input_files("#take-dry", shot("marta-1005.jpg"))
    page.wait_for_url(re.compile(r"/strands/\d+"))
    until_level(page, 5)
    assert taps == 3
    assert page.locator(".captions dd").first.inner_text() == "copper"
    assert sideways(page) <= 0
    # What speaks is the answer: focus has moved there from the camera.
    assert page.evaluate("document.activeElement.id") == "answer"

    strand = number(page)
    site.clock.pass_(38.0)
    take(page, "marta-1041.jpg")
    until(page, "step.light-enough")
    assert page.locator("svg.chart .look").count() == 2
    page.locator(".stretch button[value='gummy']").click()
    until(page, "moment-word.gummy")
    page.wait_for_selector(".grams", state="detached")
    page.locator(".mistake summary").click()
    page.locator(".mistake button[value='springs back']").click()
    until(page, "step.light-enough")
    page.locator(".dock form[action$='/rinsed'] button").click()
    until(page, "moment-word.dry-it")
    take(page, "marta-1041.jpg")
    until(page, "step.dye")
    assert page.locator(".grams").count() == 1
    take(page, "marta-1041.jpg", "#result-dry")
    until(page, "moment-word.done")
    assert [check.result for check in site.logbook.looks(strand)] == [False, False, False, True]


def test_the_first_moment_shows_no_minute_below_zero(browse, site):  # noqa: F811
    page = browse(f"{site.address}/strands/{site.strand('Early', ago=-0.2)}", PHONE)
    assert page.locator("[data-minutes]").first.inner_text() == "0"


def test_an_open_page_follows_the_clock_and_the_other_phone(browse, site):  # noqa: F811
    strand = site.strand("Two phones", ago=15.0, limit_minutes=40.0)
    site.look(strand, "marta-1005.jpg")
    one = browse(f"{site.address}/strands/{strand}", PHONE)
    two = browse(f"{site.address}/today", PHONE)
    wall = browse(f"{site.address}/wall", DESK)
    until(one, "step.go-on")
    card = two.locator(".card", has_text="Two phones")
    site.service.set_stretch(site.logbook.looks(strand)[-1].id, "slow")
    until(one, "step.rinse")  # within 3 s on a quiet machine: the page asks every 2
    card.locator(".now b", has_text=say("step.rinse")).wait_for()
    site.look(strand, "marta-1022.jpg")
    until_level(one, 6)
    site.clock.pass_(25.2)
    until(one, "moment-word.time-is-up")
    wall.locator(".panel.stop", has_text="Two phones").wait_for()
    wall.wait_for_function("(word) => document.title.includes(word)", arg=say("moment-word.time-is-up"))
    site.clock.pass_(9 * 60.0)
    two.reload()
    assert say("moment-word.time-is-up") in card.inner_text()
    one.locator(".dock form[action$='/rinsed'] button").click()
    until(one, "moment-word.dry-it")
    wall.locator(".panel", has_text="Two phones").wait_for(state="detached")


def test_the_next_look_takes_two_taps(browse, site):  # noqa: F811
    strand = site.strand("Next", ago=10.0)
    site.look(strand, "marta-1005.jpg", ago=5.0)
    page = browse(f"{site.address}/today", PHONE)
    page.set_input_files(f"#s{strand}-dry", shot("marta-1022.jpg"))  # the camera on the card, and its shutter
    page.wait_for_url(re.compile(rf"/strands/{strand}"))
    until_level(page, 6)
    assert len(site.logbook.looks(strand)) == 2


def test_a_photo_with_the_card_turned_is_one_tap_and_joins_the_look(browse, site):  # noqa: F811
    strand = site.strand("Turned", ago=10.0, target="rose")
    site.look(strand, "turned-a.jpg")
    page = browse(f"{site.address}/strands/{strand}", PHONE)
    (way,) = surer(site.service.judged(strand).curve.surer)
    assert page.locator(".surer > p").all_inner_texts() == [way]
    take(page, "turned-b.jpg", "#turned-dry")
    (look,) = site.logbook.looks(strand)
    assert (look.reading["photos"], look.reading["turned_share"]) == (2, 1.0)
    assert way not in page.locator(".surer > p").all_inner_texts()
    assert len(site.logbook.bin()) == 1  # the look that it took the place of
    with pytest.raises(DifferentStrandsError):
        site.look(strand, "marta-1005.jpg", turned=True)
    site.clock.pass_(2.5)
    with pytest.raises(BadEntryError):
        site.look(strand, "turned-a.jpg", turned=True)
    assert len(site.logbook.looks(strand)) == 1


def test_at_the_limit_an_unconnected_page_says_stop_all_the_same(browse, site):  # noqa: F811
    browse.expected.append("ERR_INTERNET_DISCONNECTED")
    strand = site.strand("Alone", ago=30.0, limit_minutes=40.0)
    site.look(strand, "marta-1005.jpg")
    page = browse("about:blank", PHONE)
    page.clock.install()
    page.goto(f"{site.address}/strands/{strand}")
    until(page, "step.go-on")
    page.context.set_offline(True)
    page.clock.fast_forward("10:30")
    until(page, "moment-word.time-is-up")
    page.locator("#silent").wait_for()
    page.context.set_offline(False)


def test_a_refused_photo_says_what_to_do_and_the_camera_is_ready_again(browse, site):  # noqa: F811
    browse.expected.append("status of 422")
    strand = site.strand("Refused")
    page = browse(f"{site.address}/strands/{strand}", PHONE)
    page.set_input_files("#take-dry", shot("refuse-glare.jpg"))
    alert = page.get_by_role("alert")
    alert.wait_for()
    assert alert.locator(".do").inner_text() == say("remedy.glare")
    assert page.evaluate("document.activeElement.hasAttribute('data-alert')")
    assert page.locator("#queue").count() == 0
    assert site.logbook.looks(strand) == ()
    take(page, "marta-1022.jpg")
    until_level(page, 6)


def test_photos_taken_without_a_connection_survive_a_reload_and_arrive_once(browse, site):  # noqa: F811
    browse.expected += ["ERR_INTERNET_DISCONNECTED", "ERR_FAILED"]
    strand = site.strand("Offline")
    page = browse(f"{site.address}/strands/{strand}", PHONE)
    page.route("**/look", lambda route: route.abort())
    begun = site.clock()
    page.set_input_files("#take-wet", shot("marta-1022.jpg"))
    page.get_by_role("alert").wait_for()
    assert (
        page.locator("#queue img").evaluate("(image) => image.decode().then(() => image.naturalWidth)") > 100
    )
    # The answer to a photo gets lost on its way back: the photo is there, and is sent again.
    taken = site.clock()
    page.unroute("**/look")
    page.route("**/look", lambda route: (route.fetch(), route.abort()))
    page.reload()
    page.get_by_role("alert").wait_for()
    assert len(site.logbook.looks(strand)) == 1
    page.unroute("**/look")
    page.reload()
    page.wait_for_function("() => !document.querySelector('#queue')")
    (look,) = site.logbook.looks(strand)
    assert look.wet
    assert begun - timedelta(seconds=2) <= look.at <= taken + timedelta(seconds=2)  # not when it arrived


def test_what_is_typed_is_there_after_back_reload_and_a_known_client(browse, site):  # noqa: F811
    site.strand("Known")
    page = browse(f"{site.address}/strands/new", PHONE)
    page.locator("#name").fill("Left of the parting")
    page.locator("label[for='limit-40']").click()
    page.locator("[data-fill='Known']").click()
    assert page.locator("#client").input_value() == "Known"
    page.goto(f"{site.address}/clients")
    page.go_back()
    for _ in range(2):
        assert page.locator("#name").input_value() == "Left of the parting"
        assert page.locator("#limit-40").is_checked()
        page.reload()
    page.locator("button[form='new']").click()
    page.wait_for_url(re.compile(r"/strands/\d+"))
    page.goto(f"{site.address}/strands/new")
    assert page.locator("#name").input_value() == say("page.strand-name")


def test_the_server_started_anew_in_the_middle_loses_nothing(browse, tmp_path):  # noqa: F811
    browse.expected += ["ERR_CONNECTION", "ERR_EMPTY", "ERR_FAILED"]
    with serving(tmp_path / "book.sqlite3") as first:
        port = int(first.address.rsplit(":", 1)[1])
        strand = first.strand("Restart", ago=15.0)
        first.look(strand, "marta-1005.jpg")
        page = browse(f"{first.address}/strands/{strand}", PHONE)
        until(page, "step.go-on")
    page.set_input_files("#take-dry", shot("marta-1022.jpg"))
    page.get_by_role("alert").wait_for()
    with serving(tmp_path / "book.sqlite3", port) as second:
        until_level(page, 6)
        assert len(second.logbook.looks(strand)) == 2
        page.goto("about:blank")


def test_it_calls_by_sound_title_and_line(browse, tmp_path):  # noqa: F811
    with serving(tmp_path / "book.sqlite3") as salon:
        strand = salon.strand("Caller", ago=38.0, limit_minutes=40.0)
        salon.look(strand, "marta-1005.jpg")
        page = browse("about:blank", PHONE)
        page.add_init_script(
            "window.beeps = 0; const start = OscillatorNode.prototype.start;"
            "OscillatorNode.prototype.start = function (at) { window.beeps += 1; start.call(this, at); }"
        )
        page.goto(f"{salon.address}/clients")
        page.locator("#q").click()
        salon.clock.pass_(2.2)
        call = page.locator(".call.stop", has_text="Caller")
        call.wait_for()
        assert page.title().startswith(f"● {say('moment-word.time-is-up')}: Caller")
        page.wait_for_function("() => window.beeps >= 6")
        call.click()
        until(page, "moment-word.time-is-up")
        page.goto("about:blank")


def test_the_whole_way_without_script(browse, site):  # noqa: F811
    browse.expected.append("status of 422")
    page = browse(f"{site.address}/today", PHONE, script=False)
    page.locator(".dock a[href='/strands/new']").click()
    page.locator("#client").fill("Plain")
    choose(page, "rose")
    page.locator("button[form='new']").click()
    page.set_input_files("#take-dry", SAMPLES / "refuse-blur.jpg")
    page.locator("button.send").click()
    assert page.locator("[role=alert] .do").inner_text() == say("remedy.blur")
    page.set_input_files("#take-wet", SAMPLES / "turned-a.jpg")
    page.locator("button.send").click()
    assert page.url.endswith("#answer")
    assert say("page.read-wet") in page.locator(".phrases").inner_text()
    assert page.locator(".captions dd").first.inner_text() == "rose"
    page.locator(".stretch button[value='slow']").click()
    assert page.locator(".step h1").inner_text() == say("step.rinse")
    page.locator("#note-text").fill("porous ends")
    page.locator("#note button").click()
    assert page.locator("#note-text").input_value() == "porous ends"


def test_the_whole_way_by_keyboard(browse, site):  # noqa: F811
    page = browse(f"{site.address}/today", DESK)
    cameras = []
    page.on("filechooser", lambda camera: cameras.append(camera))

    def tab_to(what):
        for _ in range(90):
            page.keyboard.press("Tab")
            there, ring = page.evaluate(
                "(what) => { const at = document.activeElement; const own = getComputedStyle(at).outlineStyle;"
                "const seen = at.nextElementSibling && getComputedStyle(at.nextElementSibling).outlineStyle;"
                "return [at.matches(what), own === 'solid' || seen === 'solid'] }",
                what,
            )
            if there:
                assert ring, f"'{what}' is reached, but does not show it"
                return
        raise AssertionError(f"'{what}' cannot be reached by keyboard")

    tab_to("a[href='/strands/new']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/strands/new")
    page.wait_for_load_state()
    tab_to("#client")
    page.keyboard.type("Keys")
    tab_to("#take-dry")
    page.keyboard.press("Enter")
    until_there = time.monotonic() + 90.0
    while not cameras and time.monotonic() < until_there:
        page.wait_for_timeout(20)
    cameras[0].set_files([shot("turned-a.jpg")])
    page.wait_for_url(re.compile(r"/strands/\d+"))
    page.wait_for_selector("h2.level")
    tab_to(".stretch button[value='springs back']")
    page.keyboard.press("Enter")
    page.wait_for_selector("button[aria-pressed='true'][value='springs back']")
    assert site.logbook.looks(number(page))[-1].stretch == "springs back"


def test_another_shade_is_tried_and_aimed_for(browse, site):  # noqa: F811
    strand = site.strand("Olga", target="silver", ago=30)
    site.look(strand, "marta-1041.jpg")
    page = browse(f"{site.address}/strands/{strand}", PHONE)
    page.locator(".instead a").first.click()
    page.wait_for_selector(".trying .act")
    tried = page.locator(".captions dd").first.inner_text()
    assert tried != "silver"
    judged = site.service.judged(strand)
    would = site.service.outlook_for(judged.last, tried, judged.history)
    assert would.verdict in ("true", "may")
    assert page.locator("#verdict").inner_text().strip() == short_verdict(would)
    assert site.logbook.strand(strand).target == "silver"
    page.locator(".trying .act button").click()
    page.wait_for_selector(".trying .act", state="detached")
    assert site.logbook.strand(strand).target == tried
    assert page.locator(".captions dd").first.inner_text() == tried
    assert page.locator(".trying").count() == 0


@pytest.mark.benchmark(group="from the camera to the answer")
def test_photos_are_read_by_processes_of_the_servers_own(benchmark, browse, tmp_path):  # noqa: F811
    """With --benchmark-enable this measures how soon an answer comes: 0.6 s is usual."""
    with serving(tmp_path / "logbook.sqlite3", processes=True) as fresh:
        strand = fresh.strand("Ines")
        page = browse(f"{fresh.address}/strands/{strand}", PHONE)
        take(page, "twelve-megapixels.jpg")
        benchmark.pedantic(take, (page, "marta-1022.jpg"), rounds=3)
        assert len(fresh.logbook.looks(strand)) > 1
        browse.close()  # a page that outlives its server cannot know that this is no fault
