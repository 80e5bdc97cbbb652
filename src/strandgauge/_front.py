"""The front door for Python: a few functions, and results that are small, comparable and can be looked at.

Everything here is handed on by ``strandgauge`` itself; see docs/python.md.
"""

from __future__ import annotations

import json
import os
from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Literal, Self

from strandgauge import kit as kits
from strandgauge.change import compare as change
from strandgauge.colour.cielab import Lab
from strandgauge.colour.srgb import hex_colour
from strandgauge.dye import mix as mixing
from strandgauge.dye.targets import Target
from strandgauge.judge import outlook as judging
from strandgauge.judge.history import history_told
from strandgauge.kit import Kit, PathName
from strandgauge.lift import curve as lifting
from strandgauge.reading import model
from strandgauge.show.json import document_of, filled, record_of
from strandgauge.words import reading as words

if TYPE_CHECKING:
    from strandgauge.sheet.record import Summary

Photo = PathName | bytes | BinaryIO
"""A photo: its path, its bytes, or a file opened in binary mode."""

_BOX = (
    "display:inline-block;width:6em;height:3.2em;border-radius:4px;margin:0 6px 2px 0;vertical-align:middle;"
)
_FRAME = (
    "display:inline-block;background:#e2e2e2;color:#1b1b1b;padding:10px 12px;border-radius:8px;"
    "font:14px/1.4 sans-serif"
)


