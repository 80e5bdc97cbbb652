"""How directional the light is, read from the strand and the paper around it.

Hair is not matt. Under light from one side pale hair looks lighter and more colourful than under light from all
round, dark hair darker, and a card, being matt, cannot tell. What can: the strand's shadow on the paper beside
it, the tilt of brightness along and across a strand of one colour, its contrast from fibre to fibre, and the
light's fall-off over the card. Each of them is a number here, zero (or small) in light from all round.

From the colour as lit and these clues a linear model (ridge regression, ``calibration/direction.toml``) estimates
the diffuse colour. It was fitted to path-traced photographs of strands whose diffuse colour is known; its errors
on strands it had not seen give the uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from strandgauge.card.model import Window
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import Lab
from strandgauge.files.calibration import calibration_file, read_calibration
from strandgauge.light.correction import Correction
from strandgauge.light.region import Region
from strandgauge.strand.isolate import Isolated
from strandgauge.strand.names import ZoneName
from strandgauge.strand.zones import StrandCoordinates, ZoneLight

LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
"""Share of linear sRGB R, G, B in luminance (IEC 61966-2-1)."""


@dataclass(frozen=True, slots=True)
class LightClues:
    """Signs of directional light, all as natural logarithms of brightness ratios."""

    shadow: float
    """Depth of the strand's shadow on the paper, the deeper side: 0 for none, 0.7 for half the light gone."""
    shadow_other: float
    """The same on the other side."""
    fall_along: float
    """Fall of the light over the length of the window, root to ends."""
    fall_across: float
    """Fall of the light over the height of the window."""
    tilt_across: float
    """Brightness of one half of the strand's width against the other, absolute."""
    sheen: float
    """Brightness of the strand's middle against its edges."""
    fibre_contrast: float
    """Standard deviation of brightness from fibre to fibre."""
    tilt_along: float
    """Fall of the strand's brightness along its length where its colour stays the same."""


@dataclass(frozen=True, slots=True)
class DirectionModel:
    """From the colour as lit and the clues to the diffuse colour, and how far that may be off."""

    centre: Array
    """(F,) mean of each feature over the photos the model was fitted to; 0 for the constant."""
    scale: Array
    """(F,) their standard deviations."""
    shift: Array
    """(F, 3) from standardised features to the diffuse minus the as-lit CIELAB."""
    log_sd: Array
    """(G, 3) from doubt features to the logarithm of the standard uncertainty of L*, a*, b*."""
    several_share: float
    """Factor on that uncertainty when two photos with the card turned are averaged."""

    def diffuse(self, lab: Array, clues: LightClues, zone: ZoneName) -> Array:
        """Return the (3,) diffuse CIELAB estimated from the (3,) CIELAB as lit."""
        x = (features(lab, clues, zone) - self.centre) / self.scale
        return np.asarray(lab + np.clip(x @ self.shift, -LARGEST_SHIFT, LARGEST_SHIFT))

    def lab_sd(self, lab: Array, clues: LightClues, left_out_mean: float) -> Array:
        """Return the (3,) standard uncertainty of the diffuse CIELAB."""
        logs = doubt_features(lab, clues, left_out_mean) @ self.log_sd
        return np.asarray(np.exp(np.clip(logs, np.log(0.5), np.log(12.0))))


LARGEST_SHIFT = np.array([18.0, 6.0, 12.0])
"""No light that a reading accepts moves the colour further than this (L*, a*, b*)."""
_PLACE: dict[ZoneName, float] = {"root": -1.0, "mids": 0.0, "ends": 1.0, "overall": 0.0}


@cache
def load_direction_model() -> DirectionModel:
    """Read the model that ships with the package.

    Raises
    ------
    BadCalibrationError : the file is damaged; the line is named.
    """
    table = read_calibration(calibration_file("direction.toml"), "strandgauge.direction/1")
    centre = np.array(table.numbers("features", "centre"))
    shift = [table.numbers("shift", c, count=len(centre)) for c in ("L", "a", "b")]
    log_sd = [table.numbers("log_sd", c) for c in ("L", "a", "b")]
    return DirectionModel(
        centre,
        np.array(table.numbers("features", "scale", count=len(centre), low=1e-9)),
        np.array(shift).T,
        np.array(log_sd).T,
        table.number("several", "share", low=0.1, high=1.0),
    )


