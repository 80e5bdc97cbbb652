"""What each screen of the phone page shows, as frozen records: the templates only lay them out.

Nothing here knows of HTTP. All of it blocks (it reads the logbook), so it is called from a thread.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import combinations
from typing import Any, get_args

from strandgauge.colour.cielab import Lab, delta_e_2000
from strandgauge.dye.targets import Target
from strandgauge.hair.stretch import Stretch
from strandgauge.judge.history import History
from strandgauge.judge.moment import Chair, Moment, MomentKind, moment
from strandgauge.judge.nextstep import NextStep, next_step
from strandgauge.judge.outlook import UNEVEN, Outlook
from strandgauge.logbook.records import Client, Event, LookRecord, Strand, StrandSummary, Visit
from strandgauge.reading.model import COVERAGE, Reading, ZoneReading
from strandgauge.show.json import filled, record_of
from strandgauge.show.json.logbook import damage_of
from strandgauge.web.service import Answer, Judged, Service, chair_of
from strandgauge.words import reading as words
from strandgauge.words import say
from strandgauge.words.colour import colour_word
from strandgauge.words.judge import short_verdict, surer
from strandgauge.words.nextstep import (
    StepInWords,
    cautions,
    curve_sentences,
    first_caution,
    in_words,
)

TODAY = timedelta(hours=14)
"""How long after its visit began a strand counts as one of today's."""
MOST_ON_THE_GO = 24
ANSWER_SCHEMA = "strandgauge.answer/1"
BOWLS = (30.0, 40.0, 60.0, 90.0)
"""Bowl sizes, grams, that are one tap away."""
BOWL_LIMITS = (5.0, 1000.0)


@dataclass(frozen=True, slots=True)
class Step:
    """What to do, in words."""

    kind: MomentKind
    word: str
    sentence: str
    due: float | None = None
    """Minutes from now to the next look, below zero when overdue; None where none is due."""


@dataclass(frozen=True, slots=True)
class StrandHead:
    """A strand and whose it is: what stands at the top of each of its screens."""

    client: Client
    visit: Visit
    strand: Strand
    shade: Target | None
    """The wanted shade; None where none is chosen, or where it has no colour any more."""
    chair: Chair


@dataclass(frozen=True, slots=True)
class LookLine:
    """One earlier look as a line of a list."""

    id: int
    at: datetime
    minutes: float | None
    """Since the lightener went on."""
    wet: bool
    stretch: Stretch | None
    result: bool
    has_photo: bool
    damage: str | None
    said: str
    """The word that it was answered with; empty where that was not kept."""
    lab: Lab | None = None
    level: str = ""
    undertone: str = ""


@dataclass(frozen=True, slots=True)
class StrandCard:
    """A strand on the go, as the first screen lists it."""

    head: StrandHead
    step: Step
    level: str | None
    damage: str | None = None
    """What of it cannot be read back."""


@dataclass(frozen=True, slots=True)
class Band:
    """One zone's colour in a large field."""

    zone: str
    lab: Lab
    word: str


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
        return "" if self.need is None else words.at_least(self.need)


@dataclass(frozen=True, slots=True)
class Finding:
    """What one photo tells: the hair, and what the wished shade would become on it."""

    answer: Answer
    level: str
    others: tuple[str, ...]
    """How even, undertone, warmth, stains; one phrase each."""
    gauge: Gauge | None
    """None where dye lies on the strand as a whole, whose lightness is then no level."""
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


@dataclass(frozen=True, slots=True)
class StrandScreen:
    """One strand at this moment: the answer to its last look as it stands now; its looks so far, the last first."""

    head: StrandHead
    judged: Judged
    step: Step
    finding: Finding | None
    """None before its first look."""
    surer: tuple[str, ...]
    """What would settle that which is open."""
    turn: bool
    """Whether a photo with the card turned would, and can be read as one with the last look now."""
    caution: str
    cautions: tuple[str, ...]
    lines: tuple[LookLine, ...]
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class LookScreen:
    """One look as it was answered when it was taken; ``head`` is None for a quick look, which is not stored."""

    head: StrandHead | None
    finding: Finding
    step: Step | None
    """What was said then; None in looks of earlier versions."""
    kept: dict[str, Any]
    """All that was said then."""
    has_photo: bool


@dataclass(frozen=True, slots=True)
class VisitScreen:
    """One visit of a client: each strand with its looks."""

    visit: Visit
    strands: tuple[tuple[Strand, Target | None, tuple[LookLine, ...]], ...]


