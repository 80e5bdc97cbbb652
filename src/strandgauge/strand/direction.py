"""How directional the light is, read from the strand and the paper around it.

Hair is not matt. Under light from one side pale hair looks lighter and more colourful than under light from all
round, dark hair darker, and a card, being matt, cannot tell. What can: how brightness and tint go over the strand
(:mod:`strandgauge.strand.relief`), the light's fall over the card, the strand's shadow on the paper beside it. Each
of them is a number here, zero (or small) in light from all round.

On strands and rooms that a model has not seen they take nearly half off the variance of the scale. So they enter as a
shift and as a spread (``calibration/as-lit.toml``); the strand's whole colour, and a second photo with the card
turned, tell the rest (:mod:`strandgauge.hair.posterior`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from strandgauge.card.model import Window
from strandgauge.colour.arrays import Array, median
from strandgauge.colour.cielab import Lab
from strandgauge.colour.srgb import LUMINANCE
from strandgauge.files.calibration import calibration_file, read_calibration
from strandgauge.light.correction import Correction
from strandgauge.light.region import Region
from strandgauge.light.remainder import OTHER_CARD
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.names import ZoneName
from strandgauge.strand.relief import Relief, reliefs
from strandgauge.strand.zones import StrandCoordinates, ZoneLight

TERMS, UNITS = 28, 24
SHIFTED = ("scale", "scale_by_lightness", "scale_by_square", "x", "z")
"""What each term shifts: ln Y, by the powers of `strandgauge.hair.posterior.shifted_by`, and the two tints."""
FARTHEST = 4.0
"""Standard deviations beyond which a term counts no further."""
FARTHEST_LOG = 2.5
"""The same of the logarithm of an expected error."""


@dataclass(frozen=True, slots=True)
class LightClues:
    """Signs of directional light, all as natural logarithms of brightness ratios."""

    shadow: float
    """Depth of the strand's shadow on the paper, the deeper side: 0 for none, 0.7 for half the light gone."""
    shadow_other: float
    """The same on the other side."""
    fall_along: float
    """Fall of the light over the length of the window, root to ends."""
    fall: float
    """Fall of the light over the window, along and across it taken together."""
    range_along: float
    """Brightest of root, mids and ends against the darkest, whatever their colour."""
    patchiness: float
    """Standard deviation of brightness over the whole strand, fine structure averaged out."""
    reliefs: Mapping[ZoneName, Relief] = field(repr=False, compare=False)
    """Of root, mids and ends."""


@dataclass(frozen=True, slots=True, eq=False)
class LightModel:
    """What the clues tell of how far, and how surely, the colour as lit lies from the diffuse one.

    Scale and tint are those of `strandgauge.hair.family.scale_and_tint`; spreads are logarithms.
    """

    usual: Array
    """(S,) what each of `shift_terms` is on average, ..."""
    spread: Array
    """(S,) ... and its standard deviation."""
    units: Array
    """(S + 1, U) what each unit of a small network takes of each term, counted in its spread, and adds."""
    shift: Array
    """(U + S, 5) what the units, and the terms themselves, come to: see `shift_of`."""
    widen: Array
    """(W, 3) per `spread_terms`."""
    turned_widen: Array
    """(2, 3): a constant, and per unit by which ln Y of two shots with the card turned lies apart."""
    turned_shift: Array
    """(2,) of ln Y: a constant, and per square of that."""
    turned_clues: float
    """Share of the single shots' shift that is left in their mean."""
    again_widen: Array
    """(3,) for several shots under the same light: what they have in common stays."""

    def one(self, terms: Array, clues: LightClues, seen: CardSeen) -> tuple[Array, Array]:
        """Return the shift (3, 3) of `AsLit` and the widening (3,) for one zone of one photo, by its shift terms."""
        return self.shift_of(terms), np.asarray(spread_terms(clues, seen) @ self.widen)

    def shift_of(self, terms: Array) -> Array:
        """Return the shift (3, 3) of `AsLit`: that of the scale goes with lightness, those of the tint do not.

        Light, fibres and folds act on a strand together, not one by one: a straight line through the terms finds 43 %
        of the variance on strands it has not seen, a network with one layer of bounded units 51 %.
        """
        known = np.clip((terms - self.usual) / self.spread, -FARTHEST, FARTHEST)
        units = np.tanh(known @ self.units[:-1] + self.units[-1])
        found = np.concatenate([units, known]) @ self.shift
        shift = np.zeros((3, 3))
        shift[:, 0], shift[0, 1:] = found[:3], found[3:]
        return shift

    def several(self, shifts: Array, widenings: Array, scales: Array, turned: bool) -> tuple[Array, Array]:
        """Return shift and widening for the mean of several photos.

        Parameters
        ----------
        shifts, widenings : (P, 3, 3) and (P, 3), of each photo alone.
        scales : (P,) ln Y of each photo.
        turned : the card was turned end for end between them.
        """
        shift, widen = np.mean(shifts, axis=0), np.mean(widenings, axis=0)
        if not turned:
            return np.asarray(shift), np.asarray(widen + self.again_widen)
        apart = min(float(np.ptp(scales)), 1.2)
        own, squared = self.turned_shift
        shift = self.turned_clues * shift
        shift[0, 0] -= own + squared * apart**2
        return np.asarray(shift), np.asarray(widen + np.array([1.0, apart]) @ self.turned_widen)


@dataclass(frozen=True, slots=True)
class CardSeen:
    """What the card tells of how right a colour is."""

    left_out_mean: float
    """Mean CIEDE2000 of its patches, each left out of the fit."""
    cautions: int
    """Cautions about light, sharpness and exposure."""
    unevenness: float
    """(brightest - darkest) / mean of the light over the card."""
    log_error: Array = field(default_factory=lambda: OTHER_CARD.copy())
    """(3,) of `strandgauge.light.remainder.Remainder.on_hair`, of the zone."""


