"""The gallery of a batch: what it lists, how it sorts and filters, and what it does with hostile names."""

from __future__ import annotations

import gc
import math
import tracemalloc
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import html5lib
import pytest
from batchrecords import START, TARGET, folder, read, refused, strand
from curves import LADDER, slowing, stalled
from playwright.sync_api import expect

from browser import DESK, PHONE, barriers, flat, printed, show_in, sideways
from strandgauge.colour.names import colour_word
from strandgauge.colour.srgb import lab_from_hex
from strandgauge.errors import CannotWriteError
from strandgauge.show.pages.cards import Card, class_sheet
from strandgauge.show.pages.gallery import write_gallery
from strandgauge.words import say, sentence

NASTY = (
    '"><script>alert(1)</script>.jpg',
    'it\'s "quoted" & <b>bold</b>.jpg',
    "</script></style></title>.jpg",
    "شعر مفتوح.jpg",
    "\u202egpj.desrever.jpg",
    "ünïcödé 染髪 🎨.jpg",
    "line\nbreak\x01\x7f.jpg",
    "not utf-8 \udcff\udcfe.jpg",
    "x" * 240 + ".jpg",
)

SOME = (
    read("b/strand 10.jpg", 9.6, 0.1, taken=START + timedelta(minutes=5)),
    read("b/strand 2.jpg", 6.2, 2.9, taken=START + timedelta(minutes=1)),
    refused("a/torn.jpg", taken=START + timedelta(minutes=2)),
    read("c/last.jpg", 8.4, 0.8, taken=None),
)


@pytest.fixture
def opened(browse, tmp_path):
    def open_gallery(records, *more, curves=None, **settings):
        file = tmp_path / "gallery.html"
        write_gallery(file, records, title="Evening class", target=TARGET, ladder=LADDER, curves=curves or {})
        return browse(file.as_uri(), *more, **settings)

    return open_gallery


def written(path, records, **changes) -> str:
    values = {"title": "Evening class", "target": TARGET, "ladder": LADDER, "curves": {}}
    write_gallery(path, records, **(values | changes))
    return path.read_text("utf-8")


def shown(page) -> list[str]:
    return page.locator(".card:visible").evaluate_all("all => all.map(card => card.dataset.name)")


def classes():
    """Yield two classes and a client whose lift was followed."""
    yield read("ines.jpg", 8.0, 0.9, client="Ines", group="Monday")
    yield read("noor.jpg", 9.0, 0.2, client="Noor", group="Monday")
    yield refused("yuki.jpg", client="Yuki", group="Monday")
    yield read("sami.jpg", 7.0, 2.8, client="Sami", group="Tuesday")
    for minutes in (5, 20, 35):
        yield read(
            f"marta-{minutes}.jpg",
            5.0 + minutes / 10,
            client="Marta",
            taken=START + timedelta(minutes=minutes),
        )
    yield read("lea.jpg", 6.0, client="Lea")


@pytest.mark.parametrize(
    "records", [SOME, (), tuple(classes()), SOME[2:3]], ids=["some", "none", "classes", "refused"]
)
def test_it_is_valid_html(tmp_path, records):
    html = written(tmp_path / "g.html", records, curves={"Marta": slowing()})
    html5lib.HTMLParser(strict=True).parse(html)
    assert html.count('<li class="card') == len(records)


def swatch(code: str, colour: str) -> str:
    return say(f"card.{code}", word=colour_word(lab_from_hex(colour)), hex=colour)


def test_a_card_says_what_was_read_and_what_was_not(opened):
    page = opened(SOME)
    first, wanted = page.locator(".card").nth(0).inner_text(), SOME[0].wanted
    for phrase in (
        "b/",
        "strand 10.jpg",
        say("reading.level", interval="9.6 ± 0.4"),
        sentence(say("evenness.even")),
        "pale yellow",
        "Reads true",
        swatch("wished", wanted.target_hex),
        swatch("becomes", wanted.predicted_hex),
    ):
        assert phrase in first, phrase
    torn = page.locator(".card").nth(2).inner_text()
    for phrase in (
        "torn.jpg",
        say("card.no-reading"),
        "10 patches are veiled",
        "Tilt the card until no shine lies on it.",
    ):
        assert phrase in torn, phrase


