"""The sheet of a class: one sheet of paper, everybody on it, ranks and goals told with their noise."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import html5lib
import pytest
from batchrecords import START, read, refused

from browser import DESK, PHONE, barriers, flat, printed, show_in, sideways
from strandgauge.change.classroom import reached
from strandgauge.show.pages.classes import class_page, sheet_addresses, write_class_sheets
from strandgauge.words import say


def everybody(count: int):
    """Yield a class whose every student was photographed before and after, but for the last, who was refused."""
    for i in range(count):
        for minute in (5, 41):
            name = f"student {i}-{minute}.jpg"
            taken, level = START + timedelta(minutes=minute), (5.0 if minute == 5 else 8.2 + i % 3)
            yield read(name, level, 0.2 * (i % 8), client=f"Student {i}", group="Monday", taken=taken)
    yield refused("last.jpg", client="Yuki", group="Monday")


@pytest.fixture(scope="module", params=[1, 8, 28])
def sheet(request, tmp_path_factory) -> tuple[str, int]:
    file = tmp_path_factory.mktemp("sheet") / "sheet.html"
    file.write_text(
        class_page("Monday", everybody(request.param), title="Week 3", goal=9.0), encoding="utf-8"
    )
    html5lib.HTMLParser(strict=True).parse(file.read_text("utf-8"))
    return file.as_uri(), request.param


def test_it_is_one_sheet_of_paper_with_everybody_on_it(browse, sheet):
    address, count = sheet
    page = browse(address)
    for paper in ("A4", "Letter"):
        (text,) = printed(page, paper)
        assert all(f"Student{i}" in text for i in range(count))
        assert text.count(flat(say("class.later", time="36 min"))) == count
        for phrase in ("Week 3", say("head.group", name="Monday"), "2026-03-02", "Yuki"):
            assert flat(phrase) in text


def test_it_fits_the_screen_and_bars_nobody(browse, sheet):
    page = browse(sheet[0], PHONE)
    for size, dark in ((PHONE, True), (DESK, False)):
        show_in(page, size, dark=dark)
        assert sideways(page) <= 0
        assert page.locator(".wall img").count() == 2 * sheet[1]
        if sheet[1] == 8:  # more of the same rows hinder nobody more
            assert barriers(page) == []


@pytest.mark.usefixtures("worded")
def test_minutes_of_the_process_are_told_where_they_are_known():
    looks = [read(f"{i}.jpg", 5.0 + i, client="Rita", group="Monday") for i in (0, 4)]
    page = class_page("Monday", looks, title="", minutes={"0.jpg": 5.0, "4.jpg": 41.0})
    assert [f"{one}\u00a0min" in page for one in (5, 41, 36)] == [True, True, False]


def test_a_goal_is_reached_only_where_all_of_the_strand_surely_is_there():
    made = read("a.jpg", 9.0, 0.2).reading

    def at(*levels: float):
        return replace(
            made, zones=tuple(replace(z, level=v) for z, v in zip(made.zones, levels, strict=True))
        )

    assert reached(at(9.6, 9.7, 9.5), 9.0) == "reached"
    assert reached(at(9.6, 9.7, 9.2), 9.0) == "perhaps"
    assert reached(at(9.6, 9.7, 8.1), 9.0) == "not-yet"  # the mean would pass


def test_each_class_has_a_file_of_its_own_and_old_ones_go(tmp_path):
    names = ["Tuesday/evening", "tuesday evening", "..", "染髪"]
    addresses = sheet_addresses(names)
    assert len({one.casefold() for one in addresses.values()}) == 4
    assert all(one.startswith("classes/") and one.count("/") == 1 for one in addresses.values())
    assert write_class_sheets(tmp_path, dict.fromkeys(names, ()), title="", goal=None) == addresses
    write_class_sheets(tmp_path, {"Friday": [read("a.jpg", 8.0, group="Friday")]}, title="", goal=None)
    assert [one.name for one in (tmp_path / "classes").iterdir()] == ["Friday.html"]
