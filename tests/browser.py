"""A real browser for tests of pages: one headless Chromium for the whole run, its own clean context for each test.

A folder's conftest takes the fixtures by ``from browser import browse, chromium``. A test fails when the page writes
an error to the console, throws, or asks for anything that is neither a file nor on this machine. Where there is no
Chromium, or no font at all for it, the tests are skipped, and say so.
"""

from __future__ import annotations

import asyncio
import os
import shutil
import subprocess
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import pytest

from strandgauge.codes import catalogue

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request

ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # The two pages behind every window's address bar cost as much as a page of ours. Of two such lists the last one
    # counts, so what Playwright leaves out is named here again.
    "--disable-features=WebUIOmniboxPopup,WebUIOmniboxAimPopup,AimEnabled,AvoidUnnecessaryBeforeUnloadCheckSync,"
    "DestroyProfileOnBrowserClose,HttpsUpgrades,HttpsFirstBalancedModeAutoEnable,LensOverlay,MediaRouter,"
    "OptimizationHints,PaintHolding,PreconnectToSearch,ThirdPartyStoragePartitioning,Translate",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1",
)
SENTENCES = catalogue.entries
PHONE = (360, 740)
DESK = (1280, 800)
_LOCAL_SCHEMES = {"file", "data", "blob", "about"}
_LOCAL_HOSTS = {"localhost", "127.0.0.1", "::1"}


@dataclass(frozen=True)
class Chromium:
    """The browser, and the event loop that drives it."""

    browser: Browser
    loop: asyncio.AbstractEventLoop | None

    @contextmanager
    def awake(self) -> Iterator[Browser]:
        """Lend the browser.

        Playwright's own event loop stays 'running' in this thread for as long as the browser lives, and would make
        `asyncio.run` fail in every other test. So it is only in place while a test of this file's fixtures runs.
        """
        asyncio._set_running_loop(self.loop)
        try:
            yield self.browser
        finally:
            asyncio._set_running_loop(None)

    @contextmanager
    def another(self, **environment: str) -> Iterator[Chromium]:
        """Lend a further browser, as on a machine whose environment has these variables."""
        with self.awake() as browser:
            other = browser.browser_type.launch(
                executable_path=executable(), args=list(ARGUMENTS), env={**os.environ, **environment}
            )
        try:
            yield Chromium(other, self.loop)
        finally:
            with self.awake():
                other.close()


@dataclass
class Browse:
    """Opens pages, and remembers what goes wrong in them."""

    browser: Browser
    faults: list[str] = field(default_factory=list)
    expected: list[str] = field(default_factory=list)
    """Parts of console errors that a test expects, such as 'status of 422'."""
    contexts: list[BrowserContext] = field(default_factory=list)

    def __call__(
        self,
        address: str,
        size: tuple[int, int] = DESK,
        *,
        dark: bool = False,
        script: bool = True,
        **more: Any,
    ) -> Page:
        """Open an address in a context of its own; ``more`` goes to Playwright's ``new_context``."""
        width, height = size
        context = self.browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce",
            java_script_enabled=script,
            **more,
        )
        context.set_default_timeout(90_000)  # the machine may be busy with something else
        self.contexts.append(context)
        context.on("request", self._request)
        context.on("console", self._console)
        context.on("weberror", lambda fault: self.faults.append(f"error: {fault.error}"))
        page = context.new_page()
        page.goto(address)
        return page

    def close(self) -> None:
        """Close every page; what a test does not close itself goes on asking its server until then."""
        while self.contexts:
            self.contexts.pop().close()

    def _request(self, request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in _LOCAL_SCHEMES and parts.hostname not in _LOCAL_HOSTS:
            self.faults.append(f"request: {request.url}")

    def _console(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not any(part in message.text for part in self.expected):
            self.faults.append(f"console: {message.text}")


_running: list[Chromium] = []


def executable() -> str | None:
    """Return where Chromium is; None where it is not."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Chromium]:
    """The browser; the second folder that asks gets the one that the first has started."""
    if _running:
        yield _running[0]
        return
    path = executable()
    if path is None:
        pytest.skip("no chromium on PATH to open pages with (Debian: apt-get install chromium)")
    lister = shutil.which("fc-list")
    if lister is not None and not subprocess.run([lister], capture_output=True).stdout.strip():
        pytest.skip(
            "no font is installed, without which Chromium itself ends at the first text field "
            "(Debian: apt-get install fonts-dejavu-core)"
        )
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(ARGUMENTS))
        shared = Chromium(browser, asyncio._get_running_loop())
        asyncio._set_running_loop(None)
        _running.append(shared)
        try:
            yield shared
        finally:
            _running.clear()
            asyncio._set_running_loop(shared.loop)
            browser.close()


@contextmanager
def browsing(chromium: Chromium) -> Iterator[Browse]:
    """Lend what opens pages in a browser, and see to it that nothing went wrong in them."""
    with chromium.awake() as browser:
        opened = Browse(browser)
        try:
            yield opened
        finally:
            opened.close()
    assert not opened.faults, opened.faults


@pytest.fixture
def browse(chromium: Chromium) -> Iterator[Browse]:
    """``browse(address)`` opens a page; see `Browse`."""
    with browsing(chromium) as opened:
        yield opened


def show_in(page: Page, size: tuple[int, int], *, dark: bool = False) -> None:
    """Show an open page in another window or another room, which costs less than opening it again."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.emulate_media(color_scheme="dark" if dark else "light")


def printed(page: Page, paper: str) -> list[str]:
    """Return the text of each sheet that a page is printed on, without white space, which hangs on the line ends."""
    from io import BytesIO

    import pypdf

    sheets = pypdf.PdfReader(BytesIO(page.pdf(format=paper, print_background=False))).pages
    return [flat(sheet.extract_text()) for sheet in sheets]


def flat(text: str) -> str:
    """Return a text without white space."""
    return "".join(text.split())


def sideways(page: Page) -> int:
    """Return how many pixels a page is wider than its window."""
    return int(page.evaluate("document.documentElement.scrollWidth - window.innerWidth"))


def barriers(
    page: Page, impacts: Collection[str] = ("serious", "critical"), *, contrast: str | None = "color-contrast"
) -> list[str]:
    """Return what axe-core finds that hinders people who see, hear or move otherwise.

    Parameters
    ----------
    impacts : how grave it must be.
    contrast : the rule by which text is judged: "color-contrast" (WCAG AA), "color-contrast-enhanced" (AAA, which
        includes the other), or None, which spares most of the time where only sizes differ from what was judged.
    """
    from axe_playwright_python.sync_playwright import Axe

    rules = {rule: {"enabled": rule == contrast} for rule in ("color-contrast", "color-contrast-enhanced")}
    found = Axe().run(page, options={"rules": rules, "resultTypes": ["violations"]}).response
    assert contrast is None or contrast in {one["id"] for one in found["passes"] + found["violations"]}
    return [
        f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
        for one in found["violations"]
        if one["impact"] in impacts
        for node in one["nodes"]
    ]