def test_it_sorts_and_what_has_no_value_comes_last(opened):
    ten, two, torn, last = (record.file for record in SOME)
    orders = {
        "listed": [ten, two, torn, last],
        "name": [torn, two, ten, last],
        "level-up": [two, last, ten, torn],
        "level-down": [ten, last, two, torn],
        "even-up": [ten, last, two, torn],
        "even-down": [two, last, ten, torn],
        "warm-up": [ten, two, last, torn],
        "warm-down": [last, two, ten, torn],
        "verdict": [ten, last, two, torn],
        "time": [two, torn, ten, last],
    }
    page = opened(SOME)
    found = {}
    for order in orders:
        page.locator("[name=sort]").select_option(order)
        found[order] = shown(page)
    assert found == orders
    offered = page.locator("[name=sort] option").evaluate_all("all => all.map(one => one.value)")
    assert sorted(offered) == sorted(orders)


def test_it_filters_and_counts(opened):
    page = opened(SOME)
    count = page.get_by_role("status")
    assert count.inner_text() == say("gallery.photos", count=4) + "."

    def after(name: str, value: str) -> list[str]:
        page.locator("button[type=reset]").click()
        expect(page.locator(".card:visible")).to_have_count(4)
        field = page.locator(f"#controls [name={name}]")
        if field.evaluate("(field) => field.matches('select')"):
            field.select_option(value)
        else:
            field.fill(value)
        return [name.split("/")[1] for name in shown(page)]

    assert after("search", "STRAND") == ["strand 10.jpg", "strand 2.jpg"]
    assert count.inner_text() == say("gallery.some", shown="#", all=4).replace("#", "2")
    assert after("from", "8") == ["strand 10.jpg", "last.jpg"]
    assert after("to", "8.5") == ["strand 2.jpg", "last.jpg"]
    assert after("evenness", say("evenness.very-uneven")) == ["strand 2.jpg"]
    assert after("warmth", say("warmth.very-strong")) == ["last.jpg"]
    assert after("verdict", "true") == ["strand 10.jpg"]
    assert after("state", "refused") == ["torn.jpg"]
    assert after("search", "nothing of the kind") == []
    assert count.inner_text() == say("gallery.none-fits", all=4)
    page.locator("button[type=reset]").click()
    expect(page.locator(".card:visible")).to_have_count(4)
    assert count.get_attribute("aria-live") == "polite"


def test_it_works_by_keyboard(opened):
    page = opened(SOME)
    page.locator("[name=search]").focus()
    page.keyboard.type("strand")
    assert len(shown(page)) == 2
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.name") == "sort"
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.type(say("order.level-up"))
    assert shown(page) == ["b/strand 2.jpg", "b/strand 10.jpg"]
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator(".card:visible")).to_have_count(4)


def test_without_script_all_photos_are_listed_and_no_control_is_shown(opened):
    page = opened(SOME, script=False)
    assert page.locator(".card").count() == 4
    assert page.locator("#controls").is_hidden()


def test_it_fits_the_screen_and_bars_nobody(opened):
    page = opened([*classes(), *SOME], PHONE, curves={"Marta": stalled()})
    for size, dark in ((PHONE, False), (PHONE, True), (DESK, False)):
        show_in(page, size, dark=dark)
        assert sideways(page) <= 0
        # Colours in the light are judged on the desk.
        assert barriers(page, contrast="color-contrast" if dark or size == DESK else None) == []
        assert page.locator("h1").all_inner_texts() == ["Evening class"]


def test_classes_are_ranked_and_clients_have_their_curve(opened):
    page = opened(classes(), curves={"Marta": stalled()})
    monday = page.get_by_role("region", name=say("gallery.sheet-of", name="Monday")).first
    assert monday.locator("tbody tr").evaluate_all(
        "rows => rows.map(row => [row.cells[0].innerText, row.cells[1].innerText, row.cells[2].innerText])"
    ) == [
        ["1", "Noor", say("evenness.even")],
        ["2", "Ines", say("evenness.slightly-uneven")],
        ["–", "Yuki", f"{say('card.no-reading')}: 10 patches are veiled by a reflection."],
    ]
    marta = page.get_by_role("region", name="Marta", exact=True)
    assert marta.locator("svg[role=img]:visible").count() == 1
    said = marta.locator(".saying").inner_text()
    made = stalled()
    first, last = made.looks[0], made.looks[-1]
    assert said == say(
        "gallery.lift", state="stalled", low=first.level, high=last.level, time="30\u00a0min"
    )  # not when to look again: the gallery is looked at when all is over
    assert marta.locator("tbody tr").count() == 3
    others = page.locator("section[aria-labelledby=others]")
    assert others.locator("tbody th").all_inner_texts() == ["Lea"]