@cache
def load_light_model() -> LightModel:
    """Read the model that ships with the package.

    Raises
    ------
    BadCalibrationError : the file is damaged; the line is named.
    """
    table = read_calibration(calibration_file("as-lit.toml"), "strandgauge.as-lit/1")

    def rows(part: str, name: str, count: int | None = None) -> Array:
        return np.stack(
            [table.numbers(part, f"{name}_{c}", count=count) for c in ("scale", "x", "z")], axis=-1
        )

    usual = np.array(table.numbers("clues", "usual", count=TERMS))
    shift = [table.numbers("clues", f"shift_{name}", count=UNITS + TERMS) for name in SHIFTED]
    return LightModel(
        usual,
        np.array(table.numbers("clues", "spread", count=TERMS, low=1e-9)),
        np.array(table.numbers("clues", "units", count=UNITS * (TERMS + 1))).reshape(UNITS, -1).T,
        np.stack(shift, axis=-1),
        rows("clues", "widen", 10),
        rows("turned", "widen", 2),
        np.array(table.numbers("turned", "shift", count=2)),
        table.number("turned", "clues", low=0.0, high=2.0),
        np.array(table.numbers("again", "widen", count=3)),
    )


def shift_terms(clues: LightClues, relief: Relief, brighter: float) -> Array:
    """Return the (28,) terms of a zone's shift; ``brighter`` is ln Y of the zone less the mean of the three zones.

    None of them tells how light the zone is: that would be the answer, not a clue to it.
    """
    return np.concatenate(
        [
            [clues.fall_along, clues.fall, clues.patchiness, brighter],
            relief.across,
            relief.red_across,
            relief.blue_across,
            relief.along,
            relief.shares,
        ]
    )


def spread_terms(clues: LightClues, seen: CardSeen) -> Array:
    """Return the (10,) terms of the spread's logarithm."""
    return np.array(
        [
            np.log(np.clip(seen.left_out_mean, 0.5, 15.0) / 1.5),
            min(seen.cautions, 3),
            np.clip(clues.shadow_other, -0.5, 1.0),
            min(abs(clues.fall_along), 1.0),
            min(seen.unevenness, 1.5),
            min(clues.range_along, 1.0),
            min(clues.patchiness, 1.0),
            *np.clip(seen.log_error, -FARTHEST_LOG, FARTHEST_LOG),
        ]
    )


def unseen_terms(clues: LightClues) -> Array:
    """Return the (3,) terms of the error that what no fit has seen adds: most of it in one-sided light."""
    return np.array([1.0, min(abs(clues.fall_along), 1.0), min(clues.range_along, 1.0)])


def light_clues(
    region: Region,
    strand: Isolated,
    coordinates: StrandCoordinates,
    zones: dict[ZoneName, ZoneLight],
    correction: Correction,
    window: Window,
    paper_lab: Lab,
) -> LightClues:
    """Collect the signs of directional light around one strand."""
    upper, lower = _shadows(region, strand, coordinates, paper_lab)
    along, across = _falls(correction, window)
    return LightClues(
        shadow=max(upper, lower),
        shadow_other=min(upper, lower),
        fall_along=along,
        fall=float(np.hypot(along, across)),
        range_along=_range_along(zones),
        patchiness=_patchiness(zones["overall"]),
        reliefs=reliefs(region, strand, coordinates),
    )


def _shadows(
    region: Region, strand: Isolated, coordinates: StrandCoordinates, paper_lab: Lab
) -> tuple[float, float]:
    """Return how much darker the paper is just above and just below the strand than paper should be."""
    paper = ((paper_lab[0] + 16) / 116) ** 3
    brightness = region.linear @ LUMINANCE
    below = np.arange(len(brightness))[:, None] - strand.centre
    away, ppm = np.abs(below), region.pixels_per_mm
    near = (away > strand.half_width + 0.8 * ppm) & (away < strand.half_width + 2.8 * ppm) & ~strand.hair
    near &= (coordinates.along > 0.08) & (coordinates.along < 0.92)
    depths = []
    for side in (below < 0, below > 0):
        seen = brightness[near & side]
        depths.append(float(np.log(paper / max(median(seen), 1e-3))) if seen.size > 30 else 0.0)
    return depths[0], depths[1]


def _falls(correction: Correction, window: Window) -> tuple[float, float]:
    """Return the light's fall along the window from the root end, and across it."""
    x, y, w, h = window.box
    ends = np.array([[x, y + h / 2], [x + w, y + h / 2], [x + w / 2, y], [x + w / 2, y + h]])
    left, right, top, bottom = np.log(correction.light_factor(ends)[:, 1]).tolist()
    sideways, down = left - right, top - bottom
    falls = {
        "left": (sideways, down),
        "right": (-sideways, down),
        "top": (down, sideways),
        "bottom": (-down, sideways),
    }
    return falls[window.root_end]


def _range_along(zones: dict[ZoneName, ZoneLight]) -> float:
    return float(np.ptp([_log_light(zone) for name, zone in zones.items() if name != "overall"]))


def _log_light(zone: ZoneLight) -> float:
    return float(np.log(max(float(zone.linear @ LUMINANCE), 1e-3)))


def _patchiness(zone: ZoneLight) -> float:
    # L* + 16 is the cube root of luminance but for a constant.
    return 3.0 * zone.lightness_spread / (float(zone.pixels_lab[:, 0].mean()) + 16.0)