def features(lab: Array, clues: LightClues, zone: ZoneName) -> Array:
    """Return the (F,) terms of the shift: the colour, the clues, and their products with lightness."""
    light, a, b = lab[0] / 50 - 1, lab[1] / 20, lab[2] / 30
    place = _PLACE[zone]
    c = clues
    signs = np.clip(
        [
            c.shadow,
            c.shadow_other,
            c.fall_along,
            c.fall_across,
            c.tilt_across,
            c.sheen,
            c.fibre_contrast,
            abs(c.fall_along),
            abs(c.tilt_along),
            2 * place * c.fall_along,
            2 * place * c.tilt_along,
        ],
        -1.5,
        1.5,
    )
    colour = [1, light, light**2, light**3, a, b, a * light, b * light, a * b, b * b]
    pairs = [
        c.shadow**2,
        c.fibre_contrast**2,
        c.tilt_along**2,
        c.fall_along**2,
        c.shadow * c.fibre_contrast,
        c.shadow * c.fall_along**2,
        c.shadow * c.shadow_other,
    ]
    tinted = [c.shadow * a, c.shadow * b, c.fibre_contrast * a, c.fibre_contrast * b]
    paired = np.clip(pairs, -2, 2)
    return np.concatenate(
        [colour, signs, signs * light, signs * light**2, paired, paired[:4] * light, tinted]
    )


def doubt_features(lab: Array, clues: LightClues, left_out_mean: float) -> Array:
    """Return the (G,) terms of the uncertainty's logarithm."""
    light = lab[0] / 50 - 1
    return np.array(
        [
            1.0,
            light,
            light**2,
            min(np.hypot(lab[1], lab[2]) / 40, 1.5),
            min(max(clues.shadow, 0.0), 1.5),
            min(clues.fibre_contrast, 0.6),
            min(abs(clues.fall_along), 1.0),
            min(abs(clues.tilt_along), 1.0),
            min(clues.tilt_across, 1.0),
            min(left_out_mean, 5.0) / 5,
        ]
    )


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
    along, across = _falls(correction, window)
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
        fall_along=along,
        fall_across=across,
        tilt_across=abs(mean(-0.7, -0.2) - mean(0.2, 0.7)),
        sheen=mean(-0.25, 0.25) - 0.5 * (mean(-0.8, -0.5) + mean(0.5, 0.8)),
        fibre_contrast=float(fine[inside].std()),
        tilt_along=_tilt_along(zones),
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
        depths.append(float(np.log(paper / max(np.median(seen), 1e-3))) if seen.size > 30 else 0.0)
    return depths[0], depths[1]


def _falls(correction: Correction, window: Window) -> tuple[float, float]:
    x, y, w, h = window.box
    ends = np.array([[x, y + h / 2], [x + w, y + h / 2], [x + w / 2, y], [x + w / 2, y + h]])
    left, right, top, bottom = np.log(correction.factor(ends)[:, 1])
    along, across = left - right, top - bottom
    if window.root_end in ("top", "bottom"):
        along, across = across, along
    if window.root_end in ("right", "bottom"):
        along = -along
    return float(along), float(abs(across))


def _tilt_along(zones: dict[ZoneName, ZoneLight]) -> float:
    """Fall of brightness from root to ends, weighed down where the zones' chromaticity differs."""
    root, ends = zones["root"].linear, zones["ends"].linear
    fall = float(np.log(max(float(root @ LUMINANCE), 1e-3) / max(float(ends @ LUMINANCE), 1e-3)))
    share_root, share_ends = root / root.sum(), ends / ends.sum()
    different = float(np.abs(share_root - share_ends).sum())
    return fall * float(np.exp(-((different / 0.04) ** 2)))
