"""A folder of photos becomes a table, a gallery and strips: the batch from end to end.

find photos -> match them with the manifest -> read them on all cores, a row each, stored as they come -> put
the rows in order -> derive CSV, Parquet and gallery from the stored rows. What comes last depends on nothing
but the stored rows, so it is the same however many workers there were and however often the batch was stopped.
"""

from __future__ import annotations

import re
import signal
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from types import FrameType

from strandgauge.batches.curves import lift_curves
from strandgauge.batches.folder import CSV, GALLERY, PARQUET, result_folder, settings_document
from strandgauge.batches.manifest import Manifest, ManifestRow, read_manifest
from strandgauge.batches.one import TRANSIENT
from strandgauge.batches.options import Options
from strandgauge.batches.pairs import apart, likely_pairs
from strandgauge.batches.store import ROWS, STRIPS, Entry, Store, strip_name
from strandgauge.batches.task import Task
from strandgauge.batches.walk import Walk, find_photos
from strandgauge.batches.workers import Cluster, Pool, Processes, read_all, usable_cores
from strandgauge.dye.targets import find_target
from strandgauge.errors import CannotWriteError, NoPhotosError, StrandgaugeError, Told
from strandgauge.files.names import shown_name
from strandgauge.files.write import cannot_write
from strandgauge.hair.levels import Ladder
from strandgauge.kit import Kit, shipped
from strandgauge.sheet.record import Record, Summary
from strandgauge.show.pages.classes import FOLDER as CLASSES
from strandgauge.show.pages.classes import write_class_sheets
from strandgauge.show.pages.gallery import write_gallery
from strandgauge.show.table import Table, need_parquet, write_csv, write_parquet
from strandgauge.words import say

