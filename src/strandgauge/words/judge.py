"""What is advised, in words: the one thing to do first, why, and what becomes of the shade; for every medium."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress

from strandgauge.codes.facts import Note
from strandgauge.colour.cielab import Lab, delta_e_2000
from strandgauge.dye.formula import FormulaPart
from strandgauge.judge.outlook import EVEN, UNEVEN, VERDICTS, Evening, Outlook, ZoneOutlook
from strandgauge.lift.advice import COLOURS, Advice, Do
from strandgauge.words import figure, named, said, say, sentence
from strandgauge.words.colour import colour_word, difference, shade_name
from strandgauge.words.reading import at_least

ZONES = ("overall", "root", "mids", "ends")
"""Parts of a strand that have a name; hair typed in may have others."""
WAITS = ("scalp-sore", "lightened-lately", "permed-lately")
"""What is waited for other than that washing takes something out."""


def do_words(advice: Advice) -> str:
    """Return what to do as a short imperative, such as 'tone it'."""
    return doing(advice.do, advice.why)


def doing(do: Do, why: Iterable[str]) -> str:
    """Return what to do as a short imperative; waiting is told with what is waited for."""
    for_what = next((code for code in why if code in WAITS), None)
    return say(f"wait.{for_what}") if do == "wait" and for_what else say(f"do.{do}")


def why_sentences(advice: Advice) -> tuple[str, ...]:
    """Return why, a sentence for each reason; a reason that this version has no sentence for is left out."""
    facts = {name: value for name, value in advice.facts if name.isidentifier()}
    told = []
    for code in advice.why:
        with suppress(KeyError):
            told.append(say(f"why.{code}", **facts))
    return tuple(told)


def in_one_line(advice: Iterable[Advice]) -> str:
    """Return all that is advised, each thing once, in one line."""
    return "; ".join(dict.fromkeys(map(do_words, advice)))


def to_do(outlook: Outlook, zone: str) -> str:
    """Return all that is advised for a zone in one line; empty where nothing is.

    Lightener is only what the answers may allow as long as something is to be asked or tested first, and a choice
    where the shade comes close without it.
    """
    asked_first = outlook.does("ask-history", "metal-test")
    told, choice = [], outlook.does(*COLOURS, "melt-root", zone=zone)
    for one in outlook.advice:
        if one.zone != zone:
            continue
        said_so = say("do-later.lift") if one.do == "lift" and asked_first else do_words(one)
        told.append(say("do-later.or", do=said_so) if one.do == "lift" and choice else said_so)
    return "; ".join(told)


def bowls_to_mix(outlook: Outlook) -> list[list[ZoneOutlook]]:
    """Return the zones whose formulas are to be mixed as things stand, those together that one bowl serves."""
    found: dict[tuple[object, ...], list[ZoneOutlook]] = {}
    for zone in outlook.own_zones:
        if outlook.to_mix(zone):
            found.setdefault((zone.bowl, zone.formula, zone.pretone, saying(zone)), []).append(zone)
    return list(found.values())


def first_thing(outlook: Outlook) -> str:
    """Return the one thing to do first, such as 'Lilac: root, melt the root.'"""
    return _first(sentence(shade_name(outlook.target.name)), outlook.advice, len(outlook.own_zones))


def _first(shade: str, advice: tuple[Advice, ...], zones: int) -> str:
    if not advice:
        return f"{shade}."
    first = advice[0]
    alike = [one.zone for one in advice if one.do == first.do]
    if first.zone == "overall" or first.do == "melt-root" or len(alike) == zones:
        return say("outlook.headline", shade=shade, do=do_words(first))
    return say("outlook.headline-zone", shade=shade, zone=listed(alike), do=do_words(first))


def listed(names: Iterable[str]) -> str:
    """Write names of zones as a list, such as 'root, mids'."""
    return ", ".join(say(f"zone.{name}") if name in ZONES else name for name in names)


def first_why(outlook: Outlook) -> tuple[str, ...]:
    """Return why that is to be done."""
    return why_sentences(outlook.advice[0]) if outlook.advice else ()


def surer(way: Note | None) -> tuple[str, ...]:
    """Return what would settle that which is open, where anything would."""
    return () if way is None else (said(way),)


def saying(zone: ZoneOutlook, shade: Lab | None = None, *, alone: bool = False) -> str:
    """Return a zone's verdict in words: how the result differs from the shade, or what it turns into.

    ``alone`` says it for where no shade's name stands before it.
    """
    wanted = shade or zone.wanted_lab or zone.predicted_lab
    word, how = colour_word(zone.predicted_lab), difference(zone.predicted_lab, wanted)
    match zone.verdict:
        case "true":
            return say("verdict-word.true")
        case "may":
            return say("verdict-word.may")
        case "close":
            return say("verdict-word.close-how", how=how) if how else say("verdict-word.close")
        case "turns":
            if word == colour_word(wanted) and how:
                return say("verdict-word.turns-how", how=how)
            return say("verdict-word.turns", word=word)
        case _:
            hardly = float(delta_e_2000(zone.predicted_lab, zone.base_lab)) < UNEVEN
            if alone:
                return say("verdict-word.short-stays" if hardly else "verdict-word.short-out", word=word)
            return say("verdict-word.out-stays" if hardly else "verdict-word.out", word=word)


def saying_beside(zone: ZoneOutlook, shade: Lab) -> str:
    """Return a zone's verdict where what it becomes is named beside it already."""
    if zone.verdict == "out":
        return say("verdict-word.out-beside")
    if zone.verdict == "turns":
        return difference(zone.predicted_lab, shade) or say("verdict-word.turns-beside")
    return saying(zone, shade)


