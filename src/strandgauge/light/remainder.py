"""What the fit leaves on the card tells what it gets wrong on hair.

No matrix, curve and field make every patch right: prints stray, a sensor is no eye, lamps have gaps, mixed inks match
their colours in daylight alone. What is left on the patches is not noise, then, but the signature of this print, lamp
and sensor, and they do to hair, which is no ink, something else that belongs to it. A small network has learned what,
from many thousand simulated photographs of one card (`calibration/fit_remainder.py`): from the remainders and the
fit's own curve and matrix it tells by how much CIELAB of hair is off, and how surely that is known.
"""

from __future__ import annotations

import base64
import binascii
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from strandgauge.card.model import CardDefinition
from strandgauge.card.sample import Samples
from strandgauge.colour.arrays import Array, median
from strandgauge.colour.cielab import WHITE_D65
from strandgauge.files.calibration import CalibrationTable, calibration_file, read_calibration
from strandgauge.light.correction import FittedCard

MOST = 8.0
"""CIELAB beyond which what is left on a patch counts no further."""
UNKNOWN_WEIGHT = 0.1
"""Robust weight of the fit below which a patch is taken to be covered or misprinted, and says nothing of hair."""
OF_THE_FIT = 47
"""Signs that tell of the fit itself."""
FARTHEST = 4.0
"""Standard deviations beyond which a sign counts no further."""
UNUSUAL = 8.0
"""Mean square of the signs, in standard deviations and so counted, beyond which a photo is like none that was learned
from: the most unusual of 26 000 simulated ones has 7.6, of 3443 rendered ones 6.6."""
ODD = 1.5
"""The same, beyond which a photo is so odd, as where colours were filtered, that the network is taken to be no surer
than the fit is on another card; half of the rendered photos stay below 0.6."""
FARTHEST_SHIFT = 12.0
"""CIELAB by which hair is moved at most."""
HAIR_MIDDLE, HAIR_SPREAD = np.array([45.0, 8.0, 15.0]), np.array([25.0, 10.0, 15.0])
"""CIELAB of hair is counted from the one in units of the other."""
USUAL_ERROR = np.array([0.08, 0.012, 0.03])
"""Errors in `strandgauge.hair.family.scale_and_tint` that the network's logarithms are counted from."""
OTHER_CARD = np.array([-0.06, -0.78, -0.72])
"""The same of a card that no network knows: medians of the known card, read without its network."""


@dataclass(frozen=True, slots=True, eq=False)
class RemainderModel:
    """A network of two layers of bounded units, for one card."""

    card: str
    version: int
    colours: tuple[str, ...]
    """Ids of the patches that are taken one by one."""
    greys: tuple[tuple[str, ...], ...]
    """Ids of the patches of each step of grey, which are taken together."""
    usual: Array = field(repr=False)
    """(S,) what each sign is on average, ..."""
    spread: Array = field(repr=False)
    """(S,) ... and its standard deviation."""
    seen: Array = field(repr=False)
    """(S + 1, U) what each unit of the first layer takes of each sign, and adds."""
    hair: Array = field(repr=False)
    """(U + 4, V) what each unit of the second takes of those and of the hair's L*, a*, b*, and adds."""
    told: Array = field(repr=False)
    """(V + 1, 6) what those come to: shifts of L*, a*, b*, and the logarithms of three errors."""


@dataclass(frozen=True, slots=True, eq=False)
class Remainder:
    """What one photo's card tells of the errors on hair."""

    units: Array = field(repr=False)
    """(U,) the first layer's answers; empty where the card is not the one that was learned."""
    model: RemainderModel | None = field(default=None, repr=False)
    sure: bool = True
    """Whether the errors it tells may be smaller than on another card: no patch was set aside, and nothing is odd."""

    def on_hair(self, lab: Array) -> tuple[Array, Array]:
        """Return true less measured CIELAB (3,) of hair measured as ``lab`` (3,), and the log of what error is left.

        The latter (3,) is counted from `USUAL_ERROR`, in scale and tint.
        """
        if self.model is None:
            return np.zeros(3), OTHER_CARD
        where = (np.asarray(lab) - HAIR_MIDDLE) / HAIR_SPREAD
        units = np.tanh(np.concatenate([self.units, where, [1.0]]) @ self.model.hair)
        told = np.append(units, 1.0) @ self.model.told
        error = told[3:] if self.sure else np.maximum(told[3:], OTHER_CARD)
        return np.clip(told[:3], -FARTHEST_SHIFT, FARTHEST_SHIFT), error


NO_REMAINDER = Remainder(np.zeros(0))


