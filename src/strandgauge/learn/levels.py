"""Makes a ladder of levels from swatches that the user measured, and holds it against another.

A ladder needs all ten levels; what lies above them follows the other ladder. Levels without a swatch are filled in
only where that was asked for and enough are
there: between two swatches along the straight line in CIELAB, beyond the last ones along the other ladder,
scaled so that it joins. Every rung of the result says where it comes from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Literal, NamedTuple

import numpy as np
from annotated_types import Ge

from strandgauge.codes.bounds import Level, NotNegative
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import Lab, delta_e_2000
from strandgauge.errors import CannotLearnLevelsError
from strandgauge.files.toml import toml_text
from strandgauge.hair.levels import LEVELS, Ladder
from strandgauge.reading.model import COVERAGE

FEWEST_SWATCHES = 4
"""Levels that must have a swatch before the others may be filled in."""
Origin = Literal["measured", "between", "beyond"]


@dataclass(frozen=True, slots=True)
class Swatch:
    """A swatch of one level, read from one photo or several."""

    level: int
    lab: Lab
    lab_sd: Lab
    photos: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rung:
    """One level of a learned ladder, beside the same level of the ladder it is held against."""

    level: Annotated[int, Ge(1)]
    lab: Lab
    lab_sd: Lab | None
    """None where the level has no swatch."""
    origin: Origin
    photos: Annotated[int, Ge(0)]
    delta_e00: NotNegative
    """CIEDE2000 from the other ladder's colour of this level."""
    level_there: Level
    """The level of this colour on the other ladder."""


class UnsureStep(NamedTuple):
    """Two neighbouring swatches whose rise in L* is less than its noise."""

    lower: int
    """Level."""
    upper: int
    rise: NotNegative
    """Of L*."""
    noise: NotNegative
    """Half the rise's 95 % interval."""


@dataclass(frozen=True, slots=True)
class LearnedLadder:
    """A ladder made from swatches, and how far it is from another."""

    ladder: Ladder
    rungs: tuple[Rung, ...]
    """Levels from 1 to the lightest of the other ladder."""
    against: str
    """Name of the other ladder."""
    mean_shift: float
    """Mean over the measured levels of (level on the other ladder - level as labelled): above 0 where the user's
    swatches are lighter than the other ladder."""
    mean_delta_e00: float
    """Mean over the measured levels."""
    unsure_steps: tuple[UnsureStep, ...]
    """Neighbouring swatches whose rise in L* is less than its noise."""


def learn_ladder(
    name: str, swatches: Sequence[Swatch], against: Ladder, *, fill: bool = False
) -> LearnedLadder:
    """Return the ladder that the swatches make.

    Parameters
    ----------
    name : what it will be called in readings.
    swatches : one for each level that was measured.
    against : the ladder to hold it against, and to take the shape from beyond the outermost swatches.
    fill : whether levels without a swatch may be filled in.

    Raises
    ------
    CannotLearnLevelsError : a level is no level or comes twice, levels are missing and may not be filled in,
        there are too few, or L* does not rise from one swatch to the next.
    """
    ordered = sorted(swatches, key=lambda swatch: swatch.level)
    levels = [swatch.level for swatch in ordered]
    for level in levels:
        if not 1 <= level <= len(against.lab):
            raise CannotLearnLevelsError(fault="no-level", level=level, most=len(against.lab))
        if levels.count(level) > 1:
            raise CannotLearnLevelsError(fault="twice", level=level)
    missing = [level for level in LEVELS if level not in levels]
    if missing and len(levels) < FEWEST_SWATCHES:
        raise CannotLearnLevelsError(fault="too-few", count=len(levels), least=FEWEST_SWATCHES)
    if missing and not fill:
        raise CannotLearnLevelsError(fault="missing", levels=", ".join(map(str, missing)))
    unsure = _check_rise(ordered)
    colours = _filled(ordered, against)
    if np.any(np.diff(colours[:, 0]) <= 0.0):
        raise CannotLearnLevelsError(fault="flat")
    rungs = tuple(
        _rung(level, lab, next((s for s in ordered if s.level == level), None), levels, against)
        for level, lab in enumerate(colours, start=1)
    )
    measured = [rung for rung in rungs if rung.origin == "measured"]
    colours.flags.writeable = False
    return LearnedLadder(
        Ladder(name, colours),
        rungs,
        against.name,
        float(np.mean([rung.level_there - rung.level for rung in measured])),
        float(np.mean([rung.delta_e00 for rung in measured])),
        unsure,
    )