def verdict_headline(outlook: Outlook) -> str:
    """Return the verdict on the whole in one line, with its chance; else that of the zone where it does worst."""
    saying, zone, chance = _verdict(outlook, alone=False)
    shade = sentence(shade_name(outlook.target.name))
    if chance is not None:
        whole = len(outlook.own_zones) == 1
        key_facts = {"shade": shade, "saying": saying, "chance": chance}
        return say("outlook.whole-chance" if whole else "outlook.zones-chance", **key_facts)
    if zone:
        return say("outlook.whole-zone", shade=shade, saying=saying, zone=zone)
    return say("outlook.whole", shade=shade, saying=saying)


def short_verdict(outlook: Outlook) -> str:
    """Return the same without the shade's name, for where that stands beside it."""
    saying, zone, chance = _verdict(outlook, alone=True)
    if chance is not None:
        whole = len(outlook.own_zones) == 1
        return sentence(
            say("outlook.short-chance" if whole else "outlook.short-zones", saying=saying, chance=chance)
        )
    return sentence(say("outlook.short-zone", saying=saying, zone=zone) if zone else saying)


def _verdict(outlook: Outlook, *, alone: bool) -> tuple[str, str, float | None]:
    """Return the verdict on the whole: what is said, of which zone where not of all, and its chance where good."""
    zones = outlook.own_zones
    if outlook.verdict in ("true", "may"):
        told = say("verdict-word.true") if outlook.verdict == "true" else say("verdict-word.may")
        return told, "", outlook.probability_true
    worst = max(zones, key=lambda zone: (VERDICTS.index(zone.verdict), zone.delta_e00))
    if worst.verdict in ("true", "may"):
        return say("verdict-word.close"), "", None
    said = saying(worst, outlook.target.lab, alone=alone)
    alike = len({saying(zone, outlook.target.lab) for zone in zones}) == 1
    return said, "" if alike or worst.name == "overall" else say(f"zone.{worst.name}"), None


def instead_line(outlook: Outlook, shades: str | None = None) -> str:
    """Say which other shades may be had as it is; ``shades`` is empty where they are named beside it."""
    if not outlook.instead:
        return say("outlook.instead-none")
    likely = outlook.instead[0].chance >= EVEN
    names = (
        " " + ", ".join(shade_name(one.name) for one in outlook.instead) + "." if shades is None else shades
    )
    return say("outlook.instead" if likely else "outlook.instead-near", shades=names)


def needs_line(outlook: Outlook) -> str:
    """Say what it would take."""
    needs = outlook.needs
    if needs is None:
        without = [zone.name for zone in outlook.own_zones if zone.needs is None]
        if len(without) < len(outlook.own_zones) and without:
            return say("outlook.needs-none-zones", zones=listed(without))
        return say("outlook.needs-none")
    told = say(
        "outlook.needs",
        level=at_least(needs.level),
        low=needs.low,
        high=needs.high,
        undertone=outlook.needs_undertone,
    )
    if any(zone.name == "overall" and zone.hair in ("dyed", "toned") for zone in outlook.zones):
        return f"{told}."
    return say("outlook.needs-and-is", needs=told, now=outlook.base_level)


def ratio(parts: Iterable[FormulaPart], clear: str = "clear") -> str:
    """Write how far a formula is diluted, dye to clear, such as '1 : 12' or '3 : 1'."""
    amounts = {part.dye: part.parts for part in parts}
    dye = sum(amount for name, amount in amounts.items() if name != clear)
    if dye <= 20.0 * amounts.get(clear, 0.0):
        less_of_it = min(dye, amounts[clear]) if dye > 0.0 else amounts[clear]
        return say("outlook.ratio", dye=dye / less_of_it, clear=amounts[clear] / less_of_it)
    return say("outlook.undiluted")


def formula_text(parts: Iterable[FormulaPart]) -> str:
    """Write a formula in grams, such as 'violet 2.4 g, pink 1.1 g, clear 56.5 g'."""
    return ", ".join(f"{named('dye', part.dye)} {figure(part.grams, 'g')} g" for part in parts)


def mix_line(zone: ZoneOutlook) -> str:
    """Say what to mix for a zone, or that there is nothing worth mixing."""
    if zone.verdict == "out" or zone.formula is None:
        return say("outlook.no-mix")
    undyed = all(abs(a - b) < 0.05 for a, b in zip(zone.predicted_lab, zone.base_lab, strict=True))
    return say("outlook.no-dye") if undyed else f"{ratio(zone.formula)}: {formula_text(zone.formula)}"


def pieces_line(zone: ZoneOutlook) -> str:
    """Say what becomes of a zone's darkest pieces, where it has several; else nothing."""
    if len(zone.pieces) < 2:
        return ""
    darkest = zone.pieces[0]
    return say(
        "outlook.share",
        share=zone.share_true,
        zone=say(f"zone.{zone.name}"),
        level=darkest.level,
        word=colour_word(darkest.predicted_lab),
    )


def evening_saying(evening: Evening) -> str:
    """Say whether root, mids and ends come out alike."""
    return say(
        f"evening.{evening.outcome}",
        word="" if evening.aim_lab is None else colour_word(evening.aim_lab),
        now=evening.difference,
        then=evening.difference_met,
        zone=evening.zone,
    )
