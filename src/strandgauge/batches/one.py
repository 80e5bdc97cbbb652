"""One photo becomes one record, whatever happens on the way: the pure function that every worker runs."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import PurePosixPath

from strandgauge import errors
from strandgauge.batches.task import Task
from strandgauge.codes.facts import note
from strandgauge.colour.srgb import hex_colour
from strandgauge.dye.targets import find_target
from strandgauge.errors import INTERNAL, StrandgaugeError, Told
from strandgauge.judge.outlook import Settings, base_zones
from strandgauge.judge.reach import reach
from strandgauge.kit import Kit
from strandgauge.photo.formats import recognise
from strandgauge.photo.header import read_header
from strandgauge.photo.open import read_bytes
from strandgauge.reading.model import Reading
from strandgauge.reading.pipeline import Measurement, read_turned_pair
from strandgauge.sheet.record import Record, Second, WantedShade
from strandgauge.show.picture.strip import strip_jpeg
from strandgauge.words import say
from strandgauge.words.judge import saying

OUT_OF_MEMORY = "out-of-memory"
WORKER_DIED = "worker-died"
TRANSIENT = frozenset({INTERNAL, OUT_OF_MEMORY, WORKER_DIED})
"""Refusals that a second try may not meet again."""


def read_one(task: Task, kit: Kit, content: bytes | None = None) -> Record:
    """Read one photo; every failure, foreseen or not, becomes a record with a refusal.

    Parameters
    ----------
    task : which photo, and how it is to be read.
    kit : card, ladder, dyes and shades.
    content : the file's bytes, where they were read elsewhere; else ``task.path`` is read.
    """
    if task.trouble is not None:
        return _refused(task, task.trouble)
    data, digest = b"", ""
    try:
        data = read_bytes(task.path) if content is None else content
        digest = _digest(data)
        measured = _measured(task, kit, data)
        return _record(task, kit, measured.reading, measured, digest)
    except StrandgaugeError as error:
        refusal = replace(error.told, message=_message(error, task), where=None)
    except MemoryError:
        refusal = Told(OUT_OF_MEMORY, say("unforeseen.memory"), say("unforeseen.fewer-jobs"))
    except Exception as error:  # one photo, however odd, must not stop the others
        return unforeseen(task, digest, error, task.taken or _time_of(data))
    return _refused(task, refusal, digest, task.taken or _time_of(data))


def read_pair(task: Task, kit: Kit, contents: Sequence[bytes] | None = None) -> Record | None:
    """Read two photos as one; None where they are no turned pair, and keep the rows they have.

    Parameters
    ----------
    task : the photo that was taken first, and its ``second``.
    contents : the files' bytes, where they were read elsewhere.
    """
    if task.second is None:
        return None
    tasks = (task, task.second)
    try:
        data = contents or [read_bytes(one.path) for one in tasks]
        measured = [_measured(each, kit, one) for each, one in zip(tasks, data, strict=True)]
        taken = [each.taken or one.reading.taken for each, one in zip(tasks, measured, strict=True)]
        reading = read_turned_pair(measured, taken, kit.ladder, task.wet)
        if reading is None:
            return None
        record = _record(task, kit, reading, measured[0], _digest(data[0]))
        return replace(record, second=Second(task.second.file, _digest(data[1]), task.second.taken))
    except Exception:  # both have been read, or refused, each by itself
        return None


def unforeseen(task: Task, digest: str, error: Exception, taken: datetime | None = None) -> Record:
    """Return the record of a photo at which something went wrong that nobody foresaw."""
    remedy = say("unforeseen.this-photo")
    return _refused(task, errors.unforeseen(error, remedy), digest, taken)


def died(task: Task) -> Record:
    """Return the record of a photo whose worker process ended with it, twice."""
    return _refused(
        task,
        Told(
            WORKER_DIED,
            say("unforeseen.died"),
            say("unforeseen.alone"),
        ),
    )


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _measured(task: Task, kit: Kit, data: bytes) -> Measurement:
    measurement = kit.measure(data, wet=task.wet)
    named = replace(measurement.reading, photo=PurePosixPath(task.file).name)
    return replace(measurement, reading=named)


def _record(task: Task, kit: Kit, reading: Reading, measurement: Measurement, digest: str) -> Record:
    taken = task.taken or measurement.card.photo.taken_at
    strip = strip_jpeg(measurement)
    wanted = None
    if task.target is not None:
        try:
            wanted = wanted_shade(reading, task.target, kit)
        except StrandgaugeError as error:
            missing = note("no-outlook", target=task.target, why=error.message)
            reading = replace(reading, notes=(*reading.notes, missing))
    angle = measurement.card.view.angle_deg
    return Record(task.file, digest, reading, None, wanted, task.client, task.group, taken, strip, angle)


def wanted_shade(reading: Reading, target: str, kit: Kit) -> WantedShade:
    """Return what a wanted shade would become on a strand, without a pre-tone.

    The verdict is that of the worst zone, as in ``strandgauge reach``; the colour is that of the whole.

    Raises
    ------
    StrandgaugeError : no such shade, or no hair has the colour that was read.
    """
    shade = find_target(target, kit.targets)
    zones = base_zones(reading)
    # Other shades that would read true are no part of a row, and to look for them takes a third of the time.
    outlook = reach(zones, shade, kit.shelf, (), kit.ladder, Settings(pretone=False, instead=False))
    worst = max(outlook.zones, key=lambda zone: zone.delta_e00)
    told = {zone.name: saying(zone, shade.lab) for zone in outlook.zones}
    alike = len(set(told.values())) == 1
    whole = next(zone for zone in outlook.zones if zone.name == "overall")
    return WantedShade(
        target=shade.name,
        target_hex=hex_colour(shade.lab),
        predicted_hex=hex_colour(whole.predicted_lab),
        verdict=outlook.verdict,
        saying=told[worst.name]
        if alike or worst.name == "overall"
        else say("outlook.short-zone", saying=told[worst.name], zone=say(f"zone.{worst.name}")),
        needs_level=outlook.needs_level,
        chance_true=outlook.probability_true,
        advice=outlook.advice,
    )


def _refused(task: Task, refusal: Told, digest: str = "", taken: datetime | None = None) -> Record:
    return Record(task.file, digest, None, refusal, None, task.client, task.group, taken or task.taken)


def _message(error: StrandgaugeError, task: Task) -> str:
    """Put the place in the photo, where one is named, before what is wrong; the file has a column of its own."""
    names = {"photo", task.path.name, str(task.path)}
    place = error.where or ""
    for name in sorted(names, key=len, reverse=True):
        if place == name or place.startswith(f"{name}, "):
            place = place[len(name) :].lstrip(", ")
            break
    return f"{place[:1].upper()}{place[1:]}: {error.message}" if place else error.message


def _time_of(data: bytes) -> datetime | None:
    """Return the camera's time from the header, so that a refused photo has its time as well."""
    try:
        return read_header(data, recognise(data)).taken_at
    except StrandgaugeError:
        return None  # whatever is wrong is told when the photo is opened
