"""What the phone page and the JSON API both do: look at a photo, remember it, and say how the strand goes on.

Every method blocks; call them from a thread (a plain ``def`` route, or ``run_in_threadpool``). They may be called
from several threads at once.
"""

from __future__ import annotations

import secrets
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property
from threading import Lock
from typing import Any

from strandgauge.dye.targets import Target, find_target
from strandgauge.errors import BadEntryError, StrandgaugeError, UnknownLookError
from strandgauge.hair.levels import Ladder
from strandgauge.hair.stretch import Stretch
from strandgauge.judge.follow import is_same_photo
from strandgauge.judge.history import NOTHING_TOLD, History
from strandgauge.judge.moment import Chair
from strandgauge.judge.nextstep import NextStep, next_step, worst_stretch
from strandgauge.judge.outlook import Outlook, Settings, base_zones
from strandgauge.judge.plan import Plan, make_plan
from strandgauge.kit import Kit, shipped
from strandgauge.lift.curve import LiftCurve
from strandgauge.lift.times import LookTimes
from strandgauge.logbook.book import Logbook
from strandgauge.logbook.records import LookRecord, Strand
from strandgauge.reading.model import Reading
from strandgauge.reading.together import SOON
from strandgauge.show.json import document_of, filled, record_of
from strandgauge.show.json.logbook import damage_of
from strandgauge.web.consultation import history_of
from strandgauge.web.settings import ServerSettings
from strandgauge.web.workers import Job, WorkerPool
from strandgauge.words import say

REMEMBERED = 48
PHOTOS_AT_HAND = 4
"""Photos held in memory, so that one taken with the card turned can be read as one with the last."""
"""Answers kept in memory, with their pictures; some 300 kB each. So many strands' judgements, too."""
JUST_BEFORE = 2.0
"""Minutes by which a photo may have been taken before the lightener went on and yet count as one of its start: its
form is filled in after it."""
BIN_EVERY = timedelta(minutes=1)
"""How often what lies in the bin is looked through for what is past being put back."""


def utc_now() -> datetime:
    """Return the time."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A photo as it was sent, and what was said of it."""

    photo: bytes = field(repr=False)
    strand_id: int | None = None
    """The strand it shows; None for a quick look, which is not stored."""
    wet: bool = False
    target: str | None = None
    """The wanted shade, by name or as ``#rrggbb`` or ``L,a,b``; the strand's own when None."""
    keep_photo: bool = False
    """Whether the photo itself is stored as well."""
    result: bool = False
    """Whether it shows the finished shade."""
    turned: bool = False
    """It shows what the strand's last look shows, the card turned: both are read as one, in its place."""
    age: float = 0.0
    """Seconds since the photo was taken, by the phone that sends it."""
    request: str | None = None
    """The number that the phone gave to it; one that is stored already is answered as it was."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One look at a strand, as it is shown."""

    key: str
    """Unguessable name of this answer while the server remembers it; see `Service.remembered`."""
    look_id: int | None
    """In the logbook; None for a quick look, which is not stored."""
    strand_id: int | None
    at: datetime
    """UTC; when the photo was taken."""
    wet: bool
    reading: Reading
    outlook: Outlook | None
    """For the wanted shade; None where none was named."""
    curve: LiftCurve | None
    """Of the strand so far; None without a strand, or before it is known when its lightener went on."""
    picture_jpeg: bytes = field(repr=False)
    """The annotated photo; the strip alone where the server no longer has the photo; may be empty."""
    strip_jpeg: bytes = field(repr=False)
    """The strand in true colour; may be empty."""
    stretch: Stretch | None = None
    note: str = ""
    stop_reason: str | None = None
    """Why to stop, whatever colour and curve say; None where nothing speaks for it."""
    result: bool = False
    """Whether it shows the finished shade."""
    history: History = NOTHING_TOLD
    """What was known of the hair when it was taken; the outlook heeds it."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A strand as its looks have it, whatever the clock says."""

    strand: Strand
    history: History
    """What the consultation asked."""
    looks: tuple[Answer, ...]
    """Those that can be read, by time."""
    damaged: tuple[LookRecord, ...]
    curve: LiftCurve | None
    outlook: Outlook | None
    """Of the last look, for the shade that is wished for now."""
    stretch: Stretch | None
    """The worst answer of its stretch tests."""
    step: NextStep | None
    """None before the first look."""

    @property
    def stop_reason(self) -> str | None:
        """Why to stop, whatever its colour; None where nothing speaks for it."""
        return say("moment.gummy") if self.stretch == "gummy" else None

    @property
    def last(self) -> Answer | None:
        """The last look."""
        return self.looks[-1] if self.looks else None


