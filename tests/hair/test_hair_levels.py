from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from strandgauge.errors import BadCalibrationError
from strandgauge.files.calibration import calibration_file
from strandgauge.hair.levels import level_shares, load_ladder

LADDER = calibration_file("ladder.toml").read_text()


def test_the_rungs_have_their_own_level():
    ladder = load_ladder()
    assert ladder.level_of(ladder.lab) == pytest.approx(np.arange(1, 13))
    assert ladder.level_of([[5.0, 0, 0], [95.0, 0, 0]]).tolist() == [1.0, 12.0]


@given(st.floats(0, 100), st.floats(0.01, 10), st.floats(-60, 60), st.floats(-60, 90))
def test_lighter_is_never_a_lower_level_whatever_the_hue(lightness: float, more: float, a: float, b: float):
    ladder = load_ladder()
    assert ladder.level_of([lightness + more, a, b]) >= ladder.level_of([lightness, 0, 0])


def test_level_uncertainty_is_that_of_lightness_and_does_not_vanish_past_the_ends():
    ladder = load_ladder()
    assert ladder.level_sd([50.5, 9, 35], np.diag([1.1, 9, 9]) ** 2) == pytest.approx(0.1)
    assert ladder.level_sd([85.0, 1, 20], np.eye(3)) > 0.05


def test_shares_sum_to_one():
    shares = level_shares([8.4, 8.6, 8.5, 9.2])
    assert shares == {"8": 0.25, "9": 0.75}


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("lab = [36.0, 13.0, 28.0]", "lab = [28.0, 13.0, 28.0]", "rise"),
        ("lab = [36.0, 13.0, 28.0]", "lab = [36.0, 13.0]", "3 numbers"),
        ("level = 7\n", "level = 6\n", "twice"),
        ('observer = "2"', 'observer = "10"', "observer"),
    ],
)
def test_a_bad_ladder_is_refused_with_its_line(tmp_path, old, new, word):
    assert old in LADDER
    path = tmp_path / "ladder.toml"
    path.write_text(LADDER.replace(old, new))
    with pytest.raises(BadCalibrationError) as caught:
        load_ladder(path)
    found = next(
        i for i, text in enumerate(path.read_text().splitlines(), 1) if text.startswith(new.split("\n")[0])
    )
    if word != "twice":
        assert caught.value.where == f"{path}:{found}"
    assert word in caught.value.message
