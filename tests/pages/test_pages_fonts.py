"""Pages on machines with other fonts: none at all, or one that is far wider than any that people read in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pypdf
import pytest
from batchrecords import strand, strip
from curves import look, slowing

from browser import DESK, PHONE, Browse, Chromium, browsing
from readings import STAIN
from strandgauge.change.compare import compare
from strandgauge.show.pages.compare import compare_page
from strandgauge.show.pages.follow import follow_page
from strandgauge.show.pages.render import FONT

WIDER = 1.3
LONG = "a-very-long-name-of-a-photo-that-somebody-gave-it-" * 3 + ".jpg"
OWN_FONT = re.compile(r"@font-face \{.*?\}")


def widened(file: Path) -> None:
    """Write the pages' own letters to a file, every one of them wider."""
    from fontTools.ttLib import TTFont
    from fontTools.varLib.instancer import instantiateVariableFont

    font = instantiateVariableFont(TTFont(FONT), {"wght": 600})
    del font["GPOS"]
    for name, (advance, bearing) in font["hmtx"].metrics.items():
        font["hmtx"].metrics[name] = (round(advance * WIDER), round(bearing * WIDER))
        glyph = font["glyf"][name]
        if glyph.isComposite():
            for part in glyph.components:
                part.x = round(part.x * WIDER)
        elif glyph.numberOfContours:
            glyph.coordinates.scale((WIDER, 1))
            glyph.recalcBounds(font["glyf"])
    for record in font["name"].names:
        if record.nameID in (1, 4, 6, 16):
            record.string = "Wide"
    font.flavor = None
    font.save(file)


@pytest.fixture(scope="module")
def machines(chromium: Chromium, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Chromium]]:
    """Return a browser for each set of fonts: this machine's, none, a wide one alone."""
    with ExitStack() as stack:
        found = {"this": chromium}
        for kind in ("none", "wide"):
            home = tmp_path_factory.mktemp(kind)
            (home / "fonts").mkdir()
            if kind == "wide":
                widened(home / "fonts" / "wide.ttf")
            settings = home / "fonts.conf"
            settings.write_text(
                f"<fontconfig><dir>{home / 'fonts'}</dir><cachedir>{home / 'cache'}</cachedir></fontconfig>"
            )
            found[kind] = stack.enter_context(chromium.another(FONTCONFIG_FILE=str(settings)))
        yield found


@pytest.fixture(params=["this", "wide"])
def on_machine(request, machines) -> Iterator[Browse]:
    """Return what opens pages on this machine and on the one that differs most; on all of them all looks the same."""
    with browsing(machines[request.param]) as opened:
        yield opened


def follow_sheet() -> str:
    made = slowing(looks=tuple(look(5 + 4 * i, 5.2 + 0.5 * i) for i in range(8)))
    return follow_page(
        made,
        [strand(one.level, photo=one.photo) for one in made.looks],
        {one.photo: strip(round(one.level)) for one in made.looks},
    )


def compare_sheet() -> str:
    """Return a full page: four strands, stains, a name that is far too long."""
    looks = [strand(4.2), strand(6.9, photo=LONG), strand(8.4, 1.0, photo="third.jpg")]
    last = strand(9.0, photo="last.jpg")
    stained = tuple(replace(zone, stain=STAIN) for zone in last.zones)
    looks.append(replace(last, zones=stained, card="another card v2"))
    return compare_page(compare(looks), {one.photo: strip(5) for one in looks})


SHEETS = {"compare": compare_sheet(), "follow": follow_sheet()}


@pytest.fixture(params=SHEETS)
def sheet(request) -> str:
    return SHEETS[request.param]


def sheets_of_paper(page, paper: str) -> int:
    return len(pypdf.PdfReader(BytesIO(page.pdf(format=paper))).pages)


def fitted(page) -> float:
    """Return how much smaller than it was meant a page is printed."""
    return float(page.evaluate("document.documentElement.style.getPropertyValue('--fit')"))


def saved(sheet: str, folder: Path) -> str:
    file = folder / "sheet.html"
    file.write_text(sheet, encoding="utf-8")
    return file.as_uri()


def layout(page) -> list[float]:
    """Return where every piece of a page ends."""
    page.evaluate("document.fonts.ready.then(() => 0)")
    return page.evaluate(
        """[...document.querySelectorAll("body *")].map((e) => e.getBoundingClientRect())
           .flatMap((box) => [box.right, box.bottom]).map(Math.round)"""
    )


def test_it_is_one_sheet_with_and_without_script(on_machine, sheet, tmp_path):
    for script in (True, False):
        page = on_machine(saved(sheet, tmp_path), script=script)
        assert [sheets_of_paper(page, paper) for paper in ("A4", "Letter")] == [1, 1]


def test_it_looks_the_same_everywhere(machines, sheet, tmp_path):
    seen = []
    for machine in machines.values():
        with browsing(machine) as opened:
            seen.append(layout(opened(saved(sheet, tmp_path))))
    assert seen[0] == seen[1] == seen[2]


def test_a_reader_that_heeds_no_font_of_ours_gets_one_sheet_all_the_same(machines, sheet, tmp_path):
    bare, count = OWN_FONT.subn("", sheet)
    assert count == 1
    for size in (DESK, PHONE):
        with browsing(machines["wide"]) as opened:
            page = opened(saved(bare, tmp_path), size)
            assert [sheets_of_paper(page, paper) for paper in ("A4", "Letter")] == [1, 1]
            assert 0.7 < fitted(page) <= 1.0


def test_a_page_with_more_to_say_than_its_sheet_holds_is_printed_smaller(browse, tmp_path):
    looks = [strand(4.2 + 0.8 * place, photo=f"look-{place}.jpg") for place in range(6)]
    address = saved(compare_page(compare(looks), {one.photo: strip(5) for one in looks}), tmp_path)
    assert sheets_of_paper(browse(address, script=False), "Letter") == 2
    page = browse(address)
    assert [sheets_of_paper(page, paper) for paper in ("A4", "Letter")] == [1, 1]
    assert 0.7 < fitted(page) < 1.0
