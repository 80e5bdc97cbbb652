"""A reading in words: its headline, evenness, warmth, stains and uncertainty."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from strandgauge.colour.cielab import Lab
from strandgauge.hair.levels import level_at_least
from strandgauge.hair.likely import NO_STAIN
from strandgauge.hair.warmth import warmth_left
from strandgauge.reading.evenness import Evenness, evenness
from strandgauge.reading.model import COVERAGE, Reading, ZoneReading
from strandgauge.words import date, figure, named, say, sentence

NEAR = 0.3
"""Chance from which a word is told beside the likeliest one."""
WIDEST = 0.6
"""Width of an interval of the share of white from which on it says nothing."""


def zone_name(zone: str) -> str:
    """Name a zone: root, mids, ends or overall."""
    return say(f"zone.{zone}")


def caution() -> str:
    """Return what stands under every result."""
    return say("reading.caution")


def evenness_word(even: Evenness) -> str:
    """Name how even a strand is."""
    return say(f"evenness.{even.code}")


def stands_out(even: Evenness) -> str:
    """Say which zone stands out and by how much, such as 'root is 1.1 darker'; empty for an even strand."""
    if even.odd is None:
        return ""
    side = "lighter" if even.apart > 0 else "darker"
    return say("reading.stands-out", zone=even.odd, apart=abs(even.apart), side=side)


def warmth(zone: ZoneReading) -> str:
    """Say how much warmth is left in a zone."""
    return say(f"warmth.{warmth_left(zone.chroma, zone.hue_deg)}")


def warmth_beside(zone: ZoneReading) -> str:
    """Say how much warmth is left in a zone, and whether that is usual at its level."""
    if zone.warmth is None:
        return warmth(zone)
    told = zone.warmth.code
    other = _near(zone.warmth.chances, told)
    code = told if other is None else f"perhaps-{other if told == 'usual' else told}"
    return say(f"warmth-beside.{code}", warmth=warmth(zone), level=max(math.floor(zone.level + 0.5), 1))


def plus_minus(level: float, sd: float) -> str:
    """Write a level and its standard deviation as '8.2 ± 0.4', with the half-width of the 95 % interval."""
    return f"{figure(level, '.1f')} ± {figure(COVERAGE * sd, '.1f')}"


def at_least(level: float) -> str:
    """Write a level that is needed, rounded up to a tenth."""
    return figure(level_at_least(level), ".1f")


def level_interval(zone: ZoneReading) -> str:
    """Write a level with the half-width of its 95 % interval, such as '8.2 ± 0.4'."""
    return plus_minus(zone.level, zone.level_sd)


def depth(zone: ZoneReading) -> str:
    """Write a zone's level, or where dye lies on it its lightness, which then is no level."""
    return lightness(zone) if zone.is_dyed else level_interval(zone)


def depth_named(zone: ZoneReading) -> str:
    """Write the same with the word for it, such as 'level 8.2 ± 0.4' or 'L* 58 ± 5'."""
    return lightness(zone) if zone.is_dyed else say("log.level", level=level_interval(zone))


def lightness(zone: ZoneReading) -> str:
    """Write L* with the half-width of its 95 % interval, such as 'L* 58 ± 5'."""
    return f"L* {zone.lab[0]:.0f} ± {COVERAGE * zone.lab_sd[0]:.0f}"


def shares(zone: ZoneReading, *, least: float = 0.05) -> str:
    """Write the shares of levels from dark to light, such as '7: 7 %, 8: 62 %'; none where dye lies on the hair."""
    if zone.is_dyed:
        return ""
    ordered = sorted(zone.level_shares.items(), key=lambda item: int(item[0]))
    return ", ".join(f"{level}: {100 * share:.0f} %" for level, share in ordered if share >= least)


def tone(zone: ZoneReading) -> str:
    """Name a zone's colour: undertone, what lies on it, and how much of it is white."""
    return ", ".join(filter(None, (undertone(zone), on_it(zone))))


def on_it(zone: ZoneReading) -> str:
    """Name a zone's stain, or toner or dye, and how much of it is white; empty where there is nothing to tell."""
    return ", ".join(filter(None, (stain(zone) or on_top(zone), white_hair(zone))))


