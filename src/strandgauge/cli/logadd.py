"""``strandgauge log add``: read photos of a strand and enter them as checks."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from strandgauge.cli.logoptions import ClientArgument, LogbookOption, opened
from strandgauge.cli.options import JsonOption
from strandgauge.cli.outcome import Session
from strandgauge.errors import BadEntryError, StrandgaugeError
from strandgauge.hair.stretch import Stretch

if TYPE_CHECKING:
    from strandgauge.logbook.book import Logbook
    from strandgauge.logbook.records import Client, LookRecord, Strand, Visit

SAME_VISIT = timedelta(hours=12)
"""Checks nearer to a visit's start than this belong to it."""


def add(
    context: typer.Context,
    session: Session,
    client: ClientArgument,
    photos: list[Path],
    strand: str = "strand",
    target: str | None = None,
    wet: bool = False,
    stretch: Stretch | None = None,
    note: str = "",
    keep_photo: bool = False,
    logbook: LogbookOption = None,
    json: JsonOption = None,
) -> int:
    """Read photos of a strand and enter them as checks, at the time they were taken.

    A client who is not in the logbook yet is entered. Where a photo does not tell its time, it is now.

    Parameters
    ----------
    photos PHOTO... : Photos of one strand.
    strand NAME : Which strand; entered where it is new to this visit.
    target SHADE : The wanted shade: a name, #rrggbb or L,a,b; the strand's own if left out.
    wet : The strand is wet in the photos.
    stretch : What the stretch test said; gummy always means stop.
    note TEXT : A note.
    keep_photo : Keep the photos themselves too.
    """
    session.several = len(photos) > 1
    from strandgauge.show.json.logbook import logged_document
    from strandgauge.show.terminal.logbook import print_entered

    worst = 0
    with opened(context, logbook, new=True) as book:
        for photo in photos:
            try:
                who, visit, which, check = _enter(
                    book, client, photo, strand, target, wet, stretch, note, keep_photo
                )
            except StrandgaugeError as error:
                worst = max(worst, session.tell(error))
                continue
            session.show(logged_document(who, visit, which, check, None), print_entered, who, which, check)
    return worst


def _enter(
    logbook: Logbook,
    alias: str,
    photo: Path,
    strand_name: str,
    target: str | None,
    wet: bool,
    stretch: Stretch | None,
    note: str,
    keep_photo: bool,
) -> tuple[Client, Visit, Strand, LookRecord]:
    import hashlib

    from strandgauge.judge.outlook import base_zones
    from strandgauge.kit import load
    from strandgauge.photo.open import read_bytes
    from strandgauge.show.json import document_of
    from strandgauge.show.picture.strip import strip_jpeg

    kit = load()
    content = read_bytes(photo)
    digest = hashlib.sha256(content).hexdigest()
    if (before := logbook.find_look(digest)) is not None:
        raise BadEntryError(where=str(photo), fault="known-photo", check=before.id)
    measurement = kit.measure(photo, wet=wet)
    at = _in_utc(measurement.card.photo.taken_at)
    # All that can fail of what was asked for has its turn before anything is entered.
    known = _known_strand(logbook, alias, at, strand_name)
    wanted = target if target is not None or known is None else known.target
    outlook = None if wanted is None else kit.reach(base_zones(measurement.reading), wanted)
    client = logbook.find_client(alias) or logbook.add_client(alias)
    visit = _visit_at(logbook, client, at) or logbook.add_visit(client.id, started=at)
    strand = _strand_called(logbook, visit, strand_name) or logbook.add_strand(visit.id, strand_name)
    if outlook is not None and strand.target is None:
        strand = logbook.update_strand(strand.id, target=outlook.target.name)
    check = logbook.add_look(
        strand.id,
        at,
        wet,
        document_of(measurement.reading),
        None if outlook is None else document_of(outlook),
        thumbnail=strip_jpeg(measurement),
        photo=content if keep_photo else None,
        note=note,
        stretch=stretch,
        request=digest,
    )
    return client, visit, strand, check


def _in_utc(taken: datetime | None) -> datetime:
    """Return when a photo was taken, by a camera whose clock shows this computer's time; now where it is not told."""
    try:
        return datetime.now(UTC) if taken is None else taken.astimezone(UTC)
    except (OverflowError, ValueError, OSError):  # a camera whose clock was never set
        return datetime.now(UTC)


def _known_strand(logbook: Logbook, alias: str, at: datetime, name: str) -> Strand | None:
    client = logbook.find_client(alias)
    visit = None if client is None else _visit_at(logbook, client, at)
    return None if visit is None else _strand_called(logbook, visit, name)


def _visit_at(logbook: Logbook, client: Client, at: datetime) -> Visit | None:
    return next((one for one in logbook.visits(client.id) if abs(at - one.started) < SAME_VISIT), None)


def _strand_called(logbook: Logbook, visit: Visit, name: str) -> Strand | None:
    wanted = " ".join(name.split()).casefold()
    return next((one for one in logbook.strands(visit.id) if one.name.casefold() == wanted), None)
