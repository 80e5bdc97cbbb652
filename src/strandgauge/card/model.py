"""What a card is, as frozen data: markers, patches with their colours, and the strand's window.

All lengths are millimetres on the printed card, x to the right, y down, from the card's top left corner. All
colours are CIELAB for D65 and the CIE 1931 2 degree observer, whatever the definition was written for.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from strandgauge.colour.cielab import Lab
from strandgauge.errors import BadCardDefinitionError

Point = tuple[float, float]
Box = tuple[float, float, float, float]
"""x, y of the top left corner, width, height."""
Corners = tuple[Point, Point, Point, Point]
Side = Literal["left", "right", "top", "bottom"]
Align = Literal["left", "middle", "right"]
Tone = Literal["ink", "grey"]
Place = Literal["left", "right", "above", "below"]


@dataclass(frozen=True, slots=True)
class Marker:
    """One ArUco or AprilTag marker."""

    id: int
    dictionary: str
    """Name of OpenCV's predefined dictionary, such as ``DICT_4X4_250``."""
    corners: Corners
    """Corners of the black border, clockwise from the marker's own top left, as the detector lists them."""


@dataclass(frozen=True, slots=True)
class Patch:
    """One field of even colour."""

    id: str
    box: Box
    lab: Lab
    name: str
    """Plain words for the colour; empty when the definition gives none."""
    label: Place | None = None
    """Beside which edge the id is printed; None when it is not."""

    @property
    def centre(self) -> Point:
        """Centre of the patch, mm."""
        x, y, width, height = self.box
        return x + width / 2, y + height / 2


@dataclass(frozen=True, slots=True)
class Window:
    """Where the strand lies, on bare paper."""

    box: Box
    root_end: Side = "left"
    """The side at which the strand's root end lies."""


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text printed on the card."""

    at: Point
    """Start, middle or end of the base line, as `align` says."""
    size: float
    """Height of the font, mm; its capitals are about 0.73 of it."""
    text: str
    align: Align = "left"
    bold: bool = False
    tone: Tone = "ink"


@dataclass(frozen=True, slots=True)
class Arrow:
    """A straight arrow printed on the card."""

    start: Point
    end: Point
    width: float = 0.5
    """Width of the shaft, mm."""


@dataclass(frozen=True, slots=True)
class Scale:
    """A millimetre scale printed on the card, to check the size of the print."""

    at: Point
    """Top of the first tick; the scale runs to the right."""
    length: int = 100
    """Length, mm."""


@dataclass(frozen=True, slots=True)
class CardDefinition:
    """A card, or any other chart with markers around it."""

    name: str
    version: int
    size: tuple[float, float]
    """Width and height, mm."""
    illuminant: str
    """Illuminant the definition's colours were written for; every ``lab`` here is already adapted to D65."""
    observer: str
    """Always ``"2"``: colours of another observer are refused."""
    paper: Lab | None
    """The bare sheet around everything; None when it is not known."""
    ink: Lab | None
    """Markers, text and rules; None when not known."""
    window: Window | None
    """None for a chart without a place for a strand."""
    markers: tuple[Marker, ...]
    patches: tuple[Patch, ...]
    reserved_ids: tuple[int, int] | None
    """First and last marker id that belong to some version of this card; None when nothing is reserved."""
    dictionary: str
    """Dictionary of the markers that do not name their own."""
    source_path: Path
    profile_name: str | None = None
    """Name of the print profile whose measured values replaced the nominal ones; None for nominal colours."""
    texts: tuple[Text, ...] = ()
    arrows: tuple[Arrow, ...] = ()
    scale: Scale | None = None
    even_paper: bool = False
    """The bare sheet is of one colour, though that is not known: it still tells how the light falls."""
    excluded: tuple[Box, ...] = ()
    """Where the bare sheet is not what it is elsewhere: print, holes, another board."""

    @property
    def patch_labs(self) -> NDArray[np.float64]:
        """CIELAB of the patches, shape (N, 3)."""
        return np.array([patch.lab for patch in self.patches], dtype=np.float64)

    @property
    def marker_corners(self) -> NDArray[np.float64]:
        """Corners of the markers, mm, shape (M, 4, 2)."""
        return np.array([marker.corners for marker in self.markers], dtype=np.float64)

    @property
    def outline(self) -> NDArray[np.float64]:
        """Corners of the card, mm, clockwise from the top left, shape (4, 2)."""
        width, height = self.size
        return np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])

    def strand_window(self) -> Window:
        """Return where the strand lies.

        Raises
        ------
        BadCardDefinitionError : the card is a chart without such a place.
        """
        if self.window is None:
            raise BadCardDefinitionError(
                f"'{self.name}' has no window for a strand.",
                where=self.source_path.name,
                remedy="Use a card with a [window] to read strands; 'strandgauge check' needs none.",
            )
        return self.window
