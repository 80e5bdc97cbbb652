"""Measures a batch: ``python tests/benchmarks/score_batch.py [--counts 10,100,1000] [--target SHADE]`` (not a test).

A folder of links to one 12 megapixel JPEG is read with one and with two workers. Printed are seconds, photos a
second, the gain of the second worker, and the largest memory of the parent and of a worker while it ran. Links to
one photo are read each by itself: the batch notes copies and does not skip them.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil

PHOTO = Path(__file__).parents[2] / "sample_images" / "twelve-megapixels.jpg"
PROGRAM = "import sys; from strandgauge.cli.app import run; sys.exit(run())"


def folder_of_links(where: Path, count: int, photo: Path) -> Path:
    where.mkdir()
    for number in range(count):
        (where / f"{number:05}.jpg").symlink_to(photo)
    return where


def watched(command: list[str]) -> tuple[float, float, float]:
    """Run a command; return seconds, and the largest resident MB of the parent and of any worker."""
    started = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    watch, parent, worker = psutil.Process(process.pid), 0.0, 0.0
    while process.poll() is None:
        try:
            parent = max(parent, watch.memory_info().rss / 1e6)
            for child in watch.children(recursive=True):
                worker = max(worker, child.memory_info().rss / 1e6)
        except psutil.NoSuchProcess:
            pass
        time.sleep(0.1)
    if process.returncode not in (0, 3):
        sys.exit((process.stderr.read() if process.stderr else b"").decode())
    return time.perf_counter() - started, parent, worker


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--counts", default="10,100,1000")
    options.add_argument("--jobs", default="1,2")
    options.add_argument("--target", default="")
    options.add_argument("--photo", type=Path, default=PHOTO)
    given = options.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.2f} at the start")
    print("photos  workers  seconds  photos/s  gain   parent MB  worker MB")
    with tempfile.TemporaryDirectory() as scratch:
        for count in map(int, given.counts.split(",")):
            photos = folder_of_links(Path(scratch) / f"photos-{count}", count, given.photo.resolve())
            alone = None
            for jobs in map(int, given.jobs.split(",")):
                out = Path(scratch) / f"out-{count}-{jobs}"
                command = [sys.executable, "-c", PROGRAM, "batch", str(photos), "--out", str(out)]
                command += ["--jobs", str(jobs), *(["--target", given.target] if given.target else [])]
                seconds, parent, worker = watched(command)
                alone = alone or seconds
                print(
                    f"{count:6}  {jobs:7}  {seconds:7.1f}  {count / seconds:8.1f}  {alone / seconds:4.2f}"
                    f"  {parent:10.0f}  {worker:9.0f}",
                    flush=True,
                )
                shutil.rmtree(out)


if __name__ == "__main__":
    main()