NO_OPTIONS = Options()


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a batch has come."""

    done: int
    total: int
    refused: int


class BatchStoppedError(KeyboardInterrupt):
    """Ctrl-C ended a batch; all its files are valid, and it can be taken up again."""

    def __init__(self, summary: Summary) -> None:
        super().__init__("stopped")
        self.summary = summary


def run_batch(
    folder: Path,
    out: Path,
    options: Options = NO_OPTIONS,
    *,
    kit: Kit | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Summary:
    """Read every photo below a folder into a table, a gallery and strips.

    A script that calls this must do so under ``if __name__ == "__main__":``, since workers are processes.

    Parameters
    ----------
    folder : photos are looked for in it and in all folders below.
    out : the result folder; it is made, and must be empty unless ``resume``.
    options : how it is read, and what is written.
    kit : card, ladder, dyes and shades; those that ship with the package when left out.
    progress : called after each photo.

    Raises
    ------
    BatchStoppedError : Ctrl-C; all files are valid (a KeyboardInterrupt).
    UnreadableFileError : there is no such folder.
    NoPhotosError : there is no photo in it.
    BadCardDefinitionError, BadManifestError, UnknownTargetError, BadColourError : before any photo is read.
    BatchFolderError : ``out`` holds something else, was begun with other settings, or is in use.
    WorkersUnavailableError : no processes, no cluster, or a package is missing.
    CannotWriteError : no space left, or no permission; what was written is valid.
    """
    if options.parquet:
        need_parquet()
    kit = kit or shipped()
    kit.card.strand_window()
    if options.target is not None:
        options = replace(options, target=find_target(options.target, kit.targets).name)
    walk = find_photos(folder, out)
    listed = Manifest()
    if options.manifest is not None:
        listed = read_manifest(options.manifest, folder, (photo.file for photo in walk.photos), kit.targets)
    tasks = plan(walk, listed.rows, options)
    if not tasks:
        raise NoPhotosError(where=str(folder))

    def start() -> Pool:
        if options.cluster is not None:
            return Cluster(kit, options.cluster)
        return Processes(kit, options.jobs or usable_cores())

    settings = settings_document(kit, options)
    with (
        result_folder(out, settings, resume=options.resume),
        _interrupt_noted() as stopped,
        Store(out) as store,
    ):
        tasks, notes = _take_up(store, tasks)
        heading = options.title or shown_name(Path(folder.resolve().name or str(folder)))
        derive = partial(_derive, store, heading, _one_target(tasks), kit.ladder, listed, options)
        kept: set[str] = set()
        done, refused = 0, 0
        if progress is not None:
            progress(Progress(0, len(tasks), 0))
        try:
            for task, row in read_all(start, iter(tasks), stopped):
                if row is None:
                    kept.add(task.file)
                    before = store.holding(task.file)
                    refused += before is not None and before.refused is not None
                else:
                    store.add(row)
                    refused += row.refused is not None
                done += 1
                if progress is not None:
                    progress(Progress(done, len(tasks), refused))
            if not stopped():
                left = [task for task in tasks if store.holding(task.file) is None]
                kept -= {task.file for task in left}
                _read_again(start, left, store, stopped)
                _join_pairs(start, tasks, store, stopped)
        except StrandgaugeError:
            with suppress(CannotWriteError):
                store.finish()
                if store.entries:
                    derive()
            raise
        store.finish()
        files = derive()
        not_reached = sum(store.holding(task.file) is None for task in tasks)
        summary = _summary(store, not_reached, len(kept), walk.others, files, (*walk.notes, *notes))
        if stopped():
            raise BatchStoppedError(summary)
        return summary


def _read_again(
    start: Callable[[], Pool], left: list[Task], store: Store, stopped: Callable[[], bool]
) -> None:
    """Read photos whose pair is none any more, since the other was changed."""
    if left:
        for _, row in read_all(start, iter([replace(task, known=None) for task in left]), stopped):
            if row is not None:
                store.add(row)


def _join_pairs(
    start: Callable[[], Pool], tasks: Iterable[Task], store: Store, stopped: Callable[[], bool]
) -> None:
    """Put the row of both in place of the two rows of each turned pair."""
    likely = likely_pairs(store.records(), {task.file: task for task in tasks})
    if likely:
        read = [row for _, row in read_all(start, iter(likely), stopped) if row is not None]
        if not stopped():  # else it would hang on who was quick
            for row in apart(read, likely):
                store.add(row)


def plan(walk: Walk, listed: Iterable[ManifestRow], options: Options) -> list[Task]:
    """Return what there is to do, in the order of the files' names: photos found, and files only listed."""
    rows = {row.file: row for row in listed}
    found = {photo.file: ManifestRow(photo.file, photo.path) for photo in walk.photos}
    unlisted = Told("unreadable-file", say("batch.unlisted"), say("batch.list-it"))
    tasks = [
        Task(one.file, one.path, options.wet, options.target, trouble=unlisted) for one in walk.unreadable
    ]
    for file in found.keys() | rows.keys():
        row = rows.get(file) or found[file]
        path = found[file].path if file in found else row.path
        missing = None
        if file not in found and not path.exists():
            missing = Told(
                "unreadable-file",
                say("batch.no-file", line=row.line),
                say("batch.put-it-there"),
            )
        wet = options.wet if row.wet is None else row.wet
        target, pair = row.target or options.target, options.pairs and row.pair
        tasks.append(Task(file, path, wet, target, row.client, row.group, row.taken, missing, pair=pair))
    return sorted(tasks, key=lambda task: task.file)


def _take_up(store: Store, tasks: Iterable[Task]) -> tuple[list[Task], list[str]]:
    """Match the rows of an earlier run with what there is to do, and drop those that answer it no more."""
    notes = []
    if store.damaged:
        notes.append(say("batch.damaged-lines", count=store.damaged))
    asked = {task.file: task for task in tasks}
    gone = {file for file, entry in store.entries.items() if file not in asked and entry.digest}
    if gone:
        notes.append(say("batch.gone", count=len(gone)))
    store.drop({file for file, entry in store.entries.items() if not _answers(store, file, entry, asked)})
    return [
        replace(task, known=None if entry is None else entry.of(file)[0])
        for file, task in asked.items()
        for entry in (store.holding(file),)
    ], notes


def _answers(store: Store, file: str, entry: Entry, asked: Mapping[str, Task]) -> bool:
    """Tell whether a row is what reading its photos again would give, as long as their content is the same."""
    files = (file,) if entry.second is None else (file, entry.second.file)
    there = [(one, asked[one]) for one in files if one in asked]
    if not there or not entry.digest:
        return bool(entry.digest)
    if entry.refused in TRANSIENT or any(
        task.trouble is not None or entry.of(one)[1] != task.asked for one, task in there
    ):
        return False
    if entry.second is not None and not all(task.pair for _, task in there):
        return False
    return entry.refused is not None or store.has_strip(file)


