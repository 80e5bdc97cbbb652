"""The next step in words: whatever speaks most strongly for stopping wins."""

from __future__ import annotations

from datetime import datetime
from functools import cache
from itertools import product

import pytest

from readings import reading, zone
from strandgauge.colour.names import colour_word
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import find_target, load_targets
from strandgauge.hair.levels import load_ladder
from strandgauge.judge.follow import follow
from strandgauge.judge.nextstep import next_step, worst_stretch
from strandgauge.judge.outlook import BaseZone
from strandgauge.judge.reach import reach
from strandgauge.show.pages.follow import facts
from strandgauge.web.draw import entered, when
from strandgauge.words import reading as reading_words
from strandgauge.words import say, sentence
from strandgauge.words.judge import short_verdict, why_sentences
from strandgauge.words.lift import headline, look_level, look_up_limit, pace, sentences
from strandgauge.words.nextstep import curve_sentences, in_words

TRUE, CLOSE, FAR, FORBIDDEN = (9.7, "copper"), (9.7, "pastel pink"), (7.9, "rose"), (5.2, "pastel pink")


@cache
def outlook(level, shade):
    ladder, shades = load_ladder(), load_targets()
    lightness, a, b = (float(value) for value in ladder.lab_at(level))
    hair = [BaseZone("overall", (lightness, a, b), (0.8, 0.5, 0.8))]
    return reach(hair, find_target(shade, shades), load_shelf(), shades, ladder)


@cache
def curve(*levels, minutes=(20.0, 35.0, 50.0), needs=9.0, limit=60.0):
    ladder = load_ladder()
    looks = []
    for level in levels:
        lightness, a, b = (float(value) for value in ladder.lab_at(level))
        one = zone(level=level, lab=(lightness, a, b), level_sd=0.2)
        looks.append(reading((level,) * 3, overall=one, ladder=ladder.name))
    return follow(looks, minutes[: len(looks)], ladder=ladder, target="rose", needs_level=needs, limit=limit)


LIFTING, LATE = curve(5.2, 6.8, limit=120.0), curve(5.2, 6.8, limit=40.0)
ENOUGH = curve(5.2, 7.2, 9.6)
OVER = curve(5.2, minutes=(61.0,))
STATES = (None, LIFTING, LATE, ENOUGH, OVER)
OUTLOOKS = (None, TRUE, CLOSE, FAR, FORBIDDEN)


@pytest.mark.parametrize(
    ("seen", "lift", "stretch", "kind", "word"),
    [
        (TRUE, None, None, "ready", "dye"),
        (TRUE, ENOUGH, None, "ready", "light-enough"),
        (FAR, ENOUGH, None, "ready", "light-enough"),
        (FAR, LIFTING, None, "go on", "go-on"),
        (FAR, LIFTING, "slow", "stop", "rinse"),
        (FAR, None, None, "slow", "ask-history"),
        (FORBIDDEN, None, None, "slow", "ask-history"),
        (TRUE, OVER, None, "stop", "stop-time"),
        (None, None, None, "go on", "no-shade"),
        (None, LIFTING, None, "go on", "go-on"),
    ],
)
def test_the_word(seen, lift, stretch, kind, word):
    step = in_words(next_step(outlook(*seen) if seen else None, lift, stretch))
    assert (step.kind, step.word) == (kind, say(f"step.{word}"))
    assert step.sentence
    assert step.sentence == sentence(step.sentence)


@pytest.mark.parametrize(("seen", "lift"), list(product(OUTLOOKS, STATES)))
def test_gummy_is_stop_whatever_else(seen, lift):
    step = next_step(outlook(*seen) if seen else None, lift, "gummy")
    assert (step.kind, step.code, step.minutes) == ("stop", "stop-condition", None)


@pytest.mark.parametrize(("seen", "stretch"), list(product(OUTLOOKS, (None, "springs back", "slow"))))
def test_no_shade_and_no_stretch_goes_past_the_time_limit(seen, stretch):
    assert next_step(outlook(*seen) if seen else None, OVER, stretch).kind == "stop"


