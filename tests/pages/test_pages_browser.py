"""The fixtures themselves: what goes wrong in a page is seen, and the browser keeps out of other tests' way."""

from __future__ import annotations

import asyncio

import pytest


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        ("<script>console.error('no')</script>", "console: no"),
        ("<script>undefinedFunction()</script>", "error: "),
        ("<img src='http://elsewhere.example/dot.gif' alt=''>", "request: http://elsewhere.example/dot.gif"),
    ],
)
def test_a_fault_in_a_page_is_seen(browse, tmp_path, content, kind):
    file = tmp_path / "page.html"
    file.write_text(f"<!doctype html><meta charset=utf-8><title>x</title>{content}", "utf-8")
    browse(file.as_uri()).wait_for_load_state("networkidle")
    assert any(fault.startswith(kind) for fault in browse.faults)
    browse.faults.clear()  # they were asked for


def test_other_tests_may_run_event_loops_while_the_browser_lives(chromium):
    assert chromium.browser.is_connected()

    async def nothing() -> str:
        return "done"

    assert asyncio.run(nothing()) == "done"
    with chromium.awake() as browser:
        assert browser.version
