"""A reading in the few words of a list, a card or a handout."""

from __future__ import annotations

import pytest

from readings import reading, zone
from strandgauge.words import say
from strandgauge.words.reading import in_short, level_interval, lightness


@pytest.mark.parametrize("chance", [0.5, 0.9])
def test_of_dyed_hair_a_list_tells_lightness_and_no_level(chance):
    dyed = zone(dye_probability=chance)
    told = in_short(reading(overall=dyed))
    assert told.interval == lightness(dyed)
    assert told.depth == say("reading.lightness", lightness=lightness(dyed))


def test_of_other_hair_it_tells_the_level():
    plain = zone(dye_probability=0.49)
    told = in_short(reading(overall=plain))
    assert told.interval == level_interval(plain)
    assert told.depth == say("reading.level", interval=level_interval(plain))
