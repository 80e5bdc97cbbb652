"""Which photos go together: the same strand, the card turned end for end between them.

Two shots that differ in nothing but the light's direction are worth more than any clue to it. Two shots of different
strands, or one shot twice, are worth nothing together, and are refused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import combinations

import numpy as np

from strandgauge.errors import DifferentStrandsError, SamePhotoError
from strandgauge.hair.family import lab_from_ratio, scale_and_tint
from strandgauge.hair.posterior import AsLit, load_error_model
from strandgauge.strand.names import ZoneName

LEAST_TURN = 120.0
"""Degrees between two photos' cards from where on the card counts as turned end for end."""
SOON = timedelta(minutes=2)
"""Two shots of one look are taken within this: later, lightener has gone on working."""
UNLIKE = 20.0
"""From where on two colours as lit are of different strands; see `unlikeness`. Of 332 rendered pairs of one strand
0.6 % lay beyond it, of pairs of any two strands 66 %: hair of like colour cannot be told apart."""


@dataclass(frozen=True, slots=True)
class Shot:
    """What of one photo tells whether it goes together with another."""

    photo: str
    taken_at: datetime | None
    card: str
    angle_deg: float
    """Direction of the card's long side in the picture."""
    zones: Mapping[ZoneName, AsLit] = field(repr=False)


def is_turned(one: Shot, other: Shot) -> bool:
    """Return whether the card lies the other way round in the second picture."""
    apart = abs((one.angle_deg - other.angle_deg + 180.0) % 360.0 - 180.0)
    return apart > LEAST_TURN


def is_turned_pair(one: Shot, other: Shot) -> bool:
    """Return whether two photos of a folder are one look: same strand, same minutes, the card turned."""
    if one.taken_at is None or other.taken_at is None or one.card != other.card:
        return False
    soon = abs(one.taken_at - other.taken_at) <= SOON
    return (
        soon and is_turned(one, other) and not is_same_photo(one, other) and unlikeness(one, other) < UNLIKE
    )


def is_same_photo(one: Shot, other: Shot) -> bool:
    """Return whether two photos are one and the same: no two shots agree to the last digit."""
    return all(np.array_equal(one.zones[name].ratio, other.zones[name].ratio) for name in one.zones)


def unlikeness(one: Shot, other: Shot) -> float:
    """Return how unlike two strands are, in squared spreads, of the zone in which they differ least.

    A strand that is laid anew, turned or lit from elsewhere stays of about the same tint; its scale may differ by
    what directions of light do to hair.
    """
    return min(_unlike(one.zones[name], other.zones[name]) for name in ("root", "mids", "ends"))


def _unlike(one: AsLit, other: AsLit) -> float:
    model = load_error_model()
    places = scale_and_tint(np.array([one.ratio, other.ratio]))
    _, log_sd = model.at(places, lab_from_ratio(np.array([one.ratio, other.ratio]))[:, 0])
    spread = np.exp(2.0 * (log_sd + np.array([one.widen, other.widen]))).sum(0)
    return float(((places[0] - places[1]) ** 2 / spread).sum())


def refuse_unlike(shots: Sequence[Shot]) -> None:
    """Refuse photos that cannot be read as one.

    Raises
    ------
    SamePhotoError : one photo is there twice.
    DifferentStrandsError : two of them show different hair.
    """
    for one, other in combinations(shots, 2):
        photos = f"{one.photo} + {other.photo}"
        if is_same_photo(one, other):
            raise SamePhotoError(photos=photos)
        if unlikeness(one, other) > UNLIKE:
            raise DifferentStrandsError(photos=photos)
