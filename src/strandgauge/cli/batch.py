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
from strandgauge.codes.catalogue import say

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
        print(one_line(f"strandgauge: {say('command.note')}: {note}"), file=sys.stderr)
    if len(summary.notes) > _SHOWN_NOTES:
        print(say("command.more-notes", count=len(summary.notes) - _SHOWN_NOTES), file=sys.stderr)


def summary_line(summary: Summary) -> str:
    """Say in one line what became of a batch."""
    from strandgauge.files.names import shown_name

    told = [say("batch.photos", count=summary.photos, read=summary.read, refused=summary.refused)]
    if summary.refused_because:
        causes = ", ".join(f"{count} {code}" for code, count in summary.refused_because.items())
        told[0] += f" ({causes})"
    if summary.not_reached:
        told.append(say("batch.not-reached", count=summary.not_reached))
    if summary.from_before:
        told.append(say("batch.from-before", count=summary.from_before))
    if summary.pairs:
        told.append(say("batch.pairs", count=summary.pairs))
    if summary.duplicates:
        told.append(say("batch.duplicates", count=summary.duplicates))
    if summary.other_files:
        told.append(say("batch.other-files", count=summary.other_files))
    files = ", ".join(summary.files)
    return f"{'; '.join(told)}. {say('batch.results', folder=shown_name(summary.out), files=files)}"


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
        line = bar.add_task("", total=None, what=say("batch.starting"), rate="", refused="")

        def show(progress: Progress) -> None:
            speed = bar.tasks[line].speed
            bar.update(
                line,
                what=say("batch.reading") if progress.done else say("batch.starting"),
                completed=progress.done,
                total=progress.total,
                rate="" if speed is None else say("batch.rate", rate=speed),
                refused=say("batch.refused", count=progress.refused) if progress.refused else "",
            )

        yield show
