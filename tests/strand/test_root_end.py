"""Whatever side of the card the root end is said to be at: one photo, read by a card's definition turned about."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from strandgauge.card.model import CardDefinition
from strandgauge.hair.levels import load_ladder
from strandgauge.reading.pipeline import Measurement, measure_photo
from strandphoto import jpeg, strand_photo

pytestmark = pytest.mark.whole

TURNED = {"left": "top", "top": "right", "right": "bottom", "bottom": "left"}
"""Where a side of the card lies once the card is turned by a quarter, clockwise."""


def turned(card: CardDefinition) -> CardDefinition:
    """Return the same printed card, its millimetres counted from the corner that was its lower left one."""
    height = card.size[1]

    def box(x, y, w, h):
        return (height - y - h, x, h, w)

    return replace(
        card,
        size=card.size[::-1],
        patches=tuple(replace(patch, box=box(*patch.box)) for patch in card.patches),
        markers=tuple(
            replace(marker, corners=tuple((height - y, x) for x, y in marker.corners))
            for marker in card.markers
        ),
        window=replace(card.window, box=box(*card.window.box), root_end=TURNED[card.window.root_end]),
    )


@pytest.fixture(scope="module")
def measured(card, sheet) -> dict[str, Measurement]:
    """One photo of a strand in light that falls along and across it, by the root end of the definition."""
    photo = jpeg(strand_photo(card, sheet, light=lambda x, y: 1 + 0.2 * x + 0.1 * y))
    found = {}
    for _ in range(4):
        found[card.window.root_end] = measure_photo(photo, card=card, ladder=load_ladder())
        card = turned(card)
    assert set(found) == {"left", "top", "right", "bottom"}
    return found


@pytest.mark.parametrize("root_end", ["top", "right", "bottom"])
def test_the_reading_is_the_same_wherever_the_root_end_is(measured, root_end):
    first, other = measured["left"], measured[root_end]
    for one, two in zip(first.reading.zones, other.reading.zones, strict=True):
        assert two.lab == pytest.approx(one.lab, abs=0.5), one.name
        assert two.level == pytest.approx(one.level, abs=0.05)
    assert [zone.level for zone in other.reading.zones] == sorted(zone.level for zone in other.reading.zones)


@pytest.mark.parametrize("root_end", ["top", "right", "bottom"])
def test_the_strand_is_turned_and_never_mirrored(measured, root_end):
    """The region's root end is on the left and its upper edge is the same edge of the card."""
    first, other = (measured[end].region.linear[..., 1] for end in ("left", root_end))
    assert other.shape == first.shape
    small = [cv2.resize(region, (65, 20), interpolation=cv2.INTER_AREA).ravel() for region in (first, other)]
    assert np.corrcoef(small)[0, 1] > 0.999
    mirrored = cv2.resize(other[::-1], (65, 20), interpolation=cv2.INTER_AREA).ravel()
    assert np.corrcoef(small[0], mirrored)[0, 1] < 0.99


@pytest.mark.parametrize("root_end", ["left", "top", "right", "bottom"])
def test_the_fall_of_the_light_is_counted_from_the_root(measured, root_end):
    """The light rises from root to ends by the factor 1.2 / 0.8 over the card, less over the window."""
    clues = measured[root_end].clues
    assert -0.45 < clues.fall_along < -0.2
