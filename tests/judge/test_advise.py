"""What is advised before lightener goes on, each code on both sides of its limit: hand-made outlooks, no photo.

The rules are those of the trade as `strandgauge.judge.advise` tells them: common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from readings import STAIN, reading
from readings import zone as stained
from strandgauge.dye.formula import FormulaPart
from strandgauge.dye.shelf import load_shelf
from strandgauge.dye.targets import Target
from strandgauge.hair.levels import load_ladder
from strandgauge.hair.stain import Stain
from strandgauge.judge.advise import advise, is_brown
from strandgauge.judge.cautions import cautions_for
from strandgauge.judge.hairkind import Hair, what_hair
from strandgauge.judge.history import History
from strandgauge.judge.outlook import (
    BaseZone,
    Evening,
    Needs,
    Outlook,
    Pretone,
    Settings,
    Shadow,
    ZoneFormula,
    ZoneOutlook,
    base_zones,
    verdict_of,
)
from strandgauge.lift.advice import Advice

PASTEL, VIVID, BROWN = (66.0, 10.0, -11.0), (45.0, 26.0, 34.0), (31.0, 9.0, 15.0)
KNOWN = {"box": False}
"""Asked, and nothing in it."""
SHELF = load_shelf()


def zone(name="overall", verdict="turns", level=8.0, needs=9.0, **more):
    told = {"level_sd": 0.1, "formula": (), "pretone": None, "probability_true": 0.1, **more}
    need = None if needs is None else Needs(needs, needs, needs)
    colour = (60.0, 5.0, 30.0)
    return ZoneOutlook(
        name,
        colour,
        colour,
        (1.0, 1.0, 1.0),
        4.0,
        verdict,
        unadjusted_lab=colour,
        level=level,
        needs=need,
        **told,
    )


def outlook(*zones, wish=PASTEL, verdict="turns", target_level=9.0, **more):
    return Outlook(
        Target("wish", wish),
        verdict,
        0.5,
        zones,
        8.0,
        None,
        None,
        (),
        (),
        None,
        None,
        (),
        (),
        60.0,
        target_level,
        **more,
    )


def told(found):
    return [(one.zone, one.do, *one.why) for one in found]


def advice(*zones, history=KNOWN, **more):
    return told(advise(outlook(*zones, **more), History(**history)))


WAY = "lift: too-dark"


@pytest.mark.parametrize(
    ("one", "history", "expected"),
    [
        # It reads true, or may: coloured as it is.
        ({"verdict": "true"}, KNOWN, "tone: may-read-true"),
        ({"verdict": "may"}, KNOWN, "tone: may-read-true"),
        ({"verdict": "true", "level": 7.3}, KNOWN, "deposit: may-read-true + depth-is-there"),
        ({"verdict": "true", "level": 7.4}, KNOWN, "tone: may-read-true"),
        # What lies on the hair is washed out; lightener may not shift it.
        ({"hair": "dyed", "slight": False}, KNOWN, "remove-dye: old-dye"),
        ({"hair": "dyed"}, KNOWN, "clarify: old-dye, wait: old-dye"),
        ({"hair": "toned", "slight": False}, KNOWN, "clarify: over-toned, wait: over-toned"),
        # Old dye of nobody knows what is asked for; a green cast can be metal.
        ({"hair": "dyed", "slight": False}, {}, "ask-history: old-colour-unknown, remove-dye: old-dye"),
        ({"hair": "toned"}, {}, "ask-history: old-colour-unknown, clarify: over-toned, wait: over-toned"),
        ({"hair": "dyed", "slight": False}, {"direct_dye": "blue"}, "remove-dye: old-dye"),
        ({"hair": "dyed", "slight": False, "cast": "green"}, KNOWN, "metal-test: green-cast, remove-dye: old-dye"),
        ({"hair": "dyed", "cast": "blue-green"}, KNOWN, "metal-test: green-cast, clarify: old-dye, wait: old-dye"),
        ({"hair": "dyed", "slight": False, "cast": "green"}, {**KNOWN, "direct_dye": "green"}, "remove-dye: old-dye"),
        ({"hair": "dyed", "slight": False, "cast": "pink"}, KNOWN, "remove-dye: old-dye"),
        ({"hair": "toned", "cast": "green"}, KNOWN, "clarify: over-toned, wait: over-toned"),
        # No lightener where none helps, or for less than can be told apart.
        ({"needs": None}, KNOWN, "choose-another: no-lift-helps"),
        ({"level": 9.0}, KNOWN, "choose-another: no-lift-helps"),
        ({"level": 8.75}, KNOWN, "look-again: within-noise"),
        ({"level": 8.69}, KNOWN, WAY),
        ({"level": 8.55, "level_sd": 0.5}, KNOWN, "look-again: within-noise"),
        ({"level": 8.5, "level_sd": 0.5}, KNOWN, WAY),
        ({"level": 8.75, "verdict": "close"}, KNOWN, "tone: close, look-again: within-noise"),
        ({"level": 9.0, "verdict": "close"}, KNOWN, "tone: close"),
        # Close, and little missing: either way; a plain way to go is lifted.
        ({"level": 8.25, "verdict": "close"}, KNOWN, "tone: close, lift: too-dark"),
        ({"level": 8.15, "verdict": "close"}, KNOWN, WAY),
        # Never without asking.
        ({}, {}, "ask-history: lift-unknown, lift: too-dark"),
        ({"red": True}, {}, "ask-history: old-colour-unknown"),
        ({"red": True}, KNOWN, WAY),
        ({"red": True, "name": "root"}, {}, "ask-history: old-colour-unknown"),  # once a head
        ({"verdict": "true", "red": True}, {}, "ask-history: old-colour-unknown, tone: may-read-true"),
        # How much may be asked of it at once, by what was done to it.
        ({"level": 5.5}, KNOWN, WAY),
        ({"level": 5.4}, KNOWN, "choose-another: too-far"),
        ({"level": 5.4}, {}, "ask-history: lift-unknown, choose-another: too-far"),
        ({"level": 4.0}, {"virgin": True}, WAY),
        ({"level": 3.9}, {"virgin": True}, "choose-another: too-far"),
        ({"level": 7.0}, {"box": True}, WAY),
        ({"level": 6.9}, {"box": True}, "choose-another: too-far"),
        ({"level": 7.5}, {"lightened": ("mids",)}, WAY),
        ({"level": 7.4}, {"lightened": ("mids",)}, "choose-another: too-far"),
        ({"level": 7.3, "verdict": "close"}, {"lightened": ("mids",)}, "deposit: close + depth-is-there"),
        # What forbids lightener, whatever the colour.
        ({}, {**KNOWN, "persulfate_allergy": True}, "stop-history: persulfate, choose-another: no-more-lift"),
        ({}, {**KNOWN, "relaxer": True}, "stop-history: relaxed, choose-another: no-more-lift"),
        ({}, {**KNOWN, "relaxer_weeks": 40.0}, "stop-history: relaxed, choose-another: no-more-lift"),
        (
            {}, {**KNOWN, "perm_weeks": 1.9},
            "stop-history: permed-lately, choose-another: no-more-lift, wait: permed-lately",
        ),
        ({}, {**KNOWN, "perm_weeks": 2.0}, WAY),
        (
            {}, {"lightened": ("mids",), "lightened_weeks": 1.9},
            "stop-history: lightened-lately, choose-another: no-more-lift, wait: lightened-lately",
        ),
        ({}, {"lightened": ("mids",), "lightened_weeks": 2.0}, WAY),
        ({}, {**KNOWN, "lightened_weeks": 1.0}, WAY),
        ({}, {**KNOWN, "porosity": (("ends", "high"),)}, "stop-history: porous, choose-another: no-more-lift"),
        ({}, {**KNOWN, "porosity": (("ends", "normal"),)}, WAY),
        ({}, {"lightened": ("mids",), "lightened_times": 3}, "stop-history: rounds, choose-another: no-more-lift"),
        ({}, {"lightened": ("mids",), "lightened_times": 2}, WAY),
        ({}, {**KNOWN, "lightened_times": 3}, WAY),
        (
            {"name": "ends"}, {"lightened": ("ends",)},
            "ends stop-history: bleached-ends, ends choose-another: no-more-lift",
        ),
        ({"name": "mids"}, {"lightened": ("ends",)}, "mids lift: too-dark"),
        ({"name": "mids"}, {"lightened": ("mids", "ends")}, "mids lift: too-dark"),
        (
            {"name": "ends", "verdict": "close"}, {"lightened": ("ends",)},
            "ends stop-history: bleached-ends, ends tone: close",
        ),
        ({}, {"metallic": True}, "metal-test: metallic, stop-history: metallic, choose-another: no-more-lift"),
        ({}, {"henna": True}, "metal-test: henna, choose-another: metal-first"),
        ({"verdict": "true"}, {"henna": True}, "tone: may-read-true"),
        # Only the regrowth, where the lengths were lightened and the root was not.
        ({"name": "root"}, {"lightened": ("mids", "ends")}, "root lift: regrowth"),
        ({"name": "root"}, {"lightened": ("root", "mids")}, "root lift: too-dark"),
        ({"name": "root"}, KNOWN, "root lift: too-dark"),
        ({"name": "mids"}, {"lightened": ("root",)}, "mids lift: too-dark"),
        # Stops: nothing goes on, or no lightener.
        ({"verdict": "true"}, {"scalp": "broken"}, "stop-condition: scalp-broken"),
        ({"verdict": "true"}, {"patch_test": "reacted"}, "stop-condition: patch-reacted"),
        ({"verdict": "true"}, {"stretch": "gummy"}, "stop-condition: gummy"),
        ({}, {**KNOWN, "scalp": "sore"}, "stop-condition: scalp-sore, wait: scalp-sore"),
        ({"verdict": "true"}, {"scalp": "sore"}, "stop-condition: scalp-sore, wait: scalp-sore, tone: may-read-true"),
        ({}, {**KNOWN, "stretch": "slow"}, "stop-condition: slow-stretch"),
        (
            {},
            {"patch_test": "reacted", "scalp": "sore"},
            "stop-condition: patch-reacted, stop-condition: scalp-sore, wait: scalp-sore",
        ),
        ({"verdict": "close"}, {"metallic": True}, "metal-test: metallic, stop-history: metallic, tone: close"),
        ({}, {**KNOWN, "stretch": "springs back", "scalp": "fine", "patch_test": "due"}, WAY),
    ],
)  # fmt: skip
def test_what_is_advised_on_each_side_of_its_limit(one, history, expected):
    found = advice(zone(**one), history=history)
    assert (
        ", ".join(
            f"{where.replace('overall', '')} {do}: {' + '.join(why)}".strip() for where, do, *why in found
        )
        == expected
    )


def test_numbers_that_the_sentences_use():
    (lift,) = advise(outlook(zone(level=8.04, needs=9.0)), History(**KNOWN))
    assert lift.facts == (("levels", 1.0), ("needs", 9.0), ("level", 8.0))
    (lift,) = advise(outlook(zone(level=8.04, needs=9.01)), History(**KNOWN))
    assert dict(lift.facts)["needs"] == 9.1  # rounded up: less is not enough
    (tone,) = advise(
        outlook(zone(verdict="true", probability_true=0.91234), verdict="true"), History(**KNOWN)
    )
    assert (tone.why, tone.facts) == (("reads-true",), (("chance", 0.912),))
    (wash,) = advise(outlook(zone(hair="dyed", slight=False, cast="pink")), History(**KNOWN))
    assert wash.facts == (("cast", "pink"),)
    slight = advise(outlook(zone(hair="dyed", cast="pink")), History(**KNOWN))
    assert [one.facts for one in slight] == [(("cast", "pink"),)] * 2
    (lift,) = advise(outlook(zone(level=8.0, needs=9.3)), History(**KNOWN))
    assert dict(lift.facts)["levels"] == 1.3
    barred = advise(outlook(zone(verdict="close")), History(relaxer=True))[0]
    assert dict(barred.facts)["levels"] == 1.0
    (plain,) = advise(outlook(zone(hair="dyed", slight=False)), History(**KNOWN))
    assert plain.facts == ()
    for history in ({"box": False, "relaxer": True}, {"box": False, "perm_weeks": 1.0}, {"henna": True}):
        assert all(
            dict(one.facts)["levels"] == 1.0
            for one in advise(outlook(zone()), History(**history))
            if one.do != "metal-test"
        )
    (again,) = advise(outlook(zone(level=8.75)), History(**KNOWN))
    assert dict(again.facts)["level"] == 8.8
    (far,) = advise(outlook(zone(level=2.0)), History(**KNOWN))
    assert dict(far.facts)["levels"] == 7.0


@pytest.mark.parametrize(
    ("wish", "do"),
    [((58.0, 20.0, 0.0), "tone"), ((57.9, 20.0, 0.0), "dye"), ((58.0, 20.1, 0.0), "dye"), (VIVID, "dye")],
)
def test_a_pale_shade_is_toned_and_a_strong_one_is_dyed(wish, do):
    assert advice(zone(verdict="may"), wish=wish) == [("overall", do, "may-read-true")]


def test_reads_true_is_only_said_where_all_of_it_does():
    assert advice(zone(verdict="true"), verdict="true")[0][2] == "reads-true"
    assert advice(zone(verdict="true"), verdict="may")[0][2] == "may-read-true"
    assert advice(zone(verdict="may"), verdict="true")[0][2] == "may-read-true"


@pytest.mark.parametrize(
    ("level", "target_level", "hair", "wish", "fills"),
    [
        (7.5, 4.5, "lifted", BROWN, True),
        (7.5, 4.2, "lifted", BROWN, True),
        (7.4, 4.4, "lifted", BROWN, False),
        (7.5, 4.6, "lifted", BROWN, False),
        (9.0, 3.0, "natural", BROWN, False),
        (9.0, 3.0, "lifted", VIVID, False),
    ],
)
def test_lifted_hair_that_goes_much_darker_to_a_brown_is_filled_first(level, target_level, hair, wish, fills):
    one = zone(verdict="true", level=level, hair=hair)
    found = advice(one, wish=wish, target_level=target_level)
    assert (("overall", "fill", "goes-darker") in found) == fills
    assert found[-1][1] == ("deposit" if fills else "dye")
    if fills:
        first = advise(outlook(one, wish=wish, target_level=target_level), History(**KNOWN))[0]
        assert first.facts == (("levels", round(level - target_level, 1)),)


@pytest.mark.parametrize(
    ("lab", "brown"),
    [
        ((20.0, 4.9, 0.0), True),
        ((20.1, 1.0, 0.0), False),
        ((20.0, 5.0, 0.0), False),
        ((42.0, 9.0, 15.0), True),
        ((42.1, 9.0, 15.0), False),
        ((30.0, 3.0, 3.0), True),
        ((30.0, 0.0, 4.0), True),
        ((30.0, 10.0, 24.0), True),
        ((30.0, 2.0, 3.0), False),
        ((30.0, 13.0, 22.5), True),
        ((30.0, 13.1, 22.6), False),
        ((30.0, 10.0, 5.9), True),
        ((30.0, 10.0, 5.7), False),
        ((30.0, -1.0, 15.0), True),
        ((30.0, -1.5, 15.0), False),
    ],
)
def test_what_is_a_natural_brown(lab, brown):
    assert is_brown(lab) == brown


def test_a_toner_first_is_said_before_the_shade():
    tone = Pretone("violet", (), (60.0, 0.0, 10.0), 5.0)
    assert advice(zone(verdict="true", pretone=tone)) == [
        ("overall", "neutralise", "warmth-shows"),
        ("overall", "tone", "may-read-true"),
    ]


@pytest.mark.parametrize(
    ("lengths", "verdict", "root", "melts"),
    [
        ("mids", "true", 7.0, True),
        ("ends", "may", 7.0, True),
        ("mids", "close", 7.0, True),
        ("mids", "turns", 7.0, False),
        ("mids", "true", 7.1, False),
    ],
)
def test_a_root_darker_than_lengths_that_can_be_coloured_is_melted(lengths, verdict, root, melts):
    found = advice(zone("root", level=root, needs=None), zone(lengths, verdict=verdict, level=8.0, needs=9.0))
    assert (("root", "melt-root", "root-darker") in found) == melts
    assert (("root", "choose-another", "no-lift-helps") in found) != melts


def test_a_root_that_may_be_lifted_as_well_is_given_both_ways_and_lengths_alone_are_not_melted():
    found = advice(zone("root", level=7.0), zone("mids", verdict="true", level=9.0))
    assert found == [
        ("root", "melt-root", "root-darker"),
        ("root", "lift", "too-dark"),
        ("mids", "tone", "may-read-true"),
    ]
    assert not any(
        do == "melt-root"
        for _, do, *_ in advice(zone("mids", level=7.0), zone("ends", verdict="true", level=9.0))
    )


def test_what_the_lengths_cannot_have_comes_before_how_the_rest_would_take_it():
    found = advice(
        zone("root", verdict="true"), zone("mids", needs=None), zone("ends"), history={"lightened": ("ends",)}
    )
    assert [one[:2] for one in found] == [
        ("mids", "choose-another"), ("ends", "stop-history"), ("ends", "choose-another"), ("root", "tone")
    ]  # fmt: skip
    root_last = advice(zone("mids", verdict="true"), zone("root", needs=None))
    assert [do for _, do, *_ in root_last] == ["tone", "choose-another"]
    assert [do for _, do, *_ in advice(zone("mids", verdict="true"), zone("ends", needs=None))] == [
        "choose-another",
        "tone",
    ]


def test_zones_are_judged_where_there_are_any_and_each_thing_is_said_once():
    found = advice(zone("overall", verdict="true"), zone("root"), zone("mids"), history={})
    assert found == [
        ("overall", "ask-history", "lift-unknown"),
        ("root", "lift", "too-dark"),
        ("mids", "lift", "too-dark"),
    ]


@pytest.mark.parametrize(
    ("chance", "away", "verdict"),
    [
        (0.7, 9.0, "true"), (0.69, 0.0, "may"), (0.3, 9.0, "may"), (0.29, 6.0, "close"), (0.29, 6.1, "turns"),
        (0.0, 20.0, "turns"), (0.0, 20.1, "out"),
    ],
)  # fmt: skip
def test_the_verdict_on_each_side_of_its_limits(chance, away, verdict):
    assert verdict_of(chance, away, Settings()) == verdict


# --- what is to be mixed ---------------------------------------------------------------------------------

MIX = (FormulaPart("pink", 5.0, 3.0),)
TONER = Pretone("violet", MIX, (60.0, 0.0, 10.0), 5.0)
EVEN = Evening(3.0, 1.0, (ZoneFormula("root", MIX),), "meets")
SHADOW = Shadow(6.0, (40.0, 1.0, 3.0), 1.0, MIX, "root")


def mixing(*told, verdict="may"):
    """Return an outlook of a root and mids with these pieces of advice, each a zone and what to do."""
    found = outlook(*(zone(name, verdict=verdict, formula=MIX, pretone=TONER) for name in ("root", "mids")))
    advice_ = tuple(Advice(name, do) for name, do in told)
    return replace(found, advice=advice_, evening=EVEN, shadow=SHADOW)


@pytest.mark.parametrize(
    ("told", "mixed", "shadow"),
    [
        ([("root", "dye")], ["root"], True),
        ([("root", "tone"), ("mids", "deposit")], ["root", "mids"], True),
        ([("root", "dye"), ("root", "lift")], ["root"], True),
        ([("root", "lift"), ("mids", "look-again")], [], False),
        ([("root", "dye"), ("overall", "stop-condition")], [], False),
        ([("root", "dye"), ("overall", "stop-time")], [], False),
        ([("root", "dye"), ("overall", "stop-history")], ["root"], True),
        ([("root", "melt-root"), ("root", "lift")], [], True),
        ([("root", "choose-another")], [], False),
        ([("overall", "dye")], [], False),
    ],
)
def test_no_formula_but_those_that_are_to_be_mixed(told, mixed, shadow):
    found = mixing(*told).as_advised()
    assert [one.name for one in found.zones if one.formula == MIX and one.pretone == TONER] == mixed
    assert all(one.formula is None and one.pretone is None for one in found.zones if one.name not in mixed)
    assert found.shadow == (SHADOW if shadow else None)
    assert found.evening == (EVEN if mixed else replace(EVEN, formulas=()))


def test_what_none_comes_near_is_not_mixed_and_an_outlook_without_zones_to_even_stays_so():
    assert not any(one.formula for one in mixing(("root", "dye"), verdict="out").as_advised().zones)
    assert replace(mixing(("root", "lift")), evening=None).as_advised().evening is None


@pytest.mark.parametrize(
    ("needs", "verdict", "level"),
    [(Needs(9.0, 8.5, 9.5), "turns", 9.0), (None, "turns", None), (None, "true", 8.0), (None, "may", None)],
)
def test_the_level_to_come_to_is_that_needed_or_that_the_hair_has(needs, verdict, level):
    found = replace(outlook(zone(), verdict=verdict), needs=needs)
    assert found.level_to_come_to == level
    assert found.needs_level == (None if needs is None else 9.0)


def test_what_is_advised_is_asked_by_code_and_by_zone():
    found = mixing(("root", "lift"), ("mids", "dye"))
    assert found.does("lift")
    assert found.does("tone", "dye")
    assert found.does("lift", zone="root")
    assert not found.does("lift", zone="mids")
    assert not found.does("rinse")
    assert found.zone("mids").name == "mids"


def test_the_zones_of_a_reading_are_the_hair_to_be_dyed():
    read = reading()
    mids = read.zones[1]
    root, second, ends, whole = base_zones(read)
    assert [root.name, second.name, ends.name, whole.name] == ["root", "mids", "ends", "overall"]
    assert (second.lab, second.lab_sd, second.level, second.level_sd) == (
        mids.lab, mids.lab_sd, mids.level, mids.level_sd
    )  # fmt: skip
    assert second.level_shares == ((7, 0.07), (8, 0.62), (9, 0.31))
    assert whole.ways == read.ways


def test_a_stain_that_was_read_counts_where_its_colour_alone_is_too_unsure():
    pink = BaseZone("ends", (65.5, 23.3, 20.6), (6.5, 8.0, 6.0))
    assert what_hair(pink, load_ladder(), History()).kind == "lifted"
    read = replace(pink, stain=Stain("pink", 5.0, 18.0))
    assert what_hair(read, load_ladder(), History()) == Hair("dyed", "pink", 18.0)
    assert base_zones(reading(overall=stained(stain=STAIN)))[-1].stain == STAIN


# --- cautions --------------------------------------------------------------------------------------------

ALWAYS = ["strand-test-first", "patch-test", "gloves", "not-condition", "local-rules"]


def cautioned(*zones, history=None, lifts=False, scale=0.1):
    found = outlook(*zones)
    if lifts:
        found = replace(found, advice=advise(found, History(**KNOWN)))
    return cautions_for(found, SHELF, scale, History(**(history or {})))


@pytest.mark.parametrize(
    ("history", "lifts", "expected"),
    [
        ({}, False, ALWAYS),
        ({"minor": True}, False, ["minor", *ALWAYS]),
        ({"minor": False}, False, ALWAYS),
        ({}, True, ["ask-persulfate", "feel-it", *ALWAYS]),
        ({"persulfate_allergy": False}, True, ["feel-it", *ALWAYS]),
        ({"persulfate_allergy": None, "minor": True}, True, ["minor", "ask-persulfate", "feel-it", *ALWAYS]),
        ({"patch_test": "passed"}, False, [code for code in ALWAYS if code != "patch-test"]),
        ({"patch_test": "due"}, False, ALWAYS),
    ],
)
def test_cautions_in_their_order(history, lifts, expected):
    assert [one.code for one in cautioned(zone(), history=history, lifts=lifts)] == expected


def test_fluorescent_dyes_and_amounts_too_small_are_named():
    mix = (FormulaPart("pink", 5.0, 3.0), FormulaPart("teal", 0.5, 0.3), FormulaPart("clear", 94.5, 0.2))
    less = (FormulaPart("violet", 0.3, 0.2), FormulaPart("clear", 99.7, 59.8))
    found = {one.code: dict(one.facts) for one in cautioned(zone(formula=mix), zone("ends", formula=less))}
    assert found["fluorescent"] == {"dyes": "pink, violet"}
    assert found["too-little-to-weigh"] == {
        "grams": 0.2, "dye": "violet", "scale": 0.1, "clear": "clear", "times": 3
    }  # fmt: skip
    enough = (FormulaPart("teal", 0.8, 0.5), FormulaPart("clear", 99.2, 59.5))
    assert [one.code for one in cautioned(zone(formula=enough))] == ALWAYS
    assert [one.code for one in cautioned(zone(formula=mix, verdict="out"))] == ALWAYS
    assert [one.code for one in cautioned(zone(formula=None))] == ALWAYS
    assert "too-little-to-weigh" in [one.code for one in cautioned(zone(formula=enough), scale=0.2)]
