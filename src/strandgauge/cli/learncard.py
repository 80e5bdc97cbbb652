"""``strandgauge learn card``: the true colours of your own print, from a photo beside a trusted chart."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from strandgauge.cli.options import JsonOption, misuse, nominal_card
from strandgauge.cli.outcome import Session

if TYPE_CHECKING:
    from strandgauge.learn.prints import LearnedPrint


def card(
    session: Session,
    photos: Annotated[list[Path] | None, typer.Argument()] = None,
    name: str = "",
    trusted: Path | None = None,
    profile: Path | None = None,
    same_inks: bool = False,
    daylight: bool = False,
    card: Path | None = None,
    out: Path | None = None,
    use: bool = True,
    json: JsonOption = None,
) -> None:
    """Learn the true colours of your own print of the card, for every later reading.

    Parameters
    ----------
    photos [PHOTO...] : Photos of your print with the trusted chart beside it; best two, the chart on either side.
    name NAME : What to call your print; readings name it.
    trusted CHART : The trusted chart's definition, a TOML file with its true colours.
    profile FILE : Colours measured on your print, as CGATS text, instead of photos.
    same_inks : The trusted chart was printed with the same inks as your print.
    daylight : The photos were taken at a window, no lamp on: the inks are surer.
    card FILE : The definition your print was made from, if not the one shipped.
    out FILE : Write the colours to this file instead of your own folder: CGATS text for --profile, or, where it
        ends in .toml, a definition for --card.
    use : Use it from now on in every reading.
    """
    given = photos or []
    if not name.strip():
        raise misuse("no-name")
    if (profile is None) == (not given) or (given and trusted is None):
        raise misuse("photos-or-profile")
    from strandgauge.learn.kept import check_name, keep

    tidy = check_name(name)
    learned, text = None, ""
    if profile is not None:
        text = _measured(profile, card, out)
    else:
        assert trusted is not None, "photos come with a chart"
        learned, text = _learned(given, trusted, card, out, same_inks, daylight)
    file, used = keep("card", tidy, text, out, use=use)
    from strandgauge.show.json.learned import LearnedCard

    session.show(LearnedCard(tidy, str(file), used, learned), _tell, tidy, learned, file, out, used)


def _learned(
    photos: list[Path], trusted: Path, card: Path | None, out: Path | None, same_inks: bool, daylight: bool
) -> tuple[LearnedPrint, str]:
    from strandgauge.card.definition import load_card
    from strandgauge.learn.prints import learn_print, print_cgats, print_toml

    learned = learn_print(
        photos, nominal_card(card), load_card(trusted), same_inks=same_inks, daylight=daylight
    )
    return learned, print_toml(learned) if _as_definition(out) else print_cgats(learned)


def _measured(profile: Path, card: Path | None, out: Path | None) -> str:
    """Return the text to save for measurements: themselves, or the card with them in place."""
    from strandgauge.card.profile import apply_profile, read_profile
    from strandgauge.card.write import card_toml

    definition = apply_profile(nominal_card(card), read_profile(profile))
    if _as_definition(out):
        return card_toml(
            definition, f"'{definition.name}' as printed: colours measured, from {profile.name}."
        )
    return profile.read_text(encoding="utf-8", errors="replace")


def _as_definition(out: Path | None) -> bool:
    return out is None or out.suffix.lower() == ".toml"


def _tell(name: str, learned: LearnedPrint | None, file: Path, out: Path | None, used: bool) -> None:
    from strandgauge.show.terminal.learned import print_kept, print_learned_print

    if learned is not None:
        print_learned_print(learned)
    option = "--card" if _as_definition(out) else "--profile"
    print_kept(name, file, None if out is None else f"{option} {out}", used)
