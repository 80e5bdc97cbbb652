"""Puts the server together: the service, the API, the page, and the layers around them."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable
from datetime import datetime
from pathlib import Path

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse
from starlette.staticfiles import StaticFiles

from strandgauge.errors import StrandgaugeError
from strandgauge.files.version import __version__
from strandgauge.kit import shipped
from strandgauge.logbook.book import Logbook, open_logbook
from strandgauge.show.pages.render import FONT
from strandgauge.web import api, pages
from strandgauge.web.bodies import BodyLimits
from strandgauge.web.draw import compile_pages
from strandgauge.web.refusals import ErrorPage, Refused, error_response, refused
from strandgauge.web.screens import answer_document
from strandgauge.web.security import Gate, StrictHeaders
from strandgauge.web.service import Service, utc_now
from strandgauge.web.settings import ServerSettings
from strandgauge.web.workers import WorkerPool

STATIC = Path(__file__).parent / "static"


def create_app(
    settings: ServerSettings,
    *,
    logbook: Logbook | None = None,
    workers: WorkerPool | None = None,
    now: Callable[[], datetime] = utc_now,
) -> FastAPI:
    """Return the server as an ASGI application; ``app.state.service`` is its service.

    The logbook and the workers are closed when the application shuts down.

    Parameters
    ----------
    settings : what the server was asked for.
    logbook : opened already; otherwise the one that the settings name is opened here.
    workers : started already; otherwise started here.
    now : tells the time, UTC.

    Raises
    ------
    StrandgaugeError : the logbook cannot be used.
    """
    compile_pages()
    if workers is None:
        workers = WorkerPool(settings.workers, settings.kit or shipped(), settings.limits)
        workers.start()
    book = logbook or open_logbook(settings.logbook)
    service = Service(settings, book, workers, now, shown=answer_document)

    @contextlib.asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        await run_in_threadpool(service.close)

    # FastAPI's own pages about an API fetch their script from elsewhere: there are none here.
    app = FastAPI(
        title="strandgauge",
        version=__version__,
        summary="How far a hair strand has lifted, from a photo beside a printed card.",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=lifespan,
    )
    app.state.service = service
    _answer_errors(app, pages.error_page)
    app.include_router(api.router(service))
    app.include_router(pages.router(service))
    app.add_route("/static/letters.woff2", _letters, include_in_schema=False)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    # The last one added is the first one passed.
    app.add_middleware(BodyLimits, limits=settings.limits)
    app.add_middleware(Gate, settings=settings)
    app.add_middleware(StrictHeaders, page=pages.error_page, lan=settings.token is not None)
    return app


def _letters(_: Request) -> Response:
    """Answer with the font, the same file that printed pages carry in themselves."""
    return FileResponse(FONT, media_type="font/woff2")


def _answer_errors(app: FastAPI, page: ErrorPage) -> None:
    def told(request: Request, error: Exception) -> Response:
        return error_response(request, refused(error), page)

    def misfit(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        return error_response(request, Refused(422, "bad-request", _first_misfit(error)), page)

    app.add_exception_handler(StrandgaugeError, told)
    app.add_exception_handler(HTTPException, told)
    app.add_exception_handler(RequestValidationError, misfit)


def _first_misfit(error: RequestValidationError) -> str:
    """Say in one sentence which value does not fit, and why."""
    first = error.errors()[0]
    place = ".".join(str(part) for part in first.get("loc", ())[1:])
    said = str(first.get("msg", "it is not what it should be"))
    return f"'{place}': {said}." if place else f"{said}."