class Service:
    """Looks, remembers and follows; holds the logbook and the worker processes.

    Parameters
    ----------
    settings : what the server was asked for.
    logbook : opened; closed by `close`.
    workers : started; stopped by `close`.
    now : tells the time, UTC.
    shown : draws what is answered to a look when it is taken, as it is kept for good.
    """

    def __init__(
        self,
        settings: ServerSettings,
        logbook: Logbook,
        workers: WorkerPool,
        now: Callable[[], datetime] = utc_now,
        *,
        shown: Callable[[Service, Judged, Answer], dict[str, Any]],
    ) -> None:
        self.settings, self.logbook, self.workers, self.now = settings, logbook, workers, now
        self._shown = shown
        self._answers: OrderedDict[str, Answer] = OrderedDict()
        self._keys: dict[int, str] = {}
        self._outlooks: OrderedDict[Hashable, Outlook] = OrderedDict()
        self._judged: OrderedDict[Hashable, Judged] = OrderedDict()
        self._plans: OrderedDict[Hashable, Plan] = OrderedDict()
        self._photos: OrderedDict[Hashable, bytes] = OrderedDict()
        self._lock = Lock()
        self.entering = Lock()
        """Held while a form is taken: what is sent twice at once, or by two phones, must not meet half way."""
        self._bin_seen = now()

    @cached_property
    def kit(self) -> Kit:
        """Card, ladder, dyes and shades of this salon."""
        return self.settings.kit or shipped()

    @property
    def targets(self) -> tuple[Target, ...]:
        """The wanted shades that have a name."""
        return self.kit.targets

    @property
    def ladder(self) -> Ladder:
        """The ladder of levels in use."""
        return self.kit.ladder

    def close(self) -> None:
        """Stop the workers and close the logbook."""
        self.workers.close()
        self.logbook.close()

    def tidy(self) -> None:
        """Delete for good what has lain in the bin for long enough; looks once a minute at most."""
        now = self.now()
        if now - self._bin_seen >= BIN_EVERY:
            self._bin_seen = now
            self.logbook.empty_bin()

    # --- looks ------------------------------------------------------------------------------------------

    def look(self, sent: Sent) -> Answer:
        """Read a photo and, where it belongs to a strand, write it into the logbook.

        Raises
        ------
        StrandgaugeError : the photo is refused, the strand or the shade is unknown, the server is busy.
        """
        if sent.request and (known := self.logbook.find_look(sent.request)) is not None:
            return self.answer(known.id)
        strand_id, target = sent.strand_id, sent.target
        if target is not None:
            shade: Target | None = find_target(target, self.targets)
        else:
            shade = None if strand_id is None else self.shade(self.logbook.strand(strand_id).target)
        at, wet = self.now() - timedelta(seconds=sent.age), sent.wet
        history = NOTHING_TOLD if strand_id is None else self.history(strand_id)
        first = self._first(strand_id, at) if sent.turned else None
        photos: tuple[bytes, ...] = (sent.photo,)
        if first is not None:
            at, wet, photos = first[0].at, first[0].wet, (first[1], sent.photo)
        found = self.workers.run(Job(photos, wet, shade, history))
        key = secrets.token_urlsafe(12)
        answer = filled(
            Answer, found, sent, key=key, look_id=None, at=at, wet=wet, curve=None, history=history
        )
        if strand_id is not None:
            record = self.logbook.add_look(
                strand_id,
                at,
                wet,
                document_of(found.reading),
                outlook=None if found.outlook is None else document_of(found.outlook),
                thumbnail=found.strip_jpeg,
                photo=sent.photo if sent.keep_photo else None,
                note="" if first is None else first[0].note,
                stretch=None if first is None else first[0].stretch,
                result=sent.result,
                request=sent.request,
            )
            if first is not None:
                self.logbook.put_in_bin("check", first[0].id)
                self.forget()
            answer = replace(answer, look_id=record.id)
            self._kept(self._photos, record.id, sent.photo, most=PHOTOS_AT_HAND)
        self._remember(answer)
        if answer.look_id is not None:
            self._keep_answer(answer)
        return self._brought_up_to_date(answer)

    def answer(self, look_id: int) -> Answer:
        """Return a stored look, with the strand's curve to this day.

        Raises
        ------
        StrandgaugeError : no such check, or it cannot be read back.
        """
        return self._brought_up_to_date(self._stored(self.logbook.look(look_id)))

    def remembered(self, key: str) -> Answer:
        """Return a recent look by its key; the only way back to a quick look.

        Raises
        ------
        UnknownLookError : forgotten, or never there.
        """
        with self._lock:
            kept = self._answers.get(key)
        if kept is None:
            raise UnknownLookError()
        return kept if kept.look_id is None else self.answer(kept.look_id)

    def set_stretch(self, look_id: int, answer: Stretch, *, on_purpose: bool = False) -> Answer:
        """Write down what the stretch test said, and return the look as it stands then.

        Raises
        ------
        BadEntryError : it was gummy, and that is not taken back on purpose.
        """
        self.logbook.set_stretch(look_id, answer, on_purpose=on_purpose)
        return self.answer(look_id)

    def forget(self) -> None:
        """Drop every remembered look, as after something was deleted from the logbook."""
        with self._lock:
            for kept in (self._answers, self._keys, self._outlooks, self._judged, self._plans, self._photos):
                kept.clear()

    def can_be_joined(self, strand_id: int) -> bool:
        """Whether a photo taken now, the card turned, can be read as one with the strand's last look."""
        checks = self.logbook.looks(strand_id)
        if not checks or not timedelta(0) <= self.now() - checks[-1].at <= SOON:
            return False
        with self._lock:
            return checks[-1].id in self._photos

    def _first(self, strand_id: int | None, at: datetime) -> tuple[LookRecord, bytes]:
        """Return the strand's last look and its photo, for a second one taken ``at``.

        Raises
        ------
        BadEntryError : there is none that can be joined.
        """
        checks = [] if strand_id is None else self.logbook.looks(strand_id)
        with self._lock:
            photo = self._photos.get(checks[-1].id) if checks else None
        if photo is None or not abs(at - checks[-1].at) <= SOON:
            raise BadEntryError(fault="no-pair")
        return checks[-1], photo

    # --- strands ----------------------------------------------------------------------------------------

    def judged(self, strand_id: int, until: datetime | None = None) -> Judged:
        """Return a strand as its looks have it, or had it at an earlier time.

        Raises
        ------
        StrandgaugeError : no such strand.
        """
        strand = self.logbook.strand(strand_id)
        checks = [one for one in self.logbook.looks(strand_id) if until is None or one.at <= until]
        history = self.history(strand_id)
        key = (strand, history, tuple((one.id, one.at, one.stretch, one.note, one.damage) for one in checks))
        with self._lock:
            known = self._judged.get(key)
        return known or self._kept(self._judged, key, self._judge(strand, history, checks))

    def history(self, strand_id: int) -> History:
        """Return what the consultation asked of a strand's client."""
        visit = self.logbook.visit(self.logbook.strand(strand_id).visit_id)
        return history_of(self.logbook.client(visit.client_id).history)

    def outlook_for(
        self, answer: Answer, target: str, history: History, bowl: float | None = None
    ) -> Outlook:
        """Return the outlook of a look for a shade, also where shade, history or bowl are others than they were then.

        Raises
        ------
        StrandgaugeError : the shade is unknown.
        """
        shade = find_target(target, self.targets)
        kept = answer.outlook
        if bowl is None and kept is not None and kept.target.name == shade.name and answer.history == history:
            return kept
        key = (answer.look_id or answer.key, shade.name, history, bowl)
        with self._lock:
            known = self._outlooks.get(key)
        if known is None:
            settings = Settings() if bowl is None else Settings(bowl=bowl)
            hair = base_zones(answer.reading)
            made = self.kit.reach(hair, shade, settings, history)
            known = self._kept(self._outlooks, key, made)
        return known

    def plan(self, judged: Judged, melt: bool = False) -> Plan | None:
        """Return the plan from a strand's last look for its wanted shade; None without either."""
        shade = self.shade(judged.strand.target)
        if judged.last is None or shade is None:
            return None
        history = replace(judged.history, stretch=judged.stretch)
        key = (judged.last.look_id, shade.name, history, melt)
        with self._lock:
            known = self._plans.get(key)
        if known is None:
            kit, hair = self.kit, base_zones(judged.last.reading)
            settings = Settings(melt=melt)
            made = make_plan(hair, shade, kit.shelf, kit.targets, kit.ladder, settings, history)
            known = self._kept(self._plans, key, made)
        return known

    def shade(self, text: str | None) -> Target | None:
        """Return a wanted shade; None where none is named, or it is of a list that is not in use any more."""
        try:
            return find_target(text, self.targets) if text else None
        except StrandgaugeError:
            return None

    def _judge(self, strand: Strand, history: History, checks: Sequence[LookRecord]) -> Judged:
        damaged = tuple(one for one in checks if damage_of(one) is not None)
        looks = tuple(self._stored(one) for one in checks if one not in damaged)
        stretch = worst_stretch(tuple(one.stretch for one in checks))
        outlook = None
        if looks and (shade := self.shade(strand.target)) is not None:
            outlook = self.outlook_for(looks[-1], shade.name, history)
            if outlook.does("lift"):  # what the strand felt like at an earlier look forbids that, too
                outlook = self.outlook_for(looks[-1], shade.name, replace(history, stretch=stretch))
        curve = self._curve(strand, history, looks, stretch)
        step = next_step(outlook, None if strand.rinsed else curve, stretch) if looks else None
        return Judged(strand, history, looks, damaged, curve, outlook, stretch, step)

    def _curve(
        self, strand: Strand, history: History, looks: Sequence[Answer], stretch: Stretch | None
    ) -> LiftCurve | None:
        # Levels of another ladder are no levels of this one; and what is rinsed lifts no more.
        # A photo that was sent again is no other look: it would tell of hair that stands still.
        used = [
            (max(since, 0.0), one)
            for place, one in enumerate(looks)
            if (since := strand.minutes_at(one.at)) is not None
            and since >= -JUST_BEFORE
            and one.reading.ladder == self.ladder.name
            and not one.result
            and (strand.rinsed is None or one.at <= strand.rinsed)
            and not any(is_same_photo(one.reading, earlier.reading) for earlier in looks[:place])
        ]
        if not used:
            return None
        shade = self.shade(strand.target)
        outlook = None if shade is None else self.outlook_for(used[-1][1], shade.name, history)
        return self.kit.follow(
            [one.reading for _, one in used],
            LookTimes(tuple(since for since, _ in used), from_start=True),
            outlook=outlook,
            limit=strand.limit_minutes,
            stretch=stretch,
        )

    def _keep_answer(self, answer: Answer) -> None:
        """Keep for good what is answered to a look, by what was known when it was taken."""
        assert answer.strand_id is not None
        assert answer.look_id is not None
        judged = self.judged(answer.strand_id, until=answer.at)
        self.logbook.set_answer(answer.look_id, self._shown(self, judged, answer))

    def _brought_up_to_date(self, answer: Answer) -> Answer:
        """Add what the logbook says of the strand now: its curve, and whether to stop."""
        if answer.strand_id is None:
            return answer
        judged = self.judged(answer.strand_id)
        return replace(
            answer,
            curve=judged.curve,
            stop_reason=judged.stop_reason,
        )

    def _stored(self, record: LookRecord) -> Answer:
        """Return a look from the logbook, with the picture that is remembered of it."""
        with self._lock:
            kept = self._answers.get(self._keys.get(record.id, ""))
        if kept is not None:
            return replace(kept, stretch=record.stretch, note=record.note)
        where = f"check {record.id}"
        strip = record.thumbnail or b""
        return filled(
            Answer,
            record,
            key="",
            look_id=record.id,
            reading=record_of(Reading, record.reading, where),
            outlook=None if record.outlook is None else record_of(Outlook, record.outlook, where),
            curve=None,
            picture_jpeg=strip,
            strip_jpeg=strip,
            history=history_of(((record.answer or {}).get("basis") or {}).get("history")),
        )

    def _remember(self, answer: Answer) -> None:
        with self._lock:
            self._answers[answer.key] = answer
            if answer.look_id is not None:
                self._keys[answer.look_id] = answer.key
            while len(self._answers) > REMEMBERED:
                _, old = self._answers.popitem(last=False)
                if old.look_id is not None:
                    self._keys.pop(old.look_id, None)

    def _kept(
        self,
        where: OrderedDict[Hashable, Any],
        key: Hashable,
        value: Any,  # noqa: ANN401
        most: int = REMEMBERED,
    ) -> Any:  # noqa: ANN401
        with self._lock:
            where[key] = value
            while len(where) > most:
                where.popitem(last=False)
        return value


def chair_of(
    strand: Strand, now: datetime, stretch: Stretch | None, last: LookRecord | Answer | None
) -> Chair:
    """Return a strand at one moment.

    Parameters
    ----------
    stretch : the worst answer of its stretch tests.
    last : its last look; None before the first.
    """
    minutes = strand.minutes_at(min(now, strand.rinsed) if strand.rinsed else now)
    after = last is not None and strand.rinsed is not None and last.at >= strand.rinsed
    return Chair(
        minutes=minutes,
        limit=strand.limit_minutes,
        rinsed=strand.rinsed is not None,
        since_look=None if last is None else (now - last.at).total_seconds() / 60.0,
        stretch=stretch,
        dried=after and last is not None and not last.wet,
        finished=last is not None and last.result,
    )
