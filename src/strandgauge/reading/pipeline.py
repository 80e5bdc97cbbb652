"""The one way from a photo to a reading, used by the command line, batches and the phone page alike.

open -> find the card -> sample it -> fit light and camera -> judge them -> bring the window flat, in true colour
-> isolate the strand -> measure its zones -> put right what the card's remainders tell of hair -> estimate the
diffuse colour -> put it in the trade's words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache
from itertools import combinations
from pathlib import Path

from strandgauge.card.definition import load_card
from strandgauge.card.find import CardView, find_card
from strandgauge.card.model import CardDefinition, Window
from strandgauge.card.sample import Samples, sample_card
from strandgauge.codes.facts import Note, note
from strandgauge.colour.arrays import median
from strandgauge.errors import (
    CardFoldedError,
    CardUnseenError,
    NotHairError,
    OverexposedError,
    StrandgaugeError,
    TooSmallError,
    TwoStrandsError,
)
from strandgauge.files.calibration import calibration_file
from strandgauge.hair.levels import Ladder
from strandgauge.hair.posterior import load_telling
from strandgauge.light.correction import Correction, FittedCard, fit_correction, with_paper_seen
from strandgauge.light.region import Region, correct_region
from strandgauge.light.remainder import Remainder, remainder
from strandgauge.light.trust import LightReport, judge, measure_exposure, measure_light
from strandgauge.photo.open import Photo, open_photo
from strandgauge.reading.describe import (
    ZoneColour,
    describe_zones,
    join_readings,
    mean_colours,
    strand_notes,
    zone_colours,
)
from strandgauge.reading.model import CardFit, Reading
from strandgauge.reading.narrow import shares_left
from strandgauge.reading.together import Shot, is_turned, is_turned_pair, refuse_unlike
from strandgauge.strand.direction import LightClues, light_clues
from strandgauge.strand.fibres import Fibres, check_fibres, fibres
from strandgauge.strand.isolate import Isolated, isolate_strand
from strandgauge.strand.lines import Lines, check_lines, lines
from strandgauge.strand.names import ZoneName
from strandgauge.strand.pattern import strand_pattern
from strandgauge.strand.zones import StrandCoordinates, ZoneLight, measure_zones, strand_coordinates

DEFAULT_CARD = ("cards", "strand-a6.toml")
WINDOW_MARGIN_MM = 2.0
"""How far beyond the window the picture is corrected, so that a strand that strays is seen to stray."""
FIRST_LOOK_SIDE = 1000
"""Longest side, in pixels, at which a photo is opened; enough where the card fills the picture."""
CLOSER_LOOK_SIDE = 2600
FEWEST_PATCHES = 6
"""Patches that must not be clipped for anything to be fitted to them."""
ENOUGH_PIXELS_PER_MM = 3.4
"""Where the card is shown smaller than this, or is not found, the photo is opened once more, larger."""
LEAST_PIXELS_PER_MM = 0.85
"""Where the strand is shown smaller than this, it is not read: one in five is refused for other reasons."""
SURE_PIXELS_PER_MM = 1.9
"""Where it is shown smaller than this, fibres are so blurred that what does not look like hair may be."""
REGION_PIXELS_PER_MM = 4.0
"""Resolution at which the strand is measured: a hair is 0.07 mm, a zone some 15 mm."""


@dataclass(frozen=True, slots=True)
class CardReading:
    """The card in one photo: where it is, what the camera made of it, and whether it can be trusted."""

    photo: Photo
    card: CardDefinition
    view: CardView
    samples: Samples = field(repr=False)
    fitted: FittedCard = field(repr=False)
    light: LightReport

    @property
    def correction(self) -> Correction:
        """From the photo's pixels to true colour."""
        return self.fitted.correction

    @property
    def fit(self) -> CardFit:
        """How well the correction reproduces the card's patches."""
        patches = self.samples.is_patch
        return CardFit(
            float(median(self.fitted.delta_e00[patches])),
            float(self.fitted.delta_e00[patches].max()),
            float(self.fitted.delta_e00_left_out[patches].mean()),
            100.0 * self.light.signs.unevenness,
        )


