"""What every photo is read and every shade is judged with: card, ladder, dyes and wanted shades, as one."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from strandgauge.card.definition import load_card
from strandgauge.card.model import CardDefinition
from strandgauge.dye.shelf import Shelf, load_shelf
from strandgauge.dye.targets import Target, find_target, load_targets, named_colour, parse_colour
from strandgauge.hair.levels import Ladder, load_ladder
from strandgauge.hair.stretch import Stretch
from strandgauge.learn.kept import current_card, current_dyes, current_ladder
from strandgauge.reading.model import CardCheck, Reading
from strandgauge.reading.pipeline import (
    Measurement,
    default_card,
    measure_photo,
    open_card,
    reading_together,
)
from strandgauge.strand.names import ZoneName

if TYPE_CHECKING:
    from strandgauge.dye.mix import Mix, Mixed
    from strandgauge.judge.history import History
    from strandgauge.judge.outlook import BaseZone, Outlook, Settings
    from strandgauge.lift.curve import LiftCurve
    from strandgauge.lift.times import LookTimes

PathName = str | os.PathLike[str]


@dataclass(frozen=True, slots=True)
class Look:
    """The reading of photos, or one that was saved."""

    reading: Reading
    measured: tuple[Measurement, ...] = ()
    """Every photo's own; none of a saved reading."""


@dataclass(frozen=True, eq=False)
class Kit:
    """The things that a judgement rests on, loaded once and passed as one."""

    card: CardDefinition
    """With the print profile's colours, where there is one."""
    ladder: Ladder
    shelf: Shelf
    """The dyes."""
    targets: tuple[Target, ...]
    """Wanted shades that have a name."""

    def measure(self, photo: Path | bytes, *, wet: bool | None = False) -> Measurement:
        """Read one photo and keep every step.

        Raises
        ------
        StrandgaugeError : the photo cannot be read or cannot be trusted; the subclass says why.
        """
        return measure_photo(photo, card=self.card, ladder=self.ladder, wet=wet)

    def look(self, *photos: Path | bytes, wet: bool | None = False) -> Look:
        """Read photos of one strand as one, or load the reading that was saved as ``.json``.

        Raises
        ------
        StrandgaugeError : a file cannot be used, or a photo cannot be trusted; the subclass says why.
        """
        first = photos[0]
        if len(photos) == 1 and isinstance(first, Path) and first.suffix.lower() == ".json":
            from strandgauge.show.json import load

            return Look(load(Reading, first))
        measured = tuple(self.measure(photo, wet=wet) for photo in photos)
        return Look(reading_together(measured, self.ladder, bool(wet)), measured)

    def hair(
        self, hair: PathName | bytes, *, wet: bool | None = False
    ) -> tuple[tuple[BaseZone, ...], Look | None]:
        """Return the zones of hair to be dyed, and the look they come from; None of a colour that was typed.

        Parameters
        ----------
        hair : a photo, a saved reading, or a colour as ``L,a,b``, ``#rrggbb`` or a word such as "level 9".

        Raises
        ------
        StrandgaugeError : the colour, file or photo cannot be used; the subclass says why.
        """
        from strandgauge.judge.outlook import TYPED_SD, BaseZone, base_zones

        if isinstance(hair, str) and not Path(hair).exists():
            lab = parse_colour(hair) or named_colour(hair)
            if lab is not None:
                return (BaseZone("overall", lab, TYPED_SD),), None
        look = self.look(hair if isinstance(hair, bytes) else Path(hair), wet=wet)
        return base_zones(look.reading), look

    def check(self, photo: Path | bytes) -> CardCheck:
        """Judge card and light in a photo; no strand is needed.

        Raises
        ------
        StrandgaugeError : the photo cannot be opened or the card cannot be found in it.
        """
        from strandgauge.reading.cardcheck import card_check

        return card_check(open_card(photo, self.card))

    def target(self, name: str) -> Target:
        """Return the shade of that name, or the colour typed as ``#rrggbb`` or ``L,a,b``.

        Raises
        ------
        UnknownTargetError, BadColourError : there is none.
        """
        return find_target(name, self.targets)

    def reach(
        self,
        hair: Sequence[BaseZone],
        target: Target | str,
        settings: Settings | None = None,
        history: History | None = None,
    ) -> Outlook:
        """Say whether a shade reads true on zones of hair; see :func:`strandgauge.judge.reach.reach`."""
        from strandgauge.judge.history import NOTHING_TOLD
        from strandgauge.judge.reach import reach

        wanted = self.target(target) if isinstance(target, str) else target
        told = history or NOTHING_TOLD
        return reach(hair, wanted, self.shelf, self.targets, self.ladder, settings, told)

    def mix(self, hair: Iterable[BaseZone], parts: Mix) -> Mixed:
        """Predict the colour that a mix gives on each zone of hair.

        Raises
        ------
        StrandgaugeError : a dye is not on the shelf, or no hair has that colour.
        """
        from strandgauge.dye.mix import Mixed, predict

        zones = (predict(zone.lab, parts, self.shelf, zone.lab_sd, zone.name) for zone in hair)
        return Mixed(parts.parts, tuple(zones))

    def follow(
        self,
        readings: Sequence[Reading],
        times: LookTimes,
        *,
        target: str | None = None,
        level: float | None = None,
        limit: float | None = None,
        zone: ZoneName = "overall",
        stretch: Stretch | None = None,
        outlook: Outlook | None = None,
    ) -> LiftCurve:
        """Follow one strand while it lifts; see :func:`strandgauge.judge.follow.follow`.

        Parameters
        ----------
        readings, times : in any order, one time for each reading.
        target : the wanted shade; or else
        level : the level to come to.
        stretch : the worst answer that the strand's stretch tests gave.
        outlook : that of the latest look for the shade, where it is known already.

        Raises
        ------
        BadTimesError : times or limit are impossible.
        SamePhotoError : one photo is there twice; it would tell of hair that stands still.
        """
        from itertools import combinations

        from strandgauge.errors import SamePhotoError
        from strandgauge.judge.follow import follow, is_same_photo, needs_of
        from strandgauge.judge.outlook import Settings, base_zones

        for one, other in combinations(readings, 2):
            if is_same_photo(one, other):
                raise SamePhotoError(photos=f"{one.photo} + {other.photo}")
        if outlook is None and target is not None and readings:
            latest = max(zip(times.minutes, readings, strict=False), key=lambda pair: pair[0])[1]
            outlook = self.reach(base_zones(latest), target, Settings(pretone=False))
        return follow(
            readings,
            times.minutes,
            zone=zone,
            target=None if outlook is None else outlook.target.name,
            needs_level=level if outlook is None else outlook.level_to_come_to,
            needs=None if outlook is None else needs_of(outlook),
            stretch=stretch,
            reads_true_now=() if outlook is None else [shade.name for shade in outlook.instead],
            limit=limit,
            ladder=self.ladder,
            from_start=times.from_start,
        )

    def fingerprints(self) -> dict[str, str]:
        """Return a short digest of each part's content, the same wherever its file lies."""
        card = repr(replace(self.card, source_path=Path()))
        return {
            "card": _digest(card.encode()),
            "ladder": _digest(self.ladder.name.encode(), _rounded(self.ladder.lab)),
            "dyes": _digest(repr(self.shelf.names).encode(), _rounded(self.shelf.curves)),
            "shades": _digest(repr(self.targets).encode()),
        }


