"""What to do next, decided once and from facts: what reach, plan, follow, batches and the phone page all say.

The rules are common practice of the trade, no source; the limits are own choice, on the careful side. Whatever speaks
most strongly for stopping comes first. Nothing here says that hair can bear more.
"""

from __future__ import annotations

from strandgauge.colour.cielab import Lab, chroma, hue_deg
from strandgauge.hair.levels import level_at_least
from strandgauge.judge.history import History
from strandgauge.judge.outlook import Outlook, ZoneOutlook
from strandgauge.lift.advice import Advice, Do

MOST_LIFT = 3.5
"""Levels of further lift that may be asked of hair whose history is not known ..."""
MOST_LIFT_VIRGIN = 5.0
"""... of hair that nothing was done to ..."""
MOST_LIFT_BOX = 2.0
"""... of hair with permanent colour in it ..."""
MOST_LIFT_AGAIN = 1.5
"""... and of hair that was lightened before."""
LEAST_LIFT = 0.3
"""Levels of further lift below which none is asked for."""
REST_WEEKS = 2.0
"""Weeks that hair rests between two rounds of lightener, or after a perm."""
MOST_ROUNDS = 3
"""Rounds of lightener after which no further one is asked for."""
DEPTH_THERE = 7.3
"""Level up to which a shade that reads true is deposited: nobody would think it pale enough for a toner."""
FILL_FROM = 7.5
FILL_STEPS = 3.0
"""Levels that lifted hair goes darker, toward a brown, from which it is filled first."""
TONER_LIGHTNESS = 58.0
TONER_CHROMA = 20.0

_NOTHING_MORE = ("scalp-broken", "patch-reacted", "gummy")
"""Reasons to stop after which nothing goes on today, no colour either."""
_DARKER_ROOT = 1.0
"""Levels by which a root is darker than the lengths for a melt to be made of it."""


def advise(outlook: Outlook, history: History) -> tuple[Advice, ...]:
    """Say what to do before lightener goes on, most pressing first."""
    stops = _stops(history)
    if any(stop.why[0] in _NOTHING_MORE for stop in stops):
        return tuple(stops)
    zones = outlook.own_zones
    found: list[Advice] = []
    for zone in zones:
        found += _for_zone(zone, zones, outlook, history)
    if stops:
        found = [one for one in found if one.do != "lift"]
    # What the lengths cannot have is said before how the rest would take it.
    found.sort(key=lambda one: one.zone == "root" or one.do not in ("stop-history", "choose-another"))
    return tuple(_once([*stops, *_asked_first(found, zones, history), *found]))


def _once(advice: list[Advice]) -> list[Advice]:
    seen: set[tuple[str, str]] = set()
    kept = []
    for one in advice:
        if (one.zone, one.do) not in seen:
            seen.add((one.zone, one.do))
            kept.append(one)
    return kept


def _stops(history: History) -> list[Advice]:
    """Return what forbids going on, from what was told."""
    found = []
    if history.scalp == "broken":
        found.append(Advice("overall", "stop-condition", ("scalp-broken",)))
    if history.patch_test == "reacted":
        found.append(Advice("overall", "stop-condition", ("patch-reacted",)))
    if history.stretch == "gummy":
        found.append(Advice("overall", "stop-condition", ("gummy",)))
    if history.scalp == "sore":
        found += [Advice("overall", do, ("scalp-sore",)) for do in ("stop-condition", "wait")]
    if history.stretch == "slow":
        found.append(Advice("overall", "stop-condition", ("slow-stretch",)))
    return found


def _asked_first(found: list[Advice], zones: list[ZoneOutlook], history: History) -> list[Advice]:
    """Return what has to be asked or tested before any of the rest."""
    first = []
    lightener = any(one.do == "lift" or "too-far" in one.why for one in found)
    green = [zone for zone in zones if zone.hair == "dyed" and _is_green(zone)]
    if green and history.direct_dye is None and any(one.do in ("remove-dye", "clarify") for one in found):
        first.append(Advice(green[0].name, "metal-test", ("green-cast",)))
    wanted = lightener or any(one.do in ("choose-another", "stop-history") for one in found)
    if wanted and (history.metallic or history.henna):
        first.append(Advice("overall", "metal-test", ("metallic",) if history.metallic else ("henna",)))
    unknown = not history.asked
    old = any(zone.hair in ("dyed", "toned") for zone in zones) and history.direct_dye is None
    if unknown and lightener:
        first.append(Advice("overall", "ask-history", ("lift-unknown",)))
    elif unknown and (any(zone.red for zone in zones) or (old and any(_washes(one) for one in found))):
        first.append(Advice("overall", "ask-history", ("old-colour-unknown",)))
    return first


def _washes(one: Advice) -> bool:
    return one.do in ("clarify", "remove-dye")


def _is_green(zone: ZoneOutlook) -> bool:
    return zone.cast in ("green", "blue-green")


# --- one zone -------------------------------------------------------------------------------------------


def _for_zone(
    zone: ZoneOutlook, zones: list[ZoneOutlook], outlook: Outlook, history: History
) -> list[Advice]:
    if zone.verdict in ("true", "may"):
        why = "reads-true" if zone.verdict == outlook.verdict == "true" else "may-read-true"
        return _colour(zone, outlook, (why,))
    if zone.hair == "dyed":
        return _wash(zone, "old-dye")
    if zone.hair == "toned":
        return _wash(zone, "over-toned")
    found = _way_up(zone, outlook, history)
    if zone.name == "root" and _melts(zone, zones):
        found.insert(0, Advice(zone.name, "melt-root", ("root-darker",)))
        found = [one for one in found if one.do != "choose-another"]
    return found


