from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from strandgauge.errors import BadCalibrationError
from strandgauge.files.calibration import calibration_file
from strandgauge.hair.levels import level_at_least, load_ladder

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
    ladder = load_ladder()
    shares = ladder.shares(ladder.lab_at([8.4, 8.6, 8.6, 9.2])[:, 0])
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


RUNGS = load_ladder()
"""L* of its rungs: 16, 18, 20.5, 24, 29, 36, 45, 56, 66.5, 76, 80.5, 84.5."""


def test_a_ladder_knows_its_rungs_and_what_hair_looks_like_between_them():
    assert RUNGS.rungs.tolist() == [float(level) for level in range(1, 13)]
    assert RUNGS.lightest == 12.0
    assert RUNGS.lab_at(4.5).tolist() == [26.5, 9.5, 15.5]  # half-way from (24, 8, 12) to (29, 11, 19)
    assert RUNGS.lab_at([4.0, 12.0]).tolist() == [[24.0, 8.0, 12.0], [84.5, -0.3, 12.5]]
    low, high = np.hypot(8, 12), np.hypot(11, 19)
    assert RUNGS.chroma_at([24.0, 26.5, 29.0]) == pytest.approx([low, (low + high) / 2, high])


@pytest.mark.parametrize(
    ("lightness", "sd", "levels"),
    [
        (50.5, 1.1, 0.1),  # 11 L* a level
        (16.0, 1.0, 0.5),  # past the dark end at its last step of 2
        (17.0, 2.0, 0.95),  # up to 19: 2.4; down to 15: 0.5
        (84.5, 2.0, 0.5),  # past the light end at its last step of 4
        (83.5, 2.0, 0.5),
        (79.0, 3.0, (11.375 - 10.0) / 2),
        (40.0, 0.0, 0.0),
    ],
)
def test_the_levels_uncertainty_follows_the_ladder_on_both_sides(lightness, sd, levels):
    cov = np.diag([sd**2, 100.0, 100.0])
    assert RUNGS.level_sd([lightness, 5.0, 20.0], cov) == pytest.approx(levels)
    both = RUNGS.level_sd([[lightness, 5, 20], [50.5, 0, 0]], np.array([cov, np.diag([1.21, 0, 0])]))
    assert both == pytest.approx([levels, 0.1])
    assert RUNGS.level_sd([lightness, 5.0, 20.0], -cov) == 0.0  # rounding may leave a variance below zero


def test_shares_round_half_up_know_no_level_below_one_and_pass_over_what_is_not_known():
    assert RUNGS.shares([[9.0, 16.9], [17.0, np.nan]]) == {
        "1": pytest.approx(2 / 3),
        "2": pytest.approx(1 / 3),
    }
    assert RUNGS.shares([np.nan, np.inf]) == {}
    assert RUNGS.shares([58.0]) == {"8": 1.0}
    assert RUNGS.shares([82.5, 80.0, 99.0, 90.0]) == {"11": 0.25, "12": 0.75}


@pytest.mark.parametrize(
    ("level", "needed"), [(8.2, 8.2), (8.21, 8.3), (8.0 + 1e-8, 8.0), (7.96, 8.0), (10.0, 10.0)]
)
def test_a_needed_level_is_rounded_up(level, needed):
    assert level_at_least(level) == needed


def ladder_file(tmp_path, levels, **head):
    named = {"name": "mine", "illuminant": "D65", "observer": "2", "source": "invented"} | head
    rows = "".join(f"[[level]]\nlevel = {level}\nlab = [{lightness}, 1, 2]\n" for level, lightness in levels)
    path = tmp_path / "ladder.toml"
    table = "".join(f'{key} = "{value}"\n' for key, value in named.items())
    path.write_text(f'schema = "strandgauge.ladder/1"\n[ladder]\n{table}{rows}')
    return path


STEPS = [(level, 6.0 * level) for level in range(1, 15)]


