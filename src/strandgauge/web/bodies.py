"""What a request may carry: how much, for how long, and how many at once; and the form in which a photo comes."""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, nullcontext, suppress
from dataclasses import dataclass

from starlette.datastructures import FormData, Headers, UploadFile
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from strandgauge.errors import FileTooLargeError, ServerBusyError, UnreadableFileError
from strandgauge.photo.formats import recognise
from strandgauge.web.refusals import Refused, because
from strandgauge.web.service import Sent
from strandgauge.web.settings import MB, Limits

MOST_FILES = 4
MOST_FIELDS = 24
LONGEST_FIELD = 1000
"""Bytes of one field of a form that carries a photo."""
OLDEST_PHOTO = 14 * 3600.0
"""Seconds; a photo that is older belongs to no visit of today."""
LARGEST_ID = 2**63 - 1


class BodyLimits:
    """Stops a request's body where it is too large or too slow, before anything is made of it.

    Uploads wait for their turn with their bodies unread, so that what is held at once is bounded.
    """

    def __init__(self, app: ASGIApp, limits: Limits) -> None:
        self.app, self._limits = app, limits
        self._turns = asyncio.Semaphore(limits.uploads_at_once)
        self._waiting = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, its body limited."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        upload = headers.get("content-type", "").casefold().startswith("multipart/")
        most = self._limits.upload_bytes if upload else self._limits.form_bytes
        declared = headers.get("content-length", "")
        if declared.isascii() and declared.isdigit() and int(declared) > most:
            raise too_large(most)
        async with self._turn() if upload else nullcontext():
            await self.app(scope, self._limited(receive, most), send)

    @asynccontextmanager
    async def _turn(self) -> AsyncIterator[None]:
        if self._turns.locked() and self._waiting >= self._limits.uploads_waiting:
            raise ServerBusyError(fault="photos")
        self._waiting += 1
        try:
            async with asyncio.timeout(self._limits.wait_seconds):
                await self._turns.acquire()
        except TimeoutError:
            raise ServerBusyError(fault="photos") from None
        finally:
            self._waiting -= 1
        try:
            yield
        finally:
            self._turns.release()

    def _limited(self, receive: Receive, most: int) -> Receive:
        left, complete, until = most, False, 0.0

        async def limited() -> Message:
            nonlocal left, complete, until
            if complete:  # all that can still come is word that the client left
                return await receive()
            loop = asyncio.get_running_loop()
            until = until or loop.time() + self._limits.body_seconds
            try:
                async with asyncio.timeout_at(until):
                    message = await receive()
            except TimeoutError:
                raise because(408, "too-slow", "too-slow", headers={"Connection": "close"}) from None
            if message["type"] == "http.request":
                left -= len(message.get("body", b""))
                complete = not message.get("more_body", False)
                if left < 0:
                    raise too_large(most)
            else:
                complete = True
            return message

        return limited


def too_large(most: int) -> Refused:
    """Return the refusal of a body of more than ``most`` bytes."""
    size = f"{most // MB} MB" if most >= MB else f"{most // 1000} kB"
    return because(413, FileTooLargeError.code, "too-large", size=size)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoForm(Sent):
    """What comes with a photo; where a form may come without one, the photo may be empty."""

    waited: float
    """Seconds since the form was filled in."""
    fields: FormData
    """Everything else."""


async def photo_form(request: Request, *, needs_photo: bool = True) -> PhotoForm:
    """Read the form in which a photo is sent; the photo's name, which the client chose, is not looked at.

    Raises
    ------
    Refused : it is no such form, it lacks the photo, the photo is old, or a field is not what it should be.
    """
    multipart = request.headers.get("content-type", "").casefold().startswith("multipart/form-data")
    if needs_photo and not multipart:
        raise because(415, "bad-request", "not-multipart")
    async with request.form(
        max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=LONGEST_FIELD
    ) as form:
        photo, read_wet = await _photo(form)
        if photo is None and needs_photo:
            raise because(422, "bad-request", "no-photo")
        return PhotoForm(
            photo=_recognised(photo) if photo or needs_photo else b"",
            strand_id=_id(_text(form, "strand")),
            wet=read_wet or _flag("wet", _text(form, "wet")),
            target=_text(form, "target") or None,
            keep_photo=_flag("keep_photo", _text(form, "keep_photo")),
            result=_flag("result", _text(form, "result")),
            turned=_flag("turned", _text(form, "turned")),
            age=_age(form),
            waited=_seconds(form, "waited"),
            request=_text(form, "request") or None,
            fields=FormData([(key, value) for key, value in form.multi_items() if isinstance(value, str)]),
        )


async def _photo(form: FormData) -> tuple[bytes | None, bool]:
    """Return the photo of a form, and whether the button for wet hair took it; None where there is none.

    A page has a field for each button of its camera; all but one of them are empty.
    """
    found: bytes | None = None
    for name in ("photo", "photo_wet"):
        for photo in form.getlist(name):
            if isinstance(photo, UploadFile):
                found = await photo.read()
                if found:
                    return found, name == "photo_wet"
    return found, False


def _age(form: FormData) -> float:
    """Return the seconds since a photo was taken.

    Raises
    ------
    Refused : it was taken before anybody's visit of today.
    """
    age = _seconds(form, "age")
    if age > OLDEST_PHOTO:
        raise because(422, "old-photo", "old-photo", hours=age / 3600.0)
    return age


def _seconds(form: FormData, name: str) -> float:
    with suppress(ValueError):
        if math.isfinite(value := float(_text(form, name) or 0.0)):
            return max(value, 0.0)  # a phone whose clock was set back has taken its photo now
    raise because(422, "bad-request", "no-seconds", name=name)


def _recognised(photo: bytes | None) -> bytes:
    """Refuse what is no picture by its first bytes, whatever its name and type claim."""
    if not photo:
        raise UnreadableFileError(fault="empty-photo")
    try:
        recognise(photo)
    except UnreadableFileError as error:
        raise Refused(415, error.code, error.message, error.remedy) from error
    return photo


def _text(form: FormData, name: str) -> str:
    value = form.get(name, "")
    return value.strip() if isinstance(value, str) else ""


def _id(text: str) -> int | None:
    if not text:
        return None
    if text.isascii() and text.isdigit() and len(text) < 20 and 0 < int(text) <= LARGEST_ID:
        return int(text)
    raise because(422, "bad-request", "no-strand")


def _flag(name: str, text: str) -> bool:
    if text.casefold() in ("", "false", "0", "no", "off"):
        return False
    if text.casefold() in ("true", "1", "yes", "on"):
        return True
    raise because(422, "bad-request", "no-flag", name=name)