def on_top(zone: ZoneReading) -> str:
    """Say that toner or dye lies on a zone without a stain; empty where that is unlikely."""
    if zone.stain is not None or (zone.dye_probability or 0.0) < NEAR:
        return ""
    return say("reading.on-top" if zone.is_dyed else "reading.on-top-perhaps")


def white_hair(zone: ZoneReading) -> str:
    """Say what share of a zone is white hair, or that it cannot be told; empty where that is unlikely."""
    grey = (zone.hair_chances or {}).get("grey", 0.0)
    if zone.white is None or grey < NEAR:
        return ""
    told = zone.white
    if grey < 0.5 or told.high - told.low > WIDEST:
        return say("reading.white-untold")
    return say("reading.white", share=100 * told.share, low=100 * told.low, high=100 * told.high)


def undertone(zone: ZoneReading) -> str:
    """Name a zone's undertone, and the next likely one where it is near."""
    other = _near(zone.undertone_chances, zone.undertone)
    return (
        say("reading.perhaps", word=zone.undertone, other=other) if other else named("colour", zone.undertone)
    )


def stain(zone: ZoneReading) -> str:
    """Name a zone's stain, with its doubt where none or another is near; empty where there is none."""
    if zone.stain is None:
        perhaps = _near(zone.stain_chances, NO_STAIN)
        return say("reading.stain-perhaps", hue=perhaps) if perhaps else ""
    other = _near(zone.stain_chances, zone.stain.hue)
    if other is None:
        return say("reading.stain", hue=zone.stain.hue)
    if other == NO_STAIN:
        return say("reading.stain-perhaps", hue=zone.stain.hue)
    return say("reading.stain-or", hue=zone.stain.hue, other=other)


def _near(chances: dict[str, float] | None, told: str) -> str | None:
    """Return the likeliest other word, where it is likely enough to be told beside the one that is told."""
    others = [(chance, word) for word, chance in (chances or {}).items() if word != told]
    return next((word for chance, word in sorted(others, reverse=True) if chance >= NEAR), None)


@dataclass(frozen=True, slots=True)
class ZoneInWords:
    """A zone as it is shown, whatever the medium."""

    name: str
    lab: Lab
    level: str
    """Or, on dyed hair, the lightness."""
    interval: str
    """The same with the half-width of its 95 % interval."""
    undertone: str
    on_it: str
    """What lies on it, and how much of it is white; empty where there is nothing to tell."""
    shares: str
    numbers: tuple[str, str, str, str, str, str]
    """L*, a*, b*, C*ab, hue and yellowness."""

    @property
    def tone(self) -> str:
        """Undertone, what lies on it, and how much of it is white."""
        return ", ".join(filter(None, (self.undertone, self.on_it)))

    @property
    def lines(self) -> tuple[str, ...]:
        """What is written beside the zone, a line each."""
        return tuple(filter(None, (self.interval, self.undertone, self.on_it)))


def zone_in_words(zone: ZoneReading) -> ZoneInWords:
    """Return all that is said of a zone."""
    lightness, a, b = zone.lab
    return ZoneInWords(
        name=zone_name(zone.name),
        lab=zone.lab,
        level=f"L* {lightness:.0f}" if zone.is_dyed else figure(zone.level, ".1f"),
        interval=depth(zone),
        undertone=undertone(zone),
        on_it=on_it(zone),
        shares=shares(zone),
        numbers=(
            figure(lightness, ".1f"),
            figure(a, ".1f"),
            figure(b, ".1f"),
            figure(zone.chroma, ".1f"),
            f"{zone.hue_deg:.0f}°",
            f"{zone.yellowness_e313:.0f}",
        ),
    )


def zones(reading: Reading) -> tuple[ZoneInWords, ...]:
    """Return root, mids, ends and the strand overall in words."""
    return tuple(zone_in_words(zone) for zone in (*reading.zones, reading.overall))