class _Result(ABC):
    """What all results can do."""

    __slots__ = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the result as its published JSON document, numbers rounded."""
        return document_of(self)

    @classmethod
    def from_dict(cls, document: Mapping[str, Any]) -> Self:
        """Return the result that a document of `to_dict` holds.

        Raises
        ------
        BadReadingError : it is of another schema, or a value is missing or impossible.
        """
        return record_of(cls, document, "document")

    def __eq__(self, other: object) -> bool:
        """Results are equal where their documents are."""
        return isinstance(other, _Result) and type(self) is type(other) and self._key() == other._key()

    def __hash__(self) -> int:
        return hash(self._key())

    def _key(self) -> str:
        return json.dumps(document_of(self))

    def __repr__(self) -> str:
        return f"<{type(self).__name__} {self._line()}>"

    _rows = ""
    """What the colours are that stand above one another."""

    @abstractmethod
    def _line(self) -> str:
        """Return what stands in the repr, in one line."""

    @abstractmethod
    def _swatches(self) -> Iterable[tuple[str, tuple[Lab, ...]]]:
        """Return captions, each with the colours that stand above it."""

    def _repr_html_(self) -> str:
        columns = "".join(_column(caption, labs) for caption, labs in self._swatches())
        rows = f'<div style="font-size:12px">{self._rows}</div>' if self._rows else ""
        return f'<div style="{_FRAME}"><div><b>{escape(self._line())}</b></div>{rows}{columns}</div>'


def _column(caption: str, labs: Sequence[Lab]) -> str:
    boxes = "<br>".join(f'<span style="{_BOX}background:{hex_colour(lab)}"></span>' for lab in labs)
    return (
        '<div style="display:inline-block;margin-top:8px;vertical-align:top">'
        f'{boxes}<div style="width:8em;font-size:12px">{escape(caption)}</div></div>'
    )


class Zone(_Result, model.ZoneReading):
    """One zone of a strand: level, colour, undertone, stain, and how sure they are."""

    __slots__ = ()

    def _line(self) -> str:
        return f"{self.name}: level {words.level_interval(self)}, {self.undertone}"

    def _swatches(self) -> Iterable[tuple[str, tuple[Lab, ...]]]:
        return [("", (self.lab,))]


class Reading(_Result, model.Reading):
    """The reading of a strand; ``reading["root"]`` is one of its zones."""

    __slots__ = ()

    def __getitem__(self, name: str) -> Zone:
        """Return a zone: ``root``, ``mids``, ``ends`` or ``overall``."""
        for zone in (self.overall, *self.zones):
            if zone.name == name:
                return filled(Zone, zone)
        raise KeyError(f"{name!r} is no zone; there are root, mids, ends and overall")

    def __iter__(self) -> Iterator[Zone]:
        return (filled(Zone, zone) for zone in self.zones)

    def reach(self, target: str, **settings: Any) -> Outlook:  # noqa: ANN401 - those of `reach`
        """Say whether a shade reads true on this hair; see `strandgauge.reach`."""
        return reach(self, target, **settings)

    def _line(self) -> str:
        return f"{self.photo}: {' · '.join(words.headline(self)).lower()}"

    def _swatches(self) -> Iterable[tuple[str, tuple[Lab, ...]]]:
        return [(f"{zone.name}: {words.level_interval(zone)}", (zone.lab,)) for zone in self.zones]


class Outlook(_Result, judging.Outlook):
    """Whether a wanted shade reads true, and what gets there."""

    __slots__ = ()
    _rows = "Above the hair as it is, below with the formula."

    def __getitem__(self, name: str) -> judging.ZoneOutlook:
        """Return the outlook for one zone."""
        for zone in self.zones:
            if zone.name == name:
                return zone
        raise KeyError(f"{name!r} is no zone; there are {', '.join(zone.name for zone in self.zones)}")

    def _line(self) -> str:
        return f"{self.target.name}: {self.verdict}, chance {100 * self.probability_true:.0f} %"

    def _swatches(self) -> Iterable[tuple[str, tuple[Lab, ...]]]:
        yield f"wanted: {self.target.name}", (self.target.lab,)
        for zone in self.zones:
            yield f"{zone.name}: {zone.verdict}", (zone.base_lab, zone.predicted_lab)


class Mixed(_Result, mixing.Mixed):
    """What a mix of dyes makes of hair."""

    __slots__ = ()
    _rows = "Above the hair as it is, below with the mix."

    def _line(self) -> str:
        return " + ".join(f"{part.parts:g} {part.dye}" for part in self.mix)

    def _swatches(self) -> Iterable[tuple[str, tuple[Lab, ...]]]:
        return [(zone.name, (zone.base_lab, zone.predicted_lab)) for zone in self.zones]


class Change(_Result, change.Change):
    """Readings of a strand side by side."""

    __slots__ = ()
    _rows = "From above: root, mids, ends."

    def _line(self) -> str:
        level = self.since_first[-1].overall.level
        return f"{len(self.readings)} readings: {level.change:+.1f} levels ({level.low:+.1f} to {level.high:+.1f})"

    def _swatches(self) -> Iterable[tuple[str, tuple[Lab, ...]]]:
        for reading in self.readings:
            yield (
                f"{reading.photo}: {words.level_interval(reading.overall)}",
                tuple(z.lab for z in reading.zones),
            )


class LiftCurve(_Result, lifting.LiftCurve):
    """How a strand lifts over time, and whether to go on."""

    __slots__ = ()

    def _line(self) -> str:
        return f"{len(self.looks)} looks, level {self.level_now.value:.1f}, {self.state}"

    def _swatches(self) -> Iterable[tuple[str, tuple[Lab, ...]]]:
        return [(f"{look.minutes:.0f} min: {look.level:.1f}", (look.lab,)) for look in self.looks]


class CardCheck(_Result, model.CardCheck):
    """Whether card and light in a photo are fit for a reading."""

    __slots__ = ()
    _rows = "The patches furthest off: above as printed, below as read."

    def _line(self) -> str:
        why = ", ".join(problem.code for problem in self.problems)
        return f"{self.photo}: {'fit for a reading' if self.trusted else why}"

    def _swatches(self) -> Iterable[tuple[str, tuple[Lab, ...]]]:
        worst = sorted(self.patches, key=lambda patch: -patch.delta_e00)[:6]
        return [
            (f"{one.id}: ΔE00 {one.delta_e00:.1f}", (one.lab_reference, one.lab_corrected)) for one in worst
        ]


# --- functions ------------------------------------------------------------------------------------------


load_kit = kits.load


def read(photo: Photo, *more: Photo, wet: bool = False, kit: Kit | None = None) -> Reading:
    """Read a strand from a photo of it beside the card.

    Parameters
    ----------
    photo : a path, bytes, or a file opened in binary mode; the path of a saved reading (``.json``) loads that.
    more : further photos of the same strand, the card turned or the strand laid anew; all become one reading.
    wet : the strand is wet; colour and level are then the dry estimate.
    kit : card, ladder, dyes and shades; those in use when left out.

    Raises
    ------
    StrandgaugeError : the photo cannot be read or cannot be trusted; the subclass says why.
    """
    return _look((photo, *more), wet, kit or _kit())


def check(photo: Photo, *, kit: Kit | None = None) -> CardCheck:
    """Judge card and light in a photo; no strand is needed.

    Raises
    ------
    StrandgaugeError : the photo cannot be opened, or no card can be found in it.
    """
    source, name = _source(photo)
    found = filled(CardCheck, (kit or _kit()).check(source))
    return found if name is None else replace(found, photo=name)


def reach(
    hair: model.Reading | Photo,
    target: str,
    *,
    bowl: float = 60.0,
    scale: float = 0.1,
    pretone: bool = True,
    true_within: float = 3.0,
    told: Mapping[str, str] | None = None,
    kit: Kit | None = None,
) -> Outlook:
    """Say whether a wanted shade reads true on hair, and what gets there.

    Parameters
    ----------
    hair : a reading, a photo, or a colour as ``"L,a,b"`` or ``"#rrggbb"``.
    target : a shade's name, ``"#rrggbb"`` or ``"L,a,b"``.
    bowl, scale : grams to mix for each zone, and the smallest step of the scale.
    pretone : whether a toner that is laid on first may be proposed.
    true_within : CIEDE2000 up to which a result reads true; twice as much reads close.
    told : what the client told of the hair, such as ``{"henna": "yes"}``.

    Raises
    ------
    StrandgaugeError : no such shade, or no hair has that colour.
    """
    used = kit or _kit()
    settings = kits.settings(true_within=true_within, bowl=bowl, scale=scale, pretone=pretone)
    history = history_told(f"{key}={value}" for key, value in (told or {}).items())
    return filled(Outlook, used.reach(_zones(hair, used), target, settings, history))


def mix(hair: model.Reading | Photo, parts: Mapping[str, float], *, kit: Kit | None = None) -> Mixed:
    """Predict the colour that a mix of dyes gives on hair.

    Parameters
    ----------
    hair : as for `reach`.
    parts : of each dye and of clear, such as ``{"violet": 1, "clear": 9}``.

    Raises
    ------
    StrandgaugeError : a dye is not on the shelf, a part is none, or no hair has that colour.
    """
    used = kit or _kit()
    wanted = mixing.parse_mix(f"{name}={amount}" for name, amount in parts.items())
    return filled(Mixed, used.mix(_zones(hair, used), wanted))


def compare(before: model.Reading | Photo, *after: model.Reading | Photo, kit: Kit | None = None) -> Change:
    """Say what changed between two readings or photos of a strand, or more.

    Raises
    ------
    StrandgaugeError : a photo cannot be trusted, or readings are of different ladders.
    """
    used = kit or _kit()
    return filled(Change, change.compare([_reading(one, used) for one in (before, *after)]))


def follow(
    looks: Iterable[model.Reading | Photo],
    minutes: Sequence[float] | None = None,
    *,
    start: str | None = None,
    target: str | None = None,
    level: float | None = None,
    limit: float | None = None,
    zone: Literal["overall", "root", "mids", "ends"] = "overall",
    wet: bool = False,
    kit: Kit | None = None,
) -> LiftCurve:
    """Follow one strand while it lifts: how fast, how long still, and when to stop.

    Parameters
    ----------
    looks : readings or photos of the strand, in any order.
    minutes : of each look since the lightener went on; without them the photos' own times count.
    start : when the lightener went on, ``"HH:MM"`` by the clock of the photos.
    target : the wanted shade; or else
    level : the level to come to.
    limit : the maker's time limit, minutes since the lightener went on.
    zone : the part of the strand to follow.
    wet : the strand is wet in the photos.

    Raises
    ------
    StrandgaugeError : a photo cannot be trusted, or times are missing or do not fit.
    """
    from strandgauge.lift.times import LookTimes, look_times

    used = kit or _kit()
    readings = [_reading(one, used, wet) for one in looks]
    if minutes is None:
        times = look_times(
            [reading.photo for reading in readings], [reading.taken for reading in readings], start
        )
    else:
        times = LookTimes(tuple(minutes), from_start=True)
    curve = used.follow(readings, times, target=target, level=level, limit=limit, zone=zone)
    return filled(LiftCurve, curve)


def batch(folder: PathName, out: PathName, *, kit: Kit | None = None, **options: Any) -> Summary:  # noqa: ANN401
    """Read every photo below a folder into a table, a gallery and strips, on all cores.

    A script that calls this must do so under ``if __name__ == "__main__":``, since workers are processes.

    Parameters
    ----------
    options : those of :class:`strandgauge.batches.options.Options`, such as ``target``, ``jobs`` and ``resume``.
    """
    from strandgauge.batches.options import Options
    from strandgauge.batches.run import run_batch

    if options.get("manifest") is not None:
        options["manifest"] = Path(options["manifest"])
    return run_batch(Path(folder), Path(out), Options(**options), kit=kit or _kit())


def targets(*, kit: Kit | None = None) -> tuple[Target, ...]:
    """Return the shades that can be asked for by name."""
    return (kit or _kit()).targets


# --- what comes in --------------------------------------------------------------------------------------


def _kit() -> Kit:
    from strandgauge.learn.kept import home

    return _kit_of(home())


@cache
def _kit_of(_: Path) -> Kit:
    return kits.load()


def _source(photo: object) -> tuple[Path | bytes, str | None]:
    """Return what the pipeline takes of a photo, and its name where that is not the path's own."""
    if isinstance(photo, str | os.PathLike):
        return Path(photo), None
    if isinstance(photo, bytes | bytearray | memoryview):
        return bytes(photo), None
    content = photo.read() if hasattr(photo, "read") else None
    if not isinstance(content, bytes):
        raise TypeError(f"a path, bytes or a file opened in binary mode is needed, not {photo!r:.80}")
    name = getattr(photo, "name", None)
    return content, Path(name).name if isinstance(name, str) else None


def _look(photos: Sequence[Photo], wet: bool, kit: Kit) -> Reading:
    """Return the reading of photos, or a saved reading."""
    sources = [_source(photo) for photo in photos]
    reading = filled(Reading, kit.look(*(source for source, _ in sources), wet=wet).reading)
    if len(sources) == 1 and sources[0][1] is not None:
        reading = replace(reading, photo=sources[0][1])
    return reading


def _reading(look: model.Reading | Photo, kit: Kit, wet: bool = False) -> model.Reading:
    return look if isinstance(look, model.Reading) else _look((look,), wet, kit)


def _zones(hair: model.Reading | Photo, kit: Kit) -> tuple[judging.BaseZone, ...]:
    if isinstance(hair, model.Reading):
        return judging.base_zones(hair)
    return kit.hair(hair if isinstance(hair, str) else _source(hair)[0])[0]
