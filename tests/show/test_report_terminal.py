"""The terminal text keeps to the terminal: its width, its colours, and words beside every swatch."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import partial

import pytest
from rich.console import Console

import readings
from strandgauge.codes.facts import Note, note
from strandgauge.colour.srgb import hex_colour
from strandgauge.show.terminal.reading import print_check, print_reading
from strandgauge.words import said, say, sentence


def printed(result, *, width=100, terminal=False, full=False, **options) -> str:
    file = io.StringIO()
    console = Console(file=file, width=width, force_terminal=terminal, highlight=False, **options)
    (partial(print_check, full=full) if hasattr(result, "patches") else print_reading)(result, console)
    return file.getvalue()


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_no_line_is_wider_than_the_terminal(width):
    for result in (readings.reading(), readings.check()):
        assert max(map(len, printed(result, width=width, full=True).splitlines())) <= width


def test_swatches_are_the_colours_read_and_only_where_the_terminal_can():
    reading = readings.reading()
    colourful = printed(reading, terminal=True, color_system="truecolor")
    for zone in reading.zones:
        red, green, blue = (int(hex_colour(zone.lab)[at : at + 2], 16) for at in (1, 3, 5))
        assert f"48;2;{red};{green};{blue}m" in colourful
    for plain in (
        printed(reading),
        printed(reading, terminal=True, color_system="truecolor", no_color=True),
        printed(reading, terminal=True, color_system="standard"),
    ):
        assert ";48;" not in plain
        assert "[48;" not in plain
        assert "yellow-orange" in plain


@pytest.mark.parametrize(
    ("lab", "expected"), [((100, 0, 0), "#ffffff"), ((0, 0, 0), "#000000"), ((53.585, 0, 0), "#808080")]
)
def test_hex_colour(lab, expected):
    """Expected from IEC 61966-2-1: 128/255 is 21.586 % of linear light, L* 53.585 (CIE 15)."""
    assert hex_colour(lab) == expected


def test_stain_wet_hair_and_notes_are_said():
    text = printed(readings.reading(overall=readings.zone(stain=readings.STAIN), wet=True), width=300)
    stain = say("reading.somewhere", what=say("reading.stain", hue="violet"), places=say("zone.overall"))
    assert stain in text.splitlines()[1]
    assert say("reading.stain-meaning", stain=sentence(stain)) in text
    assert say("reading.wet") in text
    assert said(readings.reading().notes[0]) in text


def test_check_gives_verdict_then_each_problem_with_its_remedy():
    problem = Note("glare", "refusal", (("said", "A lamp mirrors on patch B3."),))
    uneven = Note("uneven", "caution", (("percent", 70.0),))
    check = replace(readings.check(trusted=False, problems=[problem]), cautions=(uneven,))
    text = printed(check, width=300)
    said_in_order = [
        say("check.not-trusted"),
        said(problem),
        say("remedy.glare"),
        said(uneven),
        say("mend.uneven"),
        say("check.found", card=check.card, uneven=12.5),
        say("check.full"),
    ]
    places = [text.index(one) for one in said_in_order]
    assert places == sorted(places)
    assert "D12 " not in text
    assert "D12 " in printed(check, full=True)
    assert say("check.trusted") in printed(readings.check()).splitlines()[1]


def test_what_would_settle_a_shade_is_said_below_the_numbers():
    file, way = io.StringIO(), note("turn-card", zone="root", now=0.8, then=0.6)
    print_reading(readings.reading(), Console(file=file, width=300, highlight=False), way)
    assert said(way) in file.getvalue()
    assert said(way) not in printed(readings.reading(), width=300)