def test_a_link_to_a_photo_that_is_filtered_out_brings_it_back(opened):
    page = opened(classes(), curves={"Marta": stalled()})
    page.locator("[name=search]").fill("marta")
    assert "ines.jpg" not in shown(page)
    page.get_by_role("link", name="ines.jpg").click()
    expect(page.locator(".card:target h3")).to_have_text("ines.jpg", use_inner_text=True)
    assert "ines.jpg" in shown(page)


def card(number: int, client: str, spread: float, minute: float | None = None, *, sd: float = 0.21) -> Card:
    taken = None if minute is None else START + timedelta(minutes=minute)
    record = read(f"{number}.jpg", 8.0, spread, client=client, group="class", taken=taken)
    zones = tuple(replace(zone, level_sd=sd) for zone in record.reading.zones)
    return Card(number, replace(record, reading=replace(record.reading, zones=zones)))


def test_ranks_are_shared_where_only_noise_tells_apart():
    spreads = {"D": 1.9, "B": 0.34, "A": 0.26, "C": 1.2}
    sheet = class_sheet("class", [card(i, name, spread) for i, (name, spread) in enumerate(spreads.items())])
    # Noise of a range of three zones known to 0.21 is about 0.25; of a difference of two, 95 % lie within 0.7.
    assert [(line.rank, line.student) for line in sheet.lines] == [
        ("1", "A"),
        ("1", "B"),
        ("3", "C"),
        ("3", "D"),
    ]
    sure = class_sheet(
        "class", [card(i, name, spread, sd=0.005) for i, (name, spread) in enumerate(spreads.items())]
    )
    assert [line.rank for line in sure.lines] == ["1", "2", "3", "4"]


def test_a_students_latest_reading_counts():
    torn = Card(3, refused("3.jpg", client="A", group="class", taken=START + timedelta(minutes=40)))
    sheet = class_sheet("class", [card(1, "A", 0.2, 30.0), card(2, "A", 2.0, 20.0), torn, card(4, "B", 0.5)])
    assert [(line.student, line.row.number, line.first.number, line.photos) for line in sheet.lines] == [
        ("A", 1, 2, 3),
        ("B", 4, 4, 1),
    ]


def test_a_class_can_be_looked_at_alone_and_a_strand_large(opened):
    page = opened([*classes(), *SOME])
    page.locator("[name=group]").select_option("Tuesday")
    assert shown(page) == ["sami.jpg"]
    assert page.locator("section[data-group=Monday]").is_hidden()
    button = page.locator(".enlarge:visible").first
    button.focus()
    page.keyboard.press("Enter")
    large = page.get_by_role("dialog")
    width = large.locator("img").evaluate("img => img.getBoundingClientRect().width")
    assert width > 0.8 * DESK[0]
    assert "sami.jpg" in large.inner_text()
    assert f"{say('zone.mids')} 7.0" in large.inner_text()
    page.keyboard.press("Escape")
    assert large.is_hidden()


def test_on_a_phone_strands_or_classes_come_with_the_first_screen(opened):
    page = opened(classes(), PHONE)
    assert page.locator("h2:not(.sr)").first.bounding_box()["y"] < PHONE[1]


@pytest.mark.parametrize("place", ["file", "client", "group"])
def test_names_are_text_and_nothing_else(browse, tmp_path, place):
    def records():
        for i, name in enumerate(NASTY):
            yield read(name, 8.0) if place == "file" else read(f"{i}.jpg", 8.0, **{place: name})

    curves = {name: slowing(target=name) for name in NASTY[:2]} if place == "client" else {}
    html = written(tmp_path / "g.html", records(), title=NASTY[0], target=NASTY[1], curves=curves)
    html5lib.HTMLParser(strict=True).parse(html)
    page = browse((tmp_path / "g.html").as_uri(), PHONE)
    assert page.locator(".card").count() == len(NASTY)
    assert page.locator("script").count() == 1
    assert page.locator("main b b, main h3 b").count() == 0
    assert page.title() == NASTY[0]
    assert sideways(page) <= 0
    attribute = {"file": "name"}.get(place, place)
    kept = page.locator(".card").evaluate_all(f"all => all.map(card => card.dataset.{attribute})")
    assert kept[:6] == list(NASTY[:6])
    assert kept[6] == "line\nbreak\ufffd\ufffd.jpg"
    assert kept[7] == "not utf-8 \ufffd\ufffd.jpg"
    page.locator("[name=search]").fill("<script>alert")
    assert len(shown(page)) == 1


