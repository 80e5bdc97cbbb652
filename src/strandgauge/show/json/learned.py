"""What was learned as JSON documents."""

from __future__ import annotations

from dataclasses import dataclass
from operator import attrgetter
from typing import Annotated

from annotated_types import Len, MinLen

from strandgauge.codes.bounds import NotNegative
from strandgauge.dye.shelf import Dye
from strandgauge.learn.kept import Learned
from strandgauge.learn.levels import LearnedLadder, Rung, UnsureStep
from strandgauge.learn.prints import LearnedPrint
from strandgauge.show.json.serialiser import filled, shape


@dataclass(frozen=True, slots=True)
class LearnedLevels:
    """A ladder of levels learned from the user's own swatches."""

    name: str
    source: str
    file: str
    in_use: bool
    against: str
    """The ladder it is held against."""
    mean_level_shift: float
    """Above 0 where the swatches are lighter than that ladder."""
    mean_delta_e00: NotNegative
    levels: Annotated[tuple[Rung, ...], MinLen(10)]
    unsure_steps: tuple[UnsureStep, ...]

    @classmethod
    def of(cls, learned: LearnedLadder, source: str, file: str, in_use: bool) -> LearnedLevels:
        """Return a learned ladder with where it came from and where it is kept."""
        return filled(
            cls,
            learned,
            name=learned.ladder.name,
            source=source,
            file=file,
            in_use=in_use,
            mean_level_shift=learned.mean_shift,
            levels=learned.rungs,
        )


@dataclass(frozen=True, slots=True)
class LearnedCard:
    """The user's own print of a card; of measurements only the file is told."""

    name: str
    file: str
    in_use: bool
    learned: LearnedPrint | None


@dataclass(frozen=True, slots=True)
class LearnedDye:
    """A dye learned from hair before and after."""

    name: str
    curve: Annotated[tuple[NotNegative, ...], Len(31, 31)]
    """Absorption measure that it adds, undiluted, from 400 to 700 nm in steps of 10 nm."""
    lab_error: NotNegative
    source: str
    file: str | None

    @classmethod
    def of(cls, dye: Dye, file: str | None) -> LearnedDye:
        """Return a dye with where it is kept."""
        return filled(cls, dye, curve=tuple(float(value) for value in dye.curve), file=file)


@dataclass(frozen=True, slots=True)
class LearnedList:
    """All that was learned."""

    folder: str
    learned: tuple[Learned, ...]


shape(Learned, order="kind name file in_use", names={"path": "file"})
shape(LearnedList, schema="strandgauge.learned-list/1", title="All that was learned")
shape(
    LearnedPrint,
    order="card trusted photos error from_nominal trusted_left_out paper patches",
    added={"card": (str, attrgetter("card.name"))},
)
shape(LearnedCard, schema="strandgauge.learned-card/1", title="A print's colours, learned or measured")
shape(UnsureStep, names={"lower": "from", "upper": "to"})
shape(LearnedLevels, schema="strandgauge.learned-levels/1", title="A ladder of levels from own swatches")
shape(
    LearnedDye,
    schema="strandgauge.learned-dye/1",
    title="A dye learned from hair before and after",
    decimals={"curve": 4},
)
