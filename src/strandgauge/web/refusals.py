"""What the server refuses, and how an error is answered: the document of the command line, with a fitting status."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from html import escape

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from strandgauge.codes.catalogue import language
from strandgauge.codes.facts import Fact
from strandgauge.errors import INTERNAL, StrandgaugeError, Told
from strandgauge.show.json import document_of
from strandgauge.words import say

RETRY_AFTER_SECONDS = 3

STATUS_OF_CODE: Mapping[str, int] = {
    "file-too-large": 413,
    "cannot-write": 507,
    "unknown-look": 404,
    "server-busy": 503,
    "bad-card-definition": 500,
    "bad-profile": 500,
    "bad-calibration": 500,
    "bad-reading": 500,
    "unknown-entry": 404,
    "unusable-logbook": 500,
    "logbook-not-written": 507,
}
"""Status of each error that does not mean what most do: that this photo or this wish cannot be used, 422."""


class Refused(HTTPException):
    """A request that is not let through, or an error on its way to be answered.

    Parameters
    ----------
    status : HTTP status.
    code : as in ``strandgauge.error/1``.
    message, remedy : what is wrong, and what to do; a sentence each.
    where : the place concerned.
    headers : to be sent along, such as ``Retry-After``.
    """

    def __init__(
        self,
        status: int,
        code: str,
        message: str,
        remedy: str = "",
        where: str | None = None,
        *,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(status, message, dict(headers or {}))
        self.told = Told(code, message, remedy, where)


def because(
    status: int, code: str, why: str, *, headers: Mapping[str, str] | None = None, **facts: Fact
) -> Refused:
    """Return a refusal in the words that the catalogue has for its reason."""
    what, do = say(f"refused.{why}.what", **facts), say(f"refused.{why}.do", **facts)
    return Refused(status, code, what, do, headers=headers)


_PLAIN = {400: "bad-request", 404: "not-found", 405: "not-allowed"}

ErrorPage = Callable[[Request, Refused], Response]
"""Draws an error for a person; the phone page brings its own."""


def refused(error: Exception) -> Refused:
    """Say how an error is answered."""
    if isinstance(error, Refused):
        return error
    if isinstance(error, StrandgaugeError):
        status = STATUS_OF_CODE.get(error.code, 422)
        headers = {"Retry-After": str(RETRY_AFTER_SECONDS)} if status == 503 else {}
        return Refused(status, error.code, error.message, error.remedy, error.where, headers=headers)
    if isinstance(error, HTTPException):
        code = _PLAIN.get(error.status_code)
        if code is None:
            return Refused(error.status_code, "error", str(error.detail), headers=error.headers)
        return because(error.status_code, code, code, headers=error.headers)
    # The name of what went wrong inside is nobody's business outside.
    return because(500, INTERNAL, "inside")


def asks_for_document(request: Request) -> bool:
    """Tell whether a program asks, such as the script of a page, which wants no page in answer."""
    return "application/json" in request.headers.get("accept", "")


def error_response(request: Request, answer: Refused, page: ErrorPage | None = None) -> Response:
    """Answer an error: as a document to a program, as a page to a person."""
    if request.url.path.startswith("/api") or asks_for_document(request):
        document = document_of(answer.told)
        return JSONResponse(document, answer.status_code, answer.headers)
    if page is not None:
        response = page(request, answer)
        response.headers.update(answer.headers or {})
        return response
    return plain_page(answer)


def plain_page(answer: Refused, more: str = "") -> Response:
    """Answer an error as a page that needs nothing but the style, which everybody gets; ``more`` is further HTML."""
    message, remedy = escape(answer.told.message), escape(answer.told.remedy)
    again = escape(say("tap.try-again"))
    return HTMLResponse(
        f'<!doctype html><html lang="{language()}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<title>strandgauge</title><link rel="stylesheet" href="/static/phone.css"></head><body class="ask"><main>'
        f'<h1 class="lead">{message}</h1><p>{remedy}</p>{more}'
        f'<p><a class="further" href="/">{again}</a></p></main></body></html>',
        answer.status_code,
        answer.headers,
    )
