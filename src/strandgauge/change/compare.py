"""Readings side by side: what changed between two looks at a strand, and what is only noise.

Every quantity is judged alone: it has changed where a change of its size would come from the uncertainty of
the two readings, with nothing changed, in fewer than 5 of 100 cases. Everything smaller is no measurable
change. The two readings' errors are taken as independent. What both have in common, such as the same print
of the card, cancels in truth, so that the intervals err on the wide side.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Literal

import numpy as np
from annotated_types import Ge, MinLen

from strandgauge.codes.bounds import NotNegative, Share
from strandgauge.codes.facts import Note, note
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import chroma, delta_e_2000, delta_e_2000_terms, hue_deg
from strandgauge.errors import NotComparableError
from strandgauge.hair.stain import Stain, off_path
from strandgauge.hair.warmth import yellowness_e313
from strandgauge.hair.words import load_words
from strandgauge.reading.evenness import difference_sd
from strandgauge.reading.model import Reading, ZoneReading
from strandgauge.strand.names import ZONES, ZoneName

ChangeCode = Literal[
    "no-change",
    "changed",
    "lighter",
    "darker",
    "stronger-colour",
    "weaker-colour",
    "yellower",
    "less-yellow",
    "redder",
    "hue-turned",
    "new",
    "gone",
    "stronger",
    "weaker",
    "more-even",
    "less-even",
]
"""What became of a quantity; 'no-change' is no measurable change."""
RiseAndFall = tuple[ChangeCode, ChangeCode]
TWO_SIDED_95 = 1.959964
"""Standard normal deviate that 95 % lie within."""
CHI_SQUARE_95 = 7.814728
"""95th percentile of chi-square with 3 degrees of freedom (L*, a*, b*)."""
DRAWS = 2000
_SEED = 1931
LEAST_SD = 1e-6
"""Keeps a reading that claims to be exact from dividing by zero."""
ROUGHLY = 0.02
"""Share of the strand's length within which an end of the root zone counts as reached."""
RED_TO_GREEN = (0.0, 130.0)
"""Hue angles, degrees, over which a rising angle means yellower and a falling one redder."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One number before and after, its change with the 95 % interval, and what that means."""

    before: float
    after: float
    change: float
    sd: NotNegative
    """Standard uncertainty of the change."""
    low: float
    high: float
    verdict: ChangeCode

    @property
    def measurable(self) -> bool:
        """True where the change is more than noise."""
        return self.verdict != "no-change"


@dataclass(frozen=True, slots=True)
class Part:
    """One signed part of the CIEDE2000 difference, with its 95 % interval."""

    value: float
    sd: NotNegative
    low: float
    high: float
    verdict: ChangeCode

    @property
    def measurable(self) -> bool:
        """True where the part is more than noise."""
        return self.verdict != "no-change"


@dataclass(frozen=True, slots=True)
class ColourChange:
    """The CIEDE2000 difference between before and after, and its parts."""

    delta_e00: NotNegative
    """As the formula gives it for the two colours read."""
    low: NotNegative
    """95 % interval of the true difference, on the wide side; 0 where no change could be measured."""
    high: NotNegative
    from_noise: NotNegative
    """What the formula gives on average for two readings of one and the same colour: it cannot give less than 0,
    so noise alone makes a difference."""
    chi_square: NotNegative
    """Squared difference of L*, a*, b* in standard uncertainties; 5 % of unchanged colours exceed 7.81."""
    lightness: Part
    """Delta L' / (kL SL)."""
    chroma: Part
    """Delta C' / (kC SC)."""
    hue: Part
    """Delta H' / (kH SH)."""
    rotation: float
    """The cross term of chroma and hue; the squares of the three parts and this sum to ``delta_e00`` squared."""
    verdict: Literal["changed", "no-change"]

    @property
    def measurable(self) -> bool:
        """True where the difference is more than noise."""
        return self.verdict != "no-change"


@dataclass(frozen=True, slots=True)
class StainChange:
    """Colour off the natural lift path before and after."""

    before: Stain | None
    after: Stain | None
    strength: Quantity


