"""What every result is printed on: lines, tables, hanging lines and swatches, and the console they go to."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable, Sequence
from typing import IO, cast

from rich.console import Console
from rich.table import Table
from rich.text import Text

from strandgauge.codes.facts import Note
from strandgauge.colour.cielab import Lab
from strandgauge.colour.srgb import hex_colour
from strandgauge.words import said, say

UNBROKEN = 1000
"""Columns where nothing is cut or broken."""
NARROW = 56
"""Columns below which the numbers are left to the JSON and only the words are shown."""
Part = str | Text | tuple[str, str]
"""A piece of a line, with its style where it has one."""
Cell = str | Text | Lab
"""What stands in a table; a colour is shown as a swatch."""


class Printer:
    """Prints on a console, by default on standard output."""

    def __init__(self, console: Console | None = None) -> None:
        self.console = console or plain_console()
        self.width = self.console.width
        # With 16 colours a swatch would show another colour than was read.
        exact = self.console.color_system in ("truecolor", "256")
        self.colours = self.console.is_terminal and not self.console.no_color and exact

    def line(self, *parts: Part, style: str = "") -> None:
        """Print a line, or an empty one."""
        self.console.print(Text.assemble(*parts, style=style))

    def aside(self, *lines: str) -> None:
        """Print what is of less interest, a line each."""
        for text in lines:
            self.line(text, style="dim")

    def headline(self, phrases: Sequence[str], *before: Part) -> None:
        """Print an answer, its first phrase in bold."""
        first, *others = phrases
        self.line(*before, (first, "bold"), *(f"  ·  {phrase}" for phrase in others))

    def swatch(self, lab: Lab, width: int = 5) -> Text:
        """Return a colour with a blank behind it; nothing where it could not be shown as it is."""
        if not self.colours:
            return Text()
        return Text.assemble((" " * width, f"on {hex_colour(lab)}"), " ")

    def under(self, mark: str | Text, *lines: str | Text) -> None:
        """Print lines that hang from a mark, broken under their own beginning, with no blanks at their ends."""
        room = max(self.width - len(mark), 1)
        rows = [row for line in lines if line for row in Text.assemble(line).wrap(self.console, room)]
        for place, row in enumerate(rows):
            row.rstrip()
            self.console.print(Text.assemble(" " * len(mark) if place else mark, row))

    def notes(self, notes: Sequence[Note]) -> None:
        """Print notes below an empty line, each behind a mark of its own; nothing where there are none."""
        if notes:
            self.line()
        for note in notes:
            self.warn(said(note))

    def warn(self, text: str) -> None:
        """Print a sentence that should not be overlooked."""
        self.under(Text("! ", "bold"), text)

    def table(
        self, heads: Sequence[str], rows: Iterable[Sequence[Cell]], styles: Iterable[str] | str = ""
    ) -> None:
        """Print a table without lines.

        Parameters
        ----------
        heads : codes of ``[column]`` in the catalogue, or nothing; ``>`` before one puts its cells to the right,
            ``~`` lets them be broken into lines; ``#6`` is a column of swatches six wide, which only a terminal
            that can show them has.
        rows : a cell for each head.
        styles : of each row, or of all.
        """
        made = Table(
            box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim", show_header=any(heads)
        )
        shown = [place for place, head in enumerate(heads) if self.colours or not head.startswith("#")]
        for place in shown:
            head = heads[place]
            code = "" if head.startswith("#") else head.lstrip("~>")
            name = say(f"column.{code}") if code else ""
            made.add_column(
                name, justify="right" if head.startswith(">") else "left", no_wrap=not head.startswith("~")
            )
        listed = list(rows)
        each = [styles] * len(listed) if isinstance(styles, str) else styles
        for row, style in zip(listed, each, strict=True):
            made.add_row(*(_drawn(row[place], heads[place]) for place in shown), style=style)
        self.console.print(made)


def _drawn(cell: Cell, head: str) -> Text:
    if isinstance(cell, tuple):
        return Text(" " * int(head[1:]), style=f"on {hex_colour(cell)}")
    return Text(cell) if isinstance(cell, str) else cell


def plain_console() -> Console:
    """Return the console that results are printed to.

    What goes into a pipe or a file is not broken into lines and not padded: whoever reads it may break it as they
    like. ``COLUMNS`` sets a width all the same.
    """
    if sys.stdout.isatty():
        return _Console(highlight=False)
    width = None if "COLUMNS" in os.environ else UNBROKEN
    return _Console(highlight=False, width=width, file=cast(IO[str], _Unpadded()))


class _Unpadded:
    """Standard output without blanks at the end of a line."""

    encoding = property(lambda self: sys.stdout.encoding)

    def write(self, text: str) -> int:
        return sys.stdout.write(re.sub(r" +(?=\n)", "", text))

    def flush(self) -> None:
        sys.stdout.flush()

    def isatty(self) -> bool:
        return False


class _Console(Console):
    """A console that tells when nobody listens any more, instead of leaving by itself."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError
