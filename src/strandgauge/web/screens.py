"""What each screen of the phone page shows, as frozen records: the templates only lay them out.

Nothing here knows of HTTP. All of it blocks (it reads the logbook), so it is called from a thread.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from strandgauge.colour.cielab import Lab
from strandgauge.colour.names import colour_word
from strandgauge.dye.targets import Target, find_target
from strandgauge.errors import StrandgaugeError
from strandgauge.judge.nextstep import NextStep, Stretch, worst_stretch
from strandgauge.judge.outlook import UNEVEN, Outlook, base_zones
from strandgauge.reading.model import COVERAGE, Reading, ZoneReading
from strandgauge.words import reading as words
from strandgauge.words.judge import verdict_headline
from strandgauge.words.nextstep import cautions, first_caution, next_step, short_verdict, time_is_up

if TYPE_CHECKING:
    from strandgauge.logbook.book import Logbook
    from strandgauge.logbook.records import CheckRecord, Client, Strand, Visit
    from strandgauge.web.service import Answer, Service

TODAY = timedelta(hours=14)
"""How long after its visit began a strand counts as one of today's."""
MOST_ON_THE_GO = 24
JUST_NOW = 10.0
"""Minutes for which a strand that has come to a stop stays at the top."""
CLOCK_RUNS = timedelta(hours=4)
"""How long after the lightener went on its minutes are still counted; no lightener stays on that long."""
BOWLS = (30.0, 40.0, 60.0, 90.0)
"""Bowl sizes, grams, that are one tap away."""
BOWL_LIMITS = (5.0, 1000.0)


@dataclass(frozen=True, slots=True)
class Clock:
    """Minutes since the lightener went on."""

    minutes: float
    limit: float | None
    """The maker's time limit, minutes."""

    @property
    def over(self) -> bool:
        """Whether the maker's time is up."""
        return self.limit is not None and self.minutes >= self.limit


@dataclass(frozen=True, slots=True)
class StrandHead:
    """A strand and whose it is: what stands at the top of each of its screens."""

    client: Client
    visit: Visit
    strand: Strand
    shade: Target | None
    """The wanted shade; None where none is chosen, or where it has no colour any more."""
    clock: Clock | None
    """None where no lightener went on, or long ago."""
    stretch: Stretch | None
    """The worst answer that its stretch tests ever got."""


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One earlier look as a line of a list."""

    id: int
    at: datetime
    minutes: float | None
    """Since the lightener went on."""
    lab: Lab
    level: str
    undertone: str
    wet: bool
    verdict: str | None
    stretch: Stretch | None


@dataclass(frozen=True, slots=True)
class StrandCard:
    """A strand on the go, as the first screen lists it."""

    head: StrandHead
    step: NextStep | None
    """None before its first look."""
    level: str | None
    lab: Lab | None
    due: float | None
    """Minutes from now to the next look, below zero when overdue; None where none is due."""
    just_stopped: bool = False
    """Whether it has come to a stop in the last minutes."""


@dataclass(frozen=True, slots=True)
class StrandScreen:
    """One strand: the camera, and its looks so far, the last first."""

    head: StrandHead
    checks: tuple[CheckLine, ...]
    step: NextStep | None
    due: float | None


@dataclass(frozen=True, slots=True)
class Band:
    """One zone's colour in a large field."""

    zone: str
    lab: Lab
    word: str


@dataclass(frozen=True, slots=True)
class AnswerScreen:
    """The answer to one photo."""

    head: StrandHead | None
    """None for a quick look, which belongs to no strand."""
    answer: Answer
    step: NextStep
    level: str
    others: tuple[str, ...]
    """How even, undertone, warmth, stains; one phrase each."""
    outlook: Outlook | None
    """For the wanted shade, or for the one that is being tried out."""
    wished: str | None
    """The shade that the answer is for."""
    trying: str | None
    """The shade that is being tried out instead."""
    verdict: str | None
    become: tuple[Band, ...]
    """Root, mids and ends as they would become; as they are where no shade is chosen."""
    become_words: tuple[str, ...]
    """One line where they pass for alike, else one for each."""
    caution: str
    cautions: tuple[str, ...]
    """All of the outlook's, as they fit the moment."""
    due: float | None
    later: int | None
    """The id of the strand's last look, where this is an earlier one."""


@dataclass(frozen=True, slots=True)
class VisitScreen:
    """One visit of a client: each strand with its looks."""

    visit: Visit
    strands: tuple[tuple[Strand, Target | None, tuple[CheckLine, ...]], ...]


@dataclass(frozen=True, slots=True)
class ClientScreen:
    """A client and their visits, the last first."""

    client: Client
    visits: tuple[VisitScreen, ...]


@dataclass(frozen=True, slots=True)
class LastTime:
    """Where a client was left the last time."""

    client_id: int
    line: CheckLine
    target: str | None


# --- strands --------------------------------------------------------------------------------------------


def today(service: Service, now: datetime) -> tuple[StrandCard, ...]:
    """Return today's strands, the one whose look is due first at the top, those that are done last."""
    cards = [
        _card(service, one.client, one.visit, one.strand, now)
        for one in service.logbook.recent_strands(MOST_ON_THE_GO)
        if now - one.visit.started <= TODAY
    ]
    return tuple(sorted(cards, key=_urgency))


def _urgency(card: StrandCard) -> tuple[int, float, int]:
    """Return what cards are sorted by: what has just come to a stop, what is to be looked at, what is done."""
    rank = 0 if card.just_stopped else 2 if card.step is not None and card.due is None else 1
    return rank, card.due or 0.0, -card.head.strand.id


def _card(service: Service, client: Client, visit: Visit, strand: Strand, now: datetime) -> StrandCard:
    checks = service.logbook.checks(strand.id)
    head = _head(service, client, visit, strand, checks, now)
    if not checks:
        return StrandCard(head, None, None, None, None)
    answer = service.answer(_last(checks).id)
    step = _step(service, answer, head)
    overall = answer.reading.overall
    return StrandCard(
        head,
        step,
        words.level_interval(overall),
        overall.lab,
        _due(step, answer.at, now),
        step.kind == "stop" and _just_now(answer.at, head.clock, now),
    )


def _step(service: Service, answer: Answer, head: StrandHead) -> NextStep:
    """Return what to do now with a strand, by its last look and the shade that is wished for now."""
    outlook = None if head.shade is None else service.outlook_for(answer, head.shade.name)
    return step_now(next_step(outlook, answer.curve, head.stretch), head.clock)


def _just_now(at: datetime, clock: Clock | None, now: datetime) -> bool:
    """Tell whether the last look, or the end of the maker's time, is only minutes ago."""
    if clock is not None and clock.limit is not None and 0.0 <= clock.minutes - clock.limit <= JUST_NOW:
        return True
    return (now - at).total_seconds() / 60.0 <= JUST_NOW


def strand_screen(service: Service, strand_id: int, now: datetime) -> StrandScreen:
    """Return what the screen of a strand shows.

    Raises
    ------
    StrandgaugeError : no such strand.
    """
    head, checks = _found(service, strand_id, now)
    step, due = None, None
    if checks:
        answer = service.answer(_last(checks).id)
        step = _step(service, answer, head)
        due = _due(step, answer.at, now)
    return StrandScreen(head, _lines(head.strand, checks), step, due)


def _found(service: Service, strand_id: int, now: datetime) -> tuple[StrandHead, tuple[CheckRecord, ...]]:
    logbook = service.logbook
    strand = logbook.strand(strand_id)
    visit = logbook.visit(strand.visit_id)
    checks = tuple(logbook.checks(strand_id))
    return _head(service, logbook.client(visit.client_id), visit, strand, checks, now), checks


def _head(
    service: Service,
    client: Client,
    visit: Visit,
    strand: Strand,
    checks: Sequence[CheckRecord],
    now: datetime,
) -> StrandHead:
    return StrandHead(
        client=client,
        visit=visit,
        strand=strand,
        shade=_shade(service, strand.target),
        clock=_clock(strand, now),
        stretch=worst_stretch(tuple(check.stretch for check in checks)),
    )


def step_now(step: NextStep, clock: Clock | None) -> NextStep:
    """Return a step as it stands now: once the maker's time is up, no look goes on."""
    if clock is not None and clock.over and step.kind in ("go on", "slow"):
        return time_is_up()
    return step


def _clock(strand: Strand, now: datetime) -> Clock | None:
    if strand.started is None or now - strand.started > CLOCK_RUNS:
        return None
    return Clock((now - strand.started).total_seconds() / 60.0, strand.limit_minutes)


def _shade(service: Service, text: str | None) -> Target | None:
    try:
        return find_target(text, service.targets) if text else None
    except StrandgaugeError:
        return None  # a shade of a list that is not in use any more


def _due(step: NextStep, at: datetime, now: datetime) -> float | None:
    if step.minutes is None or now - at > CLOCK_RUNS:
        return None
    return step.minutes - (now - at).total_seconds() / 60.0


def _last(checks: Sequence[CheckRecord]) -> CheckRecord:
    return max(checks, key=lambda check: (check.at, check.id))


def _lines(strand: Strand, checks: Sequence[CheckRecord]) -> tuple[CheckLine, ...]:
    ordered = sorted(checks, key=lambda check: (check.at, check.id), reverse=True)
    return tuple(_line(strand, check) for check in ordered)


def _line(strand: Strand, check: CheckRecord) -> CheckLine:
    from strandgauge.show.json import record_of

    where = f"check {check.id}"
    overall = record_of(Reading, check.reading, where).overall
    outlook = None if check.outlook is None else record_of(Outlook, check.outlook, where)
    since = None if strand.started is None else (check.at - strand.started).total_seconds() / 60.0
    return CheckLine(
        id=check.id,
        at=check.at,
        minutes=since if since is not None and 0.0 <= since <= CLOCK_RUNS.total_seconds() / 60.0 else None,
        lab=overall.lab,
        level=words.level_interval(overall),
        undertone=overall.undertone,
        wet=check.wet,
        verdict=None if outlook is None else verdict_headline(outlook),
        stretch=check.stretch,
    )


# --- the answer -----------------------------------------------------------------------------------------


def answer_screen(
    service: Service, answer: Answer, now: datetime, *, trying: str | None = None, bowl: float | None = None
) -> AnswerScreen:
    """Return what the answer to one photo shows.

    Parameters
    ----------
    trying : another shade to look at on the same hair; the answer's own where None.
    bowl : grams to mix for each zone; as the answer has it where None.

    Raises
    ------
    StrandgaugeError : the shade to try is unknown.
    """
    head, later = None, None
    if answer.strand_id is not None:
        head, checks = _found(service, answer.strand_id, now)
        last = _last(checks).id
        later = last if last != answer.check_id else None
    # The last look answers for what is wished now, an earlier one for what was wished then.
    wished = None if answer.outlook is None else answer.outlook.target.name
    if head is not None and later is None:
        wished = None if head.shade is None else head.shade.name
    shade = trying or wished
    outlook = None
    if shade is not None:
        outlook = _outlook(service, answer, shade, bowl)
    stretch = answer.stretch if head is None else head.stretch
    step = next_step(outlook, answer.curve, stretch)
    if head is not None and later is None:
        step = step_now(step, head.clock)
    reading = answer.reading
    become, become_words = _become(reading, outlook)
    first, *others = words.headline(reading)
    return AnswerScreen(
        head=head,
        answer=answer,
        step=step,
        level=first,
        others=tuple(others),
        outlook=outlook,
        wished=wished,
        trying=outlook.target.name if outlook is not None and outlook.target.name != wished else None,
        verdict=None if outlook is None else short_verdict(outlook),
        become=become,
        become_words=become_words,
        caution=_caution(step, outlook, answer),
        cautions=() if outlook is None else cautions(outlook, answer.curve),
        due=None if later is not None else _due(step, answer.at, now),
        later=later,
    )


