"""Each client's lift curve, from the photos that the manifest names for that client."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import timedelta

from strandgauge.hair.levels import Ladder
from strandgauge.judge.follow import follow
from strandgauge.lift.curve import LiftCurve
from strandgauge.sheet.record import Record

SESSION_GAP = timedelta(hours=3)
"""A longer pause between two photos of a client separates two sessions; lightener stays on no strand that long."""


def lift_curves(
    records_by_client: Iterable[tuple[str, Iterable[Record]]], ladder: Ladder
) -> Iterator[tuple[str, LiftCurve]]:
    """Yield the lift curve of each client who was photographed twice or more in one session.

    Parameters
    ----------
    records_by_client : each client's alias and records, one client after the other.
    ladder : that of the readings.
    """
    for client, records in records_by_client:
        session = last_session(records)
        if len(session) < 2:
            continue
        readings = [record.reading for record in session if record.reading is not None]
        times = [record.taken for record in session if record.taken is not None]
        wanted = session[-1].wanted
        yield (
            client,
            follow(
                readings,
                [(time - times[0]).total_seconds() / 60.0 for time in times],
                target=None if wanted is None else wanted.target,
                needs_level=None if wanted is None else wanted.needs_level,
                ladder=ladder,
                from_start=False,
                by_zone=False,
            ),
        )


def last_session(records: Iterable[Record]) -> Sequence[Record]:
    """Return the readings of the last session that has two or more, in the order of time.

    A photo without a time cannot be placed, and a copy of another says nothing new.
    """
    timed = {
        (record.taken, record.digest): record
        for record in records
        if record.reading is not None and record.taken is not None
    }
    sessions: list[list[Record]] = []
    for (taken, _), record in sorted(timed.items(), key=lambda item: item[0]):
        before = sessions[-1][-1].taken if sessions else None
        if before is None or taken is None or taken - before > SESSION_GAP:
            sessions.append([])
        sessions[-1].append(record)
    return next((session for session in reversed(sessions) if len(session) >= 2), [])
