"""Who may ask: the layers through which every request passes before it reaches a route.

From the outside in: strict headers on every answer; the gate (Host, allowance, token, same origin); the limits on
what a request may carry. docs/threat-model.md says against whom.
"""

from __future__ import annotations

import hmac
import ipaddress
import logging
import secrets
import time
import traceback
from collections import OrderedDict
from collections.abc import Mapping
from html import escape
from pathlib import Path
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect, Request, cookie_parser
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from strandgauge.web.keys import KEY_LASTS
from strandgauge.web.refusals import (
    RETRY_AFTER_SECONDS,
    ErrorPage,
    Refused,
    because,
    error_response,
    plain_page,
    refused,
)
from strandgauge.web.settings import ServerSettings
from strandgauge.words import say

log = logging.getLogger("strandgauge.web")

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
STRICT_HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": (
        "default-src 'none'; img-src 'self' data: blob:; style-src 'self'; font-src 'self'; "
        "script-src 'self'; connect-src 'self'; form-action 'self'; frame-ancestors 'none'; "
        "base-uri 'none'; manifest-src 'self'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Permissions-Policy": (
        "accelerometer=(), camera=(), display-capture=(), geolocation=(), gyroscope=(), magnetometer=(), "
        "microphone=(), midi=(), payment=(), usb=()"
    ),
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
ON_THIS_COMPUTER: Mapping[str, str] = {"Cross-Origin-Opener-Policy": "same-origin"}
"""Browsers heed this on loopback and under TLS only, and complain of it elsewhere."""
PUBLIC = "/static/"
"""Style, script and icons: nothing of anybody's, so served without a token and kept by the browser."""
TOKEN_IN_ADDRESS = "token"
READING = frozenset({"GET", "HEAD", "OPTIONS"})
MOST_CLIENTS = 1024


class StrictHeaders:
    """Puts the strict headers on every answer, and answers what nothing further in has answered."""

    def __init__(self, app: ASGIApp, page: ErrorPage | None = None, *, lan: bool = False) -> None:
        self.app, self.page = app, page
        self._headers = STRICT_HEADERS if lan else {**STRICT_HEADERS, **ON_THIS_COMPUTER}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        begun = False

        async def strictly(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers[name] = value
                if scope["path"].startswith(PUBLIC):
                    headers["Cache-Control"] = "no-cache"
            await send(message)

        try:
            await self.app(scope, receive, strictly)
        except ClientDisconnect:
            return  # there is nobody left to answer
        except Exception as error:
            if begun:
                raise
            answer = refused(error)
            if answer.status_code == 500:
                last = traceback.extract_tb(error.__traceback__)[-1]
                where = f"{Path(last.filename).name}:{last.lineno}"
                log.error("A request ended in an error (%s at %s).", type(error).__name__, where)
                log.debug("The details:", exc_info=error)
            request = Request(scope)
            page = None if isinstance(error, Refused) else self.page
            await error_response(request, answer, page)(scope, receive, strictly)


class Gate:
    """Lets through who may ask: by Host, allowance, token and origin."""

    def __init__(self, app: ASGIApp, settings: ServerSettings) -> None:
        self.app = app
        self._hosts = frozenset(name.casefold() for name in (*settings.addresses, *settings.names))
        self._port = settings.port
        self._token = settings.token
        self._cookie = f"strandgauge-{settings.port}"
        # What a phone keeps is not what the address showed: an address may be photographed or stay on a screen.
        self._session = settings.session or secrets.token_urlsafe(32)
        self._code = settings.code
        limits = settings.limits
        self._requests = Allowance(limits.requests_per_second, limits.requests_burst)
        self._uploads = Allowance(limits.uploads_per_second, limits.uploads_burst)
        self._tries = Allowance(limits.codes_per_second, limits.codes_burst)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        self._check_host(headers)
        self._check_allowance(scope, headers)
        if self._token is not None and not scope["path"].startswith(PUBLIC):
            if scope["method"] in READING and (shown := _shown_token(scope)) is not None:
                if same(shown, self._token):
                    await self._welcome(scope)(scope, receive, send)
                else:
                    await entry_page()(scope, receive, send)
                return
            if scope["path"] == ENTRY and scope["method"] == "POST":
                check_same_origin(headers)
                await (await self._typed(scope, receive))(scope, receive, send)
                return
            if not self._let_in(headers):
                if "text/html" in headers.get("accept", "") and scope["method"] in READING:
                    await entry_page()(scope, receive, send)
                    return
                raise because(403, "no-entry", "no-entry")
        if scope["method"] not in READING:
            check_same_origin(headers)
        await self.app(scope, receive, send)

    def _check_host(self, headers: Headers) -> None:
        """Refuse a name that is not this server's: a page elsewhere may have pointed its own name here.

        Names of loopback pass with any port, since a tunnel has one of its own and nobody can point them elsewhere.
        """
        host = headers.get("host", "")
        name, port = host_name(host), host_port(host)
        own_port = port in (None, self._port) or (port != 0 and name in LOOPBACK_NAMES)
        if name not in self._hosts or not own_port:
            raise because(421, "wrong-host", "wrong-host")

    def _check_allowance(self, scope: Scope, headers: Headers) -> None:
        client = scope["client"][0] if scope.get("client") else ""
        allowed = self._requests.take(client)
        if allowed and scope["method"] == "POST" and _is_upload(headers):
            allowed = self._uploads.take(client)
        if not allowed:
            wait = {"Retry-After": str(RETRY_AFTER_SECONDS)}
            raise because(429, "too-many-requests", "too-much", headers=wait)

    def _let_in(self, headers: Headers) -> bool:
        assert self._token is not None
        kind, _, bearer = headers.get("authorization", "").partition(" ")
        if kind.casefold() == "bearer" and same(bearer.strip(), self._token):
            return True
        return same(_cookie(headers, self._cookie), self._session)

    async def _typed(self, scope: Scope, receive: Receive) -> Response:
        """Let a phone in whose owner typed the code; all phones together have few tries."""
        length = Headers(scope=scope).get("content-length", "")
        if not (length.isascii() and length.isdigit() and int(length) <= LONGEST_ENTRY):
            return entry_page(wrong=True)
        if not self._tries.take(ENTRY):
            raise because(429, "too-many-requests", "too-many-codes", headers={"Retry-After": "60"})
        form = await Request(scope, receive).form()
        typed = "".join(letter for letter in str(form.get("code", "")) if letter in "0123456789")
        if self._code is None or not same(typed, self._code):
            return entry_page(wrong=True)
        return self._with_key(RedirectResponse("/", 303))

    def _welcome(self, scope: Scope) -> Response:
        """Exchange the token for a cookie, and take it out of the address."""
        query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        rest = urlencode([(name, value) for name, value in query if name != TOKEN_IN_ADDRESS])
        # One slash: two would name another host.
        path = "/" + scope["path"].lstrip("/\\")
        return self._with_key(RedirectResponse(f"{path}?{rest}" if rest else path, 303))

    def _with_key(self, response: Response) -> Response:
        # Lax: a link in a message may open the page; what writes is guarded by where it comes from.
        response.set_cookie(
            self._cookie,
            self._session,
            max_age=int(KEY_LASTS.total_seconds()),
            httponly=True,
            samesite="lax",
            path="/",
        )
        return response


def entry_page(*, wrong: bool = False) -> Response:
    """Return the page of a phone that has not been let in: where to scan, and a field for the code."""
    return plain_page(because(403, "no-entry", "wrong-code" if wrong else "no-entry"), _entry_form())


def _entry_form() -> str:
    label, enter = escape(say("field.entry-code")), escape(say("tap.enter"))
    return (
        f'<form method="post" action="/enter"><p class="entry"><label for="code">{label}</label>'
        '<input type="text" id="code" name="code" inputmode="numeric" autocomplete="one-time-code" maxlength="12">'
        f'</p><p><button class="button">{enter}</button></p></form>'
    )


ENTRY = "/enter"
LONGEST_ENTRY = 200
"""Bytes of the form in which the code is typed."""


class Allowance:
    """Token buckets, one for each client.

    Parameters
    ----------
    per_second : refill.
    burst : what a client may use at once after a rest.
    """

    def __init__(self, per_second: float, burst: float) -> None:
        self._per_second, self._burst = per_second, burst
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, client: str, now: float | None = None) -> bool:
        """Take one from a client's allowance; False where nothing is left."""
        at = time.monotonic() if now is None else now
        left, since = self._left.pop(client, (self._burst, at))
        left = min(self._burst, left + (at - since) * self._per_second)
        allowed = left >= 1.0
        self._left[client] = (left - 1.0 if allowed else left, at)
        while len(self._left) > MOST_CLIENTS:
            self._left.popitem(last=False)
        return allowed


