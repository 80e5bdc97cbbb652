"""The command line as a process of its own: how it starts, and how it ends when its output goes nowhere."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from strandgauge.words import say

HEAVY = (
    "numpy",
    "cv2",
    "scipy",
    "colour",
    "skimage",
    "PIL",
    "pillow_heif",
    "reportlab",
    "pikepdf",
    "sqlite3",
    "fastapi",
    "jinja2",
    "tomllib",
    "strandgauge.logbook.records",
)
FOR_VALUES = ("annotated_types", "pydantic", "hashlib", "secrets")
"""Loaded by typer itself once a command's own options have values."""
SAMPLE = Path(__file__).parents[2] / "sample_images" / "uneven.jpg"
BEGIN = "import sys; from strandgauge.cli.app import run"
PROGRAM = f"{BEGIN}; sys.exit(run())"


def start(*arguments: str | Path, **options) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-c", PROGRAM, *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options)


@pytest.mark.usefixtures("worded")
def test_help_loads_nothing_heavy_and_libraries_are_told_of_one_thread_before_they_load():
    lines = ("read --help", "--version", "log --help", "log export --help")
    report = (
        f"import os, sys; from strandgauge.cli.app import run; codes = [run(['--help'])]; "
        f"early = set(sys.modules) & set({FOR_VALUES!r}); codes += [run(line.split()) for line in {lines!r}]; "
        f"loaded = sorted(early | set(sys.modules) & set({HEAVY!r})); "
        "print(codes, loaded, os.environ['OPENBLAS_NUM_THREADS'], file=sys.stderr)"
    )
    command, several = [sys.executable, "-c", report], {**os.environ, "OPENBLAS_NUM_THREADS": "8"}
    done = subprocess.run(command, capture_output=True, check=True, text=True, env=several)
    assert done.stderr.strip() == f"{[0] * (1 + len(lines))} [] 1"


def test_a_reader_that_leaves_early_ends_the_run_quietly_and_a_reading_loads_no_more_than_it_needs():
    needless = ("pydantic", "numpy.ma", "scipy", "colour", "skimage", "sqlite3", "reportlab")
    program = f"{BEGIN}; code = run(); print(*sorted(set(sys.modules) & set({needless!r})), file=sys.stderr, end='')"
    command = [sys.executable, "-c", f"{program}; sys.exit(code)", "read", str(SAMPLE)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(timeout=60) == 141


@pytest.mark.parametrize("arguments", [["dyes"], ["targets", "--json", "-"]])
def test_lists_end_quietly_too_when_their_reader_leaves(arguments):
    with start(*arguments) as process:
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(timeout=60) == 141


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize(
    ("arguments", "fault"), [([], "full"), (["--json", "-"], "full"), (["--json", "/dev/full"], "system")]
)
def test_a_full_disk_is_said_to_be_full(arguments, fault):
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-c", PROGRAM, "targets", *arguments]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, timeout=60)
    assert done.returncode == 60
    reason = os.strerror(errno.ENOSPC).lower()
    assert say("refusal.cannot-write", fault=fault, reason=reason) in done.stderr.decode()
    assert done.stderr.count(b"\n") == 1


def test_control_c_ends_the_run_in_one_line(tmp_path):
    slow = (
        # Whoever runs the tests in the background may have turned Ctrl-C off for them and their children.
        "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "import strandgauge.reading.pipeline as pipeline, time\n"
        "def slow(*_, **__):\n"
        "    print('ready', flush=True)\n"
        "    time.sleep(30)\n"
        "pipeline.measure_photo = slow\n"
    )
    command = [sys.executable, "-c", slow + PROGRAM, "read", str(tmp_path / "x.jpg")]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    process.stdout.readline()
    process.send_signal(signal.SIGINT)
    _, error = process.communicate(timeout=60)
    assert process.returncode == 130
    assert error == f"strandgauge: {say('command.stopped')}\n".encode()
