"""What a request may carry: how much, for how long, and how many at once; and the form in which a photo comes."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, nullcontext
from dataclasses import dataclass, field

from starlette.datastructures import FormData, Headers, UploadFile
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from strandgauge.errors import FileTooLargeError, ServerBusyError, UnreadableFileError
from strandgauge.photo.formats import recognise
from strandgauge.web.refusals import Refused
from strandgauge.web.settings import MB, Limits

MOST_FILES = 2
MOST_FIELDS = 8
LONGEST_FIELD = 1000
"""Bytes of one field of a form that carries a photo."""
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
            raise ServerBusyError("Too many photos at once.")
        self._waiting += 1
        try:
            async with asyncio.timeout(self._limits.wait_seconds):
                await self._turns.acquire()
        except TimeoutError:
            raise ServerBusyError("Too many photos at once.") from None
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
                raise Refused(
                    408,
                    "too-slow",
                    "The photo took too long to arrive.",
                    "Move closer to the router and send it again.",
                    headers={"Connection": "close"},
                ) from None
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
    return Refused(
        413,
        FileTooLargeError.code,
        f"This is more than {size}, more than any phone photo.",
        "Send the photo as the phone took it.",
    )


@dataclass(frozen=True, slots=True)
class PhotoForm:
    """What comes with a photo."""

    photo: bytes = field(repr=False)
    strand_id: int | None
    wet: bool
    target: str | None
    keep_photo: bool


async def photo_form(request: Request) -> PhotoForm:
    """Read the form in which a photo is sent; the photo's name, which the client chose, is not looked at.

    Raises
    ------
    Refused : it is no such form, it lacks the photo, or a field is not what it should be.
    """
    if not request.headers.get("content-type", "").casefold().startswith("multipart/form-data"):
        raise Refused(415, "bad-request", "A photo is sent as multipart/form-data.")
    async with request.form(
        max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=LONGEST_FIELD
    ) as form:
        return PhotoForm(
            _recognised(await _photo(form)),
            _id(_text(form, "strand")),
            _flag("wet", _text(form, "wet")),
            _text(form, "target") or None,
            _flag("keep_photo", _text(form, "keep_photo")),
        )


async def _photo(form: FormData) -> bytes:
    """Return the photo of a form; a page may have a field for the camera and one for the album, one of them empty."""
    photos = [field for field in form.getlist("photo") if isinstance(field, UploadFile)]
    if not photos:
        raise Refused(422, "bad-request", "There is no photo in this.", "Choose or take a photo first.")
    for photo in photos:
        if content := await photo.read():
            return content
    return b""


def _recognised(photo: bytes) -> bytes:
    """Refuse what is no picture by its first bytes, whatever its name and type claim."""
    if not photo:
        raise Refused(422, UnreadableFileError.code, "The photo is empty.", "Take or choose it again.")
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
    raise Refused(422, "bad-request", "'strand' is the number of a strand.")


def _flag(name: str, text: str) -> bool:
    if text.casefold() in ("", "false", "0", "no", "off"):
        return False
    if text.casefold() in ("true", "1", "yes", "on"):
        return True
    raise Refused(422, "bad-request", f"'{name}' is true or false.")
