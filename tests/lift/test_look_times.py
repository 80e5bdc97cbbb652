"""When photos were taken: from the camera, the file's name, or told; what cannot be is refused."""

from __future__ import annotations

from datetime import datetime, time

import pytest

from strandgauge.errors import BadTimesError
from strandgauge.lift.times import look_times, parse_minutes, time_in_name


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("IMG_20260314_100521", datetime(2026, 3, 14, 10, 5, 21)),
        ("2026-03-14 10.05.21", datetime(2026, 3, 14, 10, 5, 21)),
        ("PXL 2026-03-14T1005", datetime(2026, 3, 14, 10, 5)),
        ("marta-1022", time(10, 22)),
        ("root 9h45", None),
        ("strand 09.45", time(9, 45)),
        ("strand-7", None),
        ("IMG_4711", None),
        ("20261399_109999", None),
        ("level-2599", None),
    ],
)
def test_times_in_names(name, told):
    assert time_in_name(name) == told


def test_the_camera_comes_before_the_name_and_the_start_counts():
    taken = [datetime(2026, 3, 14, 10, 5), None]
    times = look_times(["a-0900.jpg", "b-1022.jpg"], taken, "9:55")
    assert times.minutes == (10.0, 27.0)
    assert times.from_start


def test_without_a_start_minutes_count_from_the_first_photo():
    times = look_times(["b-1022.jpg", "a-1005.jpg"], [None, None], None)
    assert times.minutes == (17.0, 0.0)
    assert not times.from_start


def test_minutes_in_the_names_count_from_the_start():
    times = look_times(["5 min.jpg", "22min.jpg", "root-41-min.jpg"], [None] * 3, None)
    assert times.minutes == (5.0, 22.0, 41.0)
    assert times.from_start


def test_a_start_before_midnight():
    taken = [datetime(2026, 3, 15, 0, 10)]
    assert look_times(["a.jpg"], taken, "23:50").minutes == (20.0,)


@pytest.mark.parametrize(
    ("names", "taken", "start"),
    [
        (["a.jpg"], [None], "9:00"),
        (["a-1005.jpg"], [None], "11:00"),
        (["a-1005.jpg"], [None], "3:00"),
        (["a-1005.jpg"], [None], "soon"),
        (["a-1005.jpg"], [None], "25:10"),
        (["a-1005.jpg", "b", "c"], [None, datetime(2026, 3, 14), datetime(2026, 3, 15)], None),
    ],
)
def test_times_that_cannot_be(names, taken, start):
    with pytest.raises(BadTimesError):
        look_times(names, taken, start)


@pytest.mark.parametrize("text", ["5,10", "5,x,3", "", "5;6;7"])
def test_a_list_of_minutes_that_is_none(text):
    with pytest.raises(BadTimesError):
        parse_minutes(text, 3)