def _caution(step: NextStep, outlook: Outlook | None, answer: Answer) -> str:
    if step.kind == "stop":
        return words.caution()  # what there is to say against going on is said above, as the answer itself
    return first_caution(outlook, answer.curve, words.caution())


def _outlook(service: Service, answer: Answer, shade: str, bowl: float | None) -> Outlook:
    if bowl is None:
        return service.outlook_for(answer, shade)
    from strandgauge.judge.outlook import Settings
    from strandgauge.judge.reach import reach

    reading = answer.reading
    hair = base_zones(reading)
    settings = Settings(bowl=bowl)
    target = find_target(shade, service.targets)
    return reach(hair, target, service.palette, service.targets, service.ladder, settings)


def _become(reading: Reading, outlook: Outlook | None) -> tuple[tuple[Band, ...], tuple[str, ...]]:
    """Return root, mids and ends as they would become, and that in words: one where they pass for alike."""
    colours: list[tuple[str, Lab]]
    if outlook is None:
        colours = [(zone.name, zone.lab) for zone in reading.zones]
    else:
        colours = [(zone.name, zone.predicted_lab) for zone in outlook.zones if zone.name != "overall"]
    bands = tuple(Band(name, lab, colour_word(lab)) for name, lab in colours)
    if not _apart([band.lab for band in bands]):
        return bands, (bands[len(bands) // 2].word,)
    if len({band.word for band in bands}) == 1:
        return bands, (f"{bands[0].word}, uneven",)
    return bands, tuple(f"{words.zone_name(band.zone)} {band.word}" for band in bands)


def _apart(labs: Sequence[Lab]) -> bool:
    from itertools import combinations

    from strandgauge.colour.cielab import delta_e_2000

    return any(float(delta_e_2000(first, second)) > UNEVEN for first, second in combinations(labs, 2))


# --- the gauge ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Gauge:
    """Where the hair stands on the ladder."""

    rungs: tuple[Lab, ...]
    level: float
    low: float
    high: float
    need: float | None
    """The level from which the wanted shade reads true."""

    @property
    def need_words(self) -> str:
        """The needed level, rounded up."""
        return "" if self.need is None else f"{math.ceil(10.0 * self.need - 1e-6) / 10.0:.1f}"


def gauge(service: Service, zone: ZoneReading, outlook: Outlook | None) -> Gauge:
    """Return the gauge of a zone."""
    rungs = tuple((float(lab[0]), float(lab[1]), float(lab[2])) for lab in service.ladder.lab)
    reach = COVERAGE * zone.level_sd
    return Gauge(
        rungs,
        zone.level,
        zone.level - reach,
        zone.level + reach,
        None if outlook is None else outlook.needs_level,
    )


# --- clients --------------------------------------------------------------------------------------------


def client_screen(service: Service, client_id: int) -> ClientScreen:
    """Return a client with all visits.

    Raises
    ------
    StrandgaugeError : no such client.
    """
    logbook: Logbook = service.logbook
    client = logbook.client(client_id)
    visits = []
    for visit in logbook.visits(client_id):
        strands = tuple(
            (strand, _shade(service, strand.target), _lines(strand, logbook.checks(strand.id)))
            for strand in logbook.strands(visit.id)
        )
        visits.append(VisitScreen(visit, strands))
    return ClientScreen(client, tuple(visits))


def last_time(service: Service, client_id: int) -> LastTime | None:
    """Return the last look ever taken at a client's hair.

    Raises
    ------
    StrandgaugeError : no such client.
    """
    for visit in service.logbook.visits(client_id):
        found = [
            (line, strand)
            for strand in service.logbook.strands(visit.id)
            for line in _lines(strand, service.logbook.checks(strand.id))
        ]
        if found:
            line, strand = max(found, key=lambda one: (one[0].at, one[0].id))
            return LastTime(client_id, line, strand.target)
    return None


def utc_now() -> datetime:
    """Return the time."""
    return datetime.now(UTC)
