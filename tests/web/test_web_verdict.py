"""What is said of the wanted shade while lightener is on."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from strandgauge.judge.nextstep import NextStep
from strandgauge.web.screens import _verdict
from strandgauge.words import say


@pytest.mark.parametrize(
    ("code", "waited_for"),
    [("go-on", True), ("slow", True), ("choose-another", False), ("rinse-part", False)],
)
def test_a_shade_that_is_given_up_is_no_longer_called_not_yet(monkeypatch, code, waited_for):
    monkeypatch.setattr("strandgauge.web.screens.short_verdict", lambda outlook: "what it turns out as")
    step = NextStep("slow", 5.0, code)
    told = _verdict(SimpleNamespace(verdict="out"), SimpleNamespace(running=True), step, step)
    assert told == (say("page.not-yet") if waited_for else "what it turns out as")