def remainder(fitted: FittedCard, samples: Samples, card: CardDefinition) -> Remainder:
    """Return what the card's patches tell of errors on hair.

    Nothing where it is not the card that was learned, or where print, light and camera are like none that were.
    """
    model = load_remainder_model()
    if (card.name, card.version) != (model.card, model.version):
        return NO_REMAINDER
    at = {name: row for row, name in enumerate(samples.ids) if samples.is_patch[row]}
    rows = [at.get(name) for name in model.colours]
    steps = [[at.get(name) for name in step] for step in model.greys]
    if None in rows or any(None in step for step in steps):
        return NO_REMAINDER
    signs, known = fit_signs(fitted, samples, np.array(rows), [np.array(step) for step in steps])
    counted = np.clip((signs - model.usual) / model.spread, -FARTHEST, FARTHEST)
    counted = np.where(known, counted, 0.0)
    odd = float(np.mean(counted**2))
    if odd > UNUSUAL:
        return NO_REMAINDER
    units = np.tanh(np.append(counted, 1.0) @ model.seen)
    return Remainder(units, model, sure=bool(known.all()) and odd <= ODD)


def fit_signs(
    fitted: FittedCard, samples: Samples, colours: NDArray[np.intp], greys: list[NDArray[np.intp]]
) -> tuple[Array, NDArray[np.bool_]]:
    """Return the signs (S,) that the network reads, and which of them are known.

    What is left on each of ``colours`` and on each step of ``greys``, whose patches are weighed as the fit weighed
    them; then the fit itself: matrix, tone curve, what its channels differ by, local tone, gloss, offsets.
    """
    correction, patches = fitted.for_hair, samples.is_patch
    left = np.clip(fitted.lab - samples.reference, -MOST, MOST)
    weight = fitted.weight + 1e-3
    steps = [weight[step] @ left[step] / weight[step].sum() for step in greys]
    white = np.linalg.solve(correction.matrix, WHITE_D65)
    matrix = correction.matrix * white / WHITE_D65[:, None]
    curve = correction.tone_weights.mean(1)
    apart = correction.tone_weights - curve[:, None]
    signs = np.concatenate(
        [
            left[colours].ravel(),
            *steps,
            matrix[:, [0, 2]].ravel(),
            curve,
            apart[:, [0, 2]].ravel(),
            [correction.local],
            correction.veil.ravel(),
            correction.tone_offsets,
            [float(fitted.for_hair is not fitted.correction)],
            [np.log(median(fitted.weight[patches]) + 1e-3)],
            np.log(np.maximum(white[[0, 2]], 1e-6) / max(white[1], 1e-6)),
        ]
    )
    known = np.ones(len(signs), dtype=bool)
    known[: 3 * len(colours)] = np.repeat(fitted.weight[colours] >= UNKNOWN_WEIGHT, 3)
    return signs, known & np.isfinite(signs)


@cache
def load_remainder_model() -> RemainderModel:
    """Read the network that ships with the package.

    Raises
    ------
    BadCalibrationError : the file is damaged; the line is named.
    """
    table = read_calibration(calibration_file("remainder.toml"), "strandgauge.remainder/1")
    first = int(table.number("network", "seen", low=1, high=1000))
    second = int(table.number("network", "hair", low=1, high=1000))
    colours = tuple(table.text("card", "colours").split())
    greys = tuple(tuple(step.split()) for step in table.text("card", "greys").split(","))
    usual = _packed(table, "usual")
    signs = len(usual)
    if signs != 3 * (len(colours) + len(greys)) + OF_THE_FIT or not all(greys):
        raise table.error("'colours' and 'greys' must name as many patches as there are signs", "card")
    return RemainderModel(
        table.text("card", "name"),
        int(table.number("card", "version", low=1, high=1000)),
        colours,
        greys,
        usual,
        _packed(table, "spread", signs),
        _packed(table, "seen_weights", (signs + 1) * first).reshape(signs + 1, first),
        _packed(table, "hair_weights", (first + 4) * second).reshape(first + 4, second),
        _packed(table, "told_weights", (second + 1) * 6).reshape(second + 1, 6),
    )


def _packed(table: CalibrationTable, name: str, count: int | None = None) -> Array:
    """Return numbers written as base64 of IEEE 754 half or single precision, little-endian."""
    try:
        raw = base64.b64decode(table.text("network", name), validate=True)
        values = np.frombuffer(raw, "<f4" if name in ("usual", "spread") else "<f2").astype(np.float64)
    except (binascii.Error, ValueError) as error:
        raise table.error(f"'{name}' is no base64 of numbers", "network", name) from error
    if (count is not None and len(values) != count) or not np.isfinite(values).all():
        raise table.error(f"'{name}' must hold {count or 'some'} finite numbers", "network", name)
    return values
