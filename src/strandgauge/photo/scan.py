"""Tells by its pixels that bits of a JPEG are wrong where no decoder can know.

A block's mean is coded as what it differs from the block before (ITU-T T.81, F.1.1.5.1), so that one wrong bit makes
everything behind it lighter, darker or of another tint. The Huffman code falls into step again within a few blocks,
and nothing is missing at the end. What is left to see is a step against the blocks above, the same for as many blocks
as a row has, which turns from one row's lower border to its upper one in the column where the damage is.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from strandgauge.photo.formats import Pixels

_STEP = 4.0
"""Least step of luma or chroma, in 8-bit steps."""
_SHARE = 0.8
"""Least share of a row's blocks that step the same way. Objects' edges, most of all the card's own, come to 0.73."""
_LEVEL_SHARE = 0.95
_LEVEL = 0.06
"""A step that turns nearer to the picture's side than this share of its width may be a level edge in the scene, or a
bar in a screenshot. It counts with more blocks, and only if what is in the picture goes on across it:"""
_CONTRAST = 25.0
"""least range of luma along the row on either side (10th to 90th percentile), in 8-bit steps,"""
_UNLIKE = 0.1
"""and how much of that range the step may vary (median deviation)."""
_FEWEST_COLUMNS, _MOST_COLUMNS = 12, 128
"""How many means are taken along a row: one a unit, or one of several where the picture is large."""

_BGR_TO_YCC = np.array([[0.114, 0.5, -0.0813], [0.587, -0.3313, -0.4187], [0.299, -0.1687, 0.5]], np.float32)
"""Luma and chroma as JFIF has them (ITU-T T.871)."""


def is_shifted(pixels: Pixels, unit: tuple[int, int]) -> bool:
    """Tell whether, from one block on, all blocks of a picture are shifted in luma or chroma.

    Parameters
    ----------
    pixels : (H, W, 3) BGR, uint8, as decoded, not yet turned.
    unit : width and height of a minimum coded unit in these pixels.
    """
    width, height = unit
    width *= 1 + pixels.shape[1] // (width * _MOST_COLUMNS)
    columns = pixels.shape[1] // width
    rows = (pixels.shape[0] - 5) // height
    if height < 2 or columns < _FEWEST_COLUMNS or rows < 2:
        return False

    def line(at: int) -> NDArray[np.float32]:
        """Return (rows, columns, 3) BGR means along one line of pixels, counted from each unit's upper border."""
        lines = pixels[height + at :: height, : columns * width][:rows]
        return cv2.resize(lines, (columns, rows), interpolation=cv2.INTER_AREA).astype(np.float32)

    near = [line(at) for at in (-2, -1, 0, 1)]
    # Chroma of half the height is spread over two lines on either side of a border.
    far = [line(at) for at in (-5, -2, 1, 4)] if height >= 16 else near
    for lines, channels in ((near, (0,)), (far, (1, 2))):
        steps = _step(lines) @ _BGR_TO_YCC
        for channel in channels:
            step = steps[..., channel].copy()
            in_row = np.count_nonzero(abs(step) > _STEP, axis=1)
            if (in_row[1:] + in_row[:-1]).max() < _SHARE * columns:
                continue
            step[_steep([line @ _BGR_TO_YCC[:, channel] for line in lines])] = 0
            above, below = (line @ _BGR_TO_YCC[:, 0] for line in lines[1:3])
            if any(_runs(sign * step, steps[..., 0], above, below) for sign in (1, -1)):
                return True
    return False


def _step(lines: list[NDArray[np.float32]]) -> NDArray[np.float32]:
    """Return what the third of four lines steps from the second, beyond the slope on either side."""
    before, above, below, behind = lines
    return 1.5 * (below - above) - 0.5 * (behind - before)


def _steep(lines: list[NDArray[np.float32]]) -> NDArray[np.bool_]:
    """Tell in which rows most of the picture goes steeply beside the border: a frame's soft edge is no damage."""
    before, above, below, behind = lines
    slopes = [abs(np.median(slope, axis=1)) for slope in (above - before, behind - below)]
    steep: NDArray[np.bool_] = np.maximum(*slopes) > _STEP
    return steep


def _runs(
    step: NDArray[np.float32],
    luma: NDArray[np.float32],
    above: NDArray[np.float32],
    below: NDArray[np.float32],
) -> bool:
    """Tell whether nearly all of as many blocks as a row has step, in the order of the scan.

    All are (rows, columns): the step looked for, the step of luma, and luma on either side.
    """
    columns = step.shape[1]
    step, luma, above, below = (every.ravel() for every in (step, luma, above, below))
    count = np.concatenate([[0], np.cumsum(step > _STEP)])
    share = (count[columns:] - count[:-columns]) / columns
    while share.max() >= _SHARE:
        at = int(share.argmax())
        end, turn = at + columns, at + -at % columns
        row = slice(at, end)
        least = max(_STEP, float(np.median(step[row])) / 2)
        if _LEVEL * columns <= turn - at <= (1 - _LEVEL) * columns:
            stepped, level = (
                (step[at:turn], step[turn:end]),
                (step[turn - columns : at], step[end : turn + columns]),
            )
            alike = all(np.mean(part > _STEP) >= _SHARE for part in stepped)
        else:
            level = step[max(0, at - columns) : at], step[end : end + columns]
            contrast = min(float(np.ptp(np.quantile(side[row], (0.1, 0.9)))) for side in (above, below))
            unlike = float(np.median(abs(luma[row] - np.median(luma[row]))))
            alike = share[at] >= _LEVEL_SHARE and contrast >= _CONTRAST and unlike <= _UNLIKE * contrast
        if alike and all(part.size == 0 or abs(np.median(part)) < least for part in level):
            return True
        share[max(0, at - columns) : end] = 0
    return False
