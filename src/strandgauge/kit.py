"""What every photo is read and every shade is judged with: card, ladder, dyes and wanted shades, as one."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from strandgauge.card.model import CardDefinition
from strandgauge.dye.palette import Palette
from strandgauge.dye.targets import Target, find_target
from strandgauge.hair.levels import Ladder

if TYPE_CHECKING:
    from strandgauge.judge.history import History
    from strandgauge.judge.outlook import BaseZone, Outlook, Settings
    from strandgauge.reading.model import CardCheck
    from strandgauge.reading.pipeline import Measurement

PathName = str | os.PathLike[str]


@dataclass(frozen=True, eq=False)
class Kit:
    """The things that a judgement rests on, loaded once and passed as one."""

    card: CardDefinition
    """With the print profile's colours, where there is one."""
    ladder: Ladder
    shelf: Palette
    """The dyes."""
    targets: tuple[Target, ...]
    """Wanted shades that have a name."""

    def measure(self, photo: Path | bytes, *, wet: bool = False) -> Measurement:
        """Read one photo and keep every step.

        Raises
        ------
        StrandgaugeError : the photo cannot be read or cannot be trusted; the subclass says why.
        """
        from strandgauge.reading.pipeline import measure_photo

        return measure_photo(photo, card=self.card, ladder=self.ladder, wet=wet)

    def check(self, photo: Path | bytes) -> CardCheck:
        """Judge card and light in a photo; no strand is needed.

        Raises
        ------
        StrandgaugeError : the photo cannot be opened or the card cannot be found in it.
        """
        from strandgauge.reading.cardcheck import card_check
        from strandgauge.reading.pipeline import check_photo

        return card_check(check_photo(photo, card=self.card))

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
    from strandgauge.card.definition import load_card
    from strandgauge.dye.palette import load_palette
    from strandgauge.dye.targets import load_targets
    from strandgauge.hair.levels import load_ladder
    from strandgauge.learn.kept import current_card, current_dyes, current_ladder

    definition = current_card() if card is None else load_card(Path(card))
    if profile is not None:
        from strandgauge.card.profile import apply_profile, read_profile

        definition = apply_profile(definition, read_profile(Path(profile)))
    return Kit(
        definition,
        current_ladder() if ladder is None else load_ladder(Path(ladder)),
        load_palette(extra=(*current_dyes(), *map(Path, dyes or ()))),
        load_targets(extra=map(Path, targets or ())),
    )


def shipped() -> Kit:
    """Return the kit that ships with strandgauge, whatever the user taught."""
    from strandgauge.dye.palette import load_palette
    from strandgauge.dye.targets import load_targets
    from strandgauge.hair.levels import load_ladder
    from strandgauge.reading.pipeline import default_card

    return Kit(default_card(), load_ladder(), load_palette(), load_targets())


def _digest(*parts: bytes) -> str:
    return hashlib.sha256(b"\0".join(parts)).hexdigest()[:16]


def _rounded(values: np.ndarray) -> bytes:
    # Computed curves may differ in their last digits between machines.
    return (np.round(values, 6) + 0.0).astype("<f8").tobytes()