def load(
    *,
    card: PathName | None = None,
    profile: PathName | None = None,
    ladder: PathName | None = None,
    dyes: Iterable[PathName] | None = None,
    targets: Iterable[PathName] | None = None,
) -> Kit:
    """Return the kit in use, with what the arguments name in place of, or added to, its parts.

    In use is what the user taught and chose; without that, what ships with strandgauge.

    Parameters
    ----------
    card : a card's definition, TOML.
    profile : colours measured on the print, CGATS text.
    ladder : a ladder of levels, TOML.
    dyes, targets : files of further dyes and shades, TOML.

    Raises
    ------
    StrandgaugeError : a file cannot be used; file and line are named.
    """
    definition = current_card() if card is None else load_card(Path(card))
    if profile is not None:
        from strandgauge.card.profile import apply_profile, read_profile

        definition = apply_profile(definition, read_profile(Path(profile)))
    return Kit(
        definition,
        current_ladder() if ladder is None else load_ladder(Path(ladder)),
        load_shelf(extra=(*current_dyes(), *map(Path, dyes or ()))),
        load_targets(extra=map(Path, targets or ())),
    )


def settings(*, true_within: float = 3.0, **more: Any) -> Settings:  # noqa: ANN401 - those of `Settings`
    """Return the settings of an outlook, all its bounds drawn from that of a true result."""
    from strandgauge.judge.outlook import Settings

    turns = max(20.0, 2.0 * true_within)
    return Settings(true_within=true_within, close_within=2.0 * true_within, turns_within=turns, **more)


def shipped() -> Kit:
    """Return the kit that ships with strandgauge, whatever the user taught."""
    return Kit(default_card(), load_ladder(), load_shelf(), load_targets())


def _digest(*parts: bytes) -> str:
    return hashlib.sha256(b"\0".join(parts)).hexdigest()[:16]


def _rounded(values: np.ndarray) -> bytes:
    # Computed curves may differ in their last digits between machines.
    return (np.round(values, 6) + 0.0).astype("<f8").tobytes()