@dataclass(frozen=True, slots=True)
class Measurement:
    """A reading together with the steps that led to it, for pictures and for checking."""

    card: CardReading
    region: Region = field(repr=False)
    strand: Isolated = field(repr=False)
    coordinates: StrandCoordinates = field(repr=False)
    zones: dict[ZoneName, ZoneLight] = field(repr=False)
    clues: LightClues
    left: Remainder = field(repr=False)
    colours: dict[ZoneName, ZoneColour] = field(repr=False)
    reading: Reading


def reading_together(measured: Sequence[Measurement], ladder: Ladder, wet: bool) -> Reading:
    """Return the one reading of photos of a strand: the card turned, or the strand laid anew, between them."""
    if len(measured) == 1:
        return measured[0].reading
    shots = [shot_of(one) for one in measured]
    doubts = refuse_unlike(shots)
    turned = any(is_turned(a, b) for a, b in combinations(shots, 2))
    colours = mean_colours([m.colours for m in measured], turned)
    joined = join_readings([m.reading for m in measured], colours, ladder, wet, turned)
    return replace(joined, notes=(*joined.notes, *doubts))


def read_turned_pair(
    measured: Sequence[Measurement], taken: Sequence[datetime | None], ladder: Ladder, wet: bool
) -> Reading | None:
    """Return the one reading of two photos, taken at those times, if they are one look; see `is_turned_pair`."""
    shots = [replace(shot_of(one), taken_at=at) for one, at in zip(measured, taken, strict=True)]
    return reading_together(measured, ladder, wet) if is_turned_pair(*shots) else None


def shot_of(measured: Measurement) -> Shot:
    """Return what tells whether a photo goes together with another."""
    return Shot(
        measured.card.photo.name,
        measured.card.photo.taken_at,
        measured.reading.card,
        measured.card.view.angle_deg,
        measured.card.view.outline,
        measured.card.card.size,
        strand_pattern(measured.region, measured.strand),
        {name: colour.as_lit for name, colour in measured.colours.items()},
    )


def measure_photo(
    source: Path | bytes,
    *,
    card: CardDefinition,
    ladder: Ladder,
    wet: bool | None = False,
) -> Measurement:
    """Read one photo of a strand beside a card, and keep every step.

    Parameters
    ----------
    source : the photo's path, or its bytes.
    wet : the strand is wet; ``lab`` and ``level`` are then the dry estimate. None where nobody said: dry is assumed,
        since no photo tells it surely, and a note says so.

    Raises
    ------
    StrandgaugeError : the photo cannot be read or cannot be trusted; the subclass says why.
    """
    window = card.strand_window()
    found = open_card(source, card)
    with _naming(found.photo):
        return _measure(found, window, ladder, wet)


@lru_cache(maxsize=1)
def default_card() -> CardDefinition:
    """Return the card that ships with the package, with its nominal colours."""
    return load_card(calibration_file(*DEFAULT_CARD))


def open_card(source: Path | bytes, card: CardDefinition) -> CardReading:
    """Open a photo at the size its card needs, and read the card.

    Problems with the light are listed in ``light.problems``, not raised, so that all can be shown at once.

    Raises
    ------
    StrandgaugeError : the photo cannot be opened, or the card cannot be found in it.
    """
    photo = open_photo(source, longest_side_wanted=FIRST_LOOK_SIDE)
    try:
        view = find_card(photo.pixels, card)
        enough = view.pixels_per_mm >= ENOUGH_PIXELS_PER_MM
    except (CardUnseenError, CardFoldedError):
        enough = False
    if not enough and photo.scale < 1:
        photo = open_photo(source, longest_side_wanted=CLOSER_LOOK_SIDE)
        enough = False
    with _naming(photo):
        return read_card(photo, card, view if enough else find_card(photo.pixels, card))


@contextmanager
def _naming(photo: Photo) -> Iterator[None]:
    """Put the photo's name before the place that an error names."""
    try:
        yield
    except StrandgaugeError as error:
        error.photo = photo.name
        raise


