"""Each note and each refusal on the strand, at both sides of its limit: the numbers stand here, not taken over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strandgauge.errors import OverexposedError, StrandTooThinError
from strandgauge.light.region import Region
from strandgauge.reading.describe import join_readings, mean_colours, strand_notes, zone_colours
from strandgauge.reading.model import CardFit
from strandgauge.strand.direction import LightClues
from strandgauge.strand.isolate import Isolated, _outline
from strandgauge.strand.names import PARTS
from strandgauge.strand.relief import Relief
from strandgauge.strand.zones import measure_zones, strand_coordinates

PPM = 4.0
HEIGHT, WIDTH = 160, 520
"""A region of 40 by 130 mm; a strand lies in its middle."""
FLAT = Relief(np.zeros(5), np.zeros(3), np.zeros(3), np.zeros(6), np.zeros(7))
CLEAR = LightClues(0.1, 0.0, 0.0, 0.0, 0.0, 0.1, dict.fromkeys(PARTS, FLAT))


def lying(*, gaps: float = 0.0, clipped: float = 0.0) -> tuple[Region, Isolated]:
    """Return a straight strand in true colour, with these shares of it looking like paper and clipped."""
    hair = np.zeros((HEIGHT, WIDTH), dtype=bool)
    hair[48:112, 60:460] = True
    # Every row of a zone's middle has the same share, spread evenly along it.
    columns = np.arange(WIDTH)
    gap = hair & (columns * 0.618 % 1 < gaps)
    gloss = hair & (columns * 0.618 % 1 > 1 - clipped)
    linear = np.full((HEIGHT, WIDTH, 3), 0.3, np.float32)
    region = Region(linear, np.zeros_like(linear), gloss, PPM, np.array([[1 / PPM, 0, 0], [0, 1 / PPM, 0]]))
    outlined = _outline(hair, np.ones(hair.shape, np.float32), PPM, margin_mm=2.0)
    return region, replace(outlined, gap=gap)


def zones_of(**shares: float):
    region, strand = lying(**shares)
    return measure_zones(region, strand, strand_coordinates(strand, PPM))


@pytest.mark.parametrize(
    ("within", "beyond", "error", "fault"),
    [
        ({"gaps": 0.32}, {"gaps": 0.38}, StrandTooThinError, "gaps"),
        ({"clipped": 0.08}, {"clipped": 0.12}, OverexposedError, "hair"),
    ],
)
def test_a_zone_is_refused_from_its_limit_on(within, beyond, error, fault):
    assert set(zones_of(**within)) == {"overall", "root", "mids", "ends"}
    with pytest.raises(error) as refusal:
        zones_of(**beyond)
    assert dict(refusal.value.facts)["fault"] == fault


def test_shares_of_gaps_and_gloss_are_those_of_the_strands_middle():
    zone = zones_of(gaps=0.2, clipped=0.05)["overall"]
    assert zone.gap_share == pytest.approx(0.2, abs=0.01)
    assert zone.clipped_share == pytest.approx(0.05, abs=0.01)


@pytest.mark.parametrize(
    ("within", "beyond", "code"),
    [
        ({"shadow": 0.35}, {"shadow": 0.351}, "one-sided-light"),
        ({"gap_share": 0.12}, {"gap_share": 0.121}, "gaps"),
        ({"clipped_share": 0.01}, {"clipped_share": 0.011}, "gloss"),
        ({"wet": False}, {"wet": True}, "wet"),
        ({"print_measured": True}, {"print_measured": False}, "print-not-measured"),
    ],
)
def test_a_note_begins_at_its_limit(within, beyond, code):
    assert notes(**within) == []
    assert notes(**beyond) == [code]


def notes(*, shadow=0.0, gap_share=0.0, clipped_share=0.0, wet=False, print_measured=True) -> list[str]:
    zones = zones_of()
    zones["overall"] = replace(zones["overall"], gap_share=gap_share, clipped_share=clipped_share)
    return [note.code for note in strand_notes(zones, replace(CLEAR, shadow=shadow), wet, print_measured)]


# --- how sure -------------------------------------------------------------------------------------------

FIT = CardFit(0.8, 2.0, 1.0, 12.0)


def colours(cautions: int = 0):
    return zone_colours(zones_of(), CLEAR, FIT, cautions)


def test_each_caution_widens_the_doubt_about_the_tint_up_to_three():
    widen = [colours(cautions)["overall"].as_lit.widen[1:] for cautions in (0, 1, 3, 9)]
    assert (widen[1] >= widen[0]).all()
    assert widen[1].sum() > widen[0].sum()
    assert (widen[2] >= widen[1]).all()
    assert widen[2].sum() > widen[1].sum()
    assert (widen[3] == widen[2]).all()


def test_photos_together_are_surer_and_the_more_so_the_less_they_lie_apart():
    one = colours()
    bright = {
        name: replace(zone, as_lit=replace(zone.as_lit, ratio=1.8 * zone.as_lit.ratio))
        for name, zone in one.items()
    }
    again, alike, apart = (
        mean_colours([one, other], turned)["overall"].as_lit
        for other, turned in ((one, False), (one, True), (bright, True))
    )
    assert apart.ratio == pytest.approx(1.4 * one["overall"].as_lit.ratio)
    assert alike.widen[0] < apart.widen[0]
    assert alike.widen[0] < again.widen[0] < one["overall"].as_lit.widen[0]


def test_the_worst_of_several_cards_is_the_joined_ones():
    from readings import reading
    from strandgauge.hair.levels import load_ladder

    parts = [reading(card_fit=CardFit(0.6, 2.0, 1.0, 30.0)), reading(card_fit=CardFit(1.0, 5.0, 2.0, 10.0))]
    joined = join_readings(parts, colours(), load_ladder(), wet=False, turned=False)
    assert joined.card_fit == CardFit(0.8, 5.0, 1.5, 30.0)
    assert len(joined.notes) == len(parts[0].notes)