@dataclass(frozen=True, slots=True)
class InShort:
    """A reading as the row of a list or the card of a gallery shows it."""

    interval: str
    """The level, or where dye lies on it the lightness, with the half-width of its 95 % interval."""
    depth: str
    """The same with the word for it, beginning a line."""
    evenness: str
    stands_out: str
    level_range: float
    undertone: str
    """Empty where stains hide it all over."""
    warmth: str
    chroma: float
    """0 where no warmth is left."""
    stains: tuple[str, ...]
    zones: tuple[ZoneInWords, ...]

    @property
    def colour(self) -> str:
        """Stains, or else the undertone."""
        return "; ".join(self.stains) or self.undertone


def in_short(reading: Reading) -> InShort:
    """Return a reading in a few words."""
    even, overall = evenness(reading), reading.overall
    hidden = all(zone.stain for zone in reading.zones)
    left = warmth_left(overall.chroma, overall.hue_deg)
    return InShort(
        interval=depth(overall),
        depth=say("reading.lightness", lightness=lightness(overall))
        if overall.is_dyed
        else say("reading.level", interval=level_interval(overall)),
        evenness=evenness_word(even),
        stands_out=stands_out(even),
        level_range=even.level_range,
        undertone="" if hidden else undertone(overall),
        warmth=say("warmth.hidden") if hidden else say(f"warmth.{left}"),
        chroma=0.0 if left == "none" and not hidden else overall.chroma,
        stains=stains(reading),
        zones=tuple(zone_in_words(zone) for zone in reading.zones),
    )


def photo_line(reading: Reading, taken: datetime | None) -> str:
    """Name the photo, and when it was taken where that is known."""
    return f"{reading.photo}, {date(taken)}, {taken:%H:%M}." if taken else f"{reading.photo}."


def provenance(reading: Reading) -> str:
    """Say what the numbers of a reading rest on."""
    fit = reading.card_fit
    told = say(
        "reading.provenance",
        card=reading.card,
        ladder=reading.ladder,
        median=fit.delta_e00_median,
        left_out=fit.leave_one_out_mean,
        uneven=fit.light_unevenness_percent,
    )
    return f"{told} {say('reading.wet')}" if reading.wet else told


def is_dyed(reading: Reading) -> bool:
    """Whether dye lies on the strand as a whole, so that its lightness is no level."""
    return reading.overall.is_dyed


def headline(reading: Reading) -> tuple[str, ...]:
    """Return the answer in five seconds: level, evenness, undertone, warmth, stains; one phrase each.

    Where all of the strand is stained, its colour says nothing on the warmth that lightener has left; where dye lies
    on the strand as a whole, its lightness is no level.
    """
    even = evenness(reading)
    odd = stands_out(even)
    whole = reading.overall
    answer = [
        say("reading.lightness", lightness=lightness(whole))
        if is_dyed(reading)
        else say("reading.level", interval=level_interval(whole)),
        say("reading.uneven", evenness=even.code, stands_out=odd) if odd else evenness_word(even),
    ]
    if not (whole.is_dyed or all(zone.stain for zone in reading.zones)):
        answer += [undertone(whole), warmth_beside(whole)]
    return (*answer, *(stains(reading) or _placed(reading, on_top)), *filter(None, [white_hair(whole)]))


def stains(reading: Reading) -> tuple[str, ...]:
    """Name each stain and where it lies, such as 'green stain (mids, ends)' or 'pink stain throughout'."""
    return _placed(reading, stain)


def _placed(reading: Reading, phrase: Callable[[ZoneReading], str]) -> tuple[str, ...]:
    """Say what a phrase tells of each zone, and where; of the whole only where no zone of its own shows it."""
    places: dict[str, list[str]] = {}
    for zone in reading.zones:
        places.setdefault(phrase(zone), []).append(zone_name(zone.name))
    places.pop("", None)
    if not places and (overall := phrase(reading.overall)):
        places[overall] = [zone_name("overall")]
    return tuple(
        say("reading.throughout", what=told)
        if len(names) == len(reading.zones)
        else say("reading.somewhere", what=told, places=", ".join(names))
        for told, names in places.items()
    )


def stain_meanings(reading: Reading) -> tuple[str, ...]:
    """Say of each stain what it means."""
    return tuple(say("reading.stain-meaning", stain=sentence(stain)) for stain in stains(reading))
