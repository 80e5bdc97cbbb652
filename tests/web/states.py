"""A logbook with strands in every state, for the tests of the screens and for pictures of them.

As a program, ``python tests/web/states.py FOLDER [WIDTH HEIGHT] [dark] [screen]`` makes a picture of every screen,
and ``python tests/web/states.py --docs`` those that the docs show.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from phonesite import SAMPLES, Site, serving

from strandgauge.web.service import Sent

if TYPE_CHECKING:
    from playwright.sync_api import Browser

HOSTILE = '"><script>alert(1)</script><b>{{7*7}}'


def fill(site: Site, odd: str = HOSTILE) -> dict[str, str]:
    """Enter strands in every state; return the paths of all screens by what they show."""
    book = site.logbook
    lifting = site.strand(odd, ago=20.0)
    early = site.look(lifting, "marta-1005.jpg", ago=15.0)
    book.set_note(site.look(lifting, "marta-1022.jpg", keep_photo=True), odd)
    far = site.strand("Ines", ago=12.0, target="pastel pink", limit_minutes=None)
    site.look(far, "uneven.jpg")
    over = site.strand("Ruth", ago=61.0, target="rose")
    site.look(over, "turned-a.jpg", ago=8.0)
    plain = site.strand("Olga", target=None, ago=5.0)
    site.look(plain, "stained.jpg")
    gummy = site.strand("Lena")
    site.service.set_stretch(site.look(gummy, "wet.jpg", wet=True), "gummy")
    ready = site.strand("Ada", ago=56.0)
    site.look(ready, "marta-1041.jpg")
    overdue = site.strand("Rea the elder", ago=40.0, limit_minutes=None)
    site.look(overdue, "marta-1005.jpg", ago=35.0)
    rinsed = site.strand("Mina", ago=45.0)
    site.look(rinsed, "marta-1022.jpg", ago=20.0)
    book.update_strand(rinsed, rinsed=site.service.now())
    dried = site.strand("Tove", ago=70.0)
    site.look(dried, "marta-1022.jpg", ago=50.0)
    book.update_strand(dried, rinsed=site.service.now())
    site.look(dried, "marta-1041.jpg")
    done = site.strand("Una", ago=90.0)
    book.update_strand(done, rinsed=site.service.now())
    site.look(done, "marta-1041.jpg", result=True)
    damaged = site.strand("Vera")
    site.look(damaged, "marta-1022.jpg", ago=3.0)
    with book._change() as connection:
        connection.execute("UPDATE checks SET reading = '{' WHERE strand_id = ?", (damaged,))
    fresh = site.strand("Willa", ago=1.0)
    gone = site.strand("Zoe")
    book.put_in_bin("strand", gone)
    quick = site.service.look(Sent(photo=(SAMPLES / "uneven.jpg").read_bytes()))
    client = book.find_client(odd).id
    return {
        "today": "/today",
        "wall": "/wall",
        "new": "/strands/new",
        "settings": f"/strands/{lifting}/settings",
        "go on": f"/strands/{lifting}",
        "far": f"/strands/{far}",
        "time is up": f"/strands/{over}",
        "no shade": f"/strands/{plain}",
        "gummy": f"/strands/{gummy}",
        "ready": f"/strands/{ready}",
        "plan": f"/strands/{lifting}/plan",
        "plan far": f"/strands/{far}/plan",
        "trying": f"/strands/{ready}?target=lavender&bowl=45",
        "overdue": f"/strands/{overdue}",
        "rinsed": f"/strands/{rinsed}",
        "dried": f"/strands/{dried}",
        "done": f"/strands/{done}",
        "damaged": f"/strands/{damaged}",
        "fresh": f"/strands/{fresh}",
        "earlier": f"/looks/{early}",
        "quick": f"/quick/{quick.key}",
        "clients": "/clients",
        "client": f"/clients/{client}",
        "bin": "/bin",
        "missing": "/looks/9999",
    }


DOCS = {
    "phone-today": ("today", False),
    "phone-answer": ("far", False),
    "phone-ready": ("dried", True),
    "phone-stop": ("gummy", False),
    "phone-new": ("new", False),
    "phone-earlier": ("earlier", False),
}
"""The pictures in the docs: which screen, and whether in the dark."""


@contextmanager
def opened() -> Iterator[tuple[Site, dict[str, str], Browser]]:
    """Yield a salon in every state, and a browser."""
    from playwright.sync_api import sync_playwright

    with (
        tempfile.TemporaryDirectory() as place,
        serving(Path(place) / "book.sqlite3") as site,
        sync_playwright() as playwright,
    ):
        chromium = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        yield site, fill(site, "Marta"), chromium
        chromium.close()


def pictures(folder: Path, width: int, height: int, *, dark: bool = False, whole: bool = True) -> None:
    """Make a picture of every screen, as high as its content or as the window."""
    folder.mkdir(parents=True, exist_ok=True)
    with opened() as (site, paths, chromium):
        for name, path in paths.items():
            shoot(
                chromium,
                site.address + path,
                folder / f"{name.replace(' ', '-')}-{width}.png",
                (width, height),
                dark=dark,
                whole=whole,
            )


def pictures_for_docs(folder: Path) -> None:
    """Make the pictures that the docs show."""
    with opened() as (site, paths, chromium):
        for name, (state, dark) in DOCS.items():
            shoot(chromium, site.address + paths[state], folder / f"{name}.png", (360, 740), dark=dark)
        shoot(chromium, site.address + paths["wall"], folder / "phone-wall.png", (1280, 800))


def shoot(
    chromium: Browser,
    address: str,
    file: Path,
    size: tuple[int, int],
    *,
    dark: bool = False,
    whole: bool = False,
) -> None:
    """Make one picture."""
    page = chromium.new_page(
        viewport={"width": size[0], "height": size[1]}, color_scheme="dark" if dark else "light"
    )
    page.goto(address)
    page.evaluate("() => document.fonts.ready.then(() => true)")
    page.wait_for_timeout(200)
    page.screenshot(path=file, full_page=whole)
    page.close()


if __name__ == "__main__":
    if sys.argv[1] == "--docs":
        pictures_for_docs(Path(__file__).parents[2] / "docs" / "pictures")
    else:
        window = [int(text) for text in sys.argv[2:4]] or [360, 740]
        pictures(Path(sys.argv[1]), *window, dark="dark" in sys.argv, whole="screen" not in sys.argv)
