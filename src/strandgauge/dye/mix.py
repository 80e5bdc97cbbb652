"""A mix: dyes and clear by parts; and what it makes of a base."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from strandgauge.codes.bounds import NotNegative
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import Lab, LabSd, as_lab
from strandgauge.dye.shelf import Shelf
from strandgauge.errors import BadMixError
from strandgauge.hair.pigment import Base, solve_around, solve_base

MODEL_SD = (1.0, 0.8, 1.0)
"""Standard uncertainty of a predicted L*, a*, b* that is the algebra's own (docs/accuracy-pigment.md)."""
UPTAKE_COMMON_SD = 0.12
"""Relative standard uncertainty of how much of all dyes this hair takes up: porosity, time, rinsing. Own judgement;
no published figure was found."""
UPTAKE_OWN_SD = 0.10
"""... and of each dye by itself: its batch, its strength in the tube, its liking for hair."""


class MixPart(NamedTuple):
    """One dye of a mix, or clear."""

    dye: str
    parts: NotNegative


@dataclass(frozen=True, slots=True)
class Mix:
    """Parts of dyes and of clear; only their proportion counts."""

    parts: tuple[MixPart, ...]

    def shares(self, shelf: Shelf) -> Array:
        """Return the share (D,) of each dye of the shelf in the whole; clear makes up the rest.

        Raises
        ------
        UnknownDyeError : a dye is not on the shelf.
        """
        shares = np.zeros(len(shelf.dyes))
        for name, amount in self.parts:
            place = shelf.index(name)
            if place is not None:
                shares[place] += amount
        return np.asarray(shares / sum(amount for _, amount in self.parts))


@dataclass(frozen=True, slots=True)
class MixPrediction:
    """What a mix makes of a base."""

    name: str
    """The zone of hair that it is laid on."""
    base_lab: Lab
    predicted_lab: Lab
    predicted_lab_sd: LabSd


@dataclass(frozen=True, slots=True)
class Mixed:
    """What a mix makes of each zone of hair."""

    mix: tuple[MixPart, ...]
    zones: tuple[MixPrediction, ...]

    @property
    def whole(self) -> MixPrediction:
        """The zone that stands for the hair as a whole."""
        return next((zone for zone in self.zones if zone.name == "overall"), self.zones[0])


_PART = re.compile(r"^(?P<name>[^=]+)=(?P<amount>[^=]+)$")


def parse_mix(texts: Iterable[str]) -> Mix:
    """Return the mix written as ``violet=1`` and ``clear=9``, or as ``violet=1:clear=9`` in one.

    Raises
    ------
    BadMixError : a part is malformed, negative, no number, or everything is zero.
    """
    parts: dict[str, float] = {}
    for text in texts:
        for piece in text.split(":"):
            found = _PART.match(piece.strip())
            if found is None:
                raise BadMixError(fault="no-part", piece=piece)
            name = found["name"].strip()
            try:
                amount = float(found["amount"])
            except ValueError:
                raise BadMixError(fault="no-number", amount=found["amount"], piece=piece) from None
            if not np.isfinite(amount) or amount < 0.0:
                raise BadMixError(fault="parts", piece=piece, amount=amount)
            parts[name] = parts.get(name, 0.0) + amount
    if not parts or not sum(parts.values()) > 0.0:
        raise BadMixError(fault="empty")
    return Mix(tuple(MixPart(*part) for part in parts.items()))


def predict(
    base_lab: Lab, mix: Mix, shelf: Shelf, base_sd: Lab = (0.0, 0.0, 0.0), name: str = "overall"
) -> MixPrediction:
    """Predict the colour of a base after a mix has been laid on it; ``name`` is the zone's.

    Raises
    ------
    OutsideModelError : no hair has that base colour.
    UnknownDyeError : a dye is not on the shelf.
    """
    parts = shelf.held(mix.shares(shelf))[:, None] * shelf.curves
    sd = prediction_sd(solve_around(base_lab, base_sd), parts)
    return MixPrediction(name, base_lab, as_lab(solve_base(base_lab).dyed(parts.sum(axis=0))), as_lab(sd))


def prediction_sd(around: Base, parts: Array) -> Array:
    """Return the standard uncertainty (..., 3) of a predicted colour.

    Independent parts: the base's (``around``, see `solve_around`, (..., 7)), how much dye is taken up, in common and
    of each by itself, and the algebra's own. ``parts`` is what each dye adds, (..., D, 31).
    """
    added = np.sum(parts, axis=-2)
    dyed = around.dyed(added[..., None, :])
    from_base = (dyed[..., 1:4, :] - dyed[..., 4:7, :]) / 2.0
    centre, step = around.at((..., 0, None)), 0.1
    by_dye = (
        centre.dyed(added[..., None, :] + step * parts) - centre.dyed(added[..., None, :] - step * parts)
    ) / (2.0 * step)
    common = (UPTAKE_COMMON_SD * np.sum(by_dye, axis=-2)) ** 2
    own = np.sum((UPTAKE_OWN_SD * by_dye) ** 2, axis=-2)
    share = np.clip(
        np.max(added, axis=-1, keepdims=True), 0.0, 1.0
    )  # without dye there is nothing to predict
    from_model = share * np.asarray(MODEL_SD)
    return np.asarray(np.sqrt(np.sum(from_base**2, axis=-2) + common + own + from_model**2))
