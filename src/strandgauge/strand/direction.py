"""How directional the light is, read from the strand and the paper around it.

Hair is not matt. Under light from one side pale hair looks lighter and more colourful than under light from all
round, dark hair darker, and a card, being matt, cannot tell. What can: the strand's shadow on the paper beside
it, the tilt of brightness along a strand of one colour, its contrast from fibre to fibre, and the
light's fall-off over the card. Each of them is a number here, zero (or small) in light from all round.

They tell little: on strands and rooms that a model has not seen, they take an eighth off the variance of the scale.
So they enter as a small shift and as a spread (``calibration/as-lit.toml``); the strand's whole colour, and a second
photo with the card turned, tell more (:mod:`strandgauge.hair.posterior`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from strandgauge.card.model import Window
from strandgauge.colour.arrays import Array, median
from strandgauge.colour.cielab import Lab
from strandgauge.colour.srgb import LUMINANCE
from strandgauge.files.calibration import calibration_file, read_calibration
from strandgauge.light.correction import Correction
from strandgauge.light.region import Region
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.names import ZoneName
from strandgauge.strand.zones import StrandCoordinates, ZoneLight


@dataclass(frozen=True, slots=True)
class LightClues:
    """Signs of directional light, all as natural logarithms of brightness ratios."""

    shadow: float
    """Depth of the strand's shadow on the paper, the deeper side: 0 for none, 0.7 for half the light gone."""
    shadow_other: float
    """The same on the other side."""
    fall_along: float
    """Fall of the light over the length of the window, root to ends."""
    sheen: float
    """Brightness of the strand's middle against its edges."""
    fibre_contrast: float
    """Standard deviation of brightness from fibre to fibre."""
    tilt_along: float
    """Fall of the strand's brightness along its length where its colour stays the same."""
    range_along: float
    """Brightest of root, mids and ends against the darkest, whatever their colour."""
    patchiness: float
    """Standard deviation of brightness over the whole strand, fine structure averaged out."""


@dataclass(frozen=True, slots=True)
class LightModel:
    """What the clues tell of how far, and how surely, the colour as lit lies from the diffuse one.

    Scale and tint are those of `strandgauge.hair.family.scale_and_tint`; spreads are logarithms.
    """

    shift: Array
    """(S,) per `shift_terms`: how far ln Y is thought to be raised."""
    widen: Array
    """(W, 3) per `spread_terms`."""
    turned_widen: Array
    """(2, 3): a constant, and per unit by which ln Y of two shots with the card turned lies apart."""
    turned_shift: Array
    """(2,): a constant, and per square of that."""
    turned_clues: float
    """Share of the single shots' shift that is left in their mean."""
    again_widen: Array
    """(3,) for several shots under the same light: what they have in common stays."""

    def one(self, clues: LightClues, zone: ZoneName, brighter: float, seen: CardSeen) -> tuple[float, Array]:
        """Return the shift of ln Y and the widening (3,) for one photo."""
        shift = float(shift_terms(clues, zone, brighter) @ self.shift)
        return shift, np.asarray(spread_terms(clues, seen) @ self.widen)

    def several(self, shifts: Array, widenings: Array, scales: Array, turned: bool) -> tuple[float, Array]:
        """Return shift and widening for the mean of several photos.

        Parameters
        ----------
        shifts, widenings : (P,) and (P, 3), of each photo alone.
        scales : (P,) ln Y of each photo.
        turned : the card was turned end for end between them.
        """
        shift, widen = float(np.mean(shifts)), np.mean(widenings, axis=0)
        if not turned:
            return shift, np.asarray(widen + self.again_widen)
        apart = min(float(np.ptp(scales)), 1.2)
        own, squared = self.turned_shift
        return (
            float(self.turned_clues * shift - own - squared * apart**2),
            np.asarray(widen + np.array([1.0, apart]) @ self.turned_widen),
        )


@dataclass(frozen=True, slots=True)
class CardSeen:
    """What the card tells of how right a colour is."""

    left_out_mean: float
    """Mean CIEDE2000 of its patches, each left out of the fit."""
    cautions: int
    """Cautions about light, sharpness and exposure."""
    unevenness: float
    """(brightest - darkest) / mean of the light over the card."""


_PLACE: dict[ZoneName, float] = {"root": -1.0, "mids": 0.0, "ends": 1.0, "overall": 0.0}


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

    return LightModel(
        np.array(table.numbers("clues", "shift", count=5)),
        rows("clues", "widen", 7),
        rows("turned", "widen", 2),
        np.array(table.numbers("turned", "shift", count=2)),
        table.number("turned", "clues", low=0.0, high=2.0),
        np.array(table.numbers("again", "widen", count=3)),
    )