def _one_target(tasks: Iterable[Task]) -> str | None:
    """Return the shade that the strands are wanted in; None where it is none, or not one alone."""
    wanted = {task.target for task in tasks} - {None}
    return wanted.pop() if len(wanted) == 1 else None


def _derive(
    store: Store, title: str, target: str | None, ladder: Ladder, listed: Manifest, options: Options
) -> tuple[str, ...]:
    """Write what follows from the stored rows, and return the names of all result files."""
    first_of: dict[str, str] = {}
    for file, entry in sorted(store.entries.items()):
        for one in (file, *([entry.second.file] if entry.second else ())):
            if digest := entry.of(one)[0]:
                first_of.setdefault(digest, one)

    def strip_of(record: Record) -> str | None:
        return strip_name(record.file, record.digest) if record.reading is not None else None

    further = {row.file: row.further for row in listed.rows}
    heads = {"taken" if meaning == "time" else meaning: head for meaning, head in listed.heads.items()}
    table = Table(heads, further, first_of, strip_of)
    files = [ROWS, CSV]
    write_csv(store.folder / CSV, table, store.records(), options.separator)
    if options.parquet:
        write_parquet(store.folder / PARQUET, table, store.records())
        files.append(PARQUET)
    classes = _by_class(store)
    try:
        sheets = write_class_sheets(
            store.folder, classes, title=title, goal=options.goal, minutes=_minutes(further)
        )
        write_gallery(
            store.folder / GALLERY,
            store.records(strips=True),
            title=title,
            target=target,
            ladder=ladder,
            curves=dict(lift_curves(_by_client(store), ladder)),
            sheets=sheets,
        )
    except OSError as error:  # a file that cannot even be closed on a full disk
        raise cannot_write(store.folder / GALLERY, error) from error
    return (*files, GALLERY, *((CLASSES,) if sheets else ()), STRIPS)


def _minutes(further: Mapping[str, Mapping[str, str]]) -> dict[str, float]:
    """Return the minutes since the lightener went on of each photo that the manifest gives a number of them for."""
    found = {}
    for file, cells in further.items():
        for head, cell in cells.items():
            if head.casefold() == "minutes" and re.fullmatch(r"\d{1,4}([.,]\d+)?", cell):
                found[file] = float(cell.replace(",", "."))
    return found


def _by_class(store: Store) -> dict[str, Iterator[Record]]:
    files: dict[str, list[str]] = {}
    for record in store.records():
        if record.group is not None:
            files.setdefault(record.group, []).append(record.file)
    return {name: store.records(own, strips=True) for name, own in files.items()}


def _by_client(store: Store) -> Iterator[tuple[str, Iterator[Record]]]:
    files: dict[str, list[str]] = {}
    for file, entry in sorted(store.entries.items()):
        if entry.client is not None and entry.refused is None:
            files.setdefault(entry.client, []).append(file)
    for client, own in files.items():
        yield client, store.records(own)


def _summary(
    store: Store,
    not_reached: int,
    from_before: int,
    others: int,
    files: tuple[str, ...],
    notes: tuple[str, ...],
) -> Summary:
    entries = store.entries.values()
    because = Counter(entry.refused for entry in entries if entry.refused is not None)
    pairs = [entry.second for entry in entries if entry.second is not None]
    digests = [one.digest for one in entries] + [one.digest for one in pairs]
    contents = Counter(filter(None, digests))
    return Summary(
        out=store.folder,
        photos=len(entries) + len(pairs) + not_reached,
        read=len(entries) + len(pairs) - because.total(),
        refused=because.total(),
        refused_because=dict(sorted(because.items(), key=lambda item: (-item[1], item[0]))),
        not_reached=not_reached,
        from_before=from_before,
        duplicates=contents.total() - len(contents),
        pairs=len(pairs),
        other_files=others,
        files=files,
        notes=notes,
    )


@contextmanager
def _interrupt_noted() -> Iterator[Callable[[], bool]]:
    """Turn the first Ctrl-C into a word to stop at the next photo; a second one interrupts as usual.

    So no file is left torn. Only the main thread can do so; elsewhere Ctrl-C is somebody else's business.
    """
    noted = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield noted.is_set
        return

    def note(number: int, frame: FrameType | None) -> None:
        noted.set()
        signal.signal(signal.SIGINT, signal.default_int_handler)

    before = signal.signal(signal.SIGINT, note)
    try:
        yield noted.is_set
    finally:
        signal.signal(signal.SIGINT, before)