@dataclass(frozen=True, slots=True)
class ZoneChange:
    """What changed in one zone."""

    name: ZoneName
    level: Quantity
    """For what it is worth where ``dyed``."""
    colour: ColourChange
    chroma: Quantity
    """C*ab: the warmth, as long as the hue is one that lifted hair shows."""
    yellowness_e313: Quantity
    stain: StainChange | None
    """None where neither reading saw a stain."""
    lightness: Quantity | None = None
    """L*; None in changes saved before it was told."""
    dyed: bool = False
    """Toner, dye or stain lies on it before or after: its lightness is compared, not its level."""

    @property
    def depth(self) -> Quantity:
        """What tells how light it is: L* where it is dyed, otherwise the level."""
        return self.lightness if self.dyed and self.lightness is not None else self.level


@dataclass(frozen=True, slots=True)
class Regrowth:
    """Hair that has grown since: a root darker than it was, while the lengths are not."""

    darker: NotNegative
    """By how many levels the root is darker than the mids now."""
    low: Share
    high: Share
    """How much of the strand's length it takes, between what its zones can tell."""


@dataclass(frozen=True, slots=True)
class Step:
    """What changed from one reading to another."""

    before: Annotated[int, Ge(0)]
    """Place in ``Change.readings``."""
    after: Annotated[int, Ge(1)]
    overall: ZoneChange
    zones: tuple[ZoneChange, ZoneChange, ZoneChange]
    """Root, mids and ends."""
    evenness: Quantity
    """Lightest zone's level minus the darkest one's; smaller is more even."""
    regrowth: Regrowth | None = None

    @property
    def anything(self) -> bool:
        """True where anything at all changed by more than its noise."""
        zones = (*self.zones, self.overall)
        judged: list[Quantity | ColourChange] = [self.evenness]
        for zone in zones:
            judged += (zone.depth, zone.chroma, zone.yellowness_e313, zone.colour)
            judged += [zone.stain.strength] if zone.stain is not None else []
        return any(each.measurable for each in judged)


@dataclass(frozen=True, slots=True)
class Change:
    """Readings of a strand side by side, in the order given."""

    readings: Annotated[tuple[Reading, ...], MinLen(2)]
    since_first: Annotated[tuple[Step, ...], MinLen(1)]
    """Each later reading against the first."""
    since_previous: Annotated[tuple[Step, ...], MinLen(1)]
    """Each later reading against the one before it."""
    notes: tuple[Note, ...]
    ladder: str


def compare(readings: Sequence[Reading]) -> Change:
    """Put readings side by side: the first is 'before', every later one an 'after'.

    Uncertainty is propagated by Monte Carlo from ``lab_sd`` and ``level_sd`` of both readings, with a fixed seed
    [JCGM 101:2008], so the same readings always give the same answer.

    Raises
    ------
    NotComparableError : fewer than two readings, or their levels are of different ladders.
    """
    if len(readings) < 2:
        raise NotComparableError(fault="one")
    ladders = list(dict.fromkeys(reading.ladder for reading in readings))
    if len(ladders) > 1:
        other = next(reading for reading in readings if reading.ladder != ladders[0])
        raise NotComparableError(where=other.photo, fault="ladders", ladder=ladders[0], other=other.ladder)
    since_first = tuple(_step(readings, 0, after) for after in range(1, len(readings)))
    since_previous = (
        since_first[0],
        *(_step(readings, after - 1, after) for after in range(2, len(readings))),
    )
    return Change(tuple(readings), since_first, since_previous, _notes(readings), ladders[0])


def _step(readings: Sequence[Reading], before: int, after: int) -> Step:
    first, second = readings[before], readings[after]
    pairs = zip((*first.zones, first.overall), (*second.zones, second.overall), strict=True)
    root, mids, ends, overall = (_zone_change(one, two) for one, two in pairs)
    regrowth = _regrowth(second, root, mids)
    return Step(before, after, overall, (root, mids, ends), _evenness(first, second), regrowth)


