"""What the phone page and the JSON API both do: look at a photo, remember it, and say how the strand goes on.

Every method blocks; call them from a thread (a plain ``def`` route, or ``run_in_threadpool``). They may be called
from several threads at once.
"""

from __future__ import annotations

import secrets
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cached_property
from threading import Lock
from typing import TYPE_CHECKING, Literal

from strandgauge.dye.palette import Palette, load_palette
from strandgauge.dye.targets import Target, find_target, load_targets
from strandgauge.errors import BadColourError, UnknownLookError, UnknownTargetError, UnreadableFileError
from strandgauge.hair.levels import Ladder, load_ladder
from strandgauge.judge.follow import LiftCurve, follow
from strandgauge.judge.outlook import Outlook, base_zones
from strandgauge.judge.reach import reach
from strandgauge.photo.formats import recognise
from strandgauge.reading.model import Reading
from strandgauge.show.json import document_of, record_of
from strandgauge.web.settings import ServerSettings
from strandgauge.web.workers import Job, WorkerPool

if TYPE_CHECKING:
    from strandgauge.logbook.book import Logbook
    from strandgauge.logbook.records import CheckRecord, Strand

Stretch = Literal["springs back", "slow", "gummy"]
"""The stylist's own answer after stretching a few wet hairs."""

GUMMY_MEANS_STOP = (
    "The stretch test was gummy: rinse the lightener out now, and do not lighten or tone this hair today."
)
REMEMBERED = 48
"""Answers kept in memory, with their pictures; some 300 kB each."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One look at a strand, as it is shown."""

    key: str
    """Unguessable name of this answer while the server remembers it; see `Service.remembered`."""
    check_id: int | None
    """In the logbook; None for a quick look, which is not stored."""
    strand_id: int | None
    at: datetime
    """UTC."""
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


