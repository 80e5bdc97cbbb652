"""The sheet in a real browser: on a phone, on a desk, in the dark, and on paper."""

from __future__ import annotations

import dataclasses
from io import BytesIO

import pytest
from test_compare_command import DARK, LIGHT

from browser import DESK, PHONE, barriers, flat, printed, show_in, sideways
from readings import STAIN, reading, zone
from strandgauge.change.compare import compare
from strandgauge.show.pages.compare import compare_page
from strandgauge.show.pages.head import Head
from strandgauge.words import say

LONG = "a-very-long-name-of-a-photo-that-somebody-gave-it-" * 3 + ".jpg"


def strip() -> bytes:
    """Return a small JPEG of the shape of a strip."""
    from PIL import Image

    file = BytesIO()
    Image.new("RGB", (720, 238), (150, 110, 60)).save(file, "JPEG")
    return file.getvalue()


def many() -> str:
    """Return the fullest page there is: four strands, stains, every note, a name that is far too long."""
    stained = tuple(zone(name, 9.0, stain=STAIN) for name in ("root", "mids", "ends"))
    looks = [
        DARK,
        reading((6.9, 7.1, 7.4), photo=LONG, wet=True),
        LIGHT,
        dataclasses.replace(LIGHT, photo="last.jpg", zones=stained, card="another card v2"),
    ]
    head = Head("Lightening, week 3", "Tuesday evening " * 4, "Rita", "24 November 2026", (0, 5, 22, 75))
    return compare_page(compare(looks), {one.photo: strip() for one in looks}, head)


PAGES = {
    "two": lambda: compare_page(compare([DARK, LIGHT]), {DARK.photo: strip(), LIGHT.photo: strip()}),
    "same": lambda: compare_page(compare([DARK, DARK]), {}),
    "many": many,
}


@pytest.fixture(params=PAGES)
def sheet(request, tmp_path) -> str:
    """Return the address of a page."""
    file = tmp_path / "sheet.html"
    file.write_text(PAGES[request.param](), encoding="utf-8")
    return file.as_uri()


def test_it_fits_a_phone_and_a_desk_and_has_no_barrier(browse, sheet):
    page = browse(sheet, PHONE)
    for size, dark, contrast in (
        (PHONE, False, None),
        (DESK, False, "color-contrast"),
        (DESK, True, "color-contrast"),
    ):
        show_in(page, size, dark=dark)
        assert not sideways(page)
        assert barriers(page, contrast=contrast) == []


@pytest.mark.usefixtures("worded")
def test_it_is_one_sheet_of_paper(browse, sheet):
    page = browse(sheet)
    for paper in ("A4", "Letter"):
        (text,) = printed(page, paper)
        assert "5.2" in text or "4.2" in text
        assert "ΔE" not in text  # colour science is folded away, on paper too
        if "week3" in text:
            told = (say("head.student", name="Rita"), "24 November 2026", "22 min", "1 h 15 min")
            assert all(flat(one) in text for one in told)
