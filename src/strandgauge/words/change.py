"""A change between readings in words, for the terminal and the page alike."""

from __future__ import annotations

from dataclasses import dataclass

from strandgauge.change.compare import Change, Part, Quantity, Step, ZoneChange
from strandgauge.hair.warmth import is_warm, warmth_left
from strandgauge.reading.evenness import evenness
from strandgauge.reading.model import Reading
from strandgauge.words import figure, say, sentence
from strandgauge.words import reading as words


@dataclass(frozen=True, slots=True)
class ShownStep:
    """A step with the two readings it is between."""

    step: Step
    before: Reading
    after: Reading

    @property
    def names(self) -> str:
        """The two photos."""
        return f"{self.before.photo} → {self.after.photo}"

    @property
    def zones(self) -> tuple[tuple[ZoneChange, words.ZoneInWords, words.ZoneInWords], ...]:
        """Each zone's change and what it lies between, the strand overall last."""
        changes = (*self.step.zones, self.step.overall)
        return tuple(zip(changes, words.zones(self.before), words.zones(self.after), strict=True))

    @property
    def evenness_words(self) -> tuple[str, str]:
        """How even the strand was, and is."""
        before, after = (words.evenness_word(evenness(one)) for one in (self.before, self.after))
        return before, after


def shown(change: Change, step: Step) -> ShownStep:
    """Return a step together with its readings."""
    return ShownStep(step, change.readings[step.before], change.readings[step.after])


def verdict(quantity: Quantity | Part) -> str:
    """Name what became of a quantity."""
    return say(f"verdict.{quantity.verdict}")


def headline(one: ShownStep) -> tuple[str, ...]:
    """Return the answer in five seconds: levels gained, evenness, warmth, hue; one phrase each."""
    step = one.step
    if not step.anything:
        return (say("change.nothing"),)
    overall = step.overall
    phrases = _regrowth(step) or [gained(overall)]
    if overall.colour.hue.measurable:
        phrases.append(verdict(overall.colour.hue))
    phrases.append(warmth(one))
    phrases.append(verdict(step.evenness) if step.evenness.measurable else _unchanged("evenness"))
    return (*phrases, *stains(one))


def _regrowth(step: Step) -> list[str]:
    """Name regrowth and how far it reaches, where there is some."""
    grown = step.regrowth
    if grown is None:
        return []
    low, high = (round(100 * end) for end in (grown.low, grown.high))
    reach = say("change.reach", low=low) if low == high else say("change.reach-between", low=low, high=high)
    return [say("change.regrowth", levels=grown.darker, reach=reach)]


def gained(zone: ZoneChange) -> str:
    """Write what a zone gained: levels, or where it is dyed lightness, which then is no level."""
    depth = zone.depth
    if depth is zone.level:
        return levels_gained(depth)
    if not depth.measurable:
        return _unchanged(_depth_name(zone))
    low, high = sorted((abs(depth.low), abs(depth.high)))
    return say("change.lightness", by=abs(depth.change), verdict=depth.verdict, low=low, high=high)


def _depth_name(zone: ZoneChange) -> str:
    return "level" if zone.depth is zone.level else "lightness"


def depths(zone: ZoneChange) -> tuple[str, str, str]:
    """Write a zone's level before and after and what it gained, or where it is dyed its lightness."""
    depth = zone.depth
    if depth is zone.level:
        return figure(depth.before, ".1f"), figure(depth.after, ".1f"), signed(depth)
    return f"L* {depth.before:.0f}", f"L* {depth.after:.0f}", f"L* {signed(depth, 0)}"


def levels_gained(level: Quantity) -> str:
    """Write levels gained with the interval, such as '1.6 levels lighter (0.6 to 2.6)'."""
    if not level.measurable:
        return _unchanged("level")
    low, high = sorted((abs(level.low), abs(level.high)))
    return say("change.levels", levels=abs(level.change), verdict=level.verdict, low=low, high=high)


def _unchanged(what: str) -> str:
    return say("change.unchanged", what=what)


def warmth_name(one: ShownStep) -> str:
    """Return the code of what C*ab is here: warmth, or where there is a stain or a pastel, strength of colour."""
    zones = (one.before.overall, one.after.overall)
    plain = all(is_warm(zone.hue_deg) and zone.stain is None and not zone.is_dyed for zone in zones)
    return "warmth" if plain else "strength"