def test_cards_are_not_cut_by_the_edge_of_a_sheet(opened):
    page = opened(folder(30))
    needs = flat(sentence(say("lift.needs-shade", wish=TARGET, level="9.0")))
    remedy = flat(say("card.remedy"))
    for paper in ("A4", "Letter"):
        texts = printed(page, paper)
        assert len(texts) >= 3
        # On each sheet every card that begins there ends there: as many file names as endings.
        assert sum(text.count(".jpg") for text in texts) == 30
        for text in texts:
            assert text.count(needs) + text.count(remedy) == text.count(".jpg")


def test_a_thousand_photos_sort_and_filter_at_once(opened):
    page = opened(folder(1000))
    one_round = """async () => {
          const form = document.getElementById("controls"), took = [];
          const change = async (name, value) => {
            await new Promise(done => requestAnimationFrame(() => setTimeout(done)));
            const start = performance.now();
            form.elements[name].value = value;
            form.dispatchEvent(new Event("input"));
            document.body.getBoundingClientRect();
            took.push(performance.now() - start);
          };
          for (const order of ["level-up", "even-down", "name", "verdict"]) await change("sort", order);
          for (const text of ["day 3", ""]) await change("search", text);
          for (const level of ["7", ""]) await change("from", level);
          return took;
        }"""
    best = [math.inf] * 8
    for _ in range(20):  # the machine may be busy with something else: the best round is what the page takes
        best = list(map(min, best, page.evaluate(one_round)))
        if max(best) < 600:  # 200 is the aim
            return
    raise AssertionError(best)


def test_memory_stays_flat(tmp_path):
    def tidied(count: int):
        for place, one in enumerate(folder(count)):
            if place % 20 == 0:
                gc.collect()  # so that only what is held counts, not what has not been collected yet
            yield one

    def peak(count: int) -> int:
        gc.freeze()  # what is there by now need not be gone through time and again
        tracemalloc.start()
        try:
            file = tmp_path / "g.html"
            write_gallery(file, tidied(count), title="t", target=TARGET, ladder=LADDER, curves={})
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    peak(20)  # templates and calibration are read once
    few, many = peak(40), peak(160)
    # Four times the photos, 0.7 MB more of page: next to nothing more in memory.
    assert many - few < 200_000


def test_records_are_taken_once_and_one_at_a_time(tmp_path):
    asked = []

    def records():
        for one in SOME:
            asked.append(one.file)
            yield one

    written(tmp_path / "g.html", records())
    assert asked == [one.file for one in SOME]


def test_a_failure_leaves_the_old_gallery_and_nothing_else(tmp_path):
    file = tmp_path / "g.html"
    file.write_text("old")

    def records():
        yield SOME[0]
        raise RuntimeError("the batch was stopped")

    with pytest.raises(RuntimeError):
        written(file, records())
    assert file.read_text() == "old"
    assert [one.name for one in tmp_path.iterdir()] == ["g.html"]
    with pytest.raises(CannotWriteError):
        written(tmp_path / "nowhere" / "g.html", SOME)


def test_a_strand_stained_throughout_has_no_warmth_to_sort_by():
    from readings import STAIN

    made = strand(8.0)
    stained = replace(made, zones=tuple(replace(zone, stain=STAIN) for zone in made.zones))
    card = Card(1, replace(SOME[0], reading=stained))
    assert card.shown.undertone == ""
    assert card.shown.warmth == say("warmth.hidden")
    assert card.shown.stains == (say("reading.throughout", what=say("reading.stain", hue="violet")),)


def test_any_time_a_camera_writes_can_be_sorted_by():
    times = (
        datetime(1, 1, 1),
        datetime(1970, 1, 2),
        datetime(2026, 3, 2, tzinfo=UTC),
        datetime(9999, 12, 31),
    )
    ranks = [Card(1, replace(SOME[0], taken=taken)).time_rank for taken in times]
    assert ranks == sorted(ranks)
    assert ranks[1] == 86400.0
