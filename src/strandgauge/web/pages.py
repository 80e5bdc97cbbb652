"""The phone page: plain forms and pages in HTML, all of which work without script.

With script, a page follows clock and logbook by itself, and a photo is sent as soon as it is taken and kept on the
phone until it has arrived.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, StreamingResponse
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from strandgauge.dye.targets import find_target
from strandgauge.errors import BadEntryError, BadReadingError, StrandgaugeError, Told, UnknownEntryError
from strandgauge.hair.stretch import STRETCH_ANSWERS
from strandgauge.lift.curve import LiftCurve
from strandgauge.logbook.records import Kind, Strand
from strandgauge.photo.formats import recognise
from strandgauge.show.export import json_lines
from strandgauge.show.pages.charts import lift_chart
from strandgauge.web import screens
from strandgauge.web.bodies import PhotoForm, photo_form
from strandgauge.web.consultation import questions, told_by
from strandgauge.web.draw import live, page, shown, templates
from strandgauge.web.forms import (
    PageProblem,
    StrandForm,
    as_typed,
    form_of,
    grams_of,
    limits_of,
    new_form,
    read_form,
    waited_for,
)
from strandgauge.web.refusals import Refused, asks_for_document, refused
from strandgauge.web.service import Sent, Service
from strandgauge.words import say

RECENT = 6
"""Shades and clients that are one tap away."""


def router(service: Service) -> APIRouter:
    """Return the routes of the phone page."""
    routes = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)
    _home_routes(routes, service)
    _strand_routes(routes, service)
    _look_routes(routes, service)
    _client_routes(routes, service)
    _bin_routes(routes, service)
    return routes


def error_page(request: Request, answer: Refused) -> Response:
    """Answer an error as a page."""
    told = answer.told
    remedy = say("page.gone") if told.code == UnknownEntryError.code else told.remedy
    drawn = templates().get_template("error.html.j2").render(message=told.message, remedy=remedy)
    return HTMLResponse(drawn, answer.status_code)


# --- routes ---------------------------------------------------------------------------------------------


def _home_routes(routes: APIRouter, service: Service) -> None:
    @routes.get("/")
    def home() -> Response:
        """Open on the strand that calls, where one does."""
        cards = screens.today(service, service.now())
        calling = cards[0].step.due if cards else None
        at_once = calling is not None and calling < 0.5
        return _see(f"/strands/{cards[0].head.strand.id}#answer" if at_once else "/today")

    @routes.get("/today")
    def today(request: Request, undo: int | None = None) -> Response:
        service.tidy()
        return live(request, service, page(service, "today.html.j2", undo=undo))

    @routes.get("/wall")
    def wall(request: Request) -> Response:
        return live(request, service, page(service, "wall.html.j2"))

    @routes.get("/pulse")
    def pulse(request: Request) -> Response:
        """Only what calls, for pages that have nothing else to follow."""
        return live(request, service, page(service, "pulse.html.j2"))


def _strand_routes(routes: APIRouter, service: Service) -> None:
    @routes.get("/strands/new")
    def new(request: Request, client: int | None = None) -> Response:
        return live(request, service, _new_page(service, new_form(service, client), client=client))

    @routes.post("/strands/new")
    async def create(request: Request) -> Response:
        sent = await photo_form(request, needs_photo=False)
        return await run_in_threadpool(_create, service, request, sent)

    @routes.get("/strands/{strand_id}")
    def strand(
        request: Request, strand_id: int, target: str = "", bowl: str = "", undo: int | None = None
    ) -> Response:
        drawn = _strand_page(service, strand_id, trying=target or None, bowl=grams_of(bowl), undo=undo)
        return live(request, service, drawn)

    @routes.get("/strands/{strand_id}/plan")
    def plan(request: Request, strand_id: int, melt: bool = False) -> Response:
        screen = screens.strand_screen(service, strand_id, service.now())
        # Where the answer is to stop, or all is done, there is nothing to plan.
        made = None if screen.step.kind in ("stop", "done") else service.plan(screen.judged, melt)
        return live(request, service, page(service, "plan.html.j2", screen=screen, plan=made, melt=melt))

    @routes.get("/strands/{strand_id}/settings")
    def settings(strand_id: int) -> Response:
        strand = service.logbook.strand(strand_id)
        return shown(service, _settings_page(service, strand_id, form_of(service, strand)))

    @routes.post("/strands/{strand_id}/settings")
    async def change(strand_id: int, request: Request) -> Response:
        form = await request.form()
        return await run_in_threadpool(_change, service, strand_id, form)

    @routes.post("/strands/{strand_id}/rinsed")
    def rinsed(
        request: Request,
        strand_id: int,
        off: Annotated[str, Form()] = "",
        waited: Annotated[str, Form()] = "",
    ) -> Response:
        at = service.now() - timedelta(seconds=waited_for(waited)) if off else None
        service.logbook.update_strand(strand_id, rinsed=at)
        return _went(request, f"/strands/{strand_id}#answer")

    @routes.post("/strands/{strand_id}/target")
    def aim(strand_id: int, target: Annotated[str, Form()]) -> Response:
        service.logbook.update_strand(strand_id, target=find_target(target, service.targets).name)
        return _see(f"/strands/{strand_id}#answer")

    @routes.post("/strands/{strand_id}/stretch")
    def stretch(
        request: Request,
        strand_id: int,
        answer: Annotated[str, Form()],
        mistake: Annotated[bool, Form()] = False,
    ) -> Response:
        """Take the answer of the stretch test for the last look; gummy is taken back only as a mistake."""
        checks = service.logbook.looks(strand_id)
        known = next((one for one in STRETCH_ANSWERS if one == answer), None)
        if known is not None and checks:
            for check in checks:
                if mistake and check.stretch == "gummy":
                    service.set_stretch(check.id, known, on_purpose=True)
            if mistake or checks[-1].stretch != "gummy":
                service.set_stretch(checks[-1].id, known, on_purpose=mistake)
        return _went(request, f"/strands/{strand_id}#answer")

    @routes.post("/strands/{strand_id}/look")
    async def look(strand_id: int, request: Request) -> Response:
        try:
            sent = await photo_form(request)
            return await run_in_threadpool(_look, service, request, strand_id, sent)
        except UnknownEntryError as error:
            raise Refused(404, error.code, error.message, say("page.gone")) from error
        except (StrandgaugeError, Refused) as error:
            if asks_for_document(request):
                raise
            answer = refused(error)
            drawn = await run_in_threadpool(_strand_page, service, strand_id, refusal=answer.told)
            return shown(service, drawn, answer.status_code)


def _look_routes(routes: APIRouter, service: Service) -> None:
    @routes.post("/quick")
    async def quick(request: Request) -> Response:
        sent = await photo_form(request)
        answer = await run_in_threadpool(service.look, Sent(photo=sent.photo, wet=sent.wet, age=sent.age))
        return _went(request, f"/quick/{answer.key}")

    @routes.get("/quick/{key}")
    def quick_look(key: str) -> Response:
        screen = screens.look_screen(service, service.remembered(key))
        return shown(
            service, page(service, "look.html.j2", screen=screen, picture=f"/api/quick/{key}/picture")
        )

    @routes.get("/looks/{look_id}")
    def look(look_id: int) -> Response:
        try:
            screen = screens.look_screen(service, service.answer(look_id))
        except BadReadingError:  # its strand's page says so, and lets it be taken out
            return _see(f"/strands/{service.logbook.look(look_id).strand_id}")
        return shown(
            service, page(service, "look.html.j2", screen=screen, picture=f"/looks/{look_id}/picture")
        )

    @routes.get("/looks/{look_id}/picture")
    def picture(look_id: int) -> Response:
        return _jpeg(service.answer(look_id).picture_jpeg)

    @routes.get("/looks/{look_id}/strip")
    def strip(look_id: int) -> Response:
        return _jpeg(service.logbook.look(look_id).thumbnail)

    @routes.get("/looks/{look_id}/photo")
    def photo(look_id: int) -> Response:
        content = service.logbook.photo(look_id)
        if content is None:
            return Response(status_code=404)
        return Response(content, media_type=f"image/{recognise(content).value.casefold()}")

    @routes.post("/looks/{look_id}/note")
    def note(look_id: int, text: Annotated[str, Form()] = "") -> Response:
        strand_id = service.logbook.set_note(look_id, text).strand_id
        return _see(f"/strands/{strand_id}#note")


def _client_routes(routes: APIRouter, service: Service) -> None:
    logbook = service.logbook

    @routes.get("/clients")
    def clients(q: str = "", undo: int | None = None) -> Response:
        found = logbook.client_summaries(q)
        return shown(service, page(service, "clients.html.j2", clients=found, q=q, undo=undo))

    @routes.get("/clients/{client_id}")
    def client(client_id: int, undo: int | None = None) -> Response:
        return shown(service, _client_page(service, client_id, undo=undo))

    @routes.get("/clients/{client_id}/export")
    def export(client_id: int) -> Response:
        lines = json_lines(logbook, (logbook.client(client_id),), pictures=True)
        headers = {"Content-Disposition": f'attachment; filename="client-{client_id}.jsonl"'}
        return StreamingResponse(lines, media_type="application/jsonl", headers=headers)

    @routes.get("/clients/{client_id}/history")
    def ask(client_id: int) -> Response:
        client = logbook.client(client_id)
        asked = questions(client.history)
        return shown(service, page(service, "history.html.j2", client=client, questions=asked))

    @routes.post("/clients/{client_id}/history")
    async def told(client_id: int, request: Request) -> Response:
        form = await request.form()
        await run_in_threadpool(logbook.set_history, client_id, told_by(form))
        return _see(f"/clients/{client_id}")

    @routes.post("/clients/{client_id}/rename")
    def rename(client_id: int, alias: Annotated[str, Form()] = "") -> Response:
        try:
            logbook.rename_client(client_id, alias)
        except BadEntryError as error:
            return shown(service, _client_page(service, client_id, error.message), 422)
        return _see(f"/clients/{client_id}")


def _bin_routes(routes: APIRouter, service: Service) -> None:
    logbook = service.logbook

    @routes.get("/bin")
    def binned(later: bool = False) -> Response:
        service.tidy()
        return shown(service, page(service, "bin.html.j2", binned=logbook.bin(), later=later))

    @routes.post("/bin")
    def put(
        kind: Annotated[Literal["client", "visit", "strand", "check"], Form()],
        entry: Annotated[int, Form()],
        damaged: Annotated[bool, Form()] = False,
    ) -> Response:
        back = _above(service, kind, entry)
        number = logbook.put_in_bin(kind, entry, "damaged" if damaged else "deleted")
        service.forget()
        return _see(f"{back}?undo={number}")

    @routes.post("/merge")
    def merge(
        kind: Annotated[Literal["client", "visit", "strand"], Form()],
        entry: Annotated[int, Form()],
        into: Annotated[int, Form()],
    ) -> Response:
        back = _above(service, kind, entry)
        number = logbook.merge(kind, entry, into)
        service.forget()
        return _see(f"{back}?undo={number}")

    @routes.post("/bin/{number}/back")
    def put_back(number: int) -> Response:
        kind, entry = logbook.put_back(number)
        service.forget()
        return _see("/today" if kind == "visit" else f"/{'look' if kind == 'check' else kind}s/{entry}")

    @routes.post("/bin/{number}/gone")
    def gone(number: int) -> Response:
        erased = logbook.empty_bin(number)
        service.forget()
        return _see("/bin" if erased else "/bin?later=1")


# --- pages ----------------------------------------------------------------------------------------------


def _new_page(
    service: Service, form: Mapping[str, str], *, problem: str | None = None, client: int | None = None
) -> str:
    visits = () if client is None else screens.visits_of(service, client)
    return page(
        service,
        "new.html.j2",
        form=form,
        problem=problem,
        last=screens.last_time(visits),
        client_id=client,
        clients=[one.client for one in service.logbook.client_summaries()],
        **_choices(service, form),
    )


def _choices(service: Service, form: Mapping[str, str]) -> dict[str, object]:
    names = service.logbook.recent_targets(RECENT)
    recent = [shade for name in names for shade in service.targets if shade.name == name]
    return {"targets": service.targets, "recent": recent, "limits": limits_of(form)}


def _create(service: Service, request: Request, sent: PhotoForm) -> Response:
    now = service.now() - timedelta(seconds=sent.waited)
    try:
        with service.entering:
            if sent.request and (known := service.logbook.find_strand(sent.request)) is not None:
                strand = known
            else:
                strand = _entered(service, read_form(service, sent.fields, now), sent.request)
    except (PageProblem, BadEntryError) as problem:
        said = problem.message if isinstance(problem, BadEntryError) else str(problem)
        if asks_for_document(request):
            raise Refused(422, "bad-request", said) from problem
        return shown(service, _new_page(service, as_typed(sent.fields), problem=said), 422)
    if not sent.photo:
        return _went(request, f"/strands/{strand.id}")
    try:
        return _look(service, request, strand.id, sent)
    except (StrandgaugeError, Refused) as error:
        # The strand is there, its clock runs: what is wrong with the photo is said on its own page.
        answer = refused(error)
        told = answer.told
        if asks_for_document(request):
            return JSONResponse(
                {"location": f"/strands/{strand.id}", "message": told.message, "remedy": told.remedy}
            )
        return shown(service, _strand_page(service, strand.id, refusal=told), answer.status_code)


def _entered(service: Service, wanted: StrandForm, request: str | None) -> Strand:
    logbook = service.logbook
    client = logbook.find_client(wanted.alias) or logbook.add_client(wanted.alias)
    todays = [visit for visit in logbook.visits(client.id) if service.now() - visit.started < screens.TODAY]
    visit = todays[0] if todays else logbook.add_visit(client.id)
    return logbook.add_strand(
        visit.id,
        wanted.name,
        target=wanted.target,
        started=wanted.started,
        limit_minutes=wanted.limit,
        request=request,
    )


def _look(service: Service, request: Request, strand_id: int, sent: PhotoForm) -> Response:
    number = f"{sent.request}-photo" if sent.request else None
    service.look(replace(sent, strand_id=strand_id, target=None, request=number))
    return _went(request, f"/strands/{strand_id}#answer")


def _change(service: Service, strand_id: int, form: FormData) -> Response:
    strand = service.logbook.strand(strand_id)
    try:
        wanted = read_form(service, form, service.now(), strand)
        service.logbook.update_strand(
            strand_id,
            name=wanted.name,
            target=wanted.target,
            started=wanted.started,
            limit_minutes=wanted.limit,
        )
    except (PageProblem, BadEntryError) as problem:
        said = problem.message if isinstance(problem, BadEntryError) else str(problem)
        return shown(service, _settings_page(service, strand_id, as_typed(form), said), 422)
    return _see(f"/strands/{strand_id}")


def _settings_page(
    service: Service, strand_id: int, form: Mapping[str, str], problem: str | None = None
) -> str:
    screen = screens.strand_screen(service, strand_id, service.now())
    siblings = [one for one in service.logbook.strands(screen.head.visit.id) if one.id != strand_id]
    return page(
        service,
        "settings.html.j2",
        screen=screen,
        form=form,
        problem=problem,
        siblings=siblings,
        **_choices(service, form),
    )


def _strand_page(
    service: Service,
    strand_id: int,
    *,
    trying: str | None = None,
    bowl: float | None = None,
    refusal: Told | None = None,
    undo: int | None = None,
) -> str:
    screen = screens.strand_screen(service, strand_id, service.now(), trying=trying, bowl=bowl)
    chart = _chart(service, screen.judged.curve)
    return page(service, "strand.html.j2", screen=screen, chart=chart, refusal=refusal, undo=undo)


def _client_page(
    service: Service, client_id: int, problem: str | None = None, undo: int | None = None
) -> str:
    visits = screens.visits_of(service, client_id)
    return page(
        service,
        "client.html.j2",
        client=service.logbook.client(client_id),
        visits=visits,
        pair=screens.before_and_after(visits),
        others=[one for one in service.logbook.clients() if one.id != client_id],
        problem=problem,
        undo=undo,
    )


def _chart(service: Service, curve: LiftCurve | None) -> str | None:
    if curve is None:
        return None
    return Markup(lift_chart(curve, width=360, height=280, ladder=service.ladder))


def _above(service: Service, kind: Kind, entry: int) -> str:
    """Return the page from which something was taken out."""
    logbook = service.logbook
    if kind == "check":
        return f"/strands/{logbook.look(entry).strand_id}"
    if kind == "visit":
        return f"/clients/{logbook.visit(entry).client_id}"
    return "/clients" if kind == "client" else "/today"


def _went(request: Request, address: str) -> Response:
    """Lead on: a script by a document, a person by a page."""
    return JSONResponse({"location": address}) if asks_for_document(request) else _see(address)


def _see(address: str) -> Response:
    return RedirectResponse(address, status_code=303)


def _jpeg(content: bytes | None) -> Response:
    return Response(content, media_type="image/jpeg") if content else Response(status_code=404)
