"""A change between readings in plain words, for the terminal and the page alike."""

from __future__ import annotations

from dataclasses import dataclass

from strandgauge.change.compare import NO_CHANGE, Change, Part, Quantity, Step, ZoneChange
from strandgauge.reading.model import Reading, ZoneReading
from strandgauge.words import reading as words

NOTHING = "No measurable change: the two readings agree within their uncertainty."
ONE_IN_TWENTY = (
    "Each number is judged alone, at 95 %: of twenty that did not change, about one is called changed by "
    "chance."
)
_WARM = (30.0, 110.0)
"""Hue angles, degrees, within which C*ab is warmth; as in `report.words`."""


@dataclass(frozen=True, slots=True)
class ShownStep:
    """A step with the two readings it is between."""

    step: Step
    before: Reading
    after: Reading


def shown(change: Change, step: Step) -> ShownStep:
    """Return a step together with its readings."""
    return ShownStep(step, change.readings[step.before], change.readings[step.after])


def anything(step: Step) -> bool:
    """Tell whether anything at all changed by more than its noise."""
    return (
        step.evenness.measurable
        or any(
            quantity.measurable
            for zone in (*step.zones, step.overall)
            for quantity in (zone.level, zone.chroma, zone.yellowness_e313, *_stain(zone))
        )
        or any(zone.colour.verdict != NO_CHANGE for zone in (*step.zones, step.overall))
    )


def _stain(zone: ZoneChange) -> tuple[Quantity, ...]:
    return () if zone.stain is None else (zone.stain.strength,)


def headline(one: ShownStep) -> tuple[str, ...]:
    """Return the answer in five seconds: levels gained, evenness, warmth, hue; one phrase each."""
    step = one.step
    if not anything(step):
        return (NOTHING,)
    overall = step.overall
    phrases = [levels_gained(overall.level)]
    if overall.colour.hue.verdict != NO_CHANGE:
        phrases.append(overall.colour.hue.verdict)
    phrases.append(warmth(one) if overall.chroma.measurable else f"{warmth_name(one)}: {NO_CHANGE}")
    phrases.append(step.evenness.verdict if step.evenness.measurable else f"evenness: {NO_CHANGE}")
    phrases += stains(one)
    return tuple(phrases)


def levels_gained(level: Quantity) -> str:
    """Write levels gained with the interval, such as '1.6 levels lighter (0.6 to 2.6)'."""
    if not level.measurable:
        return f"level: {NO_CHANGE}"
    low, high = sorted((abs(level.low), abs(level.high)))
    many = "level" if f"{abs(level.change):.1f}" == "1.0" else "levels"
    return f"{abs(level.change):.1f} {many} {level.verdict} ({low:.1f} to {high:.1f})"


def warmth_name(one: ShownStep) -> str:
    """Say what C*ab is here: warmth, or the strength of some other colour where there is a stain or a pastel."""
    zones = (one.before.overall, one.after.overall)
    warm = all(_WARM[0] <= zone.hue_deg <= _WARM[1] and zone.stain is None for zone in zones)
    return "warmth" if warm else "strength of colour"


def warmth(one: ShownStep) -> str:
    """Say how warmth changed."""
    chroma = one.step.overall.chroma
    if not chroma.measurable or warmth_name(one) != "warmth":
        return chroma.verdict
    return "less warmth" if chroma.change < 0 else "more warmth"


def stains(one: ShownStep) -> list[str]:
    """Say what became of each stain, and where; the overall zone only where no zone of its own shows one."""
    zones = [zone for zone in one.step.zones if zone.stain is not None]
    zones = zones or [zone for zone in (one.step.overall,) if zone.stain is not None]
    told: dict[str, list[str]] = {}
    for zone in zones:
        assert zone.stain is not None, "only zones with a stain are left"
        told.setdefault(_stain_phrase(zone), []).append(words.zone_name(zone.name))
    return [f"{phrase} ({', '.join(names)})" for phrase, names in told.items()]


def _stain_phrase(zone: ZoneChange) -> str:
    assert zone.stain is not None, "only asked of a zone with a stain"
    before, after = zone.stain.before, zone.stain.after
    if before is not None and after is not None and before.hue != after.hue:
        return f"{before.hue} stain before, {after.hue} now"
    seen = after or before
    return f"{seen.hue if seen is not None else ''} stain: {zone.stain.strength.verdict}"


def laggards(step: Step) -> list[str]:
    """Name the zones whose level went another way than the strand's, such as a root that did not lift."""
    odd = [zone for zone in step.zones if zone.level.verdict != step.overall.level.verdict]
    return [
        f"{words.zone_name(zone.name).capitalize()}: "
        + (f"{NO_CHANGE} in level" if not zone.level.measurable else levels_gained(zone.level))
        + "."
        for zone in odd
    ]


def sentences(one: ShownStep) -> list[str]:
    """Return what an educator would say beside the two strands, a sentence each, most important first."""
    step, before, after = one.step, one.before, one.after
    told = [_level_sentence(step.overall.level), *laggards(step)]
    changed = step.overall.colour.verdict != NO_CHANGE
    tones = (before.overall.undertone, after.overall.undertone)
    if changed and tones[0] != tones[1]:
        told.append(f"The undertone went from {tones[0]} to {tones[1]}.")
    elif changed:
        told.append(f"The undertone is still {tones[1]}.")
    chroma = step.overall.chroma
    name = warmth_name(one)
    if chroma.measurable:
        told.append(f"{warmth(one).capitalize()}: {_from_to(chroma, 0)} in C*ab.")
    else:
        told.append(f"{name.capitalize()}: {NO_CHANGE}.")
    evens = [words.evenness(reading).word for reading in (before, after)]
    was = f"{evens[0]} before, {evens[1]} now" if evens[0] != evens[1] else f"{evens[0]} before and now"
    told.append(f"Evenness: {was}; {step.evenness.verdict}.")
    told += [f"{phrase[:1].upper()}{phrase[1:]}." for phrase in stains(one)]
    return told


def _level_sentence(level: Quantity) -> str:
    if not level.measurable:
        span = f"{level.low:+.1f} to {level.high:+.1f}".replace("-", "−")
        return (
            f"Level {level.before:.1f} before, {level.after:.1f} now: {NO_CHANGE}. The true one may be anything "
            f"from {span}."
        )
    return f"From level {level.before:.1f} to {level.after:.1f}: {levels_gained(level)}."


def _from_to(quantity: Quantity, decimals: int) -> str:
    return f"from {quantity.before:.{decimals}f} to {quantity.after:.{decimals}f}"


def signed(part: Part | Quantity, decimals: int = 1) -> str:
    """Write a change with the half-width of its 95 % interval, such as '+1.6 ± 1.0'."""
    value = part.value if isinstance(part, Part) else part.change
    return f"{value:+.{decimals}f} ± {(part.high - part.low) / 2:.{decimals}f}".replace("-", "−")


def difference(zone: ZoneChange) -> str:
    """Write a colour difference with its interval, such as '11.9 (3.6 to 18)'."""
    colour = zone.colour
    return f"{colour.delta_e00:.1f} ({colour.low:.1f} to {colour.high:.1f})"


def in_words(zone: ZoneReading) -> str:
    """Name a zone's colour: undertone, and a stain where there is one."""
    return f"{zone.undertone}, {zone.stain.hue} stain" if zone.stain else zone.undertone