def _regrowth(after: Reading, root: ZoneChange, mids: ZoneChange) -> Regrowth | None:
    """Find regrowth: an undyed root that got darker by more than its noise, and by a level more than the mids did."""
    now, lengths, _ = after.zones
    darker = lengths.level - now.level
    grown = root.level.verdict == "darker" and mids.level.change - root.level.change > 1.0
    if now.is_dyed or not grown or darker <= max(1.0, TWO_SIDED_95 * difference_sd(after, now, lengths)):
        return None
    cut = (now.level + lengths.level) / 2.0
    near, far = (_dark_until(zone, cut) for zone in (now, lengths))
    all_of_it = near > ZONES["root"][1] - ROUGHLY
    return Regrowth(darker, near, far if all_of_it else near)


def _dark_until(zone: ZoneReading, cut: float) -> float:
    """Return to which share of the length hair below a level reaches, as far as this zone shows it."""
    low, high = ZONES[zone.name]
    dark = sum(share for level, share in zone.level_shares.items() if int(level) <= cut)
    return low + (high - low) * min(dark, 1.0)


def _zone_change(before: ZoneReading, after: ZoneReading) -> ZoneChange:
    noise = _noise()
    one, two = np.array(before.lab), np.array(after.lab)
    sd_one, sd_two = (np.maximum(zone.lab_sd, LEAST_SD) for zone in (before, after))
    ones, twos = one + noise[0] * sd_one, two + noise[1] * sd_two

    def of(function: Callable[[Array], Array], codes: RiseAndFall) -> Quantity:
        sd = float(np.std(function(twos) - function(ones)))
        return _quantity(float(function(one)), float(function(two)), sd, codes)

    level_sd = max(float(np.hypot(before.level_sd, after.level_sd)), LEAST_SD)
    return ZoneChange(
        before.name,
        _quantity(before.level, after.level, level_sd, ("lighter", "darker")),
        _colour_change(one, two, sd_one, sd_two, noise),
        of(chroma, ("stronger-colour", "weaker-colour")),
        of(yellowness_e313, ("yellower", "less-yellow")),
        _stain_change(before, after),
        of(lambda lab: lab[..., 0], ("lighter", "darker")),
        before.is_dyed or after.is_dyed,
    )


@cache
def _noise() -> Array:
    """Return (2, DRAWS, 3) standard normal deviates: L*, a*, b* of before and after, or their three zones."""
    noise = np.random.default_rng(_SEED).standard_normal((2, DRAWS, 3))
    noise.flags.writeable = False
    return noise


def _quantity(before: float, after: float, sd: float, codes: RiseAndFall) -> Quantity:
    """Judge a change by its standard uncertainty; ``codes`` are those of a rise and of a fall."""
    part = _part(after - before, sd, codes)
    return Quantity(before, after, part.value, sd, part.low, part.high, part.verdict)


def _part(value: float, sd: float, codes: RiseAndFall) -> Part:
    half = TWO_SIDED_95 * sd
    verdict: ChangeCode = "no-change" if abs(value) <= half else codes[0] if value > 0 else codes[1]
    return Part(value, sd, value - half, value + half, verdict)


def _colour_change(one: Array, two: Array, sd_one: Array, sd_two: Array, noise: Array) -> ColourChange:
    sd = np.hypot(sd_one, sd_two)
    chi_square = float(np.sum(((two - one) / sd) ** 2))
    changed = chi_square > CHI_SQUARE_95
    draws = delta_e_2000_terms(one + noise[0] * sd_one, two + noise[1] * sd_two)
    terms, spread = delta_e_2000_terms(one, two), draws[..., :3].std(axis=0)
    warm = all(RED_TO_GREEN[0] <= hue_deg(lab) <= RED_TO_GREEN[1] for lab in (one, two))
    codes: tuple[RiseAndFall, ...] = (
        ("lighter", "darker"),
        ("stronger-colour", "weaker-colour"),
        ("yellower", "redder") if warm else ("hue-turned", "hue-turned"),
    )
    lightness, strength, hue = (_part(float(terms[k]), float(spread[k]), codes[k]) for k in range(3))
    middle = (one + two) / 2.0
    low, high = _difference_interval(one, two, sd_one, sd_two, changed)
    return ColourChange(
        float(delta_e_2000(one, two)),
        low,
        high,
        float(np.mean(delta_e_2000(middle + noise[0] * sd_one, middle + noise[1] * sd_two))),
        chi_square,
        lightness,
        strength,
        hue,
        float(terms[3]),
        "changed" if changed else "no-change",
    )