def test_a_look_that_does_not_fit_is_taken_again_however_good_it_seems():
    odd = curve(4.0, 5.2, 6.2, 3.0, minutes=(5.0, 12.0, 19.0, 26.0))
    assert not odd.looks[-1].used
    assert next_step(outlook(*TRUE), odd).code == "look-again"


def test_the_sentence_leaves_the_time_to_the_countdown():
    step = in_words(next_step(outlook(*FAR), LIFTING))
    assert step.minutes == LIFTING.next_look
    assert step.sentence.startswith(pace(LIFTING))
    again = headline(LIFTING).removeprefix(pace(LIFTING)).strip()
    assert again
    assert again not in step.sentence


def test_once_gummy_always_gummy():
    assert worst_stretch(("springs back", "gummy", None, "springs back")) == "gummy"
    assert worst_stretch(("springs back", "slow")) == "slow"
    assert worst_stretch((None,)) is None


def test_no_option_of_the_command_line_is_named_on_the_page():
    without = curve(5.2, 6.8, limit=None)
    said = curve_sentences(without)
    assert not any("--" in line for line in said)
    assert said[-1] == say("step.no-limit")
    assert look_up_limit() not in said


def test_the_verdict_without_the_name():
    good, bad = outlook(*TRUE), outlook(*FORBIDDEN)
    said = say("verdict-word.true") if good.verdict == "true" else say("verdict-word.may")
    short = say("outlook.short-chance", saying=said, chance=good.probability_true)
    assert short_verdict(good) == sentence(short)
    assert bad.verdict == "out"
    word = colour_word(bad.zones[0].predicted_lab)
    outs = [say("verdict-word.short-out", word=word), say("verdict-word.short-stays", word=word)]
    assert short_verdict(bad) in map(sentence, outs)
    for seen in (TRUE, FORBIDDEN):
        assert seen[1] not in short_verdict(outlook(*seen)).casefold()


@pytest.mark.parametrize(
    ("stored", "key", "old", "new"),
    [
        (
            "lightener on: none → 2026-11-26 10:05Z",
            "lightener-on",
            say("entered-value.none"),
            "2026-11-26T10:05Z",
        ),
        ("time limit: 45 min → 50.5 min", "time-limit", say("page.minutes", minutes="45"), "50.5"),
        ("stretch: slow", "stretch", "", "slow"),
        ("gummy taken back; stretch: taken back", "gummy-back", "", "taken-back"),
    ],
    ids=["on", "limit", "stretch", "back"],
)
def test_what_was_entered_is_said_in_words_and_in_the_salons_time(stored, key, old, new):
    words = {
        "2026-11-26T10:05Z": lambda: when(datetime.fromisoformat(new)),
        "50.5": lambda: say("page.minutes", minutes=new),
        "slow": lambda: say("stretch.slow").lower(),
        "taken-back": lambda: say("entered-value.taken-back"),
    }[new]()
    assert entered(stored) == say(f"entered.{key}", old=old, new=words)
    assert entered("of a later version: 1 → 2") == "of a later version: 1 → 2"


def test_of_dyed_hair_no_level_is_told():
    dyed, bare = zone(dye_probability=0.9), zone(dye_probability=0.1)
    assert reading_words.depth_named(bare) == say("log.level", level=reading_words.level_interval(bare))
    assert reading_words.depth_named(dyed) == reading_words.lightness(dyed)
    seen = [reading(overall=dyed), reading(overall=bare)]
    over, free = (follow([one], [20.0], ladder=load_ladder(), limit=50.0) for one in seen)
    lightness = f"L* {dyed.lab[0]:.0f}"
    assert pace(over) == say("lift.first-look-dyed", lightness=lightness)
    assert say("lift.at-dyed", lightness=lightness) in sentences(over)
    assert look_level(over.looks[0]) == lightness
    assert pace(free) == say("lift.first-look", level=bare.level)
    there = follow(seen[:1], [20.0], ladder=load_ladder(), limit=50.0, needs_level=5.0, by_zone=False)
    assert there.advice[0].why == ("light-enough",)
    assert not set(why_sentences(there.advice[0])) & set(sentences(there))
    assert say("lift-page.level-now") in [name for name, *_ in facts(free)]
    assert say("lift-page.level-now") not in [name for name, *_ in facts(over)]
