"""The result folder: made, held, and checked to be empty or of the same batch."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from strandgauge.batches.options import Options
from strandgauge.batches.store import ROWS, STRIPS
from strandgauge.errors import BatchFolderError
from strandgauge.files.held import held
from strandgauge.files.version import __version__
from strandgauge.files.write import cannot_write, replacing
from strandgauge.kit import Kit

SETTINGS = "batch.json"
CSV = "readings.csv"
PARQUET = "readings.parquet"
GALLERY = "gallery.html"
SCHEMA = "strandgauge.batch/1"
OWN_FILES = frozenset({SETTINGS, ROWS, CSV, PARQUET, GALLERY, STRIPS})
_COMPARED = ("version", "wet", "target", "card", "ladder", "dyes", "shades")


def settings_document(kit: Kit, options: Options) -> dict[str, Any]:
    """Return what makes two batches' rows comparable."""
    return {
        "schema": SCHEMA,
        "version": __version__,
        "wet": options.wet,
        "target": options.target,
        **kit.fingerprints(),
    }


@contextmanager
def result_folder(out: Path, settings: Mapping[str, Any], *, resume: bool) -> Iterator[None]:
    """Make the result folder, or take up the one that is there, and hold it until the end of the block.

    Raises
    ------
    BatchFolderError : it holds something already, was begun with other settings, or is in use.
    CannotWriteError : it cannot be made or written to.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        if not resume or not (out / SETTINGS).exists():
            _refuse_what_is_there(out)
    except OSError as error:
        raise cannot_write(out, error) from error
    with held(out):
        if not resume:
            _refuse_what_is_there(out)  # another run may have been quicker
            _begin(out, settings)
        else:
            _take_up(out, settings)
        yield


def _refuse_what_is_there(out: Path) -> None:
    """Refuse a folder that holds anything, but for a batch that ended before it had a row."""
    there = sorted(entry.name for entry in out.iterdir() if not entry.name.startswith("."))
    if SETTINGS in there and set(there) <= OWN_FILES and not _size(out / ROWS):
        return
    if SETTINGS in there:
        raise BatchFolderError(where=str(out), fault="holds-batch")
    if there:
        raise BatchFolderError(where=str(out), fault="not-empty", there=there[0])


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def _begin(out: Path, settings: Mapping[str, Any]) -> None:
    with replacing(out / SETTINGS, on_disk=True) as file:
        file.write(json.dumps(settings, indent=2).encode("ascii") + b"\n")


def _take_up(out: Path, settings: Mapping[str, Any]) -> None:
    path = out / SETTINGS
    if not path.exists():
        _refuse_what_is_there(out)
        _begin(out, settings)
        return
    try:
        before = json.loads(path.read_bytes())
        if not isinstance(before, dict) or before.get("schema") != SCHEMA:
            raise ValueError("another schema")
    except (OSError, ValueError) as error:
        raise BatchFolderError(where=str(path), fault="unknown") from error
    differing = [key for key in _COMPARED if before.get(key) != settings[key]]
    if differing:
        raise BatchFolderError(where=str(out), fault="differs", differing=", ".join(differing))
