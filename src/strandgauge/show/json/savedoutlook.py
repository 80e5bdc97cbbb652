"""Reads back an outlook that was saved as ``strandgauge.outlook/1``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from strandgauge.colour.cielab import as_lab
from strandgauge.dye.formula import FormulaPart
from strandgauge.dye.targets import Target
from strandgauge.errors import BadReadingError
from strandgauge.judge.outlook import (
    Alternative,
    Evening,
    Outlook,
    Pretone,
    Shadow,
    StripStep,
    ZoneOutlook,
)

SCHEMA = "strandgauge.outlook/1"


def outlook_from_document(document: Mapping[str, Any], where: str) -> Outlook:
    """Return the outlook that a document holds; ``where`` names it in errors.

    Raises
    ------
    BadReadingError : it is of another schema, or a value is missing or of the wrong kind.
    """
    if document.get("schema") != SCHEMA:
        raise BadReadingError(f"its outlook's schema is not {SCHEMA!r}", where=where)
    try:
        return _outlook(document)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise BadReadingError(f"its outlook lacks a value ({error})", where=where) from error


def _outlook(document: Mapping[str, Any]) -> Outlook:
    target, evening, shadow = document["target"], document["evenness"], document["shadow_root"]
    return Outlook(
        target=Target(target["name"], as_lab(target["lab"])),
        verdict=document["verdict"],
        probability_true=float(document["probability_true"]),
        zones=tuple(_zone(zone) for zone in document["zones"]),
        base_level=float(document["base_level"]),
        needs_level=None if document["needs_level"] is None else float(document["needs_level"]),
        needs_undertone=document["needs_undertone"],
        strip=tuple(
            StripStep(
                float(step["level"]),
                as_lab(step["base_lab"]),
                as_lab(step["predicted_lab"]),
                float(step["delta_e00"]),
            )
            for step in document["strip"]
        ),
        instead=tuple(
            Alternative(
                one["name"], as_lab(one["lab"]), as_lab(one["predicted_lab"]), float(one["delta_e00"])
            )
            for one in document["instead"]
        ),
        evening=None
        if evening is None
        else Evening(
            float(evening["delta_e00_between_zones"]),
            float(evening["delta_e00_when_met"]),
            tuple((one["name"], _formula(one["formula"])) for one in evening["formulas"]),
            evening["saying"],
        ),
        shadow=Shadow(
            float(shadow["level"]),
            as_lab(shadow["predicted_lab"]),
            float(shadow["delta_e00"]),
            _formula(shadow["formula"]),
        ),
        cautions=tuple(document["cautions"]),
        bowl=float(document["bowl_grams"]),
    )


def _zone(zone: Mapping[str, Any]) -> ZoneOutlook:
    pretone = zone["pretone"]
    return ZoneOutlook(
        name=zone["name"],
        base_lab=as_lab(zone["base_lab"]),
        predicted_lab=as_lab(zone["predicted_lab"]),
        predicted_lab_sd=as_lab(zone["predicted_lab_sd"]),
        delta_e00=float(zone["delta_e00"]),
        verdict=zone["verdict"],
        saying=zone["saying"],
        probability_true=float(zone["probability_true"]),
        formula=_formula(zone["formula"]),
        pretone=None
        if pretone is None
        else Pretone(
            pretone["hue"],
            _formula(pretone["formula"]),
            as_lab(pretone["base_after_lab"]),
            float(pretone["delta_e00_without"]),
        ),
        unadjusted_lab=as_lab(zone["unadjusted_lab"]),
        unadjusted_saying=zone["unadjusted_word"],
    )


def _formula(parts: list[Mapping[str, Any]]) -> tuple[FormulaPart, ...]:
    return tuple(FormulaPart(part["dye"], float(part["parts"]), float(part["grams"])) for part in parts)
