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

from strandgauge.codes.facts import Note, note
from strandgauge.colour.arrays import Array
from strandgauge.errors import DifferentStrandsError, SamePhotoError
from strandgauge.hair.family import lab_from_ratio, scale_and_tint
from strandgauge.hair.posterior import AsLit, load_error_model, shifted_by
from strandgauge.strand.names import ZoneName
from strandgauge.strand.pattern import Pattern, is_one_strand, weave_likeness

LEAST_TURN = 120.0
"""Degrees between two photos' cards from where on the card counts as turned end for end."""
SOON = timedelta(minutes=2)
"""Two shots of one look are taken within this: later, lightener has gone on working."""
UNLIKE = 25.0
"""From where on two colours as lit are of different strands, though they lie alike; see `unlikeness`. Of 1206
rendered pairs of one strand 0.3 % lay beyond it, of pairs of any two strands 74 %."""
UNLIKE_LAID_ANEW = 10.0
"""The same for strands that do not lie alike: 1.2 % of the pairs of one strand, 86 % of those of any two."""
SAME_VIEW_MM = 0.1
"""How far the corners of two cards may lie apart, root mean square, once one picture is shifted, turned and scaled
onto the other: the same view. A copy of a photo, smaller, turned or saved again, stays within 0.05 mm; two shots from
the hand were 0.17 mm or more apart in 359 of 359 rendered pairs, in 99 % of them 0.25."""
SAME_WEAVE = 0.7
"""Correlation of the patterns of a photo and its copy, at least: 0.78 after the hardest saving tried."""


@dataclass(frozen=True, slots=True)
class Shot:
    """What of one photo tells whether it goes together with another."""

    photo: str
    taken_at: datetime | None
    card: str
    angle_deg: float
    """Direction of the card's long side in the picture."""
    corners: Array = field(repr=False, compare=False)
    """(4, 2) the card's corners in the picture, pixels."""
    card_mm: tuple[float, float]
    """Width and height of the card."""
    pattern: Pattern = field(repr=False)
    zones: Mapping[ZoneName, AsLit] = field(repr=False)


def is_turned(one: Shot, other: Shot) -> bool:
    """Return whether the card lies the other way round in the second picture."""
    return are_turned(one.angle_deg, other.angle_deg)


def are_turned(one_deg: float, other_deg: float) -> bool:
    """Return whether two directions of the card are those of a card that was turned end for end."""
    return abs((one_deg - other_deg + 180.0) % 360.0 - 180.0) > LEAST_TURN


def is_turned_pair(one: Shot, other: Shot) -> bool:
    """Return whether two photos of a folder are one look: same strand, same minutes, the card turned.

    Time, place, shape, pattern and colour must all agree: to take two strands for one is worse than to miss a pair.
    """
    if one.taken_at is None or other.taken_at is None or one.card != other.card:
        return False
    return (
        abs(one.taken_at - other.taken_at) <= SOON
        and is_turned(one, other)
        and is_one_strand(one.pattern, other.pattern)
        and unlikeness(one, other) < UNLIKE
        and not is_same_photo(one, other)
    )


def is_same_photo(one: Shot, other: Shot) -> bool:
    """Return whether one photo is the other, or a copy of it: smaller, turned, cropped or saved again.

    From the hand nobody finds the same view twice. A camera on a stand has it, and gives the same pattern again
    unless something was moved or the light came from elsewhere; then the second photo says nothing new.
    """
    return view_apart(one, other) <= SAME_VIEW_MM and weave_likeness(one.pattern, other.pattern) >= SAME_WEAVE


def view_apart(one: Shot, other: Shot) -> float:
    """Return how far the corners of two cards stay apart, mm of the card, however the pictures are laid over."""
    first, second = (corners @ np.array([1.0, 1.0j]) for corners in (one.corners, other.corners))
    first, second = first - first.mean(), second - second.mean()
    laid_over = second * (np.vdot(second, first) / np.vdot(second, second))
    apart = np.linalg.norm(first - laid_over) / np.linalg.norm(first)
    return float(apart * np.hypot(*one.card_mm) / 2.0)


def unlikeness(one: Shot, other: Shot) -> float:
    """Return how unlike two strands are, in squared spreads, of the zone in which they differ least.

    A strand that is laid anew, turned or lit from elsewhere stays of about the same tint; its scale may differ by
    what directions of light do to hair.
    """
    return min(_unlike(one.zones[name], other.zones[name]) for name in ("root", "mids", "ends"))


def _unlike(one: AsLit, other: AsLit) -> float:
    model = load_error_model()
    ratios = np.array([one.ratio, other.ratio])
    lightness = lab_from_ratio(ratios)[:, 0]
    places = scale_and_tint(ratios)
    _, log_sd = model.at(places, lightness)
    spread = np.exp(2.0 * (log_sd + np.array([one.widen, other.widen]))).sum(0)
    shifts = [lit.shift.T @ powers for lit, powers in zip((one, other), shifted_by(lightness).T, strict=True)]
    apart = places[0] - places[1] - (shifts[0] - shifts[1])
    return float((apart**2 / spread).sum())


def refuse_unlike(shots: Sequence[Shot]) -> tuple[Note, ...]:
    """Refuse photos that cannot be read as one; note where nothing but their colour says that they can.

    Raises
    ------
    SamePhotoError : one photo is there twice.
    DifferentStrandsError : two of them show different hair.
    """
    as_it_lay = True
    for one, other in combinations(shots, 2):
        photos = f"{one.photo} + {other.photo}"
        if is_same_photo(one, other):
            raise SamePhotoError(photos=photos)
        lies_alike = is_one_strand(one.pattern, other.pattern)
        if unlikeness(one, other) > (UNLIKE if lies_alike else UNLIKE_LAID_ANEW):
            raise DifferentStrandsError(photos=photos)
        as_it_lay &= lies_alike
    return () if as_it_lay else (note("lies-otherwise"),)
