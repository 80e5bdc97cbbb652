"""The parts of a colour change against the published CIEDE2000 pairs and against colour-science."""

from __future__ import annotations

import numpy as np
import pytest
from test_outside_colorimetry import HALF_TURN, LABS, PAIRS

from readings import reading, zone
from strandgauge.change.compare import compare
from strandgauge.colour.cielab import delta_e_2000_terms


def test_the_parts_of_the_published_pairs_make_up_their_printed_differences():
    """Sharma, Wu and Dalal 2005, Color Res. Appl. 30:21-30, table 1; equation 22 puts the parts together."""
    for row in np.delete(PAIRS, HALF_TURN, axis=0):
        before, after = (reading(overall=zone(lab=tuple(lab))) for lab in (row[:3], row[3:6]))
        change = compare([before, after]).since_first[0].overall.colour
        parts = (change.lightness, change.chroma, change.hue)
        total = sum(part.value**2 for part in parts) + change.rotation
        assert np.sqrt(total) == pytest.approx(row[6], abs=5.1e-5)
        assert change.delta_e00 == pytest.approx(row[6], abs=5.1e-5)


def test_each_part_is_that_of_colour_science():
    import colour

    other = LABS + np.random.default_rng(5).normal(0, 6, LABS.shape)
    theirs = colour.difference.delta_e.intermediate_attributes_CIE2000(LABS, other)
    chroma, hue = theirs.delta_C_p / theirs.S_C, theirs.delta_H_p / theirs.S_H
    expected = np.stack([theirs.delta_L_p / theirs.S_L, chroma, hue, theirs.R_T * chroma * hue], axis=-1)
    assert delta_e_2000_terms(LABS, other) == pytest.approx(expected, abs=1e-9)
