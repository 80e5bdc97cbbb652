"""What the forms of the phone page hold, taken as it can be entered, or refused with what to change."""

from __future__ import annotations

import math
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from starlette.datastructures import FormData

from strandgauge.dye.targets import find_target
from strandgauge.errors import StrandgaugeError
from strandgauge.files.limits import LONGEST_NAME
from strandgauge.logbook.records import Strand
from strandgauge.web import screens
from strandgauge.web.service import Service
from strandgauge.words import say

FIELDS = ("client", "name", "on", "ago", "limit", "limit_other", "target", "own", "request")
LIMIT_MINUTES = (1.0, 240.0)
LONGEST_AGO = 240.0
FIRST_LIMIT = 30.0
"""Minutes that stand in the form before anybody has entered a limit: on the short side, so that whoever taps past it
is called too early rather than too late. Own choice."""
COMMON_LIMITS = ("20", "30", "40", "50")
LONGEST_WAIT = 12 * 3600.0
"""Seconds for which a phone may have kept a form or a photo before it is sent."""


class PageProblem(Exception):  # noqa: N818 - no fault of the program: something the form still needs
    """A form that cannot be taken as it is; the message says what to change."""


@dataclass(frozen=True, slots=True)
class StrandForm:
    """What the form of a strand asks for, new or changed."""

    alias: str
    name: str
    target: str | None
    started: datetime | None
    limit: float | None


def new_form(service: Service, client: int | None) -> dict[str, str]:
    """Return how the form of a new strand begins: a client who was here before starts from the last time."""
    limit = service.logbook.recent_limit() or FIRST_LIMIT
    form = {
        "client": "",
        "name": say("page.strand-name"),
        "on": "now",
        "ago": "",
        "request": secrets.token_hex(12),
        **_limit_fields(limit),
        **_target_fields(service, None),
    }
    if client is not None:
        form["client"] = service.logbook.client(client).alias
        last = screens.last_time(screens.visits_of(service, client))
        form |= _target_fields(service, None if last is None else last[1].target)
    return form


def form_of(service: Service, strand: Strand) -> dict[str, str]:
    """Return the form of a strand that is there."""
    return {
        "name": strand.name,
        "on": "same",
        "ago": "",
        **_limit_fields(strand.limit_minutes),
        **_target_fields(service, strand.target),
    }


def read_form(service: Service, form: FormData, now: datetime, before: Strand | None = None) -> StrandForm:
    """Return what a form asks for.

    Parameters
    ----------
    now : when the form was filled in.
    before : the strand that is changed; None for a new one.

    Raises
    ------
    PageProblem : something in it cannot be taken.
    """
    name = text_of(form, "name") or (before.name if before else say("page.strand-name"))
    return StrandForm(
        alias=text_of(form, "client") or _guest(service, now),
        name=name,
        target=_target(service, form),
        started=before.started if before and form.get("on") == "same" else _started(form, now),
        limit=_limit(form),
    )


def as_typed(form: FormData) -> dict[str, str]:
    """Return what somebody typed, to be shown again."""
    typed = {key: value for key, value in form.items() if isinstance(value, str)}
    return {
        **dict.fromkeys(FIELDS, ""),
        **typed,
    }


def text_of(form: FormData, key: str) -> str:
    """Return a field as one line; empty where it is not there."""
    value = form.get(key, "")
    return " ".join(value.split())[: LONGEST_NAME + 1] if isinstance(value, str) else ""


def grams_of(text: str) -> float | None:
    """Return a bowl's size within reason; None, which stands for the usual one, where it is no number."""
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    low, high = screens.BOWL_LIMITS
    return None if math.isnan(value) else min(max(value, low), high)


def waited_for(text: str) -> float:
    """Return for how many seconds a phone has kept what it sends; 0 where it does not say so."""
    try:
        value = float(text)
    except ValueError:
        return 0.0
    return value if 0.0 <= value <= LONGEST_WAIT else 0.0


def _guest(service: Service, now: datetime) -> str:
    """Return an alias for a client who was given none: wet gloves do not type."""
    alias = f"{say('page.guest')} {now.astimezone():%H:%M}"
    names = (alias, *(f"{alias} ({count})" for count in range(2, 100)))
    return next(name for name in names if service.logbook.find_client(name) is None)


def _number(form: FormData, key: str, name: str, low: float, high: float) -> float:
    text = text_of(form, key).replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        raise PageProblem(say("page.no-number", name=name)) from None
    if not low <= value <= high:
        raise PageProblem(say("page.out-of-range", name=name, low=low, high=high))
    return value


def _limit(form: FormData) -> float | None:
    """Return the time limit; what was tapped counts, and what was typed only where 'another' is tapped."""
    tapped = text_of(form, "limit")
    if not tapped:
        return None
    key = "limit_other" if tapped == "other" else "limit"
    return _number(form, key, say("page.limit-name"), *LIMIT_MINUTES)


def _started(form: FormData, now: datetime) -> datetime | None:
    match form.get("on"):
        case "none":
            return None
        case "ago":
            return now - timedelta(minutes=_number(form, "ago", say("page.ago-name"), 0.0, LONGEST_AGO))
        case _:
            return now


def _target(service: Service, form: FormData) -> str | None:
    text = text_of(form, "own" if form.get("target") == "own" else "target")
    try:
        return find_target(text, service.targets).name if text else None
    except StrandgaugeError as error:
        raise PageProblem(say("page.no-shade", why=error.message)) from error


def _limit_fields(limit: float | None) -> Mapping[str, str]:
    return {"limit": "" if limit is None else f"{limit:g}", "limit_other": ""}


def limits_of(form: Mapping[str, str]) -> tuple[str, ...]:
    """Return the time limits that are one tap away: the common ones, and the one that the form begins with."""
    begun = form["limit"]
    return COMMON_LIMITS if begun in ("", "other", *COMMON_LIMITS) else (*COMMON_LIMITS, begun)


def _target_fields(service: Service, target: str | None) -> Mapping[str, str]:
    listed = target is None or any(shade.name == target for shade in service.targets)
    return {"target": (target or "") if listed else "own", "own": "" if listed else (target or "")}
