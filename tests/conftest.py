"""Shared by all tests: the card that ships, painted once, and the synthetic camera."""

from __future__ import annotations

import ctypes
import gc
import os
import sys
from collections.abc import Iterator
from pathlib import Path

# Many small matrices: a second thread for each costs more than it brings. Set before numpy is loaded.
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Output is not broken into lines unless a test asks for it, whatever the terminal that the tests are started in.
os.environ.pop("COLUMNS", None)
os.environ.pop("STRANDGAUGE_LANGUAGE", None)
# Pictures come and go: memory that is kept for the next one need not be asked for again, page by page. glibc only.
if hasattr(_libc := ctypes.CDLL(None), "mallopt"):
    for _option in (-1, -3):  # M_TRIM_THRESHOLD, M_MMAP_THRESHOLD
        _libc.mallopt(_option, 2**30)

import numpy as np
import pytest
from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parent))

from strandgauge.card.model import CardDefinition
from strandgauge.codes import catalogue
from strandgauge.reading.pipeline import default_card
from synthetic import paint

settings.register_profile("quick", max_examples=40, deadline=None)
settings.load_profile("quick")


@pytest.fixture(scope="session")
def card() -> CardDefinition:
    return default_card()


@pytest.fixture(scope="session")
def sheet(card: CardDefinition) -> np.ndarray:
    """The card as linear sRGB."""
    return paint(card)


@pytest.fixture(scope="session", autouse=True)
def nothing_learned(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep what whoever runs the tests has taught the tool out of them, and the other way round."""
    before = os.environ.get("STRANDGAUGE_HOME")
    os.environ["STRANDGAUGE_HOME"] = str(tmp_path_factory.mktemp("taught") / "nothing")
    yield
    if before is None:
        del os.environ["STRANDGAUGE_HOME"]
    else:
        os.environ["STRANDGAUGE_HOME"] = before


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--wordless",
        action="store_true",
        help="replace every sentence of the catalogue by its code: no decision may hang on a wording",
    )


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[object]:
    """Collect without looking for garbage: all that is loaded stays, and need never be gone through again."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Whoever asks for the painted card works on whole photos; what holds words is left out without them."""
    for item in items:
        if item.get_closest_marker("holds_words") and item.config.getoption("--wordless"):
            item.add_marker(pytest.mark.skip("compares the words themselves"))
        if "sheet" in getattr(item, "fixturenames", ()):
            item.add_marker("whole")
    # The long chapters first, so that no process is left alone with one of them at the end.
    items.sort(key=lambda item: not any(item.nodeid.startswith(f"tests/{one}/") for one in ("web", "batch")))


def pytest_xdist_auto_num_workers() -> int:
    """One process more than there are cores: many tests wait for a browser or for another process."""
    return (os.cpu_count() or 1) + 1


SENTENCES = catalogue.entries


@pytest.fixture(scope="session", autouse=True)
def wordless(request: pytest.FixtureRequest) -> Iterator[None]:
    """With --wordless, say every code instead of its sentence, in processes that tests start as well."""
    if not request.config.getoption("--wordless"):
        yield
        return
    codes = {key: f"~{key}~" for key in catalogue.entries()}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(catalogue, "entries", lambda: codes)
        patch.setenv("PYTHONPATH", str(Path(__file__).parent / "wordless"), prepend=os.pathsep)
        yield


@pytest.fixture
def worded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Say the sentences with --wordless, too: for tests of the room that words take, or of numbers within them."""
    monkeypatch.setattr(catalogue, "entries", SENTENCES)
    paths = os.environ.get("PYTHONPATH", "").split(os.pathsep)
    kept = [path for path in paths if path != str(Path(__file__).parent / "wordless")]
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(kept))
