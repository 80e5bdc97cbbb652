"""What a batch costs a photo: in a worker, from a 12 megapixel file to its row, and in the one process that stores.

``pytest tests/benchmarks --benchmark-enable`` prints the times; without it each runs once, as a test. How many
photos a second come of it, with one worker and two, is measured by ``score_batch.py``.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import count
from pathlib import Path

import pytest

from strandgauge.batches.store import Store
from strandgauge.batches.task import Task
from strandgauge.batches.workers import work
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.kit import Kit

PHOTO = Path(__file__).parents[2] / "sample_images" / "twelve-megapixels.jpg"


@pytest.fixture(scope="module")
def kit(card) -> Kit:
    return Kit(card, load_ladder(), load_shelf(), load_targets())


@pytest.mark.benchmark(group="one photo of a batch")
@pytest.mark.parametrize("target", [None, "rose"], ids=["reading", "reading and outlook"])
def test_a_worker_reads(benchmark, kit, target):
    assert benchmark(work, Task("a.jpg", PHOTO, wet=False, target=target), kit).refused is None


@pytest.mark.benchmark(group="one photo of a batch")
def test_the_parent_stores(benchmark, kit, tmp_path):
    row = work(Task("a.jpg", PHOTO, wet=False, target=None), kit)
    numbers = count()
    with Store(tmp_path) as store:
        # Each time as if it were of another content, so that its strip is written too.
        benchmark(lambda: store.add(replace(row, digest=f"{next(numbers):024x}" + 40 * "0")))
        assert list(store.entries) == ["a.jpg"]