def _melts(root: ZoneOutlook, zones: list[ZoneOutlook]) -> bool:
    return any(
        zone.verdict in ("true", "may", "close") and zone.level >= root.level + _DARKER_ROOT
        for zone in zones
        if zone.name in ("mids", "ends")
    )


def _wash(zone: ZoneOutlook, why: str) -> list[Advice]:
    """Return ways to be rid of what lies on the hair: washing for a little, a remover for much, time for both."""
    facts = () if zone.cast is None else (("cast", zone.cast),)
    if why == "over-toned" or zone.slight:
        return [Advice(zone.name, do, (why,), facts) for do in ("clarify", "wait")]
    return [Advice(zone.name, "remove-dye", (why,), facts)]


def _way_up(zone: ZoneOutlook, outlook: Outlook, history: History) -> list[Advice]:
    """Return lightener where that is what is missing and may be asked of this hair; else another way."""
    if zone.needs is None:
        return [Advice(zone.name, "choose-another", ("no-lift-helps",))]
    more = zone.needs.level - zone.level
    needs, level = level_at_least(zone.needs.level), round(zone.level, 1)
    facts = (("levels", round(needs - level, 1)), ("needs", needs), ("level", level))
    if more < max(LEAST_LIFT, zone.level_sd):
        # Lightener for less than the reading can tell apart would be lightener for noise.
        again = [Advice(zone.name, "look-again", ("within-noise",), facts)] if more > 0.0 else []
        if zone.verdict == "close":
            return [*_colour(zone, outlook, ("close",)), *again]
        return again or [Advice(zone.name, "choose-another", ("no-lift-helps",))]
    if zone.red and not history.asked:
        return [Advice("overall", "ask-history", ("old-colour-unknown",))]
    barred, most = _limits(zone, history)
    if barred and zone.verdict == "close":
        return [Advice(zone.name, "stop-history", barred, facts), *_colour(zone, outlook, ("close",))]
    if barred:
        rest = [Advice(zone.name, "wait", barred, facts)] if barred[0] in _RESTS else []
        return [Advice(zone.name, "stop-history", barred, facts), *rest, *_otherwise(zone, facts)]
    if history.metallic or history.henna:
        return [Advice(zone.name, "choose-another", ("metal-first",), facts)]
    if more > most:
        if zone.verdict == "close":
            return _colour(zone, outlook, ("close",))
        return [Advice(zone.name, "choose-another", ("too-far",), facts)]
    why = (
        "regrowth"
        if zone.name == "root" and history.lightened and "root" not in history.lightened
        else "too-dark"
    )
    lift = Advice(zone.name, "lift", (why,), facts)
    near = zone.verdict == "close" and more <= 2.0 * LEAST_LIFT + 0.2
    return [*(_colour(zone, outlook, ("close",)) if near else []), lift]


def _otherwise(zone: ZoneOutlook, facts: tuple[tuple[str, float], ...]) -> list[Advice]:
    return [Advice(zone.name, "choose-another", ("no-more-lift",), facts)]


_RESTS = ("lightened-lately", "permed-lately")


def _limits(zone: ZoneOutlook, history: History) -> tuple[tuple[str, ...], float]:
    """Return what forbids lightener on a zone, and the most levels that may be asked where nothing does."""
    barred: list[str] = []
    before = history.was_lightened(zone.name)
    if history.persulfate_allergy:
        barred.append("persulfate")
    if history.metallic:
        barred.append("metallic")
    if history.relaxer or history.relaxer_weeks is not None:
        barred.append("relaxed")
    if history.perm_weeks is not None and history.perm_weeks < REST_WEEKS:
        barred.append("permed-lately")
    if before and history.lightened_weeks is not None and history.lightened_weeks < REST_WEEKS:
        barred.append("lightened-lately")
    if history.porosity_of(zone.name) == "high":
        barred.append("porous")
    if before and (history.lightened_times or 0) >= MOST_ROUNDS:
        barred.append("rounds")
    if before and zone.name == "ends":
        barred.append("bleached-ends")
    most = MOST_LIFT_AGAIN if before else MOST_LIFT_BOX if history.box else MOST_LIFT
    return tuple(barred), MOST_LIFT_VIRGIN if history.virgin else most


def _colour(zone: ZoneOutlook, outlook: Outlook, why: tuple[str, ...]) -> list[Advice]:
    """Return how the shade goes on this zone, no lightener in it."""
    target = outlook.target.lab
    facts = (("chance", round(zone.probability_true, 3)),)
    found = []
    darker = zone.level - outlook.target_level
    if zone.level >= FILL_FROM and darker >= FILL_STEPS and is_brown(target) and zone.hair != "natural":
        found.append(Advice(zone.name, "fill", ("goes-darker",), (("levels", round(darker, 1)),)))
    if zone.pretone is not None:
        found.append(Advice(zone.name, "neutralise", ("warmth-shows",)))
    do: Do = "dye"
    if zone.level <= DEPTH_THERE or (found[:1] and found[0].do == "fill"):
        do, why = "deposit", (*why, "depth-is-there")
    elif target[0] >= TONER_LIGHTNESS and float(chroma(target)) <= TONER_CHROMA:
        do = "tone"
    found.append(Advice(zone.name, do, why, facts))
    return found


def is_brown(lab: Lab) -> bool:
    """Whether a shade is a natural brown or black, which lifted hair holds only when its warmth is put back first."""
    depth, strength = lab[0], float(chroma(lab))
    if depth <= 20.0 and strength < 5.0:
        return True
    return depth <= 42.0 and 4.0 <= strength <= 26.0 and 30.0 <= float(hue_deg(lab)) <= 95.0
