"""A folder with everything that lies among photos, batches as processes, and their results to look into."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from strandgauge.batches.workers import work

PROGRAM = "import sys; from strandgauge.cli.app import run; sys.exit(run())"


class Here:
    """A pool that reads in this process: no other one to start, and a test can reach into what it does."""

    in_flight = 2

    def __init__(self, kit, jobs) -> None:
        self.kit = kit

    def submit(self, task):
        future = Future()
        future.set_result(work(task, self.kit))
        return future

    def close(self) -> None: ...

    kill = close


def fill(folder: Path, strands: list[bytes]) -> Path:
    """Six photos (three contents), two files that must be refused, and files that are no photos."""
    (folder / "monday visit").mkdir(parents=True)
    (folder / "a.jpg").write_bytes(strands[0])
    (folder / "b.JPG").write_bytes(strands[1])
    (folder / "copy of a.jpeg").write_bytes(strands[0])
    (folder / "monday visit" / "=côté.jpg").write_bytes(strands[2])
    (folder / "monday visit" / "without ending").write_bytes(strands[1])
    (folder / "monday visit" / "z.jpg").write_bytes(strands[2])
    (folder / "broken.jpg").write_bytes(strands[0][:5000])
    (folder / "text.png").write_text("not a picture")
    (folder / "notes.txt").write_text("not a photo")
    (folder / ".hidden.jpg").write_bytes(strands[0])
    return folder


def copies(folder: Path, strands: list[bytes], count: int) -> Path:
    """So many photos, of which every ninth is broken."""
    folder.mkdir()
    for number in range(count):
        content = strands[number % len(strands)]
        (folder / f"{number:03}.jpg").write_bytes(content[:3000] if number % 9 == 8 else content)
    return folder


def batch(*arguments: str | Path, **options: Any) -> subprocess.Popen[bytes]:
    """Start ``strandgauge batch`` as a process of its own."""
    command = [sys.executable, "-c", PROGRAM, "batch", *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options)


def contents(out: Path) -> dict[str, bytes]:
    """Return every result file that a user sees."""
    return {
        str(path.relative_to(out)): path.read_bytes()
        for path in sorted(out.rglob("*"))
        if path.is_file() and path.name != ".lock"
    }


def lines(out: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (out / "readings.jsonl").read_text().splitlines()]


def table(out: Path) -> list[dict[str, str]]:
    text = (out / "readings.csv").read_bytes().decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def as_written(cell: str) -> str:
    """The text behind a cell of the table that was made safe for spreadsheets."""
    return cell.removeprefix("'")
