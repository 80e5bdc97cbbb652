"""``strandgauge plan``: the appointment by zone, step by step, and how the shade fades."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
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
from strandgauge.cli.options import FullKit, JsonOption, WetOption, tell_dry
from strandgauge.cli.outcome import Session

if TYPE_CHECKING:
    from strandgauge.judge.history import History
    from strandgauge.judge.outlook import BaseZone
    from strandgauge.judge.plan import Plan
    from strandgauge.kit import Kit


def plan(
    session: Session,
    open_kit: FullKit,
    hair: str,
    target: Annotated[str, typer.Option()],
    history: HistoryOption = None,
    told: ToldOption = None,
    length: Annotated[Literal["short", "medium", "long"] | None, typer.Option("--hair")] = None,
    density: Literal["fine", "medium", "thick"] = "medium",
    bowl: float = 60.0,
    scale: float = 0.1,
    shelf: ShelfOption = None,
    melt: bool = False,
    full: bool = False,
    result: str | None = None,
    json: JsonOption = None,
    wet: WetOption = None,
) -> None:
    """Plan the appointment for a wanted shade: what to do zone by zone, with times, mixes and the fading.

    Parameters
    ----------
    hair HAIR : A photo, a saved reading's JSON, or L,a,b.
    target SHADE : The wanted shade: a name, #rrggbb or L,a,b.
    length : Its length: gives grams for the whole head.
    density : Its density, for the grams.
    bowl GRAMS : How much of each mix, without --hair.
    scale GRAMS : Smallest step of your scale.
    melt : From deep at the root to sheer at the ends: two or three mixes.
    full : Also print what to watch at each step, and all cautions.
    result HAIR : The same hair dyed by this plan: learns how much dye it takes up.
    """
    from strandgauge.judge.outlook import Settings
    from strandgauge.judge.plan import make_plan
    from strandgauge.show.terminal.plan import print_plan

    kit = open_kit()
    kit = only_on_shelf(kit, shelf)
    wanted, past = kit.target(target), load_told(history, told)
    zones, look = kit.hair(hair_from(hair), wet=wet)
    tell_dry(look.reading if look else None)

    def planned(known: History) -> Plan:
        return make_plan(
            zones,
            wanted,
            kit.shelf,
            kit.targets,
            kit.ladder,
            Settings(bowl=bowl, scale=scale, melt=melt),
            known,
            length,
            density,
        )

    made = planned(past)
    if result is not None:
        uptake = _learned(made, zones, kit.hair(hair_from(result), wet=wet)[0], kit)
        made = planned(replace(past, uptake=uptake))
    session.show(made, partial(print_plan, full=full))
    if result is not None and (session.json is None or not session.json.to_standard_output):
        from strandgauge.words.plan import learned_line

        print(learned_line(made.uptake))


def _learned(made: Plan, before: tuple[BaseZone, ...], after: tuple[BaseZone, ...], kit: Kit) -> float:
    """Return how much dye the hair took up, from zones that both readings have."""
    from strandgauge.judge.plan import uptake_from
    from strandgauge.lift.advice import COLOURS

    formulas = {
        zone: step.formula for step in made.steps if step.do in COLOURS for zone in step.zone.split("+")
    }
    results = {zone.name: zone for zone in after}
    named = [zone for zone in before if zone.name in results and formulas.get(zone.name)]
    return uptake_from(
        named,
        [results[z.name] for z in named],
        [formulas[z.name] or () for z in named],
        kit.shelf,
        made.uptake,
    )