def _difference_interval(
    one: Array, two: Array, sd_one: Array, sd_two: Array, changed: bool
) -> tuple[float, float]:
    """Return an interval that holds the true CIEDE2000 difference in at least 95 of 100 cases.

    Noise makes two colours differ more than they do, so an interval centred on the observed difference would
    miss. Instead the two colours are moved against each other, each by its share of the noise: the lower end is
    the smallest difference within the 95 % ellipsoid of L*, a*, b* (which is 0 exactly where no change was
    measured), the upper end the largest within 1.96 standard uncertainties.
    """
    variance = sd_one**2 + sd_two**2
    move = _sphere() / np.sqrt(variance)

    def differences(deviations: float) -> Array:
        return delta_e_2000(one - deviations * move * sd_one**2, two + deviations * move * sd_two**2)

    low = float(np.min(differences(np.sqrt(CHI_SQUARE_95)))) if changed else 0.0
    observed = float(delta_e_2000(one, two))
    return min(low, observed), max(float(np.max(differences(TWO_SIDED_95))), observed)


@cache
def _sphere(points: int = 1500) -> Array:
    """Return (points, 3) evenly spread over the unit sphere: a Fibonacci lattice."""
    step = np.arange(points) + 0.5
    z = 1.0 - 2.0 * step / points
    turn = np.pi * (1.0 + np.sqrt(5.0)) * step
    ring = np.sqrt(1.0 - z**2)
    return np.stack([ring * np.cos(turn), ring * np.sin(turn), z], axis=-1)


def _stain_change(before: ZoneReading, after: ZoneReading) -> StainChange | None:
    if before.stain is None and after.stain is None:
        return None
    path = load_words().path
    offs = [off_path(zone.lab, path) for zone in (before, after)]
    strengths = [float(np.hypot(*off)) for off in offs]
    stronger = int(np.argmax(strengths))
    along = offs[stronger] / max(strengths[stronger], LEAST_SD)
    variance = sum(float(np.sum((along * zone.lab_sd[1:]) ** 2)) for zone in (before, after))
    codes: RiseAndFall = (
        "new" if before.stain is None else "stronger",
        "gone" if after.stain is None else "weaker",
    )
    strength = _quantity(strengths[0], strengths[1], max(variance**0.5, LEAST_SD), codes)
    return StainChange(before.stain, after.stain, strength)


def _evenness(before: Reading, after: Reading) -> Quantity:
    """Compare the ranges of the zones' levels.

    Zones of one photo share most of their error, which cancels in the range; each reading tells how much.
    """
    drawn = []
    for reading, own in zip((before, after), _noise(), strict=True):
        levels = np.array([zone.level for zone in reading.zones])
        sds = np.array([zone.level_sd for zone in reading.zones])
        near, far = reading.zone_correlation
        shared = np.linalg.cholesky(np.array([[1.0, near, far], [near, 1.0, near], [far, near, 1.0]]))
        drawn.append(np.ptp(levels + (own @ shared.T) * sds, axis=1))
    sd = max(float(np.std(drawn[1] - drawn[0])), LEAST_SD)
    return _quantity(_level_range(before), _level_range(after), sd, ("less-even", "more-even"))


def _level_range(reading: Reading) -> float:
    return float(np.ptp([zone.level for zone in reading.zones]))


def _notes(readings: Sequence[Reading]) -> tuple[Note, ...]:
    """Tell what makes the readings less comparable than they look."""
    notes = []
    if len({reading.wet for reading in readings}) > 1:
        notes.append(note("wet-and-dry"))
    if len({reading.card for reading in readings}) > 1:
        notes.append(note("different-cards"))
    levels = [zone.level for reading in readings for zone in (*reading.zones, reading.overall)]
    if any(level >= 10.0 and level.is_integer() for level in levels):
        notes.append(note("top-of-ladder"))
    return tuple(notes)