def _warmth_verdict(one: ShownStep) -> str:
    chroma = one.step.overall.chroma
    if not chroma.measurable or warmth_name(one) != "warmth":
        return chroma.verdict
    return "less-warmth" if chroma.change < 0 else "more-warmth"


def warmth(one: ShownStep) -> str:
    """Say how warmth changed."""
    code = _warmth_verdict(one)
    return _unchanged(warmth_name(one)) if code == "no-change" else say(f"verdict.{code}")


def stains(one: ShownStep) -> list[str]:
    """Say what became of each stain, and where; the overall zone only where no zone of its own shows one."""
    zones = [zone for zone in one.step.zones if zone.stain is not None]
    zones = zones or [zone for zone in (one.step.overall,) if zone.stain is not None]
    told: dict[str, list[str]] = {}
    for zone in zones:
        told.setdefault(_stain_phrase(zone), []).append(words.zone_name(zone.name))
    return [say("change.where", phrase=phrase, places=", ".join(names)) for phrase, names in told.items()]


def _stain_phrase(zone: ZoneChange) -> str:
    assert zone.stain is not None, "only asked of a zone with a stain"
    before, after = zone.stain.before, zone.stain.after
    if before is not None and after is not None and before.hue != after.hue:
        return say("change.stain-turned", before=before.hue, after=after.hue)
    seen = after or before
    return say("change.stain", hue=seen.hue if seen is not None else "", verdict=zone.stain.strength.verdict)


def laggards(step: Step) -> list[str]:
    """Name the zones whose level went another way than the strand's, such as a root that did not lift."""
    odd = [zone for zone in step.zones if zone.depth.verdict != step.overall.depth.verdict]
    return [
        sentence(
            say("change.zone-changed", zone=zone.name, levels=gained(zone))
            if zone.depth.measurable
            else say("change.zone-unchanged", zone=zone.name, what=_depth_name(zone))
        )
        for zone in odd
    ]


def sentences(one: ShownStep) -> list[str]:
    """Return what an educator would say beside the two strands, a sentence each, most important first."""
    step, before, after = one.step, one.before, one.after
    told = [f"{sentence(phrase)}." for phrase in _regrowth(step)] or [_level_sentence(step.overall)]
    told += laggards(step)
    tones = (before.overall.undertone, after.overall.undertone)
    if step.overall.colour.measurable and tones[0] != tones[1]:
        told.append(say("change.undertone-changed", before=tones[0], after=tones[1]))
    elif step.overall.colour.measurable:
        told.append(say("change.undertone-same", now=tones[1]))
    if step.overall.chroma.measurable and warmth_name(one) == "warmth":
        kept = [warmth_left(zone.chroma, zone.hue_deg) for zone in (before.overall, after.overall)]
        told.append(
            sentence(say("change.warmth", warmth=_warmth_verdict(one), before=kept[0], after=kept[1]))
        )
    else:
        told.append(f"{sentence(warmth(one))}.")
    was, now = evenness(before).code, evenness(after).code
    how = step.evenness.verdict
    told.append(
        say("change.evenness-same", now=now, verdict=how)
        if was == now
        else say("change.evenness", before=was, after=now, verdict=how)
    )
    return [*told, *(f"{sentence(phrase)}." for phrase in stains(one))]


def _level_sentence(zone: ZoneChange) -> str:
    level = zone.depth
    if level is not zone.level:
        return say("change.lightness-seen", before=level.before, after=level.after, gained=gained(zone))
    if level.measurable:
        return say("change.level-changed", before=level.before, after=level.after, levels=gained(zone))
    low, high = (figure(end, "+.1f").replace("-", "−") for end in (level.low, level.high))
    return say("change.level-unchanged", before=level.before, after=level.after, low=low, high=high)


def signed(part: Part | Quantity, decimals: int = 1) -> str:
    """Write a change with the half-width of its 95 % interval, such as '+1.6 ± 1.0'."""
    value = part.value if isinstance(part, Part) else part.change
    half = figure((part.high - part.low) / 2, f".{decimals}f")
    return f"{figure(value, f'+.{decimals}f')} ± {half}".replace("-", "−")


def difference(zone: ZoneChange) -> str:
    """Write a colour difference with its interval, such as '11.9 (3.6 to 18)'."""
    colour = zone.colour
    return say("number.between", value=colour.delta_e00, low=colour.low, high=colour.high)
