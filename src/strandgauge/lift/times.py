"""When each photo of a strand was taken, in minutes since the lightener went on.

Times come from the camera (EXIF), else from the file's name. Both are clock times; the minutes follow once it
is known when the lightener went on.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path

from strandgauge.errors import BadTimesError

_DATE_AND_TIME = re.compile(
    r"(?<!\d)(20\d\d)[-_.]?([01]\d)[-_.]?([0-3]\d)[-_. T]{0,3}([0-2]\d)[-_.:h]?([0-5]\d)(?:[-_.:m]?([0-5]\d))?(?!\d)"
)
_TIME = re.compile(r"(?<!\d)([01]\d|2[0-3])[-_.:h]?([0-5]\d)(?!\d)")
_MINUTES = re.compile(r"(?<!\d)(\d{1,3}) ?-?(?:min|minutes?|')(?![a-z])", re.IGNORECASE)
_LATEST_START = timedelta(hours=6)
"""A lightener that went on longer ago than this is taken for a mistyped start."""


@dataclass(frozen=True, slots=True)
class LookTimes:
    """The minutes of each photo."""

    minutes: tuple[float, ...]
    from_start: bool
    """True where they count from when the lightener went on; False where only from the first photo."""


def time_in_name(name: str) -> datetime | time | None:
    """Return the date and time, or only the time of day, that a file's name tells; None where it tells none."""
    if found := _DATE_AND_TIME.search(name):
        year, month, day, hour, minute = (int(part) for part in found.groups()[:5])
        try:
            return datetime(year, month, day, hour, minute, int(found.group(6) or 0))
        except ValueError:
            return None
    if found := _TIME.search(name):
        return time(int(found.group(1)), int(found.group(2)))
    return None


def minutes_in_name(name: str) -> float | None:
    """Return the minutes that a file's name tells, such as 15 for 'root 15 min.jpg'."""
    found = _MINUTES.search(name)
    return float(found.group(1)) if found else None


def parse_minutes(text: str, count: int) -> tuple[float, ...]:
    """Return the minutes of ``--at 0,15,30``.

    Raises
    ------
    BadTimesError : a part is no number, or there are not ``count`` of them.
    """
    try:
        minutes = tuple(float(part) for part in text.split(","))
    except ValueError:
        raise BadTimesError(fault="no-list", text=text) from None
    if len(minutes) != count:
        raise BadTimesError(fault="count-in", photos=count, times=len(minutes), text=text)
    return minutes


def look_times(names: Sequence[str], taken: Sequence[datetime | None], start: str | None) -> LookTimes:
    """Return the minutes of each photo since the lightener went on, or since the first photo without a start.

    Parameters
    ----------
    names : file names, used where the camera told no time.
    taken : what the camera told.
    start : clock time at which the lightener went on, ``HH:MM`` or a date and time.

    Raises
    ------
    BadTimesError : a photo without a time, times of different kinds, a start that is none or after a photo.
    """
    told = [minutes_in_name(name) for name in names]
    if start is None and all(when is None for when in taken) and all(value is not None for value in told):
        return LookTimes(tuple(value for value in told if value is not None), from_start=True)
    clocks = _clocks(names, taken)
    first = min(clocks)
    begin = first if start is None else _start(start, first)
    minutes = tuple((when - begin).total_seconds() / 60.0 for when in clocks)
    if min(minutes) < 0:
        raise BadTimesError(fault="late-start", start=str(start), first=f"{first:%H:%M}")
    if begin < first - _LATEST_START:
        raise BadTimesError(fault="early-start", start=str(start), first=f"{first:%H:%M}")
    return LookTimes(minutes, from_start=start is not None)


def _clocks(names: Sequence[str], taken: Sequence[datetime | None]) -> list[datetime]:
    known = {when.date() for when in taken if when is not None}
    clocks = []
    for name, when in zip(names, taken, strict=True):
        told = when if when is not None else time_in_name(Path(name).stem)
        if told is None:
            raise BadTimesError(where=name, fault="untold")
        if isinstance(told, time):
            if len(known) > 1:
                raise BadTimesError(where=name, fault="which-day")
            told = datetime.combine(next(iter(known), date(2000, 1, 1)), told)
        clocks.append(told.replace(tzinfo=None))
    return clocks


def _start(text: str, first: datetime) -> datetime:
    try:
        if re.fullmatch(r"\d{1,2}[:.]\d\d", text):
            hour, minute = re.split(r"[:.]", text)
            begin = datetime.combine(first.date(), time(int(hour), int(minute)))
            # Lightener that went on before midnight, the first photo after it.
            return begin - timedelta(days=1) if begin > first + timedelta(hours=12) else begin
        return datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        raise BadTimesError(fault="no-time", text=text) from None
