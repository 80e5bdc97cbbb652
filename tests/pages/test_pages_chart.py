"""The lift curve as a picture."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from curves import curve, first_look, look, rise, slowing, stalled

from strandgauge.show.pages.charts import lift_chart
from strandgauge.words import say


def drawing(made, **size) -> ElementTree.Element:
    return ElementTree.fromstring(lift_chart(made, **size))


def words(svg: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in svg.iter("text")]


def numbers(svg: ElementTree.Element) -> list[tuple[float, float]]:
    """Return every place that lines, dots and words are drawn at."""
    places = []
    for one in svg.iter():
        if one.tag == "text":
            places.append((float(one.get("x")), float(one.get("y"))))
        if one.tag == "circle":
            places.append((float(one.get("cx")), float(one.get("cy"))))
        if one.tag == "path" and one.get("class") in ("band", "past", "ahead"):
            pairs = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", one.get("d"))
            places += [(float(x), float(y)) for x, y in pairs]
    return places


@pytest.mark.parametrize(("width", "height"), [(340, 300), (640, 360), (860, 380)])
@pytest.mark.parametrize("made", [curve(), stalled(), first_look()], ids=["lifting", "stalled", "first look"])
def test_everything_is_drawn_inside_the_picture(made, width, height):
    svg = drawing(made, width=width, height=height)
    places = numbers(svg)
    assert len(places) > 10
    assert all(0 <= x <= width and 0 <= y <= height for x, y in places)


def boxes(svg: ElementTree.Element, *, bold: bool) -> list[tuple[float, float, float, float]]:
    """Return about where words lie: those that name lines and looks, which alone are bold."""
    found = []
    for text in svg.iter("text"):
        if (text.get("font-weight") == "700") == bold:
            width, x, y = 7.6 * len(text.text or ""), float(text.get("x")), float(text.get("y"))
            left = x - {"start": 0.0, "middle": width / 2, "end": width}[text.get("text-anchor")]
            found.append((left, y - 11, left + width, y + 3))
    return found


CLOSE = curve(looks=(look(5, 8.9), look(14, 9.0), look(22, 9.1), look(30, 9.0, used=False)), needs_level=9.0)


@pytest.mark.parametrize(("width", "height"), [(340, 300), (640, 360), (860, 380)])
@pytest.mark.parametrize("made", [curve(), stalled(), slowing(), first_look(), CLOSE], ids=range(5))
@pytest.mark.usefixtures("worded")
def test_no_name_covers_a_look_or_another_name(made, width, height):
    svg = drawing(made, width=width, height=height)
    names = boxes(svg, bold=True)
    assert len(names) >= 1 + (made.needs_level is not None) + (made.limit is not None)
    dots = [tuple(float(c.get(k)) for k in ("cx", "cy")) for c in svg.iter("circle")]
    covered = [(x - 8, y - 8, x + 8, y + 8) for x, y in dots]
    for place, (left, top, right, bottom) in enumerate(names):
        assert left >= 0
        assert right <= width
        for other in (*covered, *names[place + 1 :]):
            assert left >= other[2] or right <= other[0] or top >= other[3] or bottom <= other[1]


def test_lines_are_named_and_levels_have_number_and_undertone():
    said = words(drawing(curve()))
    assert say("chart.needs", shade="pastel pink", level="9.0") in said
    assert say("chart.limit-mark", time="50\u00a0min") in said
    assert say("chart.now", level=6.9) in said
    assert say("chart.forecast") in said
    assert "6 orange" in said


def test_a_look_left_out_is_drawn_otherwise_and_named():
    svg = drawing(curve())
    used, left_out = (
        [g for g in svg.iter("g") if g.get("class") == name] for name in ("look", "look left-out")
    )
    assert (len(used), len(left_out)) == (3, 1)
    assert left_out[0].find("circle").get("stroke-dasharray")
    assert all(g.find("circle").get("stroke-dasharray") is None for g in used)
    assert say("column.left-out") in words(svg)


def test_higher_level_is_higher_and_later_is_further_right():
    svg = drawing(curve(looks=(look(5, 5.2), look(14, 6.4), look(22, 6.8))))
    dots = [(float(c.get("cx")), float(c.get("cy"))) for c in svg.iter("circle")]
    assert dots == sorted(dots)
    heights = [y for _, y in dots]
    assert heights == sorted(heights, reverse=True)
    # 17 minutes to 8 minutes and 1.2 levels to 0.4 levels, in the same proportion on paper.
    assert (dots[2][0] - dots[1][0]) / (dots[1][0] - dots[0][0]) == pytest.approx(8 / 9, abs=0.02)
    assert (dots[1][1] - dots[2][1]) / (dots[0][1] - dots[1][1]) == pytest.approx(0.4 / 1.2, abs=0.02)


def test_the_line_is_dotted_from_the_last_look_on():
    svg = drawing(curve())
    last = max(float(c.get("cx")) for c in svg.iter("circle"))
    past, ahead = (next(p for p in svg.iter("path") if p.get("class") == name) for name in ("past", "ahead"))
    ends = [[float(x) for x in re.findall(r"[ML](-?[\d.]+) ", p.get("d"))] for p in (past, ahead)]
    assert max(ends[0]) <= last + 0.1
    assert max(ends[1]) > last
    assert ahead.get("stroke-dasharray")
    assert not past.get("stroke-dasharray")


def test_it_is_told_in_words_too():
    svg = drawing(curve())
    assert svg.get("role") == "img"
    assert svg.find("title").text == say("chart.title", zone="overall")
    told = svg.find("desc").text
    assert say("chart.looks", count=4, low=5.2, start="5\u00a0min", high=6.8, end="22\u00a0min") in told
    assert say("chart.left-out", times="18\u00a0min") in told
    assert say("chart.limit", time="50\u00a0min") in told


def test_bands_without_end_stay_in_the_picture():
    points = tuple(replace(p, low=-math.inf, high=math.inf) for p in rise(5.2, 9.6, 0.03, 50, since=5))
    svg = drawing(curve(points=points))
    assert all(math.isfinite(x) and math.isfinite(y) for x, y in numbers(svg))
    assert all(0 <= y <= 360 for _, y in numbers(svg))


def test_another_ladder_gets_bare_numbers():
    said = words(drawing(curve(ladder="a school's own ladder")))
    assert "6" in said
    assert not any("orange" in word for word in said)


@pytest.mark.usefixtures("worded")
def test_a_name_too_long_for_the_picture_is_left_to_the_page():
    said = words(drawing(curve(target="a very particular shade of pale rosy pink"), width=340, height=300))
    assert say("chart.needed", level="9.0") in said


def test_a_name_is_escaped():
    assert "<script>" not in lift_chart(curve(target="<script>alert(1)</script>"), width=900)


def test_it_needs_no_id_and_no_style_so_that_several_fit_in_any_page():
    svg = drawing(curve())
    assert not any(one.get("id") or one.get("style") for one in svg.iter())