def _check_rise(ordered: Sequence[Swatch]) -> tuple[UnsureStep, ...]:
    """Return the steps that rise by less than their noise.

    Raises
    ------
    CannotLearnLevelsError : a swatch is not lighter than the one of the level below it.
    """
    unsure = []
    for lower, upper in pairwise(ordered):
        rise = upper.lab[0] - lower.lab[0]
        noise = COVERAGE * float(np.hypot(lower.lab_sd[0], upper.lab_sd[0]))
        if rise <= 0.0:
            sure = "more" if -rise > noise else "less"
            raise CannotLearnLevelsError(
                where=" and ".join((lower.photos[0], upper.photos[0])),
                fault="not-lighter",
                upper=upper.level,
                upper_l=upper.lab[0],
                lower=lower.level,
                lower_l=lower.lab[0],
                darker=-rise,
                sure=sure,
                noise=noise,
            )
        if rise < noise:
            unsure.append(UnsureStep(lower.level, upper.level, rise, noise))
    return tuple(unsure)


def _filled(ordered: Sequence[Swatch], against: Ladder) -> Array:
    """Return (N, 3) CIELAB of all levels."""
    levels = np.array([swatch.level for swatch in ordered], dtype=float)
    labs = np.array([swatch.lab for swatch in ordered])
    wanted = against.rungs
    colours = np.stack([np.interp(wanted, levels, labs[:, k]) for k in range(3)], axis=-1)
    first, last = ordered[0].level - 1, ordered[-1].level - 1
    other = against.lab
    below = other[:first].copy()
    if first:
        # Darker than the darkest swatch: L* keeps its share of the way to black, a* and b* their share of chroma.
        below[:, 0] *= labs[0, 0] / other[first, 0]
        below[:, 1:] *= _chroma_share(labs[0], other[first])
        colours[:first] = below
    above = other[last + 1 :].copy()
    if len(above):
        above[:, 0] = 100.0 - (100.0 - above[:, 0]) * (100.0 - labs[-1, 0]) / (100.0 - other[last, 0])
        above[:, 1:] *= _chroma_share(labs[-1], other[last])
        colours[last + 1 :] = above
    return colours


def _chroma_share(lab: Array, other: Array) -> float:
    return float(np.hypot(*lab[1:]) / max(float(np.hypot(*other[1:])), 1e-9))


def _rung(level: int, lab: Array, swatch: Swatch | None, levels: Sequence[int], against: Ladder) -> Rung:
    origin: Origin = "measured" if swatch else "between" if levels[0] < level < levels[-1] else "beyond"
    return Rung(
        level,
        (float(lab[0]), float(lab[1]), float(lab[2])),
        swatch.lab_sd if swatch else None,
        origin,
        len(swatch.photos) if swatch else 0,
        float(delta_e_2000(lab, against.lab[level - 1])),
        float(against.level_of(lab)),
    )


def ladder_toml(learned: LearnedLadder, source: str) -> str:
    """Return the text of a ladder file that `load_ladder` reads; each level says where it comes from."""
    rungs = [
        {
            "level": rung.level,
            "lab": _rounded(rung.lab),
            "lab_sd": rung.lab_sd and _rounded(rung.lab_sd),
            "origin": _ORIGINS[rung.origin],
        }
        for rung in learned.rungs
    ]
    data = {
        "schema": "strandgauge.ladder/1",
        "ladder": {"name": learned.ladder.name, "illuminant": "D65", "observer": "2", "source": source},
        "level": rungs,
    }
    return toml_text(
        data,
        "A ladder of lift levels learned from the user's own swatches by strandgauge.\n"
        "CIELAB for D65 and the CIE 1931 2 degree observer. 'origin' tells which levels have no swatch.",
    )


_ORIGINS: dict[Origin, str] = {
    "measured": "measured on a swatch",
    "between": "no swatch: on the straight line between its neighbours",
    "beyond": "no swatch: the shape of the ladder it was held against, scaled to join",
}


def _rounded(values: Lab) -> list[float]:
    return [round(value, 2) for value in values]