class Service:
    """Looks, remembers and follows; holds the logbook and the worker processes.

    Parameters
    ----------
    settings : what the server was asked for.
    logbook : opened; closed by `close`.
    workers : started; stopped by `close`.
    """

    def __init__(self, settings: ServerSettings, logbook: Logbook, workers: WorkerPool) -> None:
        self.settings = settings
        self.logbook = logbook
        self.workers = workers
        self._answers: OrderedDict[str, Answer] = OrderedDict()
        self._keys: dict[int, str] = {}
        self._outlooks: OrderedDict[tuple[int, str], Outlook] = OrderedDict()
        self._lock = Lock()

    @cached_property
    def targets(self) -> tuple[Target, ...]:
        """The wanted shades that have a name."""
        return load_targets()

    @cached_property
    def ladder(self) -> Ladder:
        """The ladder of levels in use."""
        return self.settings.ladder or load_ladder()

    @cached_property
    def palette(self) -> Palette:
        """The dyes on the shelf."""
        return self.settings.palette or load_palette()

    def close(self) -> None:
        """Stop the workers and close the logbook."""
        self.workers.close()
        self.logbook.close()

    # --- looks ------------------------------------------------------------------------------------------

    def look(
        self,
        upload: bytes,
        *,
        strand_id: int | None = None,
        wet: bool = False,
        target: str | None = None,
        keep_photo: bool = False,
    ) -> Answer:
        """Read a photo and, where it belongs to a strand, write it into the logbook.

        Parameters
        ----------
        upload : the photo's bytes.
        strand_id : the strand it shows; a quick look, which is not stored, when None.
        wet : the strand is wet.
        target : the wanted shade, by name or as ``#rrggbb`` or ``L,a,b``; the strand's own when None.
        keep_photo : store the photo itself as well.

        Raises
        ------
        StrandgaugeError : the photo is refused, the strand or the shade is unknown, the server is busy.
        """
        if not upload:
            raise UnreadableFileError("The photo is empty.", remedy="Take or choose it again.")
        recognise(upload)
        wanted = target or None
        if strand_id is not None:
            wanted = wanted or self.logbook.strand(strand_id).target
        shade = find_target(wanted, self.targets) if wanted else None
        at = datetime.now(UTC)
        result = self.workers.run(Job(upload, wet, shade))
        answer = Answer(
            key=secrets.token_urlsafe(12),
            check_id=None,
            strand_id=strand_id,
            at=at,
            wet=wet,
            reading=result.reading,
            outlook=result.outlook,
            curve=None,
            picture_jpeg=result.picture_jpeg,
            strip_jpeg=result.strip_jpeg,
        )
        if strand_id is not None:
            record = self.logbook.add_check(
                strand_id,
                at,
                wet,
                document_of(result.reading),
                outlook=None if result.outlook is None else document_of(result.outlook),
                thumbnail=result.strip_jpeg,
                photo=upload if keep_photo else None,
            )
            answer = replace(answer, check_id=record.id)
        self._remember(answer)
        return self._brought_up_to_date(answer)

    def answer(self, check_id: int) -> Answer:
        """Return a stored look as it stands now, with the strand's curve to this day.

        Raises
        ------
        StrandgaugeError : no such check, or it cannot be read back.
        """
        record = self.logbook.check(check_id)
        with self._lock:
            kept = self._answers.get(self._keys.get(check_id, ""))
        if kept is None:
            kept = _answer_from(record)
        return self._brought_up_to_date(replace(kept, stretch=record.stretch, note=record.note))

    def remembered(self, key: str) -> Answer:
        """Return a recent look by its key; the only way back to a quick look.

        Raises
        ------
        UnknownLookError : forgotten, or never there.
        """
        with self._lock:
            kept = self._answers.get(key)
        if kept is None:
            raise UnknownLookError("This look is not remembered any more.")
        return kept if kept.check_id is None else self.answer(kept.check_id)

    def set_stretch(self, check_id: int, answer: Stretch) -> Answer:
        """Write down what the stretch test said, and return the look as it stands then."""
        self.logbook.set_stretch(check_id, answer)
        return self.answer(check_id)

    def forget(self) -> None:
        """Drop every remembered look, as after something was deleted from the logbook."""
        with self._lock:
            self._answers.clear()
            self._keys.clear()
            self._outlooks.clear()

    # --- strands ----------------------------------------------------------------------------------------

    def curve(self, strand_id: int) -> LiftCurve | None:
        """Return the strand's lift curve; None without a look since its lightener went on."""
        return self._curve(self.logbook.strand(strand_id), self.logbook.checks(strand_id))

    def stop_reason(self, strand_id: int) -> str | None:
        """Say why to stop with a strand whatever its colour: a gummy stretch test; None where none was."""
        return _stop_reason(self.logbook.checks(strand_id))

    def _curve(self, strand: Strand, checks: Sequence[CheckRecord]) -> LiftCurve | None:
        readings, minutes, used = [], [], []
        for check in sorted(checks, key=lambda one: one.at):
            since = strand.minutes_at(check.at)
            if since is None or since < 0:
                continue
            reading = record_of(Reading, check.reading, f"check {check.id}")
            if reading.ladder != self.ladder.name:
                continue  # its levels are no levels of this ladder
            readings.append(reading)
            minutes.append(since)
            used.append(check)
        if not readings:
            return None
        outlook = self._wished(strand, used[-1], readings[-1])
        curve = follow(
            readings,
            minutes,
            target=None if outlook is None else outlook.target.name,
            needs_level=None if outlook is None else outlook.level_to_come_to,
            reads_true_now=() if outlook is None else [shade.name for shade in outlook.instead],
            limit=strand.limit_minutes,
            ladder=self.ladder,
        )
        reason = _stop_reason(checks)
        return curve if reason is None else stopped(curve, reason)

    def _wished(self, strand: Strand, check: CheckRecord, reading: Reading) -> Outlook | None:
        """Return the outlook of a look for the strand's wanted shade as it is now."""
        if strand.target is None:
            return None
        if check.outlook is not None and check.outlook["target"]["name"] == strand.target:
            return record_of(Outlook, check.outlook, f"check {check.id}")
        try:
            return self._outlook_of(check.id, strand.target, reading)
        except (UnknownTargetError, BadColourError):
            return None  # written down elsewhere, or before the list of shades was changed

    def outlook_for(self, answer: Answer, target: str) -> Outlook:
        """Return the outlook of a stored look for a shade, also for another one than was wished then.

        Raises
        ------
        StrandgaugeError : the shade is unknown.
        """
        if answer.outlook is not None and answer.outlook.target.name == target:
            return answer.outlook
        assert answer.check_id is not None, "a stored look has a number"
        return self._outlook_of(answer.check_id, find_target(target, self.targets).name, answer.reading)

    def _outlook_of(self, check_id: int, target: str, reading: Reading) -> Outlook:
        """Work out an outlook that was not asked for when the photo was taken, once."""
        with self._lock:
            known = self._outlooks.get((check_id, target))
        if known is None:
            zones = base_zones(reading)
            shade = find_target(target, self.targets)
            known = reach(zones, shade, self.palette, self.targets, self.ladder)
            with self._lock:
                self._outlooks[check_id, target] = known
                while len(self._outlooks) > REMEMBERED:
                    self._outlooks.popitem(last=False)
        return known

    def _brought_up_to_date(self, answer: Answer) -> Answer:
        """Add what the logbook says of the strand now: its curve, and whether to stop."""
        if answer.strand_id is None:
            return answer
        strand, checks = self.logbook.strand(answer.strand_id), self.logbook.checks(answer.strand_id)
        return replace(answer, curve=self._curve(strand, checks), stop_reason=_stop_reason(checks))

    def _remember(self, answer: Answer) -> None:
        with self._lock:
            self._answers[answer.key] = answer
            if answer.check_id is not None:
                self._keys[answer.check_id] = answer.key
            while len(self._answers) > REMEMBERED:
                _, old = self._answers.popitem(last=False)
                if old.check_id is not None:
                    self._keys.pop(old.check_id, None)


def stopped(curve: LiftCurve, reason: str) -> LiftCurve:
    """Return a curve that says stop, and nothing of what it advised before."""
    return replace(curve, stop=True, headline="Stop: rinse now.", advice=(reason,), next_look=None)


def _stop_reason(checks: Sequence[CheckRecord]) -> str | None:
    return GUMMY_MEANS_STOP if any(check.stretch == "gummy" for check in checks) else None


def _answer_from(record: CheckRecord) -> Answer:
    where = f"check {record.id}"
    strip = record.thumbnail or b""
    return Answer(
        key="",
        check_id=record.id,
        strand_id=record.strand_id,
        at=record.at,
        wet=record.wet,
        reading=record_of(Reading, record.reading, where),
        outlook=None if record.outlook is None else record_of(Outlook, record.outlook, where),
        curve=None,
        picture_jpeg=strip,
        strip_jpeg=strip,
    )
