"""Turns what the strand's zones send back into the reading: diffuse colour, level, undertone, stain, doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import as_lab, chroma, hue_deg, lab_from_xyz
from strandgauge.colour.srgb import XYZ_FROM_RGB
from strandgauge.facts import Note, note
from strandgauge.hair.levels import Ladder, level_shares
from strandgauge.hair.stain import find_stain
from strandgauge.hair.warmth import undertone, yellowness_e313
from strandgauge.hair.wet import dry_from_wet
from strandgauge.reading.model import CardFit, Reading, ZoneReading
from strandgauge.strand.direction import LightClues, load_direction_model
from strandgauge.strand.names import ZoneName
from strandgauge.strand.zones import ZoneLight

LEAST_SD = np.array([0.6, 0.4, 0.4])
"""Hair laid anew reads differently by about this much (Scanavez et al. 2000: L* 0.3 to 1.2 by area measured)."""
CAUTION_WIDENING = 1.15
"""Each caution about the photo widens the uncertainty by this factor."""
DIRECTIONAL_SHADOW = 0.35
"""Shadow beside the strand, as a log ratio, from where on the light is called one-sided in a note."""
FLYAWAY_GAPS = 0.12


@dataclass(frozen=True, slots=True)
class ZoneColour:
    """One zone's colour in one photo, or its mean over several."""

    name: ZoneName
    lab: Array = field(repr=False)
    lab_sd: Array = field(repr=False)
    lab_as_lit: Array = field(repr=False)
    pixels_lab: NDArray[np.float32] = field(repr=False)
    """(N, 3) as lit."""
    lightness_spread: float


def zone_colours(
    zones: dict[ZoneName, ZoneLight], clues: LightClues, fit: CardFit, cautions: int
) -> dict[ZoneName, ZoneColour]:
    """Estimate each zone's diffuse colour and its uncertainty from one photo."""
    model = load_direction_model()
    colours: dict[ZoneName, ZoneColour] = {}
    for name, zone in zones.items():
        lit = lab_from_xyz(np.maximum(zone.linear @ XYZ_FROM_RGB.T, 1e-4))
        lab = model.diffuse(lit, clues, name)
        lab[0] = np.clip(lab[0], 0.0, 100.0)
        sd = model.lab_sd(lit, clues, fit.leave_one_out_mean) * CAUTION_WIDENING**cautions
        sd = np.maximum(np.hypot(sd, [zone.standard_error, 0.0, 0.0]), LEAST_SD)
        colours[name] = ZoneColour(name, lab, sd, lit, zone.pixels_lab, zone.lightness_spread)
    return colours


def mean_colours(shots: Sequence[dict[ZoneName, ZoneColour]]) -> dict[ZoneName, ZoneColour]:
    """Join several photos of one strand: means, and their disagreement in the uncertainty."""
    model = load_direction_model()
    joined: dict[ZoneName, ZoneColour] = {}
    for name in shots[0]:
        parts = [shot[name] for shot in shots]
        labs = np.array([p.lab for p in parts])
        lab = labs.mean(0)
        single = np.mean([p.lab_sd for p in parts], axis=0)
        share = 1.0 if len(parts) == 1 else max(model.several_share, 1 / np.sqrt(len(parts)))
        # A disagreement beyond what the single readings claim shows that they claimed too much.
        apart = labs.std(0, ddof=1) / np.sqrt(len(parts)) if len(parts) > 1 else np.zeros(3)
        sd = np.maximum(single * share, apart)
        joined[name] = ZoneColour(
            name,
            lab,
            np.maximum(sd, LEAST_SD),
            np.mean([p.lab_as_lit for p in parts], axis=0),
            np.concatenate([p.pixels_lab - p.lab_as_lit + p.lab for p in parts]).astype(np.float32)
            + (np.mean([p.lab_as_lit for p in parts], axis=0) - lab).astype(np.float32),
            float(np.mean([p.lightness_spread for p in parts])),
        )
    return joined


def describe_zones(
    colours: dict[ZoneName, ZoneColour], ladder: Ladder, wet: bool
) -> dict[ZoneName, ZoneReading]:
    """Put each zone's colour in the trade's words; for a wet strand, that of its dry estimate."""
    return {name: _describe(colour, ladder, wet) for name, colour in colours.items()}


def _describe(colour: ZoneColour, ladder: Ladder, wet: bool) -> ZoneReading:
    lab, sd = colour.lab, colour.lab_sd
    if wet:
        lab, sd = dry_from_wet(lab, sd)
    pixel_levels = ladder.level_of(colour.pixels_lab + (lab - colour.lab_as_lit))
    return ZoneReading(
        name=colour.name,
        lab=as_lab(lab),
        lab_sd=as_lab(sd),
        lab_as_lit=as_lab(colour.lab_as_lit),
        lightness_spread=colour.lightness_spread,
        level=float(ladder.level_of(lab)),
        level_sd=float(ladder.level_sd(lab, np.diag(sd**2))),
        level_shares=level_shares(pixel_levels),
        undertone=undertone(lab, ladder),
        chroma=float(chroma(lab)),
        hue_deg=float(hue_deg(lab)),
        yellowness_e313=float(yellowness_e313(lab)),
        stain=find_stain(lab, sd),
    )


def strand_notes(
    zones: dict[ZoneName, ZoneLight], clues: LightClues, wet: bool, print_measured: bool
) -> tuple[Note, ...]:
    """Tell what about the strand and the light's direction makes the reading less sure."""
    notes = []
    if clues.shadow > DIRECTIONAL_SHADOW:
        notes.append(note("one-sided-light"))
    if zones["overall"].gap_share > FLYAWAY_GAPS:
        notes.append(note("gaps"))
    if zones["overall"].clipped_share > 0.01:
        notes.append(note("gloss"))
    if wet:
        notes.append(note("wet"))
    if not print_measured:
        notes.append(note("print-not-measured"))
    return tuple(notes)


def join_readings(
    readings: Sequence[Reading], colours: dict[ZoneName, ZoneColour], ladder: Ladder, wet: bool
) -> Reading:
    """Return one reading for several photos, from the joined colours of their zones."""
    zones = describe_zones(colours, ladder, wet)
    fits = [reading.card_fit for reading in readings]
    notes = {each.code: each for reading in readings for each in reading.notes}
    return Reading(
        photo=" + ".join(reading.photo for reading in readings),
        card=readings[0].card,
        card_fit=CardFit(
            float(np.mean([fit.delta_e00_median for fit in fits])),
            float(np.max([fit.delta_e00_max for fit in fits])),
            float(np.mean([fit.leave_one_out_mean for fit in fits])),
            float(np.max([fit.light_unevenness_percent for fit in fits])),
        ),
        overall=zones["overall"],
        zones=(zones["root"], zones["mids"], zones["ends"]),
        notes=tuple(notes.values()),
        ladder=ladder.name,
        wet=wet,
        taken=next((reading.taken for reading in readings if reading.taken is not None), None),
    )
