"""What the server refuses, and how an error is answered: the document of the command line, with a fitting status."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from html import escape

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from strandgauge.errors import StrandgaugeError
from strandgauge.show.json.reading import error_document

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
    """A request that is not let through.

    Parameters
    ----------
    status : HTTP status.
    code : as in ``strandgauge.error/1``.
    message, remedy : what is wrong, and what to do; a sentence each.
    headers : to be sent along, such as ``Retry-After``.
    """

    def __init__(
        self,
        status: int,
        code: str,
        message: str,
        remedy: str = "",
        *,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(status, message, dict(headers or {}))
        self.code, self.message, self.remedy = code, message, remedy


@dataclass(frozen=True, slots=True)
class Failure:
    """An error as it is answered."""

    status: int
    code: str
    message: str
    remedy: str = ""
    where: str | None = None
    headers: Mapping[str, str] = field(default_factory=dict)


_PLAIN = {
    400: ("bad-request", "This request cannot be understood."),
    404: ("not-found", "There is nothing here."),
    405: ("not-allowed", "This cannot be done here."),
}

ErrorPage = Callable[[Request, Failure], Response]
"""Draws an error for a person; the phone page brings its own."""


def failure_of(error: Exception) -> Failure:
    """Say how an error is answered."""
    if isinstance(error, StrandgaugeError):
        status = STATUS_OF_CODE.get(error.code, 422)
        headers = {"Retry-After": str(RETRY_AFTER_SECONDS)} if status == 503 else {}
        return Failure(status, error.code, error.message, error.remedy, error.where, headers)
    if isinstance(error, Refused):
        return Failure(error.status_code, error.code, error.message, error.remedy, None, error.headers or {})
    if isinstance(error, HTTPException):
        code, message = _PLAIN.get(error.status_code, ("error", str(error.detail)))
        return Failure(error.status_code, code, message, headers=error.headers or {})
    return Failure(
        500,
        "internal-error",
        "Something went wrong inside strandgauge.",
        "Try again; if it stays, report it.",
    )


def asks_for_document(request: Request) -> bool:
    """Tell whether a program asks, such as the script of a page, which wants no page in answer."""
    return "application/json" in request.headers.get("accept", "")


def error_response(request: Request, failure: Failure, page: ErrorPage | None = None) -> Response:
    """Answer an error: as a document to a program, as a page to a person."""
    if request.url.path.startswith("/api") or asks_for_document(request):
        document = error_document(failure.code, failure.message, failure.remedy, failure.where)
        return JSONResponse(document, failure.status, dict(failure.headers))
    if page is not None:
        response = page(request, failure)
        response.headers.update(failure.headers)
        return response
    return plain_page(failure)


def plain_page(failure: Failure) -> Response:
    """Answer an error as a page that needs nothing else from the server."""
    message, remedy = escape(failure.message), escape(failure.remedy)
    return HTMLResponse(
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>strandgauge</title></head><body><h1>{message}</h1><p>{remedy}</p>"
        '<p><a href="/">Try again</a></p></body></html>',
        failure.status,
        dict(failure.headers),
    )
