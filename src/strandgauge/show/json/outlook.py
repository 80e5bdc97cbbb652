"""Outlooks, mixes and what is on the shelf as plain dictionaries, ready for JSON.

The shapes are published as JSON Schemas in ``docs/schemas`` and are only ever added to.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from strandgauge.colour.names import colour_word
from strandgauge.dye.formula import FormulaPart
from strandgauge.dye.mix import Mix, MixPrediction
from strandgauge.dye.palette import Dye, Palette
from strandgauge.dye.targets import Target
from strandgauge.judge.outlook import Outlook, Pretone, ZoneOutlook
from strandgauge.show.json.reading import short, shorts

Document = dict[str, Any]


def mix_document(mix: Mix, predictions: Iterable[tuple[str, MixPrediction]]) -> Document:
    """Return a predicted mix as ``strandgauge.mix/1``; the whole first, further zones under ``zones``."""
    rows = list(predictions)
    whole = next((one for name, one in rows if name == "overall"), rows[0][1])
    return {
        "schema": "strandgauge.mix/1",
        **_prediction(whole),
        "mix": [{"dye": name, "parts": amount} for name, amount in mix.parts],
        "zones": [{"name": name, **_prediction(one)} for name, one in rows],
    }


def outlook_document(outlook: Outlook) -> Document:
    """Return an outlook as ``strandgauge.outlook/1``."""
    evening, shadow = outlook.evening, outlook.shadow
    return {
        "schema": "strandgauge.outlook/1",
        "target": {"name": outlook.target.name, "lab": shorts(outlook.target.lab)},
        "verdict": outlook.verdict,
        "probability_true": short(outlook.probability_true),
        "bowl_grams": outlook.bowl,
        "base_level": short(outlook.base_level),
        "zones": [_zone(zone) for zone in outlook.zones],
        "needs_level": None if outlook.needs_level is None else short(outlook.needs_level),
        "needs_undertone": outlook.needs_undertone,
        "strip": [
            {
                "level": step.level,
                "base_lab": shorts(step.base_lab),
                "predicted_lab": shorts(step.predicted_lab),
                "delta_e00": short(step.delta_e00),
            }
            for step in outlook.strip
        ],
        "instead": [
            {
                "name": one.name,
                "lab": shorts(one.lab),
                "predicted_lab": shorts(one.predicted_lab),
                "delta_e00": short(one.delta_e00),
            }
            for one in outlook.instead
        ],
        "evenness": None
        if evening is None
        else {
            "delta_e00_between_zones": short(evening.difference),
            "delta_e00_when_met": short(evening.difference_met),
            "saying": evening.saying,
            "formulas": [{"name": name, "formula": _formula(parts)} for name, parts in evening.formulas],
        },
        "shadow_root": {
            "level": short(shadow.level),
            "predicted_lab": shorts(shadow.predicted_lab),
            "delta_e00": short(shadow.delta_e00),
            "formula": _formula(shadow.formula),
        },
        "cautions": list(outlook.cautions),
    }


def targets_document(targets: Iterable[Target]) -> Document:
    """Return the wanted shades as ``strandgauge.targets-list/1``."""
    return {
        "schema": "strandgauge.targets-list/1",
        "targets": [{"name": one.name, "lab": shorts(one.lab)} for one in targets],
    }


def dyes_document(
    palette: Palette, shown: Iterable[tuple[Dye, tuple[float, ...], tuple[float, ...]]]
) -> Document:
    """Return the shelf as ``strandgauge.dyes-list/1``: each dye with its colour diluted and undiluted."""
    return {
        "schema": "strandgauge.dyes-list/1",
        "clear": palette.clear,
        "dyes": [
            {
                "name": dye.name,
                "ingredients": list(dye.ingredients),
                "source": dye.source,
                "fluorescent": dye.fluorescent,
                "lab_error": short(dye.lab_error),
                "diluted_lab": shorts(diluted),
                "undiluted_lab": shorts(full),
            }
            for dye, diluted, full in shown
        ],
    }


def learned_document(dye: Dye, file: str | None) -> Document:
    """Return a learned dye as ``strandgauge.learned-dye/1``."""
    return {
        "schema": "strandgauge.learned-dye/1",
        "name": dye.name,
        "curve": [round(float(value), 4) for value in dye.curve],
        "lab_error": short(dye.lab_error),
        "source": dye.source,
        "file": file,
    }


def _zone(zone: ZoneOutlook) -> Document:
    return {
        "name": zone.name,
        "base_lab": shorts(zone.base_lab),
        "predicted_lab": shorts(zone.predicted_lab),
        "predicted_lab_sd": shorts(zone.predicted_lab_sd),
        "predicted_word": colour_word(zone.predicted_lab),
        "delta_e00": short(zone.delta_e00),
        "verdict": zone.verdict,
        "saying": zone.saying,
        "probability_true": short(zone.probability_true),
        "formula": _formula(zone.formula),
        "pretone": _pretone(zone.pretone),
        "unadjusted_lab": shorts(zone.unadjusted_lab),
        "unadjusted_word": zone.unadjusted_saying,
    }


def _pretone(pretone: Pretone | None) -> Document | None:
    if pretone is None:
        return None
    return {
        "hue": pretone.hue,
        "formula": _formula(pretone.formula),
        "base_after_lab": shorts(pretone.base_after_lab),
        "delta_e00_without": short(pretone.delta_e00_without),
    }


def _formula(parts: Iterable[FormulaPart]) -> list[Document]:
    return [{"dye": part.dye, "parts": part.parts, "grams": part.grams} for part in parts]


def _prediction(one: MixPrediction) -> Document:
    return {
        "base_lab": shorts(one.base_lab),
        "predicted_lab": shorts(one.predicted_lab),
        "predicted_lab_sd": shorts(one.predicted_lab_sd),
        "predicted_word": colour_word(one.predicted_lab),
    }
