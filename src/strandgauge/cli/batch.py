"""``strandgauge batch``: from a folder of photos to a table, a gallery and strips."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from strandgauge.cli.options import FullKit, JsonOption, SeparatorOption
from strandgauge.cli.outcome import Session

if TYPE_CHECKING:
    from strandgauge.batches.run import Progress
    from strandgauge.sheet.record import Summary
    from strandgauge.show.terminal.sheet import Order

EXIT_SOME_REFUSED = 3


_SHOWN_NOTES = 10


def batch(
    session: Session,
    open_kit: FullKit,
    folder: Path,
    out: Annotated[Path, typer.Option()],
    target: str | None = None,
    manifest: Path | None = None,
    resume: bool = False,
    wet: bool = False,
    jobs: Annotated[int | None, typer.Option(min=1)] = None,
    cluster: str | None = None,
    no_pairs: bool = False,
    parquet: bool = False,
    separator: SeparatorOption = "comma",
    sort: Literal["file", "level", "evenness"] = "file",
    title: str | None = None,
    goal: Annotated[float | None, typer.Option(min=1.0)] = None,
    json: JsonOption = None,
) -> int:
    """Read every photo of a folder into one table, with a gallery to look through.

    Parameters
    ----------
    folder FOLDER : Every photo in it, and in folders below.
    out DIR : Where the results go: a new folder, or with --resume the last one.
    target SHADE : Also foretell this shade: a name, #rrggbb or L,a,b.
    manifest FILE : A CSV file: file, client or student, group or class, time, wet, target, pair.
    resume : Go on with a batch that was stopped, or add new photos to it.
    wet : The strands are wet: state the dry estimate.
    jobs N : Worker processes; as many as there are cores if left out.
    cluster ADDRESS : Use this Dask cluster instead, such as tcp://host:8786.
    no_pairs : Read photos one by one, also two of one strand with the card turned.
    parquet : Also write the table as Parquet.
    sort : The order of the table that is shown here.
    title TEXT : Heading of gallery and class sheets.
    goal LEVEL : The level that classes are to come to: who has reached it.
    """
    from strandgauge.batches.options import Options
    from strandgauge.batches.run import BatchStoppedError, run_batch

    options = Options(
        target=target,
        wet=wet,
        manifest=manifest,
        jobs=jobs,
        cluster=cluster,
        resume=resume,
        pairs=not no_pairs,
        parquet=parquet,
        separator=separator,
        title=title,
        goal=goal,
    )
    try:
        with _progress_bar() as progress:
            tools = open_kit()
            summary = run_batch(folder, out, options, kit=tools, progress=progress)
    except BatchStoppedError as stopped:
        session.show(stopped.summary, _print, stopped.summary, sort)
        raise
    session.show(summary, _print, summary, sort)
    return EXIT_SOME_REFUSED if summary.refused else 0


def _print(summary: Summary, sort: Order) -> None:
    from strandgauge.batches.store import stored_records
    from strandgauge.cli.outcome import one_line
    from strandgauge.show.terminal.sheet import print_sheet

    print_sheet(stored_records(summary.out), sort)
    print()
    print(one_line(summary_line(summary)), flush=True)
    for note in summary.notes[:_SHOWN_NOTES]:
        print(one_line(f"strandgauge: note: {note}."), file=sys.stderr)
    if len(summary.notes) > _SHOWN_NOTES:
        print(f"strandgauge: {len(summary.notes) - _SHOWN_NOTES} more notes.", file=sys.stderr)


def summary_line(summary: Summary) -> str:
    """Say in one line what became of a batch."""
    from strandgauge.files.names import shown_name

    parts = [f"{_photos(summary.photos)}: {summary.read} read, {summary.refused} refused"]
    if summary.refused_because:
        causes = ", ".join(f"{count} {code}" for code, count in summary.refused_because.items())
        parts[0] += f" ({causes})"
    if summary.not_reached:
        parts.append(f"{summary.not_reached} not reached: go on with --resume")
    if summary.from_before:
        parts.append(f"{summary.from_before} from before")
    if summary.pairs:
        parts.append(f"{summary.pairs} turned {'pair' if summary.pairs == 1 else 'pairs'} read as one each")
    if summary.duplicates:
        parts.append(f"{summary.duplicates} with the same content as another")
    if summary.other_files:
        parts.append(f"{_files(summary.other_files)} no photo, left alone")
    return f"{'; '.join(parts)}. Results in {shown_name(summary.out)}: {', '.join(summary.files)}."


def _photos(count: int) -> str:
    return "1 photo" if count == 1 else f"{count} photos"


def _files(count: int) -> str:
    return "1 file is" if count == 1 else f"{count} files are"


@contextmanager
def _progress_bar() -> Iterator[Callable[[Progress], None] | None]:
    """Show how far a batch has come, on standard error and only in a terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (
        TextColumn("{task.fields[what]}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
        TimeRemainingColumn(compact=True),
        TextColumn("{task.fields[refused]}"),
    )
    with Bar(*columns, console=Console(stderr=True), refresh_per_second=4, transient=True) as bar:
        line = bar.add_task("", total=None, what="starting", rate="", refused="")

        def show(progress: Progress) -> None:
            speed = bar.tasks[line].speed
            bar.update(
                line,
                what="reading" if progress.done else "starting",
                completed=progress.done,
                total=progress.total,
                rate="" if speed is None else f"{speed:.1f} photos/s",
                refused=f"{progress.refused} refused" if progress.refused else "",
            )

        yield show
