"""The human words for what a reading's numbers mean: evenness, warmth, uncertainty, and the standing caution.

The limits below are this project's own choice; no published scale for them is known.
"""

from __future__ import annotations

from dataclasses import dataclass

from strandgauge.reading.model import COVERAGE, Reading, ZoneReading
from strandgauge.words import say

CAUTION = (
    "This reads colour, not condition: a photo cannot show whether hair is strong enough. "
    "Do a strand test with the whole recipe, and follow the makers' directions."
)

STAIN_MEANING = (
    "colour off the natural lift path, left by old dye or a tinted product; more lightener may not shift it."
)

EVENNESS_LIMITS: tuple[tuple[float, str], ...] = (
    (0.6, "even"),
    (1.2, "slightly uneven"),
    (2.5, "uneven"),
    (float("inf"), "very uneven"),
)
"""Word for a range of levels along the strand below each limit."""

WARMTH_LIMITS: tuple[tuple[float, str], ...] = (
    (6.0, "hardly any warmth"),
    (15.0, "little warmth"),
    (26.0, "moderate warmth"),
    (34.0, "strong warmth"),
    (float("inf"), "very strong warmth"),
)
"""Word for a C*ab below each limit, for warm hues."""
_WARM_HUES = (30.0, 110.0)
"""Hue angles, degrees, from red to greenish yellow, that lifted hair shows; pink and green are no warmth."""


def zone_name(zone: str) -> str:
    """Name a zone: root, mids, ends or overall."""
    return say(f"zone.{zone}")


@dataclass(frozen=True, slots=True)
class Evenness:
    """How even a strand is."""

    word: str
    level_range: float
    """Lightest zone's level minus the darkest zone's."""
    detail: str
    """Which zone stands out and by how much; empty for an even strand."""


def evenness(reading: Reading) -> Evenness:
    """Judge evenness along the strand by the range of the three zones' levels."""
    zones = sorted(reading.zones, key=lambda zone: zone.level)
    darkest, middle, lightest = zones
    spread = lightest.level - darkest.level
    word = _word_for(spread, EVENNESS_LIMITS)
    if word == EVENNESS_LIMITS[0][1]:
        return Evenness(word, spread, "")
    if middle.level - darkest.level > lightest.level - middle.level:
        odd, rest, side = darkest, (middle.level + lightest.level) / 2, "darker"
    else:
        odd, rest, side = lightest, (middle.level + darkest.level) / 2, "lighter"
    verb = "is" if odd.name == "root" else "are"
    return Evenness(word, spread, f"{zone_name(odd.name)} {verb} {abs(odd.level - rest):.1f} {side}")


def warmth(zone: ZoneReading) -> str:
    """Say how much warmth is left in a zone."""
    low, high = _WARM_HUES
    if not low <= zone.hue_deg <= high:
        return WARMTH_LIMITS[0][1] if zone.chroma < WARMTH_LIMITS[0][0] else "no warmth"
    return _word_for(zone.chroma, WARMTH_LIMITS)


def level_interval(zone: ZoneReading) -> str:
    """Write a level with the half-width of its 95 % interval, such as '8.2 ± 0.4'."""
    return f"{zone.level:.1f} ± {COVERAGE * zone.level_sd:.1f}"


def shares(zone: ZoneReading, *, least: float = 0.05) -> str:
    """Write the shares of levels from dark to light, such as '7: 7 %, 8: 62 %, 9: 31 %'."""
    ordered = sorted(zone.level_shares.items(), key=lambda item: int(item[0]))
    return ", ".join(f"{level}: {100 * share:.0f} %" for level, share in ordered if share >= least)


def headline(reading: Reading) -> tuple[str, ...]:
    """Return the answer in five seconds: level, evenness, undertone, warmth, stains; one phrase each.

    Where all of the strand is stained, its colour says nothing on the warmth that lightener has left.
    """
    even = evenness(reading)
    answer = [
        f"Level {level_interval(reading.overall)}",
        f"{even.word} ({even.detail})" if even.detail else even.word,
    ]
    if not all(zone.stain for zone in reading.zones):
        answer += [reading.overall.undertone, warmth(reading.overall)]
    return (*answer, *stains(reading))


def stains(reading: Reading) -> tuple[str, ...]:
    """Name each stain and where it lies, such as 'green stain (mids, ends)' or 'pink stain throughout'."""
    places: dict[str, list[str]] = {}
    for zone in reading.zones:
        if zone.stain is not None:
            places.setdefault(zone.stain.hue, []).append(zone_name(zone.name))
    overall = reading.overall.stain
    if overall is not None and not places:
        places[overall.hue] = [zone_name("overall")]
    return tuple(
        f"{hue} stain throughout" if len(names) == len(reading.zones) else f"{hue} stain ({', '.join(names)})"
        for hue, names in places.items()
    )


def _word_for(value: float, limits: tuple[tuple[float, str], ...]) -> str:
    return next(word for limit, word in limits if value < limit)
