"""Invented readings and card checks for the tests of reports and of the command line."""

from __future__ import annotations

from strandgauge.codes.facts import note
from strandgauge.hair.stain import Stain
from strandgauge.reading.model import CardCheck, CardFit, PatchCheck, Reading, ZoneReading


def zone(name="overall", level=8.2, lab=(57.5, 8.2, 35.9), **changes) -> ZoneReading:
    """Return a plausible zone: a yellow-orange strand part-way up."""
    values = {
        "name": name,
        "lab": lab,
        "lab_sd": (1.6, 0.9, 1.4),
        "lab_as_lit": (59.1, 8.9, 38.2),
        "lightness_spread": 3.1,
        "level": level,
        "level_sd": 0.21,
        "level_shares": {"7": 0.07, "8": 0.62, "9": 0.31},
        "undertone": "yellow-orange",
        "chroma": 36.8,
        "hue_deg": 77.1,
        "yellowness_e313": 92.4,
        "stain": None,
    }
    return ZoneReading(**(values | changes))


def reading(levels=(7.4, 8.4, 8.6), **changes) -> Reading:
    """Return a plausible reading with the zones' levels as given."""
    labs = ((51.0, 10.1, 36.2), (60.4, 6.9, 35.0), (62.6, 5.8, 34.1))
    names = ("root", "mids", "ends")
    zones = tuple(map(zone, names, levels, labs))
    values = {
        "photo": "second-visit.jpg",
        "card": "strand card A6 version 1",
        "card_fit": CardFit(0.82, 2.31, 1.12, 14.0),
        "overall": zone(),
        "zones": zones,
        "notes": (note("print-not-measured"),),
        "ladder": "lifted hair",
    }
    return Reading(**(values | changes))


STAIN = Stain("violet", 305.0, 11.2)


def check(*, trusted=True, problems=()) -> CardCheck:
    """Return a plausible card check."""
    patches = tuple(
        PatchCheck(f"{row}{column}", (50.0, 0.0, 0.0), (50.6, 0.2, -0.4), 0.7, 0.9)
        for row in "ABCD"
        for column in range(1, 13)
    )
    return CardCheck("table.jpg", "strand card A6 version 1", trusted, tuple(problems), 12.5, patches)