# --- what to do -----------------------------------------------------------------------------------------


def step_at(step: NextStep | StepInWords | None, chair: Chair) -> Step:
    """Return what to do at one moment, in words."""
    return _told(step, moment(step, chair))


def _told(step: NextStep | StepInWords | None, now: Moment) -> Step:
    if now.code is not None or step is None:
        return Step(
            now.kind, say(f"moment-word.{now.code}"), say(f"moment.{now.code}", **dict(now.facts)), now.due
        )
    told = step if isinstance(step, StepInWords) else in_words(step)
    return Step(now.kind, told.word, told.sentence, now.due)


def answer_document(service: Service, judged: Judged, answer: Answer) -> dict[str, Any]:
    """Return what is answered to a look when it is taken, as ``strandgauge.answer/1``."""
    chair = chair_of(judged.strand, answer.at, judged.stretch, answer)
    step = step_at(judged.step, chair)
    finding = find(service, answer, judged.strand.target, judged.history)
    visit = service.logbook.visit(judged.strand.visit_id)
    kept = service.logbook.client(visit.client_id).history
    base = None if judged.step is None else in_words(judged.step)
    return {
        "schema": ANSWER_SCHEMA,
        "kind": step.kind,
        "word": step.word,
        "sentence": step.sentence,
        "look_in_minutes": None if base is None else base.minutes,
        "minutes": None if chair.minutes is None else round(chair.minutes, 2),
        "limit_minutes": chair.limit,
        "level": finding.level,
        "undertone": answer.reading.overall.undertone,
        "wished": finding.wished,
        "verdict": _verdict(judged.outlook, chair, step, judged.step),
        "curve": [] if judged.curve is None else list(curve_sentences(judged.curve)),
        # Without what the clock adds: from this, and the strand as it is, the answer can be told anew.
        "step": None
        if base is None
        else {"kind": base.kind, "word": base.word, "sentence": base.sentence, "minutes": base.minutes},
        "basis": basis_of(judged.strand, kept, judged.stretch, len(judged.looks)),
    }


def basis_of(
    strand: Strand, history: dict[str, Any] | None, stretch: Stretch | None, looks: int
) -> dict[str, Any]:
    """Return what an answer hangs on besides its own look: where that has changed, it is worked out anew."""
    return {
        "target": strand.target,
        "started": None if strand.started is None else strand.started.isoformat(),
        "rinsed": None if strand.rinsed is None else strand.rinsed.isoformat(),
        "limit": strand.limit_minutes,
        "history": history,
        "stretch": stretch,
        "looks": looks,
    }


GIVES_UP = ("choose-another", "rinse-part")
"""Steps by which the wanted shade, or a part of the strand, is no longer waited for."""


def _verdict(outlook: Outlook | None, chair: Chair, step: Step, decided: NextStep | None) -> str | None:
    if outlook is None:
        return None
    waits = decided is None or decided.code not in GIVES_UP
    if chair.running and waits and step.kind in ("go on", "slow") and outlook.verdict == "out":
        return say("page.not-yet")  # the hair is still lifting: what it turns out as is not said yet
    return short_verdict(outlook)


# --- today ----------------------------------------------------------------------------------------------


def today(service: Service, now: datetime) -> tuple[StrandCard, ...]:
    """Return today's strands, what is most urgent at the top, those that are done last."""
    cards = [
        _card(service, one, now)
        for one in service.logbook.recent_strands(MOST_ON_THE_GO)
        if now - one.visit.started <= TODAY
        or (
            one.strand.started is not None and one.strand.rinsed is None and now - one.strand.started <= TODAY
        )
    ]
    return tuple(sorted(cards, key=_urgency))


def _urgency(card: StrandCard) -> tuple[int, float, int]:
    """Return what cards are sorted by: lightener to come off, what is to be looked at, what is done."""
    due = card.step.due
    rank = 3 if card.step.kind == "done" else 2 if due is None else 0 if card.step.kind == "stop" else 1
    return rank, due or 0.0, -card.head.strand.id