def same(shown: str, secret: str) -> bool:
    """Compare in a time that does not tell how much of it is right."""
    return hmac.compare_digest(shown.encode("utf-8", "surrogatepass"), secret.encode())


def host_name(host: str) -> str:
    """Return the name or address in a Host header, without port and brackets, in small letters."""
    text = host.strip().casefold()
    if text.startswith("["):
        inside = text[1:].partition("]")[0]
        try:
            return ipaddress.ip_address(inside).compressed
        except ValueError:
            return ""
    return text.partition(":")[0]


def host_port(host: str) -> int | None:
    """Return the port in a Host header; None where there is none, 0 for what is no port."""
    port = host.strip().rpartition("]")[2].partition(":")[2]
    if not port:
        return None
    return int(port) if port.isascii() and port.isdigit() and len(port) < 6 else 0


def check_same_origin(headers: Headers) -> None:
    """Refuse a write that a page of another origin sends.

    A browser says where a request comes from in ``Sec-Fetch-Site``, an older one in ``Origin``; a program that is
    no browser sends neither, and no page can make it send anything.
    """
    site, origin = headers.get("sec-fetch-site"), headers.get("origin")
    crossed = site is not None and site not in ("same-origin", "none")
    if origin is not None:
        crossed = crossed or origin.casefold() != f"http://{headers.get('host', '')}".casefold()
    if crossed:
        raise because(403, "cross-origin", "cross-origin")


def _is_upload(headers: Headers) -> bool:
    return headers.get("content-type", "").casefold().startswith("multipart/")


def _shown_token(scope: Scope) -> str | None:
    query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
    return next((value for name, value in query if name == TOKEN_IN_ADDRESS), None)


def _cookie(headers: Headers, name: str) -> str:
    # Other servers of this computer share the jar, and may have put odd things into it.
    return next((jar[name] for line in headers.getlist("cookie") if name in (jar := cookie_parser(line))), "")
