"""In what the published documents of readings, and of what follows from them, differ from the records.

``docs/schemas`` is made from this by ``python -m strandgauge.cli.schemas docs/schemas``. The documents are only
ever added to.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import get_args

from strandgauge.change.compare import Change, ChangeCode, ColourChange, Part, Quantity, StainChange, Step
from strandgauge.codes.bounds import NotNegative
from strandgauge.codes.facts import Note
from strandgauge.colour.cielab import Lab
from strandgauge.colour.names import colour_word
from strandgauge.dye.mix import Mixed, MixPrediction
from strandgauge.dye.shelf import Dye, Shelf
from strandgauge.dye.targets import Target
from strandgauge.errors import Told
from strandgauge.judge.outlook import Evening, Outlook, ZoneOutlook
from strandgauge.judge.plan import Plan, PlanStep
from strandgauge.lift.advice import Advice
from strandgauge.lift.curve import Estimate, LiftCurve
from strandgauge.reading.evenness import LIMITS, Evenness, evenness
from strandgauge.reading.model import CardCheck, Reading, ZoneReading
from strandgauge.show.json.serialiser import Document, filled, shape, short
from strandgauge.words import judge as outlooks
from strandgauge.words import lift as lifts
from strandgauge.words import said
from strandgauge.words.check import remedies

CODE = {"pattern": "^[a-z0-9-]+$"}
Texts = tuple[str, ...]


# --- readings -------------------------------------------------------------------------------------------


def _evenness(reading: Reading) -> Evenness:
    """Judge evenness by the numbers that the document states, so that it is the same once read back."""
    root, mids, ends = (
        replace(zone, level=short(zone.level), level_sd=short(zone.level_sd)) for zone in reading.zones
    )
    near, far = reading.zone_correlation
    stated = replace(reading, zones=(root, mids, ends), zone_correlation=(short(near), short(far)))
    return evenness(stated)


def _named(name: str) -> Document:
    return {"properties": {"name": {"const": name}}}


shape(
    Reading,
    schema="strandgauge.reading/1",
    title="A strand's reading",
    order="photo card illuminant observer ladder wet card_fit evenness",
    added={"illuminant": "D65", "observer": "2", "evenness": (Evenness, _evenness)},
    more={
        "allOf": [
            {
                "properties": {
                    "overall": _named("overall"),
                    "zones": {"prefixItems": [_named(name) for name in ("root", "mids", "ends")]},
                }
            }
        ]
    },
)


def _contract(code: str) -> str:
    """Return what documents call a code: the words in which they were first published, whatever is said of it now."""
    return "no measurable change" if code == "no-change" else code.replace("-", " ")


shape(
    Evenness,
    order="word code level_range",
    hidden="odd apart",
    added={"word": (str, lambda even: _contract(even.code))},
    more={"properties": {"word": {"enum": [_contract(code) for _, code in LIMITS]}}},
)
shape(
    ZoneReading,
    more={"properties": {"level_shares": {"propertyNames": {"pattern": "^([1-9]|1[0-9])$"}}}},
)


def _with_facts(document: Document) -> Document:
    """Return a note; one saved before notes had facts keeps the sentence that it was saved with."""
    if "facts" in document or "message" not in document:
        return document
    return {**document, "severity": "note", "facts": {"said": document["message"]}}


shape(
    Note,
    order="code message severity facts",
    pairs="facts",
    added={"message": (str, said)},
    mend=_with_facts,
    more={"properties": {"code": CODE, "message": {"minLength": 1}}},
)

shape(
    CardCheck,
    schema="strandgauge.check/1",
    title="Whether card and light in a photo are fit for a reading",
    added={"remedies": (Texts, remedies)},
)
shape(
    Told,
    schema="strandgauge.error/1",
    title="An error",
    more={
        "required": ["schema", "code", "message", "remedy"],
        "properties": {"code": CODE, "message": {"minLength": 1}},
    },
)


# --- outlooks and mixes ---------------------------------------------------------------------------------


_PREDICTED_WORD = (str, lambda one: colour_word(one.predicted_lab))


def _judged_as_now(document: Document) -> Document:
    """Bring an outlook of before there were chances and advice up to what it is now."""
    if "advice" in document:
        return document
    level = document.get("needs_level")
    told = [
        {"code": "as-saved", "severity": "note", "facts": {"said": text}}
        for text in document.get("cautions", [])
    ]
    renewed = {
        **document,
        "needs": None if level is None else {"level": level, "low": level, "high": level},
        "advice": [],
        "cautions_coded": told,
    }
    zones = document.get("zones")
    if isinstance(zones, list):
        renewed["zones"] = [{**zone, "verdict": _verdict_now(zone.get("verdict"))} for zone in zones]
    return {**renewed, "verdict": _verdict_now(document.get("verdict"))}


def _verdict_now(verdict: object) -> object:
    return "out" if verdict == "out of reach" else verdict


shape(Advice, pairs="facts", added={"sentences": (Texts, outlooks.why_sentences)})
shape(
    Outlook,
    schema="strandgauge.outlook/1",
    title="Whether a wanted shade reads true, and what gets there",
    order="target verdict chance needs advice probability_true bowl_grams base_level",
    names={
        "bowl": "bowl_grams",
        "evening": "evenness",
        "shadow": "shadow_root",
        "cautions": "cautions_coded",
    },
    added={
        "chance": (float, attrgetter("probability_true")),
        "needs_level": (float | None, attrgetter("needs_level")),
        "cautions": (Texts, lambda outlook: tuple(map(said, outlook.cautions))),
    },
    renew=_judged_as_now,
)
shape(PlanStep, pairs="facts")
shape(
    Plan,
    schema="strandgauge.plan/1",
    title="An appointment by zone, and what comes after it",
    order="target chance calibrated uptake steps fade refresh refresh_after outlook",
)
shape(
    ZoneOutlook,
    order="name verdict chance needs base_lab predicted_lab predicted_lab_sd predicted_word",
    added={
        "predicted_word": _PREDICTED_WORD,
        "saying": (str, outlooks.saying),
        "unadjusted_word": (str, lambda zone: colour_word(zone.unadjusted_lab)),
        "chance": (float, attrgetter("probability_true")),
    },
)
shape(
    Evening,
    order="delta_e00_between_zones delta_e00_when_met saying",
    names={"difference": "delta_e00_between_zones", "difference_met": "delta_e00_when_met"},
    added={"saying": (str, outlooks.evening_saying)},
)
shape(MixPrediction, added={"predicted_word": _PREDICTED_WORD})


shape(
    Mixed,
    schema="strandgauge.mix/1",
    title="What a mix makes of a base",
    order="base_lab predicted_lab predicted_lab_sd predicted_word",
    added={
        "base_lab": (Lab, attrgetter("whole.base_lab")),
        "predicted_lab": (Lab, attrgetter("whole.predicted_lab")),
        "predicted_lab_sd": (Lab, attrgetter("whole.predicted_lab_sd")),
        "predicted_word": (str, lambda mixed: colour_word(mixed.whole.predicted_lab)),
    },
)


@dataclass(frozen=True, slots=True)
class TargetsList:
    """The wanted shades that have a name."""

    targets: tuple[Target, ...]


@dataclass(frozen=True, slots=True)
class ShownDye:
    """A dye, with its colour on level 10 hair."""

    name: str
    ingredients: tuple[str, ...]
    """INCI or Colour Index names; empty for a learned dye."""
    source: str
    fluorescent: bool
    lab_error: NotNegative
    """CIEDE2000 to expect on other hair; 0 where not known."""
    diluted_lab: Lab
    """One part in ten."""
    undiluted_lab: Lab


@dataclass(frozen=True, slots=True)
class DyesList:
    """The shelf."""

    clear: str
    """What dilutes the dyes and adds no colour."""
    dyes: tuple[ShownDye, ...]


shape(TargetsList, schema="strandgauge.targets-list/1", title="The wanted shades that have a name")
shape(DyesList, schema="strandgauge.dyes-list/1", title="The dyes on the shelf")


def dyes_list(shelf: Shelf, shown: Iterable[tuple[Dye, Lab, Lab]]) -> DyesList:
    """Return the shelf, each dye with its colour one part in ten and undiluted."""
    return DyesList(
        shelf.clear,
        tuple(filled(ShownDye, dye, diluted_lab=diluted, undiluted_lab=full) for dye, diluted, full in shown),
    )


# --- changes and lift curves ----------------------------------------------------------------------------


def _with_code(document: Document) -> Document:
    """Return something judged; one saved before verdicts had codes tells it by its sentence."""
    if "code" in document or "verdict" not in document:
        return document
    codes = {_contract(code): code for code in get_args(ChangeCode)}
    return {**document, "code": codes.get(document["verdict"], document["verdict"])}


_VERDICT = (str, lambda judged: _contract(judged.verdict))
_JUDGED: Document = {"names": {"verdict": "code"}, "mend": _with_code}


shape(
    Change,
    schema="strandgauge.change/1",
    title="What changed between readings of a strand",
    order="ladder",
)
shape(Step, order="before after evenness overall zones")
shape(
    Quantity,
    order="before after change sd low high measurable verdict",
    added={"measurable": (bool, attrgetter("measurable")), "verdict": _VERDICT},
    **_JUDGED,
)
shape(Part, order="value sd low high verdict", added={"verdict": _VERDICT}, **_JUDGED)
shape(
    ColourChange,
    order="delta_e00 low high from_noise chi_square verdict code",
    added={"verdict": _VERDICT},
    more={"properties": {"verdict": {"enum": [_contract(code) for code in ("changed", "no-change")]}}},
    **_JUDGED,
)
shape(StainChange, order="before after")


shape(
    LiftCurve,
    schema="strandgauge.lift-curve/1",
    title="How one strand lifts over time, and what follows; null where not known or never",
    order="zone ladder from_start state stop headline advice sentences stop_signs target needs_level limit_minutes "
    "next_look_minutes level_now levels_in_10_minutes plateau_level minutes_to_need chance_in_time looks curve",
    names={
        "limit": "limit_minutes",
        "next_look": "next_look_minutes",
        "rate": "levels_in_10_minutes",
        "plateau": "plateau_level",
        "points": "curve",
    },
    added={
        "headline": (str, lifts.headline),
        "sentences": (Texts, lifts.sentences),
        "stop_signs": (Texts, lambda _: lifts.stop_signs()),
    },
)
shape(Estimate, endless="value low high")
