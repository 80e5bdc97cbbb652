"""The templates' environment, whichever threads ask it."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from threading import Lock

import jinja2

from strandgauge.show.pages.render import environment
from strandgauge.web.draw import compile_pages, templates


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


def test_a_server_has_every_page_compiled_before_it_answers(monkeypatch):
    """Then no request parses a template beside another thread that is in the parser."""
    compile_pages()

    def refuse(self, source, **options):
        raise AssertionError("compiled while it was served")

    monkeypatch.setattr(jinja2.Environment, "compile", refuse)
    for made in (environment(), templates()):
        names = made.list_templates(extensions=["j2"])
        assert len(names) > 5
        assert all(made.get_template(name) for name in names)
