"""One strand while it is watched: its readings so far, kept on disk, and what they say at this minute."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from strandgauge.errors import StrandgaugeError
from strandgauge.files.write import cannot_write, write_whole
from strandgauge.judge.moment import Chair, Moment, moment
from strandgauge.judge.nextstep import next_step
from strandgauge.judge.outlook import Outlook, Settings, base_zones
from strandgauge.kit import Kit
from strandgauge.lift.curve import LiftCurve
from strandgauge.lift.times import LookTimes, look_times, time_in_name
from strandgauge.reading.model import Reading
from strandgauge.show.json import document_of, record_of
from strandgauge.show.pages.follow import follow_page
from strandgauge.show.picture.strip import strip_jpeg
from strandgauge.strand.names import ZoneName
from strandgauge.watch.arrive import Arrived
from strandgauge.words import say

REFRESH_SECONDS = 5
"""How often the page on the screen looks whether it is still true."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What is known of the strand beforehand."""

    start: str | None = None
    """When the lightener went on, ``HH:MM`` or a date and time."""
    limit: float | None = None
    """The maker's time limit, minutes since the lightener went on."""
    target: str | None = None
    level: float | None = None
    """The level to come to, instead of a shade."""
    zone: ZoneName = "overall"
    wet: bool = False


class WatchedStrand:
    """The strand's readings, in a file of one JSON document a line beside its page.

    Parameters
    ----------
    page : the page to keep current; ``.jsonl`` in place of its ending is the file of readings. What lies there is
        taken up again, but for a line that was torn.

    Raises
    ------
    CannotWriteError : the file cannot be written.
    """

    def __init__(self, kit: Kit, plan: Plan, page: Path) -> None:
        self._kit, self._plan, self._page = kit, plan, page
        self._kept = page.with_suffix(".jsonl")
        self.readings: list[Reading] = []
        self._strips: dict[str, bytes] = {}
        self._outlook: Outlook | None = None
        self._shown: object = None
        self._take_up()

    def add(self, photo: Arrived) -> Reading:
        """Read a photo and keep its reading, in place of an earlier one of that name.

        Raises
        ------
        StrandgaugeError : the photo cannot be read or trusted, tells no time, or nothing can be written.
        """
        measured = self._kit.measure(photo.content, wet=self._plan.wet)
        taken = photo.taken or measured.reading.taken
        if taken is None and time_in_name(Path(photo.name).stem) is None:
            taken = photo.written  # it arrived when it was taken, or soon after
        reading = replace(measured.reading, photo=photo.name, taken=taken)
        others = [one for one in self.readings if one.photo != photo.name]
        self._times([*others, reading])  # one without a time is refused before it is kept
        self.readings = [*others, reading]
        self._strips[photo.name] = strip_jpeg(measured)
        self._outlook = None
        self._write(reading)
        return reading

    def now(self, clock: datetime) -> tuple[LiftCurve, Moment] | None:
        """Return the lift so far and what to do at this minute; None before the first reading.

        Parameters
        ----------
        clock : the time now, by the clock of the photos.
        """
        if not self.readings:
            return None
        times = self._times(self.readings)
        last = max(zip(times.minutes, self.readings, strict=True), key=lambda pair: pair[0])
        if self._outlook is None and self._plan.target is not None:
            wanted = base_zones(last[1])
            self._outlook = self._kit.reach(wanted, self._plan.target, Settings(pretone=False))
        outlook = self._outlook
        plan = self._plan
        curve = self._kit.follow(
            self.readings, times, outlook=outlook, level=plan.level, limit=plan.limit, zone=plan.zone
        )
        since = 0.0
        if last[1].taken is not None:
            since = max((clock - last[1].taken.replace(tzinfo=None)).total_seconds() / 60.0, 0.0)
        chair = Chair(last[0] + since, self._plan.limit, since_look=since)
        return curve, moment(next_step(outlook, curve), chair)

    def write_page(self, curve: LiftCurve, answer: Moment) -> None:
        """Bring the page up to date, where it says something else than it did.

        Raises
        ------
        CannotWriteError : it cannot be written.
        """
        said: tuple[str, tuple[str, ...]] | None = None
        if answer.code is not None and answer.kind == "stop":
            reason = say(f"moment.{answer.code}", **dict(answer.facts))
            headline = say(f"moment-word.{answer.code}")
            curve = replace(curve, stop=True, next_look=None)
            said = (f"{headline}.", (reason,))
        if (curve, said, len(self.readings)) != self._shown:
            page = follow_page(curve, self.readings, self._strips, refresh=REFRESH_SECONDS, said=said)
            write_whole(self._page, page.encode())
            self._shown = (curve, said, len(self.readings))

    def _times(self, readings: list[Reading]) -> LookTimes:
        names, taken = [one.photo for one in readings], [one.taken for one in readings]
        return look_times(names, taken, self._plan.start)

    def _take_up(self) -> None:
        lines = self._kept.read_bytes().splitlines() if self._kept.exists() else []
        found: dict[str, Reading] = {}
        for line in lines:
            try:
                reading = record_of(Reading, json.loads(line), self._kept.name)
            except (ValueError, StrandgaugeError):
                continue  # torn where the power went
            found[reading.photo] = reading
        self.readings = list(found.values())
        try:
            with self._kept.open("ab") as file:
                if lines and not self._kept.read_bytes().endswith(b"\n"):
                    file.write(b"\n")
        except OSError as error:
            raise cannot_write(self._kept, error) from error

    def _write(self, reading: Reading) -> None:
        try:
            with self._kept.open("ab") as file:
                file.write(json.dumps(document_of(reading), allow_nan=False).encode("ascii") + b"\n")
        except OSError as error:
            raise cannot_write(self._kept, error) from error
