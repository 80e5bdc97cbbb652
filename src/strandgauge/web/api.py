"""The JSON API under ``/api``: everything the phone page does, with the documents of the command line."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import JSONResponse
from starlette.concurrency import run_in_threadpool

from strandgauge.dye.targets import find_target
from strandgauge.errors import Told
from strandgauge.files.version import __version__
from strandgauge.lift.curve import LiftCurve
from strandgauge.logbook.records import Client, Deletion, Strand, Visit
from strandgauge.show.json import Document, document_of, filled
from strandgauge.show.json.logbook import LookInShort, looked
from strandgauge.show.json.serialiser import model_of
from strandgauge.show.json.shapes import TargetsList
from strandgauge.web import documents as told
from strandgauge.web.bodies import LARGEST_ID, photo_form
from strandgauge.web.documents import look_document
from strandgauge.web.refusals import because
from strandgauge.web.service import Service

Id = Annotated[int, Path(ge=1, le=LARGEST_ID)]


_MEANINGS = {
    400: "It cannot be understood.",
    403: "Not let in, or sent by another page.",
    404: "There is no such entry.",
    408: "It took too long to arrive.",
    413: "More than any phone photo.",
    415: "A file or form of another kind.",
    421: "Not the address of this server.",
    422: "The photo is refused, or a value is not what it should be.",
    429: "Too much in too short a time; Retry-After says when to come back.",
    500: "Something is wrong on the server: its files, its logbook or itself.",
    503: "Too many photos at once; Retry-After says when to come back.",
    507: "There is no room to write to.",
}


def _errors(*statuses: int) -> dict[int | str, dict[str, Any]]:
    return {status: {"model": model_of(Told), "description": _MEANINGS[status]} for status in statuses}


_FOUND = _errors(404, 422)
"""What may stand in the way of an entry that is asked for by its number."""
_WRITTEN = _errors(400, 408, 413, 422, 507)
_PICTURE: dict[str, Any] = {
    "response_class": Response,
    "responses": {
        200: {
            "content": {"image/jpeg": {"schema": {"type": "string", "format": "binary"}}},
            "description": "JPEG",
        },
        **_FOUND,
    },
}


def _field(kind: str, about: str = "", **more: object) -> dict[str, object]:
    return {"type": kind, **({"description": about} if about else {}), **more}


_FIELDS = {
    "photo": _field("string", "JPEG, PNG, TIFF, WebP or HEIC.", format="binary"),
    "strand": _field(
        "integer", "The strand it shows; left out, nothing is stored.", minimum=1, maximum=LARGEST_ID
    ),
    "wet": _field("boolean", default=False),
    "target": _field("string", "The wanted shade; the strand's own when left out.", maxLength=200),
    "keep_photo": _field("boolean", default=False),
    "turned": _field(
        "boolean", "The card was turned since the strand's last look: read both as one.", default=False
    ),
}
_FORM = {"schema": {"type": "object", "required": ["photo"], "properties": _FIELDS}}
_PHOTO_FORM = {"requestBody": {"required": True, "content": {"multipart/form-data": _FORM}}}


def router(service: Service) -> APIRouter:
    """Return the routes of the API."""
    routes = APIRouter(prefix="/api", responses=_errors(403, 421, 429, 500))
    _add_looks(routes, service)
    _add_clients(routes, service)
    _add_strands(routes, service)

    @routes.get(
        "/targets", response_model=model_of(TargetsList), summary="The wanted shades that have a name"
    )
    def targets() -> Document:
        return document_of(TargetsList(service.targets))

    @routes.get("/health", summary="Whether the server is well")
    def health() -> told.Health:
        return told.Health(version=__version__)

    return routes


def _add_looks(routes: APIRouter, service: Service) -> None:
    told_look: Any = model_of(told.Look)

    @routes.post(
        "/looks",
        response_model=told_look,
        responses={**_WRITTEN, **_errors(404, 415, 503)},
        openapi_extra=_PHOTO_FORM,
        summary="Read a photo; store it where it belongs to a strand",
    )
    async def look(request: Request) -> Document:
        form = await photo_form(request)
        told_here = replace(form, age=0.0, result=False, request=None)  # the rest is the page's own
        return look_document(await run_in_threadpool(service.look, told_here))

    @routes.get("/looks/{look_id}", response_model=told_look, responses=_FOUND, summary="A stored look")
    def stored(look_id: Id) -> Document:
        return look_document(service.answer(look_id))

    @routes.get("/looks/{look_id}/picture", summary="The picture of a stored look", **_PICTURE)
    def picture(look_id: Id) -> Response:
        return _jpeg(service.answer(look_id).picture_jpeg)

    @routes.get("/quick/{key}/picture", summary="The picture of a look that was not stored", **_PICTURE)
    def quick_picture(key: str) -> Response:
        return _jpeg(service.remembered(key).picture_jpeg)

    @routes.post(
        "/looks/{look_id}/stretch",
        response_model=told_look,
        responses={**_WRITTEN, **_errors(404)},
        summary="Enter what the stretch test said; gummy means stop",
    )
    def stretch(look_id: Id, given: told.StretchAnswer) -> Document:
        return look_document(service.set_stretch(look_id, given.answer))


def _add_clients(routes: APIRouter, service: Service) -> None:
    book = service.logbook
    enter = partial(routes.post, status_code=201)

    @routes.get("/clients", response_model=told.Clients, summary="All clients")
    def clients() -> dict[str, Any]:
        return {"clients": book.clients()}

    @enter("/clients", response_model=told.ToldClient, responses=_WRITTEN, summary="Enter a client, by alias")
    def add_client(given: told.NewClient) -> Client:
        return book.add_client(given.alias)

    @routes.delete(
        "/clients/{client_id}",
        responses=_errors(404, 422, 507),
        summary="Delete a client with everything of theirs, for good",
    )
    def delete_client(client_id: Id) -> Deletion:
        deleted = book.delete("client", client_id)
        service.forget()
        return deleted

    @routes.get("/clients/{client_id}/visits", responses=_FOUND, summary="A client's visits")
    def visits(client_id: Id) -> told.Visits:
        return told.Visits(book.visits(client_id))

    @enter(
        "/clients/{client_id}/visits",
        responses={**_WRITTEN, **_errors(404)},
        summary="Enter a visit, which begins now",
    )
    def add_visit(client_id: Id, given: told.NewVisit) -> Visit:
        return book.add_visit(client_id, given.note)


def _add_strands(routes: APIRouter, service: Service) -> None:
    book = service.logbook
    changed = {**_WRITTEN, **_errors(404)}

    @routes.get("/visits/{visit_id}/strands", responses=_FOUND, summary="A visit's strands")
    def strands(visit_id: Id) -> told.Strands:
        return told.Strands(book.strands(visit_id))

    @routes.post("/visits/{visit_id}/strands", status_code=201, responses=changed, summary="Enter a strand")
    def add_strand(visit_id: Id, given: told.NewStrand) -> Strand:
        target = _shade(service, given.target)
        return book.add_strand(visit_id, given.name, target, given.started, given.limit_minutes)

    @routes.get(
        "/strands/{strand_id}",
        response_model=model_of(told.FollowedStrand),
        responses=_FOUND,
        summary="A strand and the looks at it so far",
    )
    def strand(strand_id: Id) -> Document:
        judged = service.judged(strand_id)
        looks = tuple(looked(LookInShort, one, judged.strand) for one in book.looks(strand_id))
        return document_of(filled(told.FollowedStrand, judged.strand, judged, checks=looks))

    @routes.patch(
        "/strands/{strand_id}",
        responses=changed,
        summary="Change a strand's wanted shade, start or time limit",
    )
    def change_strand(strand_id: Id, given: told.StrandChange) -> Strand:
        changes = given.model_dump(exclude_unset=True)
        if "target" in changes:
            changes["target"] = _shade(service, changes["target"])
        return book.update_strand(strand_id, **changes)

    @routes.get(
        "/strands/{strand_id}/curve",
        response_model=model_of(LiftCurve),
        responses=_FOUND,
        summary="A strand's lift curve so far",
    )
    def curve(strand_id: Id) -> JSONResponse:
        found = service.judged(strand_id).curve
        if found is None:
            raise because(404, "no-curve", "no-curve")
        return JSONResponse(document_of(found))


def _shade(service: Service, text: str | None) -> str | None:
    """Return a shade's name as the list spells it; a colour typed in stays as it is."""
    return None if text is None else find_target(text, service.targets).name


def _jpeg(content: bytes) -> Response:
    if not content:
        raise because(404, "not-found", "no-picture")
    return Response(content, media_type="image/jpeg")
