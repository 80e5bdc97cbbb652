"""The templates' environment, whichever threads ask it."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from threading import Lock

import jinja2

from strandgauge.show.pages.render import environment
from strandgauge.web.draw import templates


def test_templates_are_compiled_one_at_a_time_by_all_threads_and_pages(monkeypatch):
    """Python 3.11's parser counts its depth for all threads together, and fails where two are in it."""
    within, free = [], Lock()

    def compile_slowly(self, source, **options):
        within.append(free.acquire(blocking=False))
        time.sleep(0.02)
        free.release()
        return source

    monkeypatch.setattr(jinja2.Environment, "compile", compile_slowly)
    both = [environment(), templates()] * 2
    with ThreadPoolExecutor(4) as threads:
        made = list(threads.map(lambda one: one.compile("page"), both))
    assert made == ["page"] * 4
    assert within == [True] * 4
