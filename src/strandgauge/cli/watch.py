"""``strandgauge watch``: one strand as its photos arrive, its curve kept current on a screen."""

from __future__ import annotations

import sys
import time
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.options import FullKit, WetOption, misuse
from strandgauge.cli.outcome import Session, one_line
from strandgauge.codes.catalogue import say
from strandgauge.errors import StrandgaugeError

if TYPE_CHECKING:
    from strandgauge.judge.moment import Moment
    from strandgauge.watch.strand import WatchedStrand

POLL_SECONDS = 1.0
RING_SECONDS = 30.0
"""How often it rings while somebody has to come at once."""


def watch(
    session: Session,
    open_kit: FullKit,
    what: str,
    page: Annotated[Path, typer.Option()],
    start: str | None = None,
    limit: float | None = None,
    target: str | None = None,
    level: Annotated[float | None, typer.Option(min=1.0, max=14.0)] = None,
    every: Annotated[float, typer.Option(min=1.0)] = 60.0,
    once: bool = False,
    wet: WetOption = None,
) -> None:
    """Follow a strand as its photos arrive, with its lift curve on a screen and a bell when it is time.

    The page loads itself anew in the browser. Ctrl-C ends the watch; started again, it goes on where it was.

    Parameters
    ----------
    what FOLDER|CAMERA|FILM : A folder that photos are put into, the number or address of a camera, or a film.
    page FILE : The page to keep current, an HTML file.
    start HH:MM : When the lightener went on; a film begins at 00:00.
    limit MINUTES : The lightener maker's time limit; it rings then.
    target SHADE : The wanted shade: a name, #rrggbb or L,a,b.
    level LEVEL : The level to come to, instead of a shade.
    every SECONDS : How often a camera or a film is looked at.
    once : Take what is there, and leave.
    """
    if target is not None and level is not None:
        raise misuse("target-or-level")
    if limit is not None and start is None:
        raise misuse("limit-needs-start")
    from strandgauge.watch.arrive import source_of
    from strandgauge.watch.strand import Plan, WatchedStrand

    tools = open_kit()
    tools.card.strand_window()
    plan = Plan(start, limit, None if target is None else tools.target(target).name, level, wet=bool(wet))
    strand = WatchedStrand(tools, plan, page)
    bell, told = _Bell(), ""
    with closing(source_of(what, every, strand.photos)) as source:
        print(say("command.watching", what=what, page=page), flush=True)
        rounds = 0
        while not source.over:
            try:
                for photo in source.arrived():
                    try:
                        _say(strand.add(photo).photo, strand)
                    except StrandgaugeError as error:
                        error.photo = photo.name
                        session.tell_aside(error)
                if source.note != told:
                    told = source.note
                    print(
                        one_line(f"strandgauge: {told or say('arrive.again')}"), file=sys.stderr, flush=True
                    )
                _tick(session, strand, bell, source.now())
                rounds += 1
                if once and rounds > 1:
                    break
                if not source.over:
                    time.sleep(POLL_SECONDS)
            except KeyboardInterrupt:
                break
    print(say("command.stopped"), flush=True)


def _say(name: str, strand: WatchedStrand) -> None:
    from strandgauge.words import reading as words

    reading = next(one for one in strand.readings if one.photo == name)
    print(f"{name}: {'  ·  '.join(words.headline(reading))}", flush=True)


def _tick(session: Session, strand: WatchedStrand, bell: _Bell, now: datetime) -> None:
    """Bring page and bell to this minute; a page that cannot be written is told, and tried again."""
    if (found := strand.now(now)) is None:
        return
    curve, answer = found
    try:
        strand.write_page(curve, answer)
        bell.complaint = ""
    except StrandgaugeError as error:
        if bell.complaint != error.message:
            bell.complaint = error.message
            session.tell_aside(error)
    from strandgauge.words import lift

    bell.ring(answer, lift.headline(curve))


class _Bell:
    """Tells what changed, and rings while somebody has to come at once."""

    def __init__(self) -> None:
        self._last: tuple[str, str | None, str] | None = None
        self._rung = 0.0
        self.complaint = ""
        """Why the page could not be written last; told once."""

    def ring(self, answer: Moment, headline: str) -> None:
        now = (answer.kind, answer.code, headline)
        again = answer.urgent and time.monotonic() - self._rung > RING_SECONDS
        if now == self._last and not again:
            return
        said = headline if answer.code is None else say(f"moment.{answer.code}", **dict(answer.facts))
        print(f"{chr(7) if answer.urgent else ''}  {said}", flush=True)
        self._last = now
        if answer.urgent:
            self._rung = time.monotonic()
