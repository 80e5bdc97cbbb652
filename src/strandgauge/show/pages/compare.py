"""The sheet that shows strands side by side: what changed, for one look from a step away, and to print."""

from __future__ import annotations

from collections.abc import Mapping

from strandgauge.change.compare import Change, Step
from strandgauge.show.pages.head import Head
from strandgauge.show.pages.render import minutes, render
from strandgauge.words import change as comparewords
from strandgauge.words import reading as words
from strandgauge.words import say, sentence
from strandgauge.words.change import shown


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
    count = len(change.readings)
    return render(
        "compare.html.j2",
        change=change,
        head=head,
        answer=answer(whole.step),
        first=first,
        others=others,
        sentences=comparewords.sentences(whole),
        strands=[
            (_title(place, count), reading, strips.get(reading.photo), _time(head, place))
            for place, reading in enumerate(change.readings)
        ],
        zones=whole.zones,
        rows=[
            (f"{_title(step.before, count)} → {_title(step.after, count)}", shown(change, step))
            for step in (change.since_previous if count > 2 else ())
        ],
        words=words,
        comparewords=comparewords,
        one_in_twenty=say("change.one-in-twenty"),
    )


def answer(step: Step) -> tuple[str, str]:
    """Return the shape (of the macro ``icon``) and the word of the answer."""
    if step.regrowth is not None:
        return "turn", sentence(say("verdict.regrowth"))
    level = step.overall.depth
    if level.measurable and not step.overall.dyed:
        return ("go" if level.change > 0 else "turn"), sentence(comparewords.verdict(level))
    return ("turn", sentence(say("verdict.changed"))) if step.anything else ("near", say("change.same"))


def _time(head: Head, place: int) -> str:
    return minutes(head.minutes[place]) if head.minutes else ""


def _title(place: int, count: int) -> str:
    """Name a reading by its place: before, after, or a numbered after."""
    return say("compare-page.strand" if count == 2 else "compare-page.strand-of-many", place=place)
