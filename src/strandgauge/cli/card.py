"""``strandgauge card``: the card as a page to print and as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from strandgauge.cli.options import CardOption, misuse, nominal_card
from strandgauge.codes.catalogue import say
from strandgauge.files.endings import WRITTEN_PICTURES
from strandgauge.files.write import write_whole

DEFAULT_OUT = Path("card.pdf")


def card(
    out: Annotated[Path | None, typer.Option(show_default=False)] = None,
    png: Path | None = None,
    paper: Annotated[Literal["a4", "letter"], typer.Option(case_sensitive=False)] = "a4",
    card: CardOption = None,
    scale: Annotated[float, typer.Option(min=1.0, max=200.0)] = 20.0,
) -> None:
    """Write the card: a page to print at 100 %, and a picture of it.

    Parameters
    ----------
    out FILE : Page to print, a PDF file, or the picture where it ends in .png. Written as card.pdf when neither
        this nor --png is given.
    png FILE : Picture of the card alone, without a margin.
    paper : Paper that the page is printed on.
    scale N : Pixels per millimetre of the picture.
    """
    if out is None and png is None:
        out = DEFAULT_OUT
    if out is not None and png is not None and out == png:
        raise misuse("same-file")
    if out is not None and out.suffix.lower() in WRITTEN_PICTURES:
        if png is not None or out.suffix.lower() != ".png":
            raise misuse("page-and-picture")
        out, png = None, out
    definition = nominal_card(card)
    from strandgauge.card.page import card_pdf
    from strandgauge.card.picture import card_png_bytes

    size = say("card-file.size", width=definition.size[0], height=definition.size[1])
    if out is not None:
        write_whole(out, card_pdf(definition, paper))
        sheet = "A4" if paper == "a4" else "letter"
        told = {"name": definition.name, "version": definition.version, "size": size, "paper": sheet}
        print(say("card-file.page", file=out, **told))
        print(say("card-file.print"))
        if definition.scale:
            print(say("card-file.scale", length=definition.scale.length))
    if png is not None:
        write_whole(png, card_png_bytes(definition, scale))
        width, height = (round(side * scale) for side in definition.size)
        print(say("card-file.picture", file=png, width=width, height=height, scale=scale, size=size))
