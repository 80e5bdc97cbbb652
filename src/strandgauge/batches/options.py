"""What a batch is asked for: one record for the command line, the front door and both kinds of workers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from strandgauge.show.cells import Separator


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How a folder is read, and what is written of it."""

    target: str | None = None
    """The wanted shade, where the manifest names no other: a name, ``#rrggbb`` or ``L,a,b``."""
    wet: bool = False
    """Whether the strands are wet, where the manifest does not say."""
    manifest: Path | None = None
    """A CSV file that tells client, group, time, wet and target of each photo."""
    jobs: int | None = None
    """Worker processes; as many as there are cores where None."""
    cluster: str | None = None
    """Address of a Dask scheduler to use instead of processes of this machine."""
    resume: bool = False
    """Whether to go on with the batch in the result folder; photos read before, in the same way, are left."""
    pairs: bool = True
    """Whether two photos of one strand, the card turned end for end within two minutes, are read as one."""
    parquet: bool = False
    """Whether to write the table as Parquet, too."""
    separator: Separator = "comma"
    """Between the cells of the CSV file; with semicolons, numbers have a decimal comma."""
    title: str | None = None
    """Heading of gallery and class sheets; the folder's name where None."""
    goal: float | None = None
    """The level that classes are to come to, for their sheets."""

    def __post_init__(self) -> None:
        if self.jobs is not None and self.jobs < 1:
            raise ValueError("at least one job is needed")