def shift_terms(clues: LightClues, zone: ZoneName, brighter: float) -> Array:
    """Return the (5,) terms of the shift; ``brighter`` is ln Y of the zone less the mean of the three zones."""
    place = _PLACE[zone]
    return np.array(
        [
            np.clip(brighter, -0.8, 0.8),
            np.clip(place * clues.fall_along, -1.0, 1.0),
            np.clip(place * clues.tilt_along, -1.0, 1.0),
            np.clip(clues.sheen, -0.6, 0.6),
            min(clues.fibre_contrast, 0.6),
        ]
    )


def spread_terms(clues: LightClues, seen: CardSeen) -> Array:
    """Return the (7,) terms of the spread's logarithm."""
    return np.array(
        [
            np.log(np.clip(seen.left_out_mean, 0.5, 15.0) / 1.5),
            min(seen.cautions, 3),
            np.clip(clues.shadow_other, -0.5, 1.0),
            min(abs(clues.fall_along), 1.0),
            min(seen.unevenness, 1.5),
            min(clues.range_along, 1.0),
            min(clues.patchiness, 1.0),
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
    ppm = region.pixels_per_mm
    upper, lower = _shadows(region, strand, coordinates, paper_lab)
    body = slice(strand.first, strand.last + 1)
    light = np.log(np.maximum(region.linear[:, body] @ LUMINANCE, 1e-3))
    n = coordinates.across[:, body]

    def mean(low: float, high: float) -> float:
        part = light[(n >= low) & (n <= high)]
        return float(part.mean()) if part.size else 0.0

    inside = np.abs(n) <= 0.6
    smooth = cv2.blur(light, (max(3, round(2 * ppm) | 1), 1))  # along the fibres
    fine = smooth - cv2.GaussianBlur(smooth, (0, 0), 0.8 * ppm)
    return LightClues(
        shadow=max(upper, lower),
        shadow_other=min(upper, lower),
        fall_along=_fall_along(correction, window),
        sheen=mean(-0.25, 0.25) - 0.5 * (mean(-0.8, -0.5) + mean(0.5, 0.8)),
        fibre_contrast=float(fine[inside].std()),
        tilt_along=_tilt_along(zones),
        range_along=_range_along(zones),
        patchiness=_patchiness(zones["overall"]),
    )


def _shadows(
    region: Region, strand: Isolated, coordinates: StrandCoordinates, paper_lab: Lab
) -> tuple[float, float]:
    """Return how much darker the paper is just above and just below the strand than paper should be."""
    paper = ((paper_lab[0] + 16) / 116) ** 3
    brightness = region.linear @ LUMINANCE
    rows = np.arange(len(brightness))[:, None]
    beyond_mm = (np.abs(rows - strand.centre) - strand.half_width) / region.pixels_per_mm
    lengthwise = (coordinates.along > 0.08) & (coordinates.along < 0.92)
    near = (beyond_mm > 0.8) & (beyond_mm < 2.8) & lengthwise & ~strand.hair
    depths = []
    for side in (rows < strand.centre, rows > strand.centre):
        seen = brightness[near & side]
        depths.append(float(np.log(paper / max(median(seen), 1e-3))) if seen.size > 30 else 0.0)
    return depths[0], depths[1]


def _fall_along(correction: Correction, window: Window) -> float:
    x, y, w, h = window.box
    ends = np.array([[x, y + h / 2], [x + w, y + h / 2], [x + w / 2, y], [x + w / 2, y + h]])
    left, right, top, bottom = np.log(correction.factor(ends)[:, 1]).tolist()
    falls = {"left": left - right, "right": right - left, "top": top - bottom, "bottom": bottom - top}
    return float(falls[window.root_end])


def _tilt_along(zones: dict[ZoneName, ZoneLight]) -> float:
    """Fall of brightness from root to ends, weighed down where the zones' chromaticity differs."""
    root, ends = zones["root"].linear, zones["ends"].linear
    fall = _log_light(zones["root"]) - _log_light(zones["ends"])
    share_root, share_ends = root / root.sum(), ends / ends.sum()
    different = float(np.abs(share_root - share_ends).sum())
    return fall * float(np.exp(-((different / 0.04) ** 2)))


def _range_along(zones: dict[ZoneName, ZoneLight]) -> float:
    return float(np.ptp([_log_light(zone) for name, zone in zones.items() if name != "overall"]))


def _log_light(zone: ZoneLight) -> float:
    return float(np.log(max(float(zone.linear @ LUMINANCE), 1e-3)))


def _patchiness(zone: ZoneLight) -> float:
    # L* + 16 is the cube root of luminance but for a constant.
    return 3.0 * zone.lightness_spread / (float(zone.pixels_lab[:, 0].mean()) + 16.0)
