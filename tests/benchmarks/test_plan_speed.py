"""What a plan costs with all other shades surveyed; half a second is the most that a client notices as waiting.

``pytest tests/benchmarks --benchmark-enable`` prints the times; without it each runs once, as a test.
"""

from __future__ import annotations

import pytest

from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import find_target, load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.judge.history import history_from
from strandgauge.judge.outlook import TYPED_SD, BaseZone
from strandgauge.judge.plan import make_plan


@pytest.mark.benchmark(group="plan")
def test_plan(benchmark):
    ladder, shelf, targets = load_ladder(), load_shelf(), load_targets()
    levels = {"root": 8.0, "mids": 10.0, "ends": 10.0, "overall": 28 / 3}
    hair = [BaseZone(name, tuple(ladder.lab_at(at).tolist()), TYPED_SD) for name, at in levels.items()]
    wanted, history = find_target("lilac", targets), history_from({})
    made = benchmark(make_plan, hair, wanted, shelf, targets, ladder, None, history)
    assert made.steps
