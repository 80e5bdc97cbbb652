"""One strand while it is watched: its readings so far, kept on disk, and what they say at this minute."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from strandgauge.errors import SamePhotoError, StrandgaugeError
from strandgauge.files.write import cannot_write, write_whole
from strandgauge.judge.follow import is_same_photo
from strandgauge.judge.moment import Chair, Moment, moment
from strandgauge.judge.nextstep import next_step
from strandgauge.judge.outlook import Outlook, Settings, base_zones
from strandgauge.kit import Kit
from strandgauge.lift.curve import LiftCurve
from strandgauge.lift.times import LookTimes, look_times, time_in_name
from strandgauge.reading.model import TOGETHER, Reading
from strandgauge.reading.pipeline import Measurement, read_turned_pair
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

    A photo that is a turned pair with the one before it is read together with it, and both are one look.

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
        self._read: list[Reading] = []
        """All readings in the order of their making; `readings` are those that stand."""
        self.readings: list[Reading] = []
        self._alone: Measurement | None = None
        """The last photo, where the next one may be a turned pair with it."""
        self._strips: dict[str, bytes] = {}
        self._outlook: Outlook | None = None
        self._shown: object = None
        self._take_up()

    @property
    def photos(self) -> frozenset[str]:
        """Names of the photos that were read."""
        return frozenset[str]().union(*map(_photos_of, self.readings))

    def add(self, photo: Arrived) -> Reading:
        """Read a photo and keep its reading, in place of earlier ones of it; return it, or that of the pair.

        Raises
        ------
        StrandgaugeError : the photo cannot be read or trusted, tells no time, or nothing can be written.
        """
        measured = self._kit.measure(photo.content, wet=self._plan.wet)
        taken = photo.taken or measured.reading.taken
        if taken is None and time_in_name(Path(photo.name).stem) is None:
            taken = photo.written  # it arrived when it was taken, or soon after
        alone = replace(measured, reading=replace(measured.reading, photo=photo.name, taken=taken))
        for one in self._read:  # a copy that a folder was given would stand in the way of every later look
            if one.photo != photo.name and is_same_photo(one, alone.reading):
                raise SamePhotoError(photos=f"{one.photo} + {photo.name}")
        pair = self._paired(alone)
        new = [alone.reading] if pair is None else [alone.reading, pair]
        looks = _looks([*self._read, *new])
        self._times(looks)  # one without a time is refused before it is kept
        self._read += new
        self.readings = looks
        self._alone = alone if pair is None else None
        self._outlook = None
        for reading in new:
            self._strips[reading.photo] = strip_jpeg(measured)
            self._write(reading)
        return new[-1]

    def _paired(self, measured: Measurement) -> Reading | None:
        """Return the reading of a photo and the one before it, if they are a turned pair."""
        if self._alone is None or self._alone.reading.photo == measured.reading.photo:
            return None
        both = (self._alone, measured)
        return read_turned_pair(both, [one.reading.taken for one in both], self._kit.ladder, self._plan.wet)

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
        for line in lines:
            try:
                reading = record_of(Reading, json.loads(line), self._kept.name)
            except (ValueError, StrandgaugeError):
                continue  # torn where the power went
            self._read.append(reading)
        self.readings = _looks(self._read)
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


def _looks(read: Iterable[Reading]) -> list[Reading]:
    """Return the looks of readings told in the order of their making: each photo's last, pairs in place of both."""
    alone: dict[str, Reading] = {}
    pairs: list[Reading] = []
    for reading in read:
        photos = _photos_of(reading)
        pairs = [pair for pair in pairs if photos.isdisjoint(_photos_of(pair))]
        if len(photos) > 1:
            pairs.append(reading)
        else:
            alone[reading.photo] = reading
    paired = frozenset[str]().union(*map(_photos_of, pairs))
    return [*(one for photo, one in alone.items() if photo not in paired), *pairs]


def _photos_of(reading: Reading) -> frozenset[str]:
    names = reading.photo.split(TOGETHER)
    return frozenset(names if len(names) == reading.photos else [reading.photo])
