"""An hour of a salon, minute by minute: three clients, two phones, six strands, forty looks.

What each strand must say at each minute is written down first, by hand, from the rules of the chair: lifting hair
goes on (fast or slow), the maker's time and a gummy test stop it for good, a look that nobody takes is called for and
in the end stops it, what is rinsed is dried, read, coloured, done. Photos are stood in for by readings that rise as
lightened hair does.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from serving import Inside

import readings
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import find_target, load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.judge.outlook import BaseZone
from strandgauge.judge.reach import reach
from strandgauge.logbook.book import open_logbook
from strandgauge.web.app import create_app
from strandgauge.web.settings import Limits, ServerSettings
from strandgauge.web.workers import Result
from strandgauge.words import say

NINE = datetime(2024, 5, 14, 9, 0, tzinfo=UTC)
GOING = {"go-on", "slow"}
LOOK, READY, STOP, DONE = {"look"}, {"ready"}, {"stop"}, {"done"}

EXPECTED = {
    # From which minute on, what each strand says. The first look is at once.
    "crown": [(1, LOOK), (4, GOING), (40, STOP), (43, LOOK), (50, GOING), (55, DONE)],
    "nape": [(3, LOOK), (6, GOING), (24, STOP)],
    "left": [(6, LOOK), (10, GOING), (20, READY), (24, LOOK), (30, READY), (40, DONE)],
    "right": [(6, LOOK), (10, GOING), (50, STOP), (52, GOING)],
    "fringe": [(11, LOOK), (14, GOING), (44, STOP), (50, LOOK)],
    "ends": [(13, LOOK), (14, GOING), (52, STOP)],
}
OVERDUE = {"fringe": (29, 44), "ends": (28, 34)}
"""Minutes in which it is called for, since nobody has looked: its word is then another than that of its last look."""


class Reader:
    """Stands in for the processes that read photos: the photo says the level that it shows."""

    def __init__(self):
        shades, ladder = load_targets(), load_ladder()
        light = tuple(float(value) for value in ladder.lab_at(9.7))
        zones = [BaseZone(name, light, (0.8, 0.5, 0.8)) for name in ("overall", "root", "mids", "ends")]
        self.ladder = ladder.name
        self.outlook = reach(zones, find_target("copper", shades), load_shelf(), shades, ladder)
        assert self.outlook.verdict == "true"

    def run(self, job):
        level = float(job.photos[0].removeprefix(b"\xff\xd8\xff"))
        reading = readings.reading(
            (level - 0.1, level, level + 0.1),
            overall=readings.zone(level=level),
            ladder=self.ladder,
        )
        return Result(reading, None if job.target is None else self.outlook, b"\xff\xd8\xff", b"\xff\xd8\xff")

    def close(self):
        pass


@dataclass
class Salon:
    """The server, the time, and who is at the chair."""

    inside: Inside
    minute: float = 0.0

    def now(self):
        return NINE + timedelta(minutes=self.minute)

    def post(self, path, **form):
        answer = self.inside.post(path, data=form, headers={"accept": "application/json"})
        assert answer.status_code in (200, 303), answer.text
        return answer

    def photo(self, path, level, times=1, **form):
        """Send a photo, as often as a phone does whose answers get lost."""
        for _ in range(times):
            files = {"photo": ("p.jpg", b"\xff\xd8\xff" + f"{level:.2f}".encode(), "image/jpeg")}
            answer = self.inside.post(path, data=form, files=files, headers={"accept": "application/json"})
            assert answer.status_code == 200, answer.text

    def words(self):
        """Return the kind and the word of each strand on the first screen."""
        page = self.inside.get("/today").text
        cards = re.findall(r'<li class="card ([a-z-]+)">(.*?)</li>', page, re.DOTALL)
        return {
            re.search(r"strand-name\">(.*?)<", card)[1]: (kind, re.search(r'line now"><b>(.*?)</b>', card)[1])
            for kind, card in cards
        }


@pytest.fixture
def salon(tmp_path):
    salon = Salon(None)
    settings = ServerSettings(limits=Limits(requests_burst=10_000))
    app = create_app(
        settings, logbook=open_logbook(tmp_path / "book.sqlite3"), workers=Reader(), now=salon.now
    )
    salon.inside = Inside(app)
    salon.service = app.state.service
    yield salon
    app.state.service.close()


def level(minutes, start=5.0, end=9.6, pace=35.0):
    """Return the level of hair that was lightened for some minutes."""
    return end - (end - start) * math.exp(-minutes / pace)


def test_an_hour_of_a_salon(salon):
    book, ids, on = salon.service.logbook, {}, {}

    def start(client, strand, limit, target=""):
        form = {"client": client, "name": strand, "limit": limit, "target": target}
        for _ in range(2):  # a double tap
            salon.post("/strands/new", request=f"form-{strand}-0001", **form)
        (found,) = [one.strand for one in book.recent_strands() if one.strand.name == strand]
        ids[strand], on[strand] = found.id, salon.minute

    def look(strand, shown=None, **form):
        since = salon.minute - float(form.get("age", 0)) / 60.0 - on[strand]
        number = f"{strand}-{salon.minute - float(form.get('age', 0)) / 60.0:05.1f}".replace(".", "-")
        salon.photo(f"/strands/{ids[strand]}/look", shown or level(since), request=f"photo-{number}", **form)

    def act(strand, what, **form):
        salon.post(f"/strands/{ids[strand]}/{what}", **form)

    plan = {
        0: [lambda: start("Marta", "crown", "40")],
        2: [lambda: start("Marta", "nape", "50")],
        5: [lambda: start("Ines", "left", "45", "copper"), lambda: start("Ines", "right", "")],
        10: [lambda: start("Olga", "fringe", "35")],
        12: [lambda: start("Olga", "ends", "40")],
    }

    def at(minute, act):
        plan.setdefault(minute, []).append(act)

    for minute in (4, 10, 16, 22, 28, 34):
        at(minute, lambda: look("crown"))
    at(43, lambda: act("crown", "rinsed", off="yes"))
    at(50, lambda: look("crown", 8.2))
    at(55, lambda: look("crown", 8.2, result="yes"))
    for minute in (6, 12, 18, 24):
        at(minute, lambda: look("nape"))
    at(24, lambda: act("nape", "stretch", answer="gummy"))
    at(25, lambda: act("nape", "stretch", answer="springs back"))  # a slip, or a wish: it stays
    at(27, lambda: act("nape", "rinsed", off="yes"))
    for minute, shown in ((10, 5.2), (15, 6.0), (20, 6.9), (30, 6.9)):
        at(minute, lambda shown=shown: look("left", shown))
    at(24, lambda: act("left", "rinsed", off="yes"))
    at(40, lambda: look("left", 6.9, result="yes"))
    for minute in (10, 14, 18, 22, 26, 30, 34, 38, 42, 46, 50, 53, 56):
        at(minute, lambda: look("right"))
    at(52, lambda: book.update_strand(ids["right"], limit_minutes=60.0))
    at(14, lambda: look("fringe"))
    at(19, lambda: look("fringe"))
    at(50, lambda: act("fringe", "rinsed", off="yes"))
    at(14, lambda: look("ends"))
    at(18, lambda: look("ends"))
    # The second phone is without network from 20 to 34: what it took then comes late, and twice.
    for ago in (12, 7, 2):
        at(34, lambda ago=ago: look("ends", times=2, age=f"{60 * ago}"))
    for minute in (38, 43, 48):
        at(minute, lambda: look("ends"))

    spoken = {}
    for minute in range(61):
        salon.minute = float(minute)
        for deed in plan.get(minute, []):
            deed()
        salon.minute += 0.5  # between two minutes, so that nothing hangs on which of them comes first
        words = salon.words()
        for strand, (kind, word) in words.items():
            expected = [kinds for begun, kinds in EXPECTED[strand] if begun <= minute + 0.5]
            assert kind in (expected[-1] if expected else LOOK), (minute, strand, kind, word)
            first, last = OVERDUE.get(strand, (99, 99))
            assert (word == say("moment-word.overdue")) == (first <= minute + 0.5 < last), (
                minute,
                strand,
                word,
            )
            if spoken.get(strand) != word:
                spoken[strand] = word  # whenever it changes, the page of the strand says the same
                page = salon.inside.get(f"/strands/{ids[strand]}").text
                assert f'<h1 id="step-word">{word}</h1>' in page, (minute, strand)

    # Nothing lost, nothing doubled: forty looks of six strands, each when it was taken.
    counts = {strand: len(book.looks(number)) for strand, number in ids.items()}
    assert counts == {"crown": 8, "nape": 4, "left": 5, "right": 13, "fringe": 2, "ends": 8}
    assert sum(counts.values()) == 40
    assert sorted(one.client.alias for one in book.client_summaries()) == ["Ines", "Marta", "Olga"]
    late = [round((check.at - NINE).total_seconds() / 60.0) for check in book.looks(ids["ends"])]
    assert late == [14, 18, 22, 27, 32, 38, 43, 48]
    # What each look said then stands as it stood: no stop has crept into what went on.
    assert {check.answer["kind"] for check in book.looks(ids["nape"])} <= {"go on", "slow"}
    assert all(check.answer["kind"] in ("go on", "slow") for check in book.looks(ids["crown"])[:6])
    assert next(event.what for event in book.events(ids["nape"])) == "stretch: gummy"