def _card(service: Service, one: StrandSummary, now: datetime) -> StrandCard:
    """Return a strand's card from what its last look was answered with, where nothing has changed since."""
    stretch: Stretch | None = "gummy" if one.gummy else "slow" if one.slow else None
    last, damage = one.last, None
    head = _head(service, one.client, one.visit, one.strand, chair_of(one.strand, now, stretch, last))
    if last is None:
        return StrandCard(head, step_at(None, head.chair), None)
    kept = _kept(last)
    base = kept.get("step")
    if (
        last.damage is None
        and base
        and kept.get("basis") == basis_of(one.strand, one.client.history, stretch, one.checks)
    ):
        step = StepInWords(base["kind"], base["minutes"], base["word"], base["sentence"])
        return StrandCard(head, step_at(step, head.chair), kept["level"])
    judged = service.judged(one.strand.id)
    chair = chair_of(judged.strand, now, judged.stretch, judged.last)
    if judged.damaged:
        damage = say("page.damaged-looks", count=len(judged.damaged))
    level = None if judged.last is None else words.headline(judged.last.reading)[0]
    return StrandCard(replace(head, chair=chair), step_at(judged.step, chair), level, damage)


def _kept(record: LookRecord) -> dict[str, Any]:
    """Return what a look was answered with; empty where that was not kept, or is damaged."""
    kept = record.answer or {}
    step = kept.get("step")
    told = [kept] if step is None else [kept, step]
    whole = (
        kept.get("schema") == ANSWER_SCHEMA
        and isinstance(kept.get("level"), str)
        and isinstance(kept.get("verdict"), str | None)
        and isinstance(kept.get("curve"), list)
        and isinstance(kept.get("basis"), dict)
        and all(isinstance(one, dict) and one.get("kind") in get_args(MomentKind) for one in told)
        and all(isinstance(one.get(key), str) for one in told for key in ("word", "sentence"))
        and (step is None or isinstance(step.get("minutes"), int | float | None))
    )
    return kept if whole else {}


def _head(service: Service, client: Client, visit: Visit, strand: Strand, chair: Chair) -> StrandHead:
    return StrandHead(client, visit, strand, service.shade(strand.target), chair)


# --- one strand -----------------------------------------------------------------------------------------


def strand_screen(
    service: Service, strand_id: int, now: datetime, *, trying: str | None = None, bowl: float | None = None
) -> StrandScreen:
    """Return what the screen of a strand shows.

    Parameters
    ----------
    trying : another shade to look at on the same hair; the wanted one where None.
    bowl : grams to mix for each zone; as the answer has it where None.

    Raises
    ------
    StrandgaugeError : no such strand, or no such shade.
    """
    judged = service.judged(strand_id)
    visit = service.logbook.visit(judged.strand.visit_id)
    client = service.logbook.client(visit.client_id)
    chair = chair_of(judged.strand, now, judged.stretch, judged.last)
    head = _head(service, client, visit, judged.strand, chair)
    step = step_at(judged.step, chair)
    finding, outlook, caution = None, None, words.caution()
    curve = judged.curve if chair.running else None
    if judged.last is not None:
        finding = find(service, judged.last, judged.strand.target, judged.history, trying=trying, bowl=bowl)
        outlook = finding.outlook
        if finding.trying is not None:
            step = _told(next_step(outlook, curve, judged.stretch), moment(judged.step, chair))
        else:
            finding = replace(finding, verdict=_verdict(outlook, chair, step, judged.step))
        if step.kind not in ("stop", "done"):
            # What there is to say against going on is said above, as the answer itself.
            caution = first_caution(outlook, curve, words.caution())
    way = None
    if step.kind not in ("stop", "ready", "done"):
        way = curve.surer if curve is not None else None if outlook is None else outlook.surer
    return StrandScreen(
        head=head,
        judged=judged,
        step=step,
        finding=finding,
        surer=surer(way),
        turn=way is not None and way.code == "turn-card" and service.can_be_joined(strand_id),
        caution=caution,
        cautions=() if outlook is None else cautions(outlook, curve),
        lines=_lines(judged.strand, service.logbook.looks(strand_id)),
        events=service.logbook.events(strand_id),
    )


def find(
    service: Service,
    answer: Answer,
    wanted: str | None,
    history: History,
    *,
    trying: str | None = None,
    bowl: float | None = None,
) -> Finding:
    """Return what a photo tells.

    Raises
    ------
    StrandgaugeError : the shade to try is unknown.
    """
    wished = service.shade(wanted)
    shade = trying or (None if wished is None else wished.name)
    outlook = None if shade is None else service.outlook_for(answer, shade, history, bowl)
    reading = answer.reading
    # What is finished is shown as it came out.
    become, become_words = _become(reading, None if answer.result else outlook)
    first, *others = words.headline(reading)
    return Finding(
        answer=answer,
        level=first,
        others=tuple(others),
        gauge=None if words.is_dyed(reading) else _gauge(service, reading.overall, outlook),
        outlook=outlook,
        wished=None if wished is None else wished.name,
        trying=outlook.target.name
        if outlook is not None and (wished is None or outlook.target.name != wished.name)
        else None,
        verdict=None if outlook is None else short_verdict(outlook),
        become=become,
        become_words=become_words,
    )


