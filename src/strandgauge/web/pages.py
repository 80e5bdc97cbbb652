"""The phone page: plain forms and pages in HTML, all of which work without script.

With script, a photo is sent as soon as it is taken, and is kept in the page until it has arrived.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import jinja2
from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from strandgauge.colour.names import colour_word
from strandgauge.dye.targets import find_target
from strandgauge.errors import BadEntryError, StrandgaugeError, Told, UnknownEntryError
from strandgauge.files.limits import LONGEST_NAME, LONGEST_NOTE
from strandgauge.show.pages.render import FOLDER as PAGES_FOLDER
from strandgauge.show.pages.render import environment as pages_environment
from strandgauge.web import screens
from strandgauge.web.bodies import photo_form
from strandgauge.web.refusals import Refused, asks_for_document, refused
from strandgauge.words import reading as words
from strandgauge.words.judge import chance_line, evening_saying, formula_text, mix_line, needs_line, saying
from strandgauge.words.nextstep import STRETCH_ANSWERS, curve_sentences, stretch_answers, stretch_question

if TYPE_CHECKING:
    from strandgauge.logbook.records import Strand
    from strandgauge.web.service import Answer, Service

TEMPLATES = Path(__file__).parent / "templates"

LIMIT_MINUTES = (1.0, 240.0)
LONGEST_AGO = 240.0
EMPTY_FORM: Mapping[str, str] = {
    "client": "",
    "name": "Test strand",
    "on": "now",
    "ago": "",
    "limit": "",
    "limit_other": "",
    "wet": "",
    "target": "",
    "own": "",
}
"""How the form of a new strand begins."""


GONE = "It was deleted, or the address is mistyped."


class PageProblem(Exception):  # noqa: N818 - no fault of the program: something the form still needs
    """A form that cannot be taken as it is; the message says what to change."""


@dataclass(frozen=True, slots=True)
class NewStrand:
    """What the form of a new strand asks for."""

    alias: str
    name: str
    target: str | None
    started: datetime | None
    limit: float | None
    wet: bool


def router(service: Service) -> APIRouter:
    """Return the routes of the phone page."""
    routes = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
    _home_routes(routes, service)
    _strand_routes(routes, service)
    _look_routes(routes, service)
    _client_routes(routes, service)
    return routes


def error_page(request: Request, answer: Refused) -> Response:
    """Answer an error as a page."""
    remedy = GONE if answer.told.code == UnknownEntryError.code else answer.told.remedy
    return HTMLResponse(
        _page("error.html.j2", message=answer.told.message, remedy=remedy), answer.status_code
    )


# --- routes ---------------------------------------------------------------------------------------------


def _home_routes(routes: APIRouter, service: Service) -> None:
    @routes.get("/")
    def home() -> str:
        now = screens.utc_now()
        return _page("home.html.j2", cards=screens.today(service, now), now=now)


def _strand_routes(routes: APIRouter, service: Service) -> None:
    @routes.get("/strands/new")
    def new(client: int | None = None) -> str:
        if client is None:
            return _new_page(service, {})
        last = screens.last_time(service, client)
        form = {
            "client": service.logbook.client(client).alias,
            "target": (last.target if last is not None else None) or "",
        }
        return _new_page(service, form, last=last)

    @routes.post("/strands/new")
    async def create(request: Request) -> Response:
        form = await request.form()
        return await run_in_threadpool(_create, service, form)

    @routes.get("/strands/{strand_id}")
    def strand(strand_id: int, wet: bool = False) -> str:
        return _strand_page(service, strand_id, wet=wet)

    @routes.get("/strands/{strand_id}/settings")
    def settings(strand_id: int) -> str:
        return _settings_page(service, strand_id)

    @routes.post("/strands/{strand_id}/settings")
    async def change(strand_id: int, request: Request) -> Response:
        form = await request.form()
        return await run_in_threadpool(_change, service, strand_id, form)

    @routes.post("/strands/{strand_id}/target")
    def aim(
        strand_id: int, target: Annotated[str, Form()], look: Annotated[int | None, Form()] = None
    ) -> Response:
        shade = find_target(target, service.targets)
        service.logbook.update_strand(strand_id, target=shade.name)
        return _see(f"/looks/{look}#answer" if look else f"/strands/{strand_id}")

    @routes.post("/strands/{strand_id}/look")
    async def look(strand_id: int, request: Request) -> Response:
        wet = False
        try:
            form = await photo_form(request)
            wet = form.wet
            answer = await run_in_threadpool(
                service.look, form.photo, strand_id=strand_id, wet=wet, keep_photo=form.keep_photo
            )
        except (StrandgaugeError, Refused) as error:
            if asks_for_document(request):
                raise
            return await run_in_threadpool(_refused_page, service, strand_id, refused(error), wet)
        address = f"/looks/{answer.check_id}#answer"
        return JSONResponse({"location": address}) if asks_for_document(request) else _see(address)


def _look_routes(routes: APIRouter, service: Service) -> None:
    @routes.get("/looks/{check_id}")
    def look(check_id: int, target: str | None = None, bowl: str = "") -> str:
        return _answer_page(service, service.answer(check_id), target, _grams(bowl))

    @routes.get("/looks/{check_id}/picture")
    def picture(check_id: int) -> Response:
        return _jpeg(service.answer(check_id).picture_jpeg)

    @routes.get("/looks/{check_id}/strip")
    def strip(check_id: int) -> Response:
        return _jpeg(service.answer(check_id).strip_jpeg)

    @routes.post("/looks/{check_id}/stretch")
    def stretch(check_id: int, answer: Annotated[str, Form()]) -> Response:
        for known in STRETCH_ANSWERS:
            if known == answer:
                service.set_stretch(check_id, known)
        return _see(f"/looks/{check_id}#{'answer' if answer == 'gummy' else 'stretch'}")

    @routes.post("/looks/{check_id}/note")
    def note(check_id: int, text: Annotated[str, Form()] = "") -> Response:
        service.logbook.set_note(check_id, text.strip()[:LONGEST_NOTE])
        return _see(f"/looks/{check_id}#note")

    @routes.get("/looks/{check_id}/delete")
    def ask(check_id: int) -> str:
        check = service.logbook.check(check_id)
        return _page(
            "delete.html.j2",
            what="this look",
            action=f"/looks/{check_id}/delete",
            back=f"/looks/{check_id}",
            detail=_when(check.at),
        )

    @routes.post("/looks/{check_id}/delete")
    def delete(check_id: int) -> Response:
        strand_id = service.logbook.check(check_id).strand_id
        service.logbook.delete_check(check_id)
        service.forget()
        return _see(f"/strands/{strand_id}")


def _client_routes(routes: APIRouter, service: Service) -> None:
    @routes.get("/clients")
    def clients() -> str:
        return _page("clients.html.j2", clients=service.logbook.client_summaries())

    @routes.get("/clients/{client_id}")
    def client(client_id: int) -> str:
        return _page("client.html.j2", screen=screens.client_screen(service, client_id))

    @routes.get("/clients/{client_id}/delete")
    def ask(client_id: int) -> str:
        client = service.logbook.client(client_id)
        looks = sum(
            len(service.logbook.checks(strand.id))
            for visit in service.logbook.visits(client_id)
            for strand in service.logbook.strands(visit.id)
        )
        return _page(
            "delete.html.j2",
            what=client.alias,
            action=f"/clients/{client_id}/delete",
            back=f"/clients/{client_id}",
            detail=f"All visits, strands, {looks} look{'' if looks == 1 else 's'}, notes and photos",
        )

    @routes.post("/clients/{client_id}/delete")
    def delete(client_id: int) -> Response:
        service.logbook.delete_client(client_id)
        service.forget()
        return _see("/clients")


# --- pages ----------------------------------------------------------------------------------------------


@cache
def templates() -> jinja2.Environment:
    """Return the templates of the phone page; they may use the pieces that all pages share."""
    loader = jinja2.FileSystemLoader([TEMPLATES, PAGES_FOLDER])
    made = pages_environment().overlay(loader=loader)
    made.filters.update(
        word=colour_word, when=_when, day=_day, formula=formula_text, mix=mix_line, sentences=curve_sentences
    )
    made.globals.update(
        words=words,
        needs_line=needs_line,
        chance_line=chance_line,
        saying=saying,
        evening_saying=evening_saying,
        stretch_question=stretch_question(),
        stretch_answers=stretch_answers(),
        bowls=screens.BOWLS,
    )
    return made


def _page(template: str, **values: object) -> str:
    return templates().get_template(template).render(**values)


def _new_page(
    service: Service,
    form: Mapping[str, Any],
    *,
    problem: str | None = None,
    last: screens.LastTime | None = None,
) -> str:
    return _page(
        "new.html.j2",
        form={**EMPTY_FORM, **form},
        problem=problem,
        last=last,
        clients=[one.client for one in service.logbook.client_summaries()],
        targets=service.targets,
    )


def _create(service: Service, form: FormData) -> Response:
    now = screens.utc_now()
    try:
        wanted = _new_strand(service, form, now)
    except PageProblem as problem:
        return HTMLResponse(_new_page(service, _as_typed(form), problem=str(problem)), status_code=422)
    logbook = service.logbook
    try:
        client = logbook.find_client(wanted.alias) or logbook.add_client(wanted.alias)
        todays = [visit for visit in logbook.visits(client.id) if now - visit.started < screens.TODAY]
        visit = todays[0] if todays else logbook.add_visit(client.id)
        strand = logbook.add_strand(
            visit.id, wanted.name, target=wanted.target, started=wanted.started, limit_minutes=wanted.limit
        )
    except BadEntryError as error:
        return HTMLResponse(_new_page(service, _as_typed(form), problem=error.message), status_code=422)
    return _see(f"/strands/{strand.id}{'?wet=true' if wanted.wet else ''}")


def _new_strand(service: Service, form: FormData, now: datetime) -> NewStrand:
    return NewStrand(
        alias=_text(form, "client") or _guest(service, now),
        name=_text(form, "name") or EMPTY_FORM["name"],
        target=_target(service, form),
        started=_started(form, now),
        limit=_limit(form),
        wet="wet" in form,
    )


def _guest(service: Service, now: datetime) -> str:
    """Return an alias for a client who was given none: wet gloves do not type."""
    alias = f"Guest {now.astimezone():%H:%M}"
    names = (alias, *(f"{alias} ({count})" for count in range(2, 100)))
    return next(name for name in names if service.logbook.find_client(name) is None)


def _settings_page(service: Service, strand_id: int, problem: str | None = None) -> str:
    screen = screens.strand_screen(service, strand_id, screens.utc_now())
    return _page("settings.html.j2", screen=screen, targets=service.targets, problem=problem)


def _change(service: Service, strand_id: int, form: FormData) -> Response:
    strand: Strand = service.logbook.strand(strand_id)
    try:
        target = _target(service, form)
        limit = _limit(form)
        started = strand.started if form.get("on") == "same" else _started(form, screens.utc_now())
    except PageProblem as problem:
        return HTMLResponse(_settings_page(service, strand_id, str(problem)), status_code=422)
    service.logbook.update_strand(strand_id, target=target, started=started, limit_minutes=limit)
    return _see(f"/strands/{strand_id}")


def _strand_page(service: Service, strand_id: int, *, wet: bool = False, refusal: Told | None = None) -> str:
    now = screens.utc_now()
    screen = screens.strand_screen(service, strand_id, now)
    wet = wet or (refusal is None and bool(screen.checks) and screen.checks[0].wet)
    return _page("strand.html.j2", screen=screen, wet=wet, refusal=refusal, now=now)


def _refused_page(service: Service, strand_id: int, answer: Refused, wet: bool) -> Response:
    page = _strand_page(service, strand_id, wet=wet, refusal=answer.told)
    return HTMLResponse(page, status_code=answer.status_code)


def _answer_page(service: Service, answer: Answer, target: str | None, bowl: float | None) -> str:
    screen = screens.answer_screen(service, answer, screens.utc_now(), trying=target or None, bowl=bowl)
    return _page(
        "answer.html.j2",
        screen=screen,
        gauge=screens.gauge(service, answer.reading.overall, screen.outlook),
        chart=_chart(service, answer),
    )


def _chart(service: Service, answer: Answer) -> str | None:
    if answer.curve is None:
        return None
    from markupsafe import Markup

    from strandgauge.show.pages.charts import lift_chart

    return Markup(lift_chart(answer.curve, width=360, height=280, ladder=service.ladder))


# --- what forms hold ------------------------------------------------------------------------------------


def _text(form: FormData, key: str) -> str:
    value = form.get(key, "")
    return " ".join(value.split())[:LONGEST_NAME] if isinstance(value, str) else ""


def _number(form: FormData, key: str, name: str, low: float, high: float) -> float | None:
    text = _text(form, key).replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        raise PageProblem(f"{name} must be a number of minutes.") from None
    if not low <= value <= high:
        raise PageProblem(f"{name} must be between {low:g} and {high:g} minutes.")
    return value


def _grams(text: str) -> float | None:
    """Return a bowl's size within reason; None, which stands for the usual one, where it is no number."""
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    low, high = screens.BOWL_LIMITS
    return None if math.isnan(value) else min(max(value, low), high)


