"""Draws the phone page: one environment for its templates, times as the salon says them, pages that stay true.

Each page is drawn with everything in it that hangs on the logbook and the clock, and goes out under a mark (an ETag)
of all that. A phone that has the page open asks again every two seconds and shows what has changed; most often the
answer is that nothing has.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache, partial
from pathlib import Path

import jinja2
from fastapi import Request, Response
from fastapi.responses import HTMLResponse

from strandgauge.show.pages.render import FOLDER as PAGES_FOLDER
from strandgauge.show.pages.render import environment as pages_environment
from strandgauge.web import screens
from strandgauge.web.service import Service
from strandgauge.words import date, figure, named, said, say
from strandgauge.words import plan as plan_words
from strandgauge.words import reading as words
from strandgauge.words.colour import colour_word
from strandgauge.words.judge import (
    bowls_to_mix,
    do_words,
    evening_saying,
    formula_text,
    instead_line,
    mix_line,
    needs_line,
    saying,
)
from strandgauge.words.lift import stop_signs
from strandgauge.words.nextstep import curve_sentences, stretch_answers

TEMPLATES = Path(__file__).parent / "templates"
PHONE = (
    *("time-is-up", "due-now", "due-in", "minutes", "photo", "an-answer", "lost", "lost-do", "old", "odd"),
    *("locked", "locked-do", "taken-now", "sound-off", "sound-on", "tap-for-sound"),
    *("waiting", "sending", "reading", "sent", "discard"),
)
"""What `phone.js` says by itself, by its names there."""
_ENTERED = re.compile(
    r"(gummy taken back; )?(lightener on|lightener off|time limit|stretch): (?:(.*) → )?(.*)"
)
NOW = "@now@"
"""Stands in a drawn page for the server's time, which is put in last: it changes though nothing else does."""


@dataclass(frozen=True, slots=True)
class Call:
    """Something that a page calls somebody to, whatever it shows: a look that is due, a time that is up."""

    strand_id: int
    whose: str
    kind: str
    word: str
    at: int
    """When it calls, in seconds since 1970; 0 where it calls already."""


def calls(cards: tuple[screens.StrandCard, ...], now: datetime) -> tuple[Call, ...]:
    """Return what the strands on the go call for, now or when its time comes."""
    found = []
    for card in cards:
        head, step = card.head, card.step
        whose = f"{head.client.alias}, {head.strand.name}"
        if step.due is not None:
            at = due_at(now, step.due)
            word = step.word if step.kind in ("stop", "ready") else say("moment-word.overdue")
            found.append(Call(head.strand.id, whose, step.kind, word, at))
        if head.chair.running and not head.chair.over and head.chair.limit and head.strand.started:
            at = seconds(head.strand.started + timedelta(minutes=head.chair.limit))
            found.append(Call(head.strand.id, whose, "stop", say("moment-word.time-is-up"), at))
    return tuple(found)


def due_at(now: datetime, minutes: float) -> int:
    """Return when something is due, in seconds since 1970; 0 for what is due without a time of its own."""
    return seconds(now + timedelta(minutes=minutes)) if minutes else 0


def seconds(at: datetime | None) -> int:
    """Return a time in seconds since 1970; 0 for none."""
    return 0 if at is None else round(at.timestamp())


def page(service: Service, template: str, **values: object) -> str:
    """Draw a page."""
    cards = screens.today(service, service.now())
    values.setdefault("cards", cards)
    now = service.now()

    drawing = templates().get_template(template)
    return drawing.render(calls=calls(cards, now), due_at=partial(due_at, now), **values)


def live(request: Request, service: Service, drawn: str) -> Response:
    """Answer with a page, or with word that the one which the phone has is still true."""
    mark = f'"{hashlib.sha256(drawn.encode()).hexdigest()[:24]}"'
    if request.headers.get("if-none-match") == mark:
        now = f"{service.now().timestamp():.3f}"
        return Response(status_code=304, headers={"ETag": mark, "X-Now": now})
    answer = shown(service, drawn)
    answer.headers["ETag"] = mark
    return answer


def shown(service: Service, drawn: str, status: int = 200) -> Response:
    """Answer with a page."""
    now = f"{service.now().timestamp():.3f}"
    return HTMLResponse(drawn.replace(NOW, now), status, {"X-Now": now})


@cache
def templates() -> jinja2.Environment:
    """Return the templates of the phone page; they may use the pieces that all pages share."""
    loader = jinja2.FileSystemLoader([TEMPLATES, PAGES_FOLDER])
    made = pages_environment().overlay(loader=loader)
    made.filters.update(
        word=colour_word,
        dye=partial(named, "dye"),
        when=when,
        day=day,
        seconds=seconds,
        said=said,
        formula=formula_text,
        mix=mix_line,
        to_mix=bowls_to_mix,
        todo=do_words,
        sentences=curve_sentences,
        zone=lambda name: say(f"zone.{name}"),
        entered=entered,
        felt=felt,
        limit_at=lambda head: head.strand.started + timedelta(minutes=head.chair.limit),
    )
    made.globals.update(
        words=words,
        plan_words=plan_words,
        say=say,
        needs_line=needs_line,
        instead_line=instead_line,
        saying=saying,
        evening_saying=evening_saying,
        stretch_answers=stretch_answers,
        stop_signs=stop_signs,
        bowls=screens.BOWLS,
        phone_words=phone_words,
        server_now=NOW,
        undo=None,
        calls=(),
    )
    return made


def phone_words() -> dict[str, str]:
    """Return what the phone says by itself; ``#`` stands in it for a number or a time."""
    return {name: say(f"phone.{name}", minutes="#", time="#") for name in PHONE}


def entered(what: str) -> str:
    """Say what was entered at a strand; the logbook keeps it as ``what: old → new``, its times in UTC."""
    found = _ENTERED.fullmatch(what)
    if found is None:
        return what
    back, kind, old, new = found.groups()
    key = "gummy-back" if back else kind.replace(" ", "-")
    return say(f"entered.{key}", old=_value(old or ""), new=_value(new))


def _value(stored: str) -> str:
    number, _, unit = stored.partition(" ")
    if unit == "min":
        return say("page.minutes", minutes=figure(float(number), "g"))
    if stored.endswith("Z"):
        return when(datetime.fromisoformat(stored))
    if stored in ("none", "taken back"):
        return say(f"entered-value.{stored.replace(' ', '-')}")
    return felt(stored) if stored else ""


def felt(answer: str) -> str:
    """Say what a stretch test said, in the middle of a line."""
    return say(f"stretch.{answer.replace(' ', '-')}").lower()


def when(at: datetime) -> str:
    """Write a time in the salon's own time zone."""
    local = at.astimezone()
    today = datetime.now(UTC).astimezone().date()
    return f"{local:%H:%M}" if local.date() == today else f"{day(at)}, {local:%H:%M}"


def day(at: datetime) -> str:
    """Write a day in the salon's own time zone."""
    local = at.astimezone()
    return date(local)


@cache
def compile_pages() -> None:
    """Compile every page before anybody asks for one.

    A first page is then as quick as any other, and no template's numbers are parsed while another thread is in
    Python's parser, which 3.11 takes for an error of the system.
    """
    for made in (pages_environment(), templates()):
        for name in made.list_templates(extensions=["j2"]):
            made.get_template(name)