def look_screen(service: Service, answer: Answer) -> LookScreen:
    """Return a look as it was answered when it was taken."""
    if answer.look_id is None or answer.strand_id is None:
        outlook = answer.outlook
        step = next_step(outlook, None, None)
        wanted = None if outlook is None else outlook.target.name
        return LookScreen(
            None,
            find(service, answer, wanted, answer.history),
            _told(step, moment(step, Chair(since_look=0.0))),
            {},
            False,
        )
    record = service.logbook.look(answer.look_id)
    strand = service.logbook.strand(answer.strand_id)
    visit = service.logbook.visit(strand.visit_id)
    kept = _kept(record)
    chair = chair_of(strand, answer.at, answer.stretch, record)
    head = _head(service, service.logbook.client(visit.client_id), visit, strand, chair)
    step_then = Step(kept["kind"], kept["word"], kept["sentence"]) if "word" in kept else None
    wanted = None if answer.outlook is None else answer.outlook.target.name
    finding = find(service, answer, wanted, answer.history)
    if kept.get("verdict"):
        finding = replace(finding, verdict=kept["verdict"])
    return LookScreen(head, finding, step_then, kept, record.has_photo)


def _lines(strand: Strand, checks: Sequence[LookRecord]) -> tuple[LookLine, ...]:
    ordered = sorted(checks, key=lambda check: (check.at, check.id), reverse=True)
    return tuple(_line(strand, check) for check in ordered)


def _line(strand: Strand, check: LookRecord) -> LookLine:
    since = strand.minutes_at(check.at)
    after = strand.rinsed is not None and check.at >= strand.rinsed
    line = filled(
        LookLine,
        check,
        minutes=since if since is not None and since >= 0.0 and not after else None,
        damage=damage_of(check),
        said=str(_kept(check).get("word", "")),
    )
    if line.damage is not None:
        return line
    reading = record_of(Reading, check.reading, f"check {check.id}")
    return replace(
        line,
        lab=reading.overall.lab,
        level=words.headline(reading)[0],
        undertone=words.undertone(reading.overall),
    )


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
        return bands, (say("page.word-uneven", word=bands[0].word),)
    return bands, tuple(f"{say(f'zone.{band.zone}')} {band.word}" for band in bands)


def _apart(labs: Sequence[Lab]) -> bool:
    return any(float(delta_e_2000(first, second)) > UNEVEN for first, second in combinations(labs, 2))


def _gauge(service: Service, zone: ZoneReading, outlook: Outlook | None) -> Gauge:
    rungs = tuple((float(lab[0]), float(lab[1]), float(lab[2])) for lab in service.ladder.lab)
    spread = COVERAGE * zone.level_sd
    need = None if outlook is None else outlook.needs_level
    return Gauge(rungs, zone.level, zone.level - spread, zone.level + spread, need)


# --- clients --------------------------------------------------------------------------------------------


def visits_of(service: Service, client_id: int) -> tuple[VisitScreen, ...]:
    """Return a client's visits, the last first.

    Raises
    ------
    StrandgaugeError : no such client.
    """
    logbook = service.logbook
    return tuple(
        VisitScreen(
            visit,
            tuple(
                (strand, service.shade(strand.target), _lines(strand, logbook.looks(strand.id)))
                for strand in logbook.strands(visit.id)
            ),
        )
        for visit in logbook.visits(client_id)
    )


def before_and_after(visits: Sequence[VisitScreen]) -> tuple[LookLine, LookLine] | None:
    """Return the first and the last look of the latest visit that has two or more; None where none has."""
    for one in visits:
        lines = sorted(
            (line for _, _, looks in one.strands for line in looks if line.damage is None),
            key=lambda line: (line.at, line.id),
        )
        if len(lines) > 1:
            return lines[0], lines[-1]
    return None


def last_time(visits: Sequence[VisitScreen]) -> tuple[LookLine, Strand] | None:
    """Return the last look ever taken at a client's hair, and its strand; None where none was."""
    for one in visits:
        found = [(line, strand) for strand, _, looks in one.strands for line in looks if line.damage is None]
        if found:
            return max(found, key=lambda pair: (pair[0].at, pair[0].id))
    return None
