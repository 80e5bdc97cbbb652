"""What was asked of the client before anything else: the history that colour cannot show.

A file of it (``strandgauge.history/1``) holds the fields of `History` as keys; whatever was not asked is left out.
The same keys are taken one by one as ``key=value`` texts, for a command line or a form.
"""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, get_args

from strandgauge.errors import BadHistoryError
from strandgauge.files.toml import read_toml
from strandgauge.hair.stretch import STRETCH_ANSWERS, Stretch
from strandgauge.strand.names import ZoneName

SCHEMA = "strandgauge.history/1"
ZONES: tuple[ZoneName, ...] = ("root", "mids", "ends")

Porosity = Literal["low", "normal", "high"]
Scalp = Literal["fine", "sore", "broken"]
PatchTest = Literal["passed", "due", "reacted"]
_WORDS: dict[str, tuple[str, ...]] = {
    "scalp": get_args(Scalp),
    "patch_test": get_args(PatchTest),
    "stretch": STRETCH_ANSWERS,
}


@dataclass(frozen=True, slots=True)
class History:
    """What is known of the hair and its head; None and empty where it was not asked."""

    virgin: bool | None = None
    """Never coloured, lightened, relaxed or permed."""
    natural_white: bool | None = None
    lightened: tuple[ZoneName, ...] = ()
    """Zones that lightener has been on before."""
    lightened_weeks: float | None = None
    """Weeks since then."""
    lightened_times: int | None = None
    box: bool | None = None
    """Dye out of a box, or any permanent colour, of unknown kind."""
    henna: bool | None = None
    metallic: bool | None = None
    """Progressive or metallic dye."""
    toner: bool | None = None
    """A toner lies on the hair."""
    direct_dye: str | None = None
    """Its colour, or 'yes'."""
    direct_dye_weeks: float | None = None
    relaxer: bool | None = None
    relaxer_weeks: float | None = None
    perm: bool | None = None
    perm_weeks: float | None = None
    porosity: tuple[tuple[ZoneName, Porosity], ...] = ()
    scalp: Scalp | None = None
    patch_test: PatchTest | None = None
    persulfate_allergy: bool | None = None
    """Allergy to, or asthma from, persulfates."""
    minor: bool | None = None
    uptake: float | None = None
    """How much dye this hair takes up against the forecast, learned from a photo of a dyed result; 1 as foretold."""
    stretch: Stretch | None = None
    """What a few wet hairs last did when they were stretched."""

    @property
    def asked(self) -> bool:
        """Whether enough is known for lightener to be spoken of: what lies in the hair, or that nothing does."""
        return bool(self.lightened) or any(
            told is not None
            for told in (self.virgin, self.box, self.henna, self.metallic, self.natural_white, self.relaxer)
        )

    def porosity_of(self, zone: str) -> Porosity | None:
        """Return the porosity of a zone; that of the most porous zone for the strand overall."""
        told = [word for name, word in self.porosity if zone in ("overall", name)]
        return max(told, key=get_args(Porosity).index, default=None)

    def was_lightened(self, zone: str) -> bool:
        """Whether lightener has been on a zone; on any of it for the strand overall."""
        return bool(self.lightened) if zone == "overall" else zone in self.lightened


NOTHING_TOLD = History()


def load_history(path: Path) -> History:
    """Read a history file.

    Raises
    ------
    BadHistoryError : it cannot be read, is of another schema, or a value is wrong; the line is named.
    """
    file = read_toml(path, BadHistoryError, "history", name=str(path))
    if file.data.get("schema") != SCHEMA:
        raise BadHistoryError(where=file.where("schema"), fault="schema", schema=SCHEMA)
    told = {key: value for key, value in file.data.items() if key != "schema"}
    history = NOTHING_TOLD
    for key, value in told.items():
        try:
            history = history_from({key: value}, history)
        except BadHistoryError as error:
            raise BadHistoryError(error.message, where=file.where(key)) from None
    return history


def history_told(texts: Iterable[str], before: History = NOTHING_TOLD) -> History:
    """Return a history with facts such as ``henna=yes``, ``lightened=mids,ends`` or ``porosity.ends=high`` put in.

    Raises
    ------
    BadHistoryError : a text is malformed, or its key or value is none.
    """
    history = before
    for text in texts:
        key, equals, value = (part.strip() for part in text.partition("="))
        if not equals:
            value = "yes"
        name, _, zone = key.partition(".")
        told: Any = _value(value)
        if name == "lightened" and isinstance(told, str):
            told = [part.strip() for part in told.split(",")]
        history = history_from({name: {zone: told} if zone else told}, history)
    return history


def _value(text: str) -> Any:  # noqa: ANN401 - whatever the text stands for
    if text.casefold() in ("yes", "no"):
        return text.casefold() == "yes"
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


def history_from(told: Mapping[str, Any], before: History = NOTHING_TOLD) -> History:
    """Return a history with the facts of a mapping, as a file holds them, put in.

    Raises
    ------
    BadHistoryError : a key is none, or a value is of the wrong kind.
    """
    kinds = {field.name: str(field.type) for field in dataclasses.fields(History)}
    found: dict[str, Any] = {}
    for key, value in told.items():
        if key not in kinds:
            raise BadHistoryError(fault="unknown", key=key, known=", ".join(kinds))
        found[key] = _checked(key, kinds[key], value)
    if "porosity" in found:
        found["porosity"] = tuple({**dict(before.porosity), **dict(found["porosity"])}.items())
    return replace(before, **found)


def _checked(key: str, kind: str, value: object) -> object:
    if key == "lightened":
        return _zones(value)
    if key == "porosity":
        return _porosity(value)
    if key in _WORDS:
        if value not in _WORDS[key]:
            raise BadHistoryError(fault="no-choice", key=key, known=", ".join(_WORDS[key]))
        return value
    if key == "direct_dye":
        if isinstance(value, bool):
            return "yes" if value else None
        if isinstance(value, str) and value.strip():
            return value.strip()
        raise BadHistoryError(fault="direct-dye")
    if kind.startswith("bool"):
        if not isinstance(value, bool):
            raise BadHistoryError(fault="yes-no", key=key)
        return value
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value < 5000.0:
        raise BadHistoryError(fault="number", key=key)
    return int(value) if kind.startswith("int") else float(value)


def _zones(value: object) -> tuple[ZoneName, ...]:
    if isinstance(value, bool):
        return ZONES if value else ()
    names = value if isinstance(value, list) else [value]
    if not all(name in ZONES for name in names):
        raise BadHistoryError(fault="zones", known=", ".join(ZONES))
    return tuple(zone for zone in ZONES if zone in names)


def _porosity(value: object) -> tuple[tuple[ZoneName, Porosity], ...]:
    words = get_args(Porosity)
    if value in words:
        value = dict.fromkeys(ZONES, value)
    if not isinstance(value, Mapping) or not all(z in ZONES and w in words for z, w in value.items()):
        raise BadHistoryError(fault="porosity", known=", ".join(words))
    return tuple(value.items())
