"""A wanted shade as a region: from its clearest colour down to the deepest that still goes by its name."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import delta_e_2000
from strandgauge.dye.targets import Target

DEEPER = 4.0
"""L* by which a shade without deep variants may be deeper; own choice: depth is forgiven, hue is not."""
_KEPT_CHROMA = 0.97
_STEP = 3.0
"""L*a*b* between points along the line."""


@dataclass(frozen=True, eq=False)
class Region:
    """The colours that go by a shade's name."""

    anchors: Array
    """(A, 3) from the clearest to the deepest: what a mix may aim at."""
    line: Array
    """(N, 3) points on the line through them, close together."""

    def away(self, lab: ArrayLike) -> Array:
        """Return the CIEDE2000 difference (...) of colours (..., 3) from the nearest colour of the region."""
        apart = delta_e_2000(np.asarray(lab, dtype=float)[..., None, :], self.line)
        return np.asarray(apart.min(axis=-1))

    def at(self, depth: float) -> Array:
        """Return the colour (3,) at a depth: 0 for the clearest, 1 for the deepest that goes by the name."""
        return np.asarray(self.line[round(depth * (len(self.line) - 1))])


def region_of(target: Target) -> Region:
    """Return the region of a shade."""
    first = np.asarray(target.lab, dtype=float)
    deep = target.deep or ((max(first[0] - DEEPER, 0.0), _KEPT_CHROMA * first[1], _KEPT_CHROMA * first[2]),)
    anchors = np.vstack([first, np.asarray(deep, dtype=float)])
    lengths = np.linalg.norm(np.diff(anchors, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    places = np.unique(np.append(np.linspace(0.0, along[-1], 2 + int(along[-1] / _STEP)), along))
    line = np.stack([np.interp(places, along, anchors[:, k]) for k in range(3)], axis=-1)
    return Region(anchors, line)
