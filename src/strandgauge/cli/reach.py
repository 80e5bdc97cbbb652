"""``strandgauge reach``: will the wanted shade read true on this hair, and what gets there."""

from __future__ import annotations

import re
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from strandgauge.cli.hair import (
    HistoryOption,
    ShelfOption,
    ToldOption,
    hair_from,
    load_told,
    only_on_shelf,
)
from strandgauge.cli.options import (
    FullKit,
    JsonOption,
    WetOption,
    ZoneChoice,
    check_picture,
    misuse,
    tell_dry,
)
from strandgauge.cli.outcome import Session
from strandgauge.codes.catalogue import say

if TYPE_CHECKING:
    from strandgauge.dye.targets import Target
    from strandgauge.kit import Kit
    from strandgauge.reading.swatch import Pick


_PICTURE_NAME = re.compile(r"\.[a-z]{3,4}$", re.IGNORECASE)
"""How the name of a picture ends; one that is not there is told as a missing file, not as an unknown shade."""


def reach(
    session: Session,
    open_kit: FullKit,
    hair: str,
    target: Annotated[str, typer.Option()],
    bowl: float = 60.0,
    scale: float = 0.1,
    zone: list[ZoneChoice] | None = None,
    pretone: Literal["auto", "none"] = ("auto"),
    true_within: Annotated[float, typer.Option("--true", min=0.1)] = 3.0,
    history: HistoryOption = None,
    told: ToldOption = None,
    only: ShelfOption = None,
    full: bool = False,
    shadow: Annotated[float | None, typer.Option(min=1.0, max=14.0)] = None,
    pick: str | None = None,
    json: JsonOption = None,
    picture: Path | None = None,
    wet: WetOption = None,
) -> None:
    """Say whether a wanted shade reads true on this hair, and give the formula that comes closest.

    Parameters
    ----------
    hair HAIR : A photo, a saved reading's JSON, or L,a,b.
    target SHADE : A name of 'strandgauge targets', #rrggbb, L,a,b, or a photo of a swatch.
    bowl GRAMS : How much to mix for each zone.
    scale GRAMS : Smallest step of your scale.
    zone : Only this zone; may be given again.
    pretone : Whether to look for a toner to lay on first.
    true_within DE : CIEDE2000 up to which a result reads true.
    full : Also print the rest: by level, zones together, a shadow root.
    shadow LEVEL : Depth of the shadow root that is proposed.
    pick X,Y,W,H : Where the swatch lies in its picture, in per cent of it.
    picture FILE : Also write a picture of the outlook, a PNG or JPEG file.
    """
    check_picture(picture)
    from strandgauge.kit import settings

    kit = open_kit()
    kit = only_on_shelf(kit, only)
    wanted = _target(target, kit, _pick(pick))
    zones, look = kit.hair(hair_from(hair), wet=wet)
    tell_dry(look.reading if look else None)
    names = {choice.value for choice in zone or ()}
    chosen = [one for one in zones if not names or one.name in names]
    if not chosen:
        raise misuse("no-zone", zones=", ".join(sorted(names)))
    bounds = settings(
        true_within=true_within,
        bowl=bowl,
        scale=scale,
        pretone=pretone == "auto",
        shadow_level=shadow,
    )
    outlook = kit.reach(chosen, wanted, bounds, load_told(history, told))
    if picture is not None:
        from strandgauge.show.picture.canvas import save
        from strandgauge.show.picture.outlook import draw_outlook

        save(picture, draw_outlook(outlook, look.measured[0] if look and look.measured else None))
    from strandgauge.show.terminal.outlook import print_outlook

    session.show(outlook, partial(print_outlook, full=full))


def _target(text: str, kit: Kit, pick: Pick | None) -> Target:
    """Return the shade that an option names; a file's name is taken as a picture of it."""
    from strandgauge.dye.targets import Target

    path = Path(text)
    named = text.casefold() in {one.name.casefold() for one in kit.targets}
    if named or not (path.is_file() or _PICTURE_NAME.search(text)):
        return kit.target(text)
    from strandgauge.reading.swatch import swatch_colour

    swatch = swatch_colour(path, kit.card, pick)
    name = say("swatch.measured" if swatch.measured else "swatch.unmeasured", file=path.name)
    return Target(name, swatch.lab)


def _pick(text: str | None) -> Pick | None:
    if text is None:
        return None
    try:
        left, top, width, height = (float(value) for value in text.split(","))
    except ValueError:
        raise misuse("pick") from None
    return left, top, width, height