def test_a_ladder_may_stand_in_any_order_end_at_10_or_14_and_is_not_to_be_changed(tmp_path):
    for last in (10, 14):
        ladder = load_ladder(ladder_file(tmp_path, STEPS[:last][::-1]))
        assert ladder.name == "mine"
        assert ladder.lab.tolist() == [[6.0 * level, 1.0, 2.0] for level in range(1, last + 1)]
    mixed = load_ladder(ladder_file(tmp_path, [*STEPS[5:10], *STEPS[:5]]))
    assert mixed.lab[:, 0].tolist() == [6.0 * level for level in range(1, 11)]
    with pytest.raises(ValueError, match="read-only"):
        ladder.lab[0, 0] = 1.0
    assert load_ladder().name == "strandgauge ladder 1"
    assert load_ladder() is load_ladder()


@pytest.mark.parametrize(
    ("levels", "head", "where"),
    [
        (STEPS[:9], {}, "level"),
        ([*STEPS[:4], *STEPS[5:]], {}, "level"),
        ([*STEPS[:10], (10, 70.0)], {}, "level.10.level"),
        ([*STEPS[:10], (10.5, 70.0)], {}, "level.10.level"),
        ([*STEPS[:14], (15, 99.0)], {}, "level.14.level"),
        ([(0, 1.0), *STEPS[:10]], {}, "level.0.level"),
        (STEPS[1:11], {}, "level"),
        ([*STEPS[:9], (10, 54.0)], {}, "level.9.lab"),  # as light as level 9
        ([(10, 54.0), *STEPS[:9]], {}, "level.9.lab"),
        ([(1, -0.1), *STEPS[1:10]], {}, "level.0.lab"),
        ([*STEPS[:9], (10, 100.1)], {}, "level.9.lab"),
        (STEPS[:10], {"illuminant": "D50"}, "ladder.illuminant"),
        (STEPS[:10], {"observer": "10"}, "ladder.observer"),
    ],
)
def test_what_is_no_ladder_is_refused_at_its_place(tmp_path, levels, head, where):
    path = ladder_file(tmp_path, levels, **head)
    with pytest.raises(BadCalibrationError) as caught:
        load_ladder(path)
    table, *rest = where.split(".")
    lines = path.read_text().splitlines()
    starts = [i for i, line in enumerate(lines, 1) if line in (f"[{table}]", f"[[{table}]]")]
    start = starts[int(rest[0])] if len(rest) == 2 else starts[0]
    key = rest[-1] if rest else ""
    wanted = next(
        (i for i in range(start, len(lines) + 1) if key and lines[i - 1].startswith(f"{key} =")), None
    )
    if wanted is not None:
        assert caught.value.where == f"{path}:{wanted}"


@pytest.mark.parametrize("pair", ["-128.5, 2", "128.5, 2", "1, -128.5", "1, 128.5"])
def test_a_and_b_have_their_limits(tmp_path, pair):
    path = ladder_file(tmp_path, STEPS[:10])
    path.write_text(path.read_text().replace("[30.0, 1, 2]", f"[30.0, {pair}]"))
    with pytest.raises(BadCalibrationError):
        load_ladder(path)


def test_a_ladder_with_gaps_is_told_which_levels_it_lacks(tmp_path):
    path = ladder_file(tmp_path, [*STEPS[1:4], *STEPS[5:11]])
    first = path.read_text().splitlines().index("[[level]]") + 1
    with pytest.raises(BadCalibrationError, match=r"\b1, 5\b") as caught:
        load_ladder(path)
    assert caught.value.where == f"{path}:{first}"


def test_black_and_white_are_the_limits_of_a_ladder(tmp_path):
    ends = [(1, 0.0), *STEPS[1:9], (10, 100.0)]
    assert load_ladder(ladder_file(tmp_path, ends)).lab[[0, -1], 0].tolist() == [0.0, 100.0]
