"""Whether a surer reading would settle what is left open, and what would make it so.

A level that is needed but lies within the interval of the level read leaves it open whether the hair is there. Where
another look would rather settle that than not, it is worth more than lightener on a guess. What each way leaves of
the interval comes with the reading; none of them is proposed where it would not be enough.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from strandgauge.codes.bounds import Share
from strandgauge.codes.facts import Note, note
from strandgauge.judge.outlook import BaseZone, Outlook
from strandgauge.reading.model import COVERAGE, Way

_NOTES: dict[Way, Callable[[str, float, float], Note]] = {
    "turn-card": lambda zone, now, then: note("turn-card", zone=zone, now=now, then=then),
    "softer-light": lambda zone, now, then: note("softer-light", zone=zone, now=now, then=then),
    "measured-print": lambda zone, now, then: note("measured-print", zone=zone, now=now, then=then),
}


class Doubt(NamedTuple):
    """A level that is needed, and the level read."""

    zone: str
    short: float
    """Levels by which the hair is darker than what is needed; below zero where it is lighter."""
    sd: float


def surer(doubts: Iterable[Doubt], shares: Iterable[tuple[Way, Share]]) -> Note | None:
    """Return the way that settles most of what is open, the zone it is settled for and the interval's half-widths.

    With the need at the edge of the interval to be, the further look's own mean settles it as likely as not.
    """
    opened = [one for one in doubts if abs(one.short) < COVERAGE * one.sd]
    best: tuple[Way, Share, list[Doubt]] | None = None
    for way, share in shares:
        settled = [one for one in opened if abs(one.short) >= COVERAGE * share * one.sd]
        if settled and (best is None or len(settled) > len(best[2])):
            best = way, share, settled
    if best is None:
        return None
    way, share, settled = best
    least = min(settled, key=lambda one: abs(one.short) / one.sd)
    now = COVERAGE * least.sd
    return _NOTES[way](least.zone, round(now, 2), round(share * now, 2))


def surer_outlook(outlook: Outlook, bases: Iterable[BaseZone]) -> Note | None:
    """Return what would settle whether the hair is light enough, where it is open and nothing forbids to go on."""
    if outlook.verdict == "true" or outlook.does("stop-condition"):
        return None
    zones = outlook.own_zones
    doubts = [
        Doubt(zone.name, zone.needs.level - zone.level, zone.level_sd)
        for zone in zones
        if zone.needs is not None and zone.verdict != "true" and zone.hair not in ("dyed", "toned")
    ]
    shares = next((base.ways for base in bases if base.ways), ())
    return surer(doubts, shares)
