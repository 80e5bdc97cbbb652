"""The consultation: what is asked of a client once, as taps, kept with the client, and heeded by every outlook."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, get_args

from starlette.datastructures import FormData

from strandgauge.errors import BadHistoryError
from strandgauge.judge.history import (
    NOTHING_TOLD,
    SCHEMA,
    ZONES,
    History,
    PatchTest,
    Porosity,
    Scalp,
    history_from,
)
from strandgauge.words import say

YES_NO = (
    "virgin",
    "box",
    "henna",
    "metallic",
    "direct_dye",
    "toner",
    "relaxer",
    "perm",
    "natural_white",
    "persulfate_allergy",
    "minor",
)
CHOICES: Mapping[str, tuple[str, ...]] = {
    "scalp": get_args(Scalp),
    "patch_test": get_args(PatchTest),
    "porosity": get_args(Porosity),
}


@dataclass(frozen=True, slots=True)
class Question:
    """One question, and how it was answered."""

    key: str
    words: str
    answers: tuple[tuple[str, str], ...]
    """Values and their words."""
    given: tuple[str, ...]
    """Values that were given; several only where several may be."""
    several: bool = False


def questions(kept: Mapping[str, Any] | None) -> tuple[Question, ...]:
    """Return all questions, with what was answered before."""
    told = kept or {}
    yes_no = (("yes", say("ask.yes")), ("no", say("ask.no")))
    offered: dict[str, tuple[tuple[str, str], ...]] = {
        "virgin": yes_no,
        "lightened": tuple((zone, say(f"zone.{zone}")) for zone in ZONES),
        **dict.fromkeys(YES_NO, yes_no),
        **{key: tuple((one, one) for one in values) for key, values in CHOICES.items()},
    }
    return tuple(
        Question(key, say(f"ask.{key}"), answers, _given(told.get(key)), several=key == "lightened")
        for key, answers in offered.items()
    )


def _given(told: object) -> tuple[str, ...]:
    if told is None or isinstance(told, bool):
        return () if told is None else ("yes" if told else "no",)
    return tuple(told) if isinstance(told, list | tuple) else (str(told),)


def told_by(form: FormData) -> dict[str, Any]:
    """Return what a form tells, as it is kept; what was not asked is left out.

    Raises
    ------
    BadHistoryError : a value is none.
    """
    told: dict[str, Any] = {key: form[key] == "yes" for key in YES_NO if form.get(key) in ("yes", "no")}
    told |= {key: form[key] for key in CHOICES if form.get(key)}
    if zones := [str(zone) for zone in form.getlist("lightened")]:
        told["lightened"] = zones
    history_from(told)
    return {"schema": SCHEMA, **told}


def history_of(kept: Mapping[str, Any] | None) -> History:
    """Return the history that was kept of a client; what cannot be read back counts as not asked."""
    told = {key: value for key, value in (kept or {}).items() if key != "schema"}
    try:
        return history_from(told)
    except BadHistoryError:
        return NOTHING_TOLD
