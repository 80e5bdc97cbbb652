"""Where photos arrive: a folder that a phone syncs into, a camera on a stand, a film.

A source is asked again and again what has arrived since; it never waits and never fails for long: a file that is
still being written is left for later, a camera that is unplugged is waited for.
"""

from __future__ import annotations

import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import cv2

from strandgauge.codes.catalogue import say
from strandgauge.errors import UnreadableFileError
from strandgauge.files.endings import PHOTO_ENDINGS

REOPEN_SECONDS = 2.0
"""How often a camera that is gone is looked for."""
_STALE_FRAMES = 4
"""A camera hands out frames that it has kept; so many are passed over to have one of now."""
_FILM_BEGINS = datetime(2000, 1, 1)
"""Stands for the time at which a film begins, which nobody told."""


@dataclass(frozen=True, slots=True)
class Arrived:
    """One photo that has arrived."""

    name: str
    content: bytes
    """Of a picture file."""
    taken: datetime | None
    """When, where the source knows; else the photo may tell."""
    written: datetime | None = None
    """When its file was last written, where it is one."""


class Source(ABC):
    """Where photos arrive."""

    over = False
    """Whether nothing more can arrive."""
    note = ""
    """What is to be told of the source itself, such as that a camera is gone; empty where all is well."""

    @abstractmethod
    def arrived(self) -> Iterator[Arrived]:
        """Yield what has arrived since this was asked last."""

    def now(self) -> datetime:
        """Return the time now, by the clock that the photos go by: that of this machine, but for a film."""
        return datetime.now()

    def close(self) -> None:  # noqa: B027 - a folder is not held
        """Let go of a camera or a film."""


class Folder(Source):
    """A folder, of which photos are taken once they have stopped growing.

    Parameters
    ----------
    folder : photos that lie in it itself; hidden ones are left out.
    known : names of photos that need not be read again.
    """

    def __init__(self, folder: Path, known: Collection[str] = ()) -> None:
        self._folder = folder
        self._known = known
        self._last: dict[str, tuple[int, int]] = {}
        self._handed: dict[str, tuple[int, int]] = {}

    def arrived(self) -> Iterator[Arrived]:
        """Yield the photos that are new, or have changed, and are the same as when this was asked last."""
        before, self._last, self.note = self._last, {}, ""
        try:
            files = sorted(self._folder.iterdir())
        except OSError:
            self.note = say("arrive.no-folder", folder=self._folder)
            return
        for file in files:
            if file.suffix.lower() not in PHOTO_ENDINGS or file.name.startswith("."):
                continue
            try:
                status = file.stat()
                mark = (status.st_size, status.st_mtime_ns)
                self._last[file.name] = mark
                first = file.name not in self._handed
                if (first and file.name in self._known) or self._handed.get(file.name) == mark:
                    continue
                if not status.st_size or before.get(file.name) != mark:
                    continue  # still being written
                content = file.read_bytes()
            except OSError:
                continue
            self._handed[file.name] = mark
            yield Arrived(file.name, content, None, datetime.fromtimestamp(status.st_mtime))


class Camera(Source):
    """A camera, of which a picture is taken every so many seconds; while it is gone it is looked for.

    Parameters
    ----------
    address : number of a camera of this machine, or its address in the network.
    every : seconds from one picture to the next.
    open_camera : opens it; OpenCV's own where left out.
    """

    def __init__(
        self,
        address: str,
        every: float,
        *,
        open_camera: Callable[[Any], Any] = cv2.VideoCapture,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._address: int | str = int(address) if address.isdigit() else address
        self._every = every
        self._open_camera = open_camera
        self._clock = clock
        self._camera: Any = None
        self._next = self._reopen = clock()

    def arrived(self) -> Iterator[Arrived]:
        """Yield a picture, where it is time for one and the camera is there."""
        now = self._clock()
        if now < self._next or (self._camera is None and now < self._reopen):
            return
        if self._camera is None:
            self._camera = self._open_camera(self._address)
        frame = self._frame()
        if frame is None:
            self.close()
            self._reopen = now + REOPEN_SECONDS
            self.note = say("arrive.no-camera", camera=self._address)
            return
        self.note, self._next = "", now + self._every
        taken = datetime.now()
        yield Arrived(f"{taken:%H%M%S}.png", _png(frame), taken)

    def _frame(self) -> Any:  # noqa: ANN401 - a picture as OpenCV has it, or None
        good, frame = False, None
        for _ in range(1 + _STALE_FRAMES):
            good, frame = self._camera.read()
            if not good:
                return None
        return frame

    def close(self) -> None:
        """Let go of the camera."""
        if self._camera is not None:
            self._camera.release()
            self._camera = None


class Film(Source):
    """A video file, of which a picture is taken every so many seconds of it.

    Raises
    ------
    UnreadableFileError : it is no film that can be read.
    """

    def __init__(self, file: Path, every: float) -> None:
        self._film = cv2.VideoCapture(str(file))
        self._every, self._at = every, 0.0
        if not self._film.isOpened():
            raise UnreadableFileError(where=str(file), fault="no-film")
        rate, frames = self._film.get(cv2.CAP_PROP_FPS), self._film.get(cv2.CAP_PROP_FRAME_COUNT)
        self._seconds = frames / rate if rate > 0 else 0.0

    def arrived(self) -> Iterator[Arrived]:
        """Yield the next picture; each time this is asked, one."""
        good = False
        if self._at <= self._seconds:
            self._film.set(cv2.CAP_PROP_POS_MSEC, 1000.0 * self._at)
            good, frame = self._film.read()
        if not good:
            self.over = True
            return
        taken = _FILM_BEGINS + timedelta(seconds=self._at)
        name = f"{int(self._at) // 60:02}-{int(self._at) % 60:02}.png"
        self._at += self._every
        yield Arrived(name, _png(frame), taken)

    def now(self) -> datetime:
        """Return the time of the last picture."""
        return _FILM_BEGINS + timedelta(seconds=max(self._at - self._every, 0.0))

    def close(self) -> None:
        """Let go of the film."""
        self._film.release()


def source_of(text: str, every: float, known: Collection[str]) -> Source:
    """Return the source that an argument names: a folder, the number or address of a camera, or a film.

    Raises
    ------
    UnreadableFileError : there is nothing of that name.
    """
    path = Path(text)
    if path.is_dir():
        return Folder(path, known)
    if text.isdigit() or "://" in text or text.startswith("/dev/"):
        return Camera(text, every)
    if not path.is_file():
        raise UnreadableFileError(where=text, fault="no-source")
    return Film(path, every)


def _png(frame: Any) -> bytes:  # noqa: ANN401 - a picture as OpenCV has it
    return bytes(cv2.imencode(".png", frame)[1])
