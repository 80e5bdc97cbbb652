"""The sheet that shows strands side by side: what changed, for one look from a step away, and to print."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from strandgauge.change.compare import Change, Part, Quantity, Step
from strandgauge.colour.cielab import Lab
from strandgauge.reading.model import Reading, ZoneReading
from strandgauge.show.pages.head import Head
from strandgauge.show.pages.render import minutes, render
from strandgauge.words import change as comparewords
from strandgauge.words import reading as words
from strandgauge.words import say, sentence
from strandgauge.words.change import ShownStep, shown


@dataclass(frozen=True, slots=True)
class ShownStrand:
    """One strand as it is shown."""

    title: str
    photo: str
    strip: bytes | None
    picture_words: str
    level: str
    zones: tuple[tuple[str, Lab, str], ...]
    """Name, colour and words of root, mids and ends."""
    tags: str
    minutes: str
    """How long after the lightener went on; empty where it is not known."""


@dataclass(frozen=True, slots=True)
class ShownZone:
    """One row of the table of zones."""

    name: str
    before: tuple[Lab, str]
    after: tuple[Lab, str]
    level: Quantity
    level_text: str
    difference: str
    difference_changed: bool
    parts: tuple[tuple[str, bool], ...]
    """Lightness, chroma, hue, C*ab and yellowness: text, and whether it is more than noise."""


@dataclass(frozen=True, slots=True)
class ShownRow:
    """One row of the table from one look to the next."""

    names: str
    phrases: tuple[str, ...]


def compare_page(change: Change, strips: Mapping[str, bytes], head: Head | None = None) -> str:
    """Return the page of a change: the last reading against the first, and what came between.

    Parameters
    ----------
    change : what `strandgauge.change.compare.compare` found.
    strips : of each photo's name the picture by `strandgauge.show.picture.strip.strip_jpeg`; a photo without one
        is shown as colour fields.
    head : title, class, student, date and minutes, as far as they are known.
    """
    head = head or Head()
    whole = shown(change, change.since_first[-1])
    first, *others = comparewords.headline(whole)
    return render(
        "compare.html.j2",
        change=change,
        head=head,
        answer=answer(whole.step),
        first=first,
        others=others,
        sentences=comparewords.sentences(whole),
        strands=[_strand(change, place, strips, head) for place in range(len(change.readings))],
        zones=_zones(whole),
        rows=[_row(change, step) for step in change.since_previous] if len(change.readings) > 2 else [],
        one_in_twenty=say("change.one-in-twenty"),
    )


def answer(step: Step) -> tuple[str, str]:
    """Return the shape (of the macro ``icon``) and the word of the answer."""
    level = step.overall.level
    if level.measurable:
        return ("go" if level.change > 0 else "turn"), sentence(comparewords.verdict(level))
    return ("turn", sentence(say("verdict.changed"))) if step.anything else ("near", say("change.same"))


def _strand(change: Change, place: int, strips: Mapping[str, bytes], head: Head) -> ShownStrand:
    reading = change.readings[place]
    title = _title(place, len(change.readings))
    level = words.level_interval(reading.overall)
    return ShownStrand(
        title=title,
        photo=reading.photo,
        strip=strips.get(reading.photo),
        picture_words=f"{title}: the strand, root end on the left; level {level}, "
        f"{words.tone(reading.overall)}",
        level=level,
        zones=tuple(
            (words.zone_name(zone.name), zone.lab, f"{zone.level:.1f}, {words.tone(zone)}")
            for zone in reading.zones
        ),
        tags="read wet, dry estimate" if reading.wet else "",
        minutes=minutes(head.minutes[place]) if head.minutes else "",
    )


def _zones(one: ShownStep) -> list[ShownZone]:
    def ordered(reading: Reading) -> tuple[ZoneReading, ...]:
        return (*reading.zones, reading.overall)

    rows = []
    for zone, before, after in zip(
        (*one.step.zones, one.step.overall), ordered(one.before), ordered(one.after), strict=True
    ):
        colour = zone.colour
        parts: tuple[tuple[Part | Quantity, int], ...] = (
            (colour.lightness, 1),
            (colour.chroma, 1),
            (colour.hue, 1),
            (zone.chroma, 0),
            (zone.yellowness_e313, 0),
        )
        rows.append(
            ShownZone(
                words.zone_name(zone.name),
                (before.lab, f"{before.level:.1f}"),
                (after.lab, f"{after.level:.1f}"),
                zone.level,
                comparewords.signed(zone.level),
                comparewords.difference(zone),
                colour.measurable,
                tuple((comparewords.signed(part, decimals), part.measurable) for part, decimals in parts),
            )
        )
    return rows


def _row(change: Change, step: Step) -> ShownRow:
    one = shown(change, step)
    names = " → ".join(_title(place, len(change.readings)) for place in (step.before, step.after))
    return ShownRow(names, comparewords.headline(one))


def _title(place: int, count: int) -> str:
    """Name a reading by its place: before, after, or a numbered after."""
    if place == 0:
        return "Before"
    return "After" if count == 2 else f"After {place}"
