"""``strandgauge learn dye``: a dye's absorption curve from what it does to known hair."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.hair import hair_from, whole_of
from strandgauge.cli.options import CardOption, JsonOption, misuse
from strandgauge.cli.outcome import Session
from strandgauge.codes.catalogue import say

if TYPE_CHECKING:
    from strandgauge.dye.shelf import Dye
    from strandgauge.judge.outlook import BaseZone
    from strandgauge.learn.dyes import Observation

UNDILUTED = "dye=1"


def dye(
    session: Session,
    name: Annotated[str, typer.Option()],
    base: Annotated[list[str], typer.Option()],
    dyed: Annotated[list[str], typer.Option()],
    mix: list[str] | None = None,
    out: Path | None = None,
    json: JsonOption = None,
    card: CardOption = None,
) -> None:
    """Learn a dye from hair before and after, so that it can be mixed like those on the shelf.

    Parameters
    ----------
    name NAME : What to call the dye.
    base HAIR : The hair before: a photo, a saved reading, or L,a,b. Once, or for each.
    dyed HAIR : The same hair dyed; give it again for each further mix.
    mix dye=1:clear=9 : The mix used, one for each --dyed; undiluted when left out.
    out FILE : Write the dye to this file, for --dyes, instead of your own folder.
    """
    mixes = mix or [UNDILUTED] * len(dyed)
    if len(mixes) != len(dyed):
        raise misuse("mix-each")
    if len(base) not in (1, len(dyed)):
        raise misuse("base-each")
    if not name.strip() or any(sign in name for sign in "=:,"):
        raise misuse("dye-name")
    from strandgauge.learn.kept import check_name, keep

    if out is None:
        check_name(name)
    from strandgauge.kit import load
    from strandgauge.learn.dyes import dye_file, learn_dye

    shares, kit = [_share(one, name) for one in mixes], load(card=card)
    before = [whole_of(kit.hair(hair_from(one))[0]) for one in base] * (len(dyed) if len(base) == 1 else 1)
    after = [whole_of(kit.hair(hair_from(one))[0]) for one in dyed]
    learned = learn_dye(name, [_observation(*three) for three in zip(before, after, shares, strict=True)])
    file, _ = keep("dye", name, dye_file([learned]), out)
    from strandgauge.show.json.learned import LearnedDye

    session.show(LearnedDye.of(learned, str(file)), _tell, learned, file, out)


def _tell(learned: Dye, file: Path, out: Path | None) -> None:
    peak = 400 + 10 * int(learned.curve.argmax())
    print(say("learned.dye", name=learned.name, source=learned.source, peak=peak, error=learned.lab_error))
    print(
        say("learned.use-file", option=f"--dyes {out}")
        if out is not None
        else say("learned.kept-shelf", file=file)
    )


def _share(text: str, name: str) -> float:
    """Return the share of the dye in a mix such as ``dye=1:clear=9``; it may go by its own name too."""
    from strandgauge.dye.mix import parse_mix
    from strandgauge.errors import BadMixError

    parts = dict(parse_mix([text]).parts)
    other = set(parts) - {"dye", name, "clear"}
    if other:
        raise BadMixError(fault="others", text=text, others=", ".join(sorted(other)))
    return (parts.get("dye", 0.0) + (parts.get(name, 0.0) if name != "dye" else 0.0)) / sum(parts.values())


def _observation(before: BaseZone, after: BaseZone, share: float) -> Observation:
    from strandgauge.learn.dyes import Observation

    # Both photos' uncertainty, as one number: the root mean square over L*, a*, b* of the two.
    variance = sum(sd**2 for sd in (*before.lab_sd, *after.lab_sd)) / 3.0
    return Observation(before.lab, after.lab, share, variance**0.5)