def read_card(photo: Photo, card: CardDefinition, view: CardView) -> CardReading:
    """Fit light and camera to a card that was found, and judge both."""
    samples = sample_card(photo.pixels, view, card)
    exposure = measure_exposure(samples)
    if exposure.usable[samples.is_patch].sum() < FEWEST_PATCHES:
        raise OverexposedError(fault="patches", clipped=exposure.clipped, where="card")
    if card.even_paper and card.paper is None:
        samples = with_paper_seen(samples, card.size, exposure.usable)
    fitted = fit_correction(samples, card.size, exposure.usable)
    light = judge(exposure, measure_light(samples, fitted, view, card))
    return CardReading(photo, card, view, samples, fitted, light)


def _measure(found: CardReading, window: Window, ladder: Ladder, said_wet: bool | None) -> Measurement:
    photo, card, wet = found.photo, found.card, bool(said_wet)
    if found.light.problems:
        raise found.light.problems[0]
    if found.view.pixels_per_mm < LEAST_PIXELS_PER_MM:
        raise TooSmallError(fault="strand", pixels_per_mm=found.view.pixels_per_mm, where="strand")
    x, y, width, height = window.box
    m = WINDOW_MARGIN_MM
    box = (x - m, y - m, width + 2 * m, height + 2 * m)

    def flat(correction: Correction) -> Region:
        return correct_region(
            photo.pixels, found.view, correction, box, window.root_end, REGION_PIXELS_PER_MM
        )

    region = flat(found.correction)
    paper = card.paper or (95.0, 0.0, 0.0)
    strand = isolate_strand(region, paper, m)
    coordinates = strand_coordinates(strand, region.pixels_per_mm)
    lined = lines(region, strand, coordinates, paper)
    if found.fitted.for_hair is not found.correction:
        region = flat(found.fitted.for_hair)
    doubts = hair_doubts(fibres(region, strand), lined, found.view.pixels_per_mm)
    zones = measure_zones(region, strand, coordinates)
    clues = light_clues(region, strand, coordinates, zones, found.correction, window, paper)
    fit, cautions = found.fit, found.light.cautions
    left = remainder(found.fitted, found.samples, card)
    colours = zone_colours(zones, clues, fit, len(cautions), left)
    words, telling = describe_zones(colours, ladder, wet), load_telling()
    softer, measured = shares_left(zones, clues, fit, cautions, left, ladder, wet, words["overall"].level_sd)
    reading = Reading(
        photo=photo.name,
        card=card_title(card),
        card_fit=fit,
        overall=words["overall"],
        zones=(words["root"], words["mids"], words["ends"]),
        notes=(
            *cautions,
            *doubts,
            *(() if said_wet is not None else (note("dry-assumed"),)),
            *strand_notes(zones, clues, wet, card.profile_name is not None),
        ),
        ladder=ladder.name,
        wet=wet,
        taken=photo.taken_at,
        zone_correlation=telling.zone_correlation,
        turned_share=telling.turned_share,
        softer_share=softer,
        measured_share=1.0 if card.profile_name is not None else measured,
    )
    return Measurement(found, region, strand, coordinates, zones, clues, left, colours, reading)


def hair_doubts(seen: Fibres, lined: Lines, pixels_per_mm: float) -> tuple[Note, ...]:
    """Return what makes it doubtful that one strand of hair lies in the window, as it was shown in the photo.

    Raises
    ------
    NotHairError, TwoStrandsError, TooSmallError
    """
    try:
        return tuple(dict.fromkeys(check_fibres(seen) + check_lines(lined)))
    except (NotHairError, TwoStrandsError) as error:
        if pixels_per_mm < SURE_PIXELS_PER_MM:
            raise TooSmallError(fault="fibres", pixels_per_mm=pixels_per_mm, where="strand") from error
        raise


def card_title(card: CardDefinition) -> str:
    """Return the card's name, version and profile as one phrase."""
    title = f"{card.name} v{card.version}"
    return f"{title}, {card.profile_name}" if card.profile_name else title
