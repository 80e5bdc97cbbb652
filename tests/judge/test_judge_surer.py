"""Another photo is asked for where it would settle what is open, and only there."""

from __future__ import annotations

from dataclasses import replace

import pytest

from strandgauge.hair.levels import load_ladder
from strandgauge.judge.outlook import BaseZone
from strandgauge.judge.surer import Doubt, surer, surer_outlook
from strandgauge.kit import shipped
from strandgauge.reading.model import COVERAGE

WAYS = (("turn-card", 0.8), ("softer-light", 0.9), ("measured-print", 0.6))


def settled_by(short: float, *shares: tuple[str, float], sd: float = 1.0 / COVERAGE) -> str | None:
    found = surer([Doubt("root", short, sd)], shares or WAYS)
    return None if found is None else found.code


@pytest.mark.parametrize("sign", [1, -1])
def test_a_way_is_named_where_the_need_comes_to_lie_outside_the_interval(sign):
    assert settled_by(sign * 0.85) == "turn-card"  # the least trouble comes first
    assert settled_by(sign * 0.79) == "measured-print"
    assert settled_by(sign * 0.59) is None  # nothing is enough
    assert settled_by(sign * 1.01) is None  # nothing is open
    assert settled_by(sign * 0.95, ("turn-card", 1.0), ("softer-light", 0.9)) == "softer-light"
    assert settled_by(sign * 0.95, ("turn-card", 1.0)) is None


def test_the_way_that_settles_most_is_named_with_the_zone_that_is_least_sure():
    doubts = [Doubt("root", 0.85, 0.5), Doubt("mids", 0.65, 0.5), Doubt("ends", 3.0, 0.5)]
    found = surer(doubts, WAYS)
    assert (found.code, found.severity) == ("measured-print", "note")
    assert dict(found.facts) == {"zone": "mids", "now": 0.98, "then": 0.59}
    assert surer([], WAYS) is None


def test_a_shade_just_out_of_reach_of_the_reading_asks_for_a_turned_photo():
    ladder, kit = load_ladder(), shipped()
    ways = (("turn-card", 0.785),)

    def hair(level: float, sd: float, **more) -> list[BaseZone]:
        lab = tuple(ladder.lab_at(level).tolist())
        return [BaseZone("overall", lab, (3.0, 1.0, 2.0), level, sd, ways=ways, **more)]

    need = kit.reach(hair(8.0, 0.4), "pastel pink").zones[0].needs.level
    open_ = kit.reach(hair(need - 0.7, 0.4), "pastel pink")
    assert open_.surer is not None
    assert dict(open_.surer.facts) == {"zone": "overall", "now": 0.78, "then": 0.62}
    assert kit.reach(hair(need - 0.9, 0.4), "pastel pink").surer is None
    stopped = replace(open_, advice=(replace(open_.advice[0], do="stop-condition"),))
    assert surer_outlook(stopped, hair(need - 0.7, 0.4)) is None
    assert surer_outlook(replace(open_, verdict="true"), hair(need - 0.7, 0.4)) is None
    assert surer_outlook(open_, [BaseZone("overall", open_.zones[0].base_lab)]) is None
