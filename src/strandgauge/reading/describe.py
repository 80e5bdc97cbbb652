"""Turns what the strand's zones send back into the reading: diffuse colour, level, undertone, stain, doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from strandgauge.codes.facts import Note, note
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import as_lab, chroma, hue_deg
from strandgauge.colour.srgb import RATIO_FROM_RGB
from strandgauge.hair.family import DARKEST, lab_from_ratio, ratio_from_lab
from strandgauge.hair.levels import Ladder
from strandgauge.hair.likely import Likely, likely
from strandgauge.hair.posterior import AsLit, Posterior, Told, load_telling, posteriors, tell
from strandgauge.hair.warmth import yellowness_e313
from strandgauge.light.remainder import NO_REMAINDER, Remainder
from strandgauge.reading.model import TOGETHER, CardFit, Reading, ZoneReading
from strandgauge.strand.direction import CardSeen, LightClues, load_light_model, shift_terms, unseen_terms
from strandgauge.strand.names import PARTS, ZoneName
from strandgauge.strand.zones import ZoneLight

DIRECTIONAL_SHADOW = 0.35
"""Shadow beside the strand, as a log ratio, from where on the light is called one-sided in a note."""
FLYAWAY_GAPS = 0.12


@dataclass(frozen=True, slots=True)
class ZoneColour:
    """One zone's colour as lit in one photo, or its mean over several, and what the light is thought to do to it."""

    name: ZoneName
    as_lit: AsLit
    pixels_lab: NDArray[np.float32] = field(repr=False)
    """(N, 3) as lit."""
    lightness_spread: float


def zone_colours(
    zones: dict[ZoneName, ZoneLight],
    clues: LightClues,
    fit: CardFit,
    cautions: int,
    left: Remainder = NO_REMAINDER,
) -> dict[ZoneName, ZoneColour]:
    """Return each zone's colour as lit in one photo, put right by what the card tells, with what its clues tell."""
    model = load_light_model()
    read = {name: np.maximum(zone.linear @ RATIO_FROM_RGB.T, DARKEST) for name, zone in zones.items()}
    on_hair = {name: left.on_hair(lab_from_ratio(ratio)) for name, ratio in read.items()}
    ratios = {
        name: np.maximum(ratio_from_lab(lab_from_ratio(ratio) + on_hair[name][0]), DARKEST)
        for name, ratio in read.items()
    }
    usual = float(np.mean([np.log(ratios[name][1]) for name in PARTS]))
    terms: dict[ZoneName, Array] = {
        name: shift_terms(clues, clues.reliefs[name], float(np.log(ratios[name][1])) - usual)
        for name in PARTS
    }
    terms["overall"] = np.asarray(np.mean(list(terms.values()), axis=0))
    colours: dict[ZoneName, ZoneColour] = {}
    for name, zone in zones.items():
        seen = CardSeen(
            fit.leave_one_out_mean, cautions, fit.light_unevenness_percent / 100.0, on_hair[name][1]
        )
        shift, widen = model.one(terms[name], clues, seen)
        as_lit = AsLit(ratios[name], shift, widen, unseen_terms(clues))
        pixels = scaled(zone.pixels_lab, read[name], ratios[name])
        colours[name] = ZoneColour(name, as_lit, pixels, zone.lightness_spread)
    return colours


def mean_colours(shots: Sequence[dict[ZoneName, ZoneColour]], turned: bool) -> dict[ZoneName, ZoneColour]:
    """Join several photos of one strand: the mean of their light is nearer to diffuse than any of them."""
    model = load_light_model()
    joined: dict[ZoneName, ZoneColour] = {}
    for name in shots[0]:
        parts = [shot[name] for shot in shots]
        ratios = np.array([p.as_lit.ratio for p in parts])
        shift, widen = model.several(
            np.array([p.as_lit.shift for p in parts]),
            np.array([p.as_lit.widen for p in parts]),
            np.log(ratios[:, 1]),
            turned,
        )
        mean = ratios.mean(0)
        pixels = [scaled(p.pixels_lab, p.as_lit.ratio, mean) for p in parts]
        spread = float(np.mean([p.lightness_spread for p in parts]))
        signs = np.mean([p.as_lit.signs for p in parts], axis=0)
        joined[name] = ZoneColour(name, AsLit(mean, shift, widen, signs), np.concatenate(pixels), spread)
    return joined


def scaled(lab: NDArray[np.float32], now: Array, wanted: Array) -> NDArray[np.float32]:
    """Return CIELAB (N, 3) of pixels whose mean X/Xn, Y/Yn, Z/Zn is to be ``wanted`` (3,) where it is ``now``.

    Of L* alone, (N, 1), it is L* alone.
    """
    before, after = (lab_from_ratio(mean)[: lab.shape[1]] for mean in (now, wanted))
    moved = lab.astype(np.float64)
    moved -= before
    moved *= (after[0] + 16.0) / (before[0] + 16.0)
    moved += after
    return moved.astype(np.float32)


def describe_zones(
    colours: dict[ZoneName, ZoneColour], ladder: Ladder, wet: bool, turned: bool = False
) -> dict[ZoneName, ZoneReading]:
    """Put each zone's colour in the trade's words; for a wet strand, that of its dry estimate."""
    found = posteriors([colour.as_lit for colour in colours.values()], ladder, wet=wet)
    return {
        colour.name: _zone(
            colour, one, tell(one, ladder, wet=wet, turned=turned, signs=colour.as_lit.signs), words, ladder
        )
        for colour, one, words in zip(colours.values(), found, likely(found, ladder), strict=True)
    }


def _zone(colour: ZoneColour, found: Posterior, told: Told, words: Likely, ladder: Ladder) -> ZoneReading:
    lab = told.lab
    lightness = scaled(colour.pixels_lab[:, :1], colour.as_lit.ratio, ratio_from_lab(lab))
    return ZoneReading(
        name=colour.name,
        lab=as_lab(lab),
        lab_sd=as_lab(told.sd),
        lab_as_lit=as_lab(lab_from_ratio(colour.as_lit.ratio)),
        lightness_spread=colour.lightness_spread,
        level=told.level,
        level_sd=told.level_sd,
        level_shares=ladder.shares(lightness),
        undertone=next(iter(words.undertones)),
        chroma=float(chroma(lab)),
        hue_deg=float(hue_deg(lab)),
        yellowness_e313=float(yellowness_e313(lab)),
        stain=words.stain,
        lab_together=as_lab(told.together),
        dye_probability=found.dye_probability,
        undertone_chances=words.undertones,
        stain_chances=words.stains,
        hair_chances=words.hair,
        white=words.white,
        warmth=words.warmth if words.stain is None else None,
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
    readings: Sequence[Reading], colours: dict[ZoneName, ZoneColour], ladder: Ladder, wet: bool, turned: bool
) -> Reading:
    """Return one reading for several photos, from the joined colours of their zones."""
    zones, telling = describe_zones(colours, ladder, wet, turned), load_telling()
    fits = [reading.card_fit for reading in readings]
    notes = {each.code: each for reading in readings for each in reading.notes}
    return Reading(
        photo=TOGETHER.join(reading.photo for reading in readings),
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
        zone_correlation=telling.turned_zone_correlation if turned else telling.zone_correlation,
        photos=sum(reading.photos for reading in readings),
        turned_share=1.0 if turned else telling.turned_share,
        softer_share=max(reading.softer_share for reading in readings),
        measured_share=max(reading.measured_share for reading in readings),
    )