def _limit(form: FormData) -> float | None:
    key = "limit_other" if _text(form, "limit_other") else "limit"
    return _number(form, key, "The maker's longest time", *LIMIT_MINUTES)


def _started(form: FormData, now: datetime) -> datetime | None:
    match form.get("on"):
        case "none":
            return None
        case "ago":
            minutes = _number(form, "ago", "The time since the lightener went on", 0.0, LONGEST_AGO)
            return now - timedelta(minutes=minutes or 0.0)
        case _:
            return now


def _target(service: Service, form: FormData) -> str | None:
    text = _text(form, "own") or _text(form, "target")
    try:
        return find_target(text, service.targets).name if text else None
    except StrandgaugeError as error:
        raise PageProblem(f"{error.message} Pick one below, or write it as #d8a0a0.") from error


def _as_typed(form: FormData) -> dict[str, str]:
    return {key: value for key, value in form.items() if isinstance(value, str)}


def _see(address: str) -> Response:
    return RedirectResponse(address, status_code=303)


def _jpeg(content: bytes) -> Response:
    return Response(content, media_type="image/jpeg") if content else Response(status_code=404)


def _when(at: datetime) -> str:
    """Write a time in the salon's own time zone."""
    local = at.astimezone()
    return (
        f"{local:%H:%M}"
        if local.date() == screens.utc_now().astimezone().date()
        else f"{_day(at)}, {local:%H:%M}"
    )


def _day(at: datetime) -> str:
    local = at.astimezone()
    return f"{local.day} {local:%B %Y}"
