"""The phone page for wet gloves, small screens, bright and dark rooms, and for those who do not see it."""

from __future__ import annotations

import html5lib
import pytest
from phonesite import site  # noqa: F401

from browser import DESK, PHONE, browse, chromium, sideways  # noqa: F401
from strandgauge.colour.srgb import hex_colour

HOSTILE = '"><script>alert(1)</script><b>{{7*7}}'
SMALLEST = 48.0
TARGETS = """
() => [...document.querySelectorAll("a, button, input, textarea, summary, label[for]")]
  .filter((one) => !one.matches(".skip, .file, .tick, .camera.busy *") && one.checkVisibility())
  .map((one) => {
    const label = one.matches("input, textarea") ? null : one.closest("label");
    const box = (label || one).getBoundingClientRect();
    return [one.outerHTML.slice(0, 80), box.width, box.height, one.matches("label") && !!one.control
      && !one.control.matches(".file, .tick")];
  })
"""


def hindrances(page):
    """Return what axe-core finds serious or critical, and text that does not reach the contrast of WCAG AAA."""
    from axe_playwright_python.sync_playwright import Axe

    response = Axe().run(page, options={"rules": {"color-contrast-enhanced": {"enabled": True}}}).response
    assert "color-contrast-enhanced" in {one["id"] for one in response["passes"] + response["violations"]}
    return [
        f"{one['id']}: {node['html'][:160]}"
        for one in response["violations"]
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


@pytest.fixture(scope="module")
def filled(site):  # noqa: F811
    """Paths of every screen, of a logbook with strands in every state."""
    lifting = site.strand(HOSTILE, ago=20.0)
    site.look(lifting, "marta-1005.jpg")
    site.let_pass(lifting, 17.0)
    look = site.look(lifting, "marta-1022.jpg")
    site.logbook.set_note(look, HOSTILE)
    uneven = site.strand("Ines", ago=12.0, target="pastel pink", limit_minutes=None)
    far = site.look(uneven, "uneven.jpg")
    over = site.strand("Ruth", ago=61.0, target="rose")
    stopped = site.look(over, "turned-a.jpg")
    dry = site.strand("Olga", target=None, ago=600.0)
    plain = site.look(dry, "stained.jpg")
    gummy = site.look(site.strand("Lena"), "wet.jpg", wet=True)
    site.service.set_stretch(gummy, "gummy")
    ready = site.look(site.strand("Ada", ago=56.0), "marta-1041.jpg")
    site.strand("Mina")
    client = site.logbook.find_client(HOSTILE).id
    return {
        "home": "/",
        "new": "/strands/new",
        "strand": f"/strands/{lifting}",
        "settings": f"/strands/{lifting}/settings",
        "go on": f"/looks/{look}",
        "far": f"/looks/{far}",
        "stop": f"/looks/{stopped}",
        "no shade": f"/looks/{plain}",
        "gummy": f"/looks/{gummy}",
        "ready": f"/looks/{ready}",
        "trying": f"/looks/{ready}?target=lavender&bowl=45",
        "clients": "/clients",
        "client": f"/clients/{client}",
        "delete": f"/clients/{client}/delete",
        "delete look": f"/looks/{look}/delete",
        "missing": "/looks/9999",
    }


def test_every_screen_is_valid_and_escapes_what_was_typed(site, filled):  # noqa: F811
    for name, path in filled.items():
        answer = site.client.get(path)
        assert answer.status_code == (404 if name == "missing" else 200), name
        html5lib.HTMLParser(strict=True).parse(answer.text)
        assert "<script>alert" not in answer.text, name
        assert " style=" not in answer.text, name
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in site.client.get(filled["client"]).text
    assert "{{7*7}}" in site.client.get(filled["go on"]).text


def test_every_screen_at_360_pixels(browse, site, filled):  # noqa: F811
    browse.expected.append("status of 404")
    page = browse(site.address, PHONE)
    for name, path in filled.items():
        page.goto(site.address + path)
        assert sideways(page) <= 0, name
        assert hindrances(page) == [], name
        small = [
            target
            for target in page.evaluate(TARGETS)
            if not target[3] and min(target[1], target[2]) < SMALLEST - 0.01
        ]
        assert small == [], name


@pytest.mark.parametrize(
    ("size", "dark", "names"),
    [
        (PHONE, True, ("new", "go on", "gummy", "ready")),
        (DESK, False, ("home", "far")),
        (DESK, True, ("home",)),
    ],
)
def test_the_main_screens_elsewhere(browse, site, filled, size, dark, names):  # noqa: F811
    page = browse(site.address, size, dark=dark)
    for name in names:
        page.goto(site.address + filled[name])
        assert sideways(page) <= 0, name
        assert hindrances(page) == [], name


@pytest.mark.parametrize("name", ["go on", "ready", "gummy", "stop"])
def test_the_answer_is_seen_without_scrolling(browse, site, filled, name):  # noqa: F811
    page = browse(site.address + filled[name] + "#answer", PHONE)
    dock = page.locator(".dock").bounding_box()
    assert dock["y"] + dock["height"] == pytest.approx(PHONE[1], abs=1)
    for part in (".step h1", "h2.level", ".phrases", "#verdict", ".field.pair", ".captions", ".caution"):
        box = page.locator(part).bounding_box()
        assert box["y"] >= 0, part
        assert box["y"] + box["height"] <= dock["y"] + 1, part


@pytest.mark.parametrize("dark", [False, True])
def test_the_fields_show_what_was_computed_in_light_and_dark(browse, site, filled, dark):  # noqa: F811
    from io import BytesIO

    from PIL import Image

    look = int(filled["far"].split("/")[-1])
    outlook = site.service.answer(look).outlook
    page = browse(site.address + filled["far"], PHONE, dark=dark)
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


def test_the_clock_runs_and_the_next_look_comes_due(browse, site, filled):  # noqa: F811
    page = browse("about:blank", PHONE)
    page.clock.install()
    page.goto(site.address + filled["go on"])
    clock, due = page.locator("[data-clock-minutes]").first, page.locator("[data-due]")
    begun, left = int(clock.inner_text()), float(due.get_attribute("data-due"))
    assert due.inner_text() == f"Look in {round(left)} min"
    page.clock.run_for(2 * 60_000)
    assert int(clock.inner_text()) in (begun + 2, begun + 3)
    assert due.inner_text() == f"Look in {round(left - 2)} min"
    page.clock.run_for(30 * 60_000)
    assert due.inner_text() == "Look now"
    assert page.locator(".bar .clock").inner_text().endswith("time is up")


def test_the_letters_come_from_the_server_itself(browse, site):  # noqa: F811
    page = browse(site.address, PHONE)
    loaded = "document.fonts.ready.then(() => [...document.fonts].map((face) => face.status))"
    assert page.evaluate(loaded) == ["loaded"]
    assert page.evaluate("getComputedStyle(document.body).fontFamily").startswith("strandgauge,")
    assert site.client.get("/static/letters.woff2").headers["content-type"] == "font/woff2"
