"""Turns what the strand's zones send back into the reading: diffuse colour, level, undertone, stain, doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from strandgauge.card.model import CardDefinition
from strandgauge.card.sample import Samples
from strandgauge.hair.cielab import chroma, hue_deg
from strandgauge.hair.levels import Ladder, level_shares
from strandgauge.hair.stain import find_stain
from strandgauge.hair.warmth import undertone, yellowness_e313
from strandgauge.hair.wet import dry_from_wet
from strandgauge.light.colorimetry import SRGB_TO_XYZ, xyz_to_lab
from strandgauge.light.trust import LightReport
from strandgauge.reading import Note, Reading, ZoneReading
from strandgauge.strand.direction import LightClues
from strandgauge.strand.zones import ZoneLight, ZoneName

Array = NDArray[np.float64]


def describe_strand(
    zones: dict[ZoneName, ZoneLight],
    clues: LightClues,
    samples: Samples,
    left_out: Array,
    card: CardDefinition,
    light: LightReport,
    ladder: Ladder,
    wet: bool,
) -> tuple[ZoneReading, tuple[ZoneReading, ZoneReading, ZoneReading], tuple[Note, ...]]:
    """placeholder until the diffuse model is in"""
    out = {}
    for name, z in zones.items():
        lit = xyz_to_lab(z.linear @ SRGB_TO_XYZ.T)
        sd = np.array([2.0, 1.0, 2.0])
        out[name] = zone_reading(name, lit, sd, lit, z, ladder, wet)
    return out["overall"], (out["root"], out["mids"], out["ends"]), ()


def zone_reading(name, lab, sd, lit, z, ladder, wet):
    if wet:
        lab, sd = dry_from_wet(lab, sd)
    levels = ladder.level_of(z.pixels_lab + (lab - lit))
    return ZoneReading(
        name,
        tuple(map(float, lab)),
        tuple(map(float, sd)),
        tuple(map(float, lit)),
        z.lightness_spread,
        float(ladder.level_of(lab)),
        float(ladder.level_sd(lab, np.diag(sd**2))),
        level_shares(levels),
        undertone(lab, ladder),
        float(chroma(lab)),
        float(hue_deg(lab)),
        float(yellowness_e313(lab)),
        find_stain(lab, sd),
    )


def join_readings(parts, ladder, wet):
    raise NotImplementedError
