"""The logbook as plain dictionaries, ready for JSON.

The shapes are published as JSON Schemas in ``docs/schemas`` and are only ever added to.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from strandgauge.errors import StrandgaugeError
from strandgauge.logbook.book import Logbook
from strandgauge.logbook.records import CheckRecord, Client, ClientSummary, Deletion, Strand, Visit

Document = dict[str, Any]


def clients_document(path: str, summaries: Iterable[ClientSummary]) -> Document:
    """Return the list of clients as ``strandgauge.log-list/1``."""
    return {
        "schema": "strandgauge.log-list/1",
        "logbook": path,
        "clients": [
            {
                **_client(one.client),
                "visits": one.visits,
                "checks": one.checks,
                "last_visit": _time(one.last_visit),
            }
            for one in summaries
        ],
    }


def client_document(logbook: Logbook, client: Client) -> Document:
    """Return a client with visits, strands and checks as ``strandgauge.log-client/1``, readings in short."""
    return {
        "schema": "strandgauge.log-client/1",
        "client": _client(client),
        "history": client.history,
        "visits": [
            {
                **_visit(visit),
                "strands": [
                    {
                        **_strand(strand),
                        "events": [
                            {"at": _time(event.at), "what": event.what} for event in logbook.events(strand.id)
                        ],
                        "checks": [_check_in_short(check, strand) for check in logbook.checks(strand.id)],
                    }
                    for strand in logbook.strands(visit.id)
                ],
            }
            for visit in logbook.visits(client.id)
        ],
    }


def check_document(
    client: Client,
    visit: Visit,
    strand: Strand,
    check: CheckRecord,
    pictures: Mapping[str, bytes | None] | None,
) -> Document:
    """Return one check with all there is to it as ``strandgauge.log-check/1``.

    Parameters
    ----------
    pictures : by name, to be put in as base64; None leaves them out.
    """
    document = {
        "schema": "strandgauge.log-check/1",
        "client": _client(client),
        "visit": _visit(visit),
        "strand": _strand(strand),
        "check": _check(check, strand),
        "reading": check.reading,
        "outlook": check.outlook,
        "answer": check.answer,
    }
    if pictures is not None:
        document["pictures"] = {
            name: None if content is None else base64.b64encode(content).decode("ascii")
            for name, content in pictures.items()
        }
    return document


def damage_of(check: CheckRecord) -> str | None:
    """Say what of a check cannot be read back; None where all can."""
    from strandgauge.show.json.savedoutlook import outlook_from_document
    from strandgauge.show.json.savedreading import reading_from_document

    if check.damage is not None:
        return check.damage
    try:
        reading_from_document(check.reading, f"check {check.id}")
        if check.outlook is not None:
            outlook_from_document(check.outlook, f"check {check.id}")
    except StrandgaugeError as error:
        return error.message.rstrip(".")
    except (KeyError, TypeError, ValueError, AttributeError):
        return "a value of it is none"
    return None


def deletion_document(client: Client, deletion: Deletion) -> Document:
    """Return what was deleted as ``strandgauge.log-deletion/1``; the alias is not repeated."""
    return {
        "schema": "strandgauge.log-deletion/1",
        "client": client.id,
        "visits": deletion.visits,
        "strands": deletion.strands,
        "checks": deletion.checks,
        "photos": deletion.photos,
        "erased": deletion.erased,
    }


def _client(client: Client) -> Document:
    return {"id": client.id, "alias": client.alias, "created": _time(client.created)}


def _visit(visit: Visit) -> Document:
    return {"id": visit.id, "started": _time(visit.started), "note": visit.note}


def _strand(strand: Strand) -> Document:
    return {
        "id": strand.id,
        "name": strand.name,
        "target": strand.target,
        "started": _time(strand.started),
        "limit_minutes": strand.limit_minutes,
        "rinsed": _time(strand.rinsed),
    }


def _check(check: CheckRecord, strand: Strand) -> Document:
    minutes = strand.minutes_at(check.at)
    return {
        "id": check.id,
        "at": _time(check.at),
        "minutes": None if minutes is None else round(minutes, 2),
        "wet": check.wet,
        "stretch": check.stretch,
        "note": check.note,
        "photo_kept": check.has_photo,
        "result": check.result,
        "damage": check.damage,
    }


def _check_in_short(check: CheckRecord, strand: Strand) -> Document:
    overall, outlook = check.reading.get("overall") or {}, check.outlook
    return {
        **_check(check, strand),
        "level": overall.get("level"),
        "level_sd": overall.get("level_sd"),
        "target": None if outlook is None else outlook.get("target", {}).get("name"),
        "verdict": None if outlook is None else outlook.get("verdict"),
    }


def _time(time: datetime | None) -> str | None:
    return None if time is None else time.isoformat()
