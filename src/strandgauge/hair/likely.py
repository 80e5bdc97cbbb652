"""How likely each word is for a measured colour: undertones, stains, warmth, kinds of hair, from the one posterior.

A word's chance is the weight of the hair colours that it fits. Taken over many strands, of the words told with
70 % some 70 % are right, as far as the family and the error model are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strandgauge.codes.bounds import Share
from strandgauge.colour.arrays import Array, quantiles
from strandgauge.hair.family import KINDS
from strandgauge.hair.levels import Ladder
from strandgauge.hair.posterior import Posterior
from strandgauge.hair.stain import Stain, off_path, stain_at, stain_words
from strandgauge.hair.warmth import BesideCode, WarmthBeside, undertone_rules, warmth_excess
from strandgauge.hair.words import load_words

DRAWS = 320
LEAST = 0.01
"""Chances below this are not told."""
LEAST_GREY = 0.1
"""Chance of greying hair below which no share of white is told."""
NO_STAIN = "none"


@dataclass(frozen=True, slots=True)
class Likely:
    """The words for a colour with their chances, likeliest first."""

    undertones: dict[str, float]
    stains: dict[str, float]
    """By hue; `NO_STAIN` for none."""
    stain: Stain | None
    """The likeliest stain, where a stain is likelier than none."""
    warmth: WarmthBeside
    hair: dict[str, float]
    """How likely each kind of hair is: natural, lifted, red, grey, toned, dyed, or any other colour."""
    white: WhiteHair | None
    """None where white hairs are unlikely."""


@dataclass(frozen=True, slots=True)
class WhiteHair:
    """Share of white hairs, if the hair is of white and never lifted pigmented ones."""

    share: Share
    low: Share
    high: Share
    """95 % interval."""


def likely(every: Sequence[Posterior], ladder: Ladder) -> list[Likely]:
    """Return how likely each word is for the hair colours that each measurement leaves possible.

    Several are told in little more time than one.
    """
    words = load_words()
    drawn = [found.draws(DRAWS) for found in every]
    lab = np.array([found.lab[some] for found, some in zip(every, drawn, strict=True)])
    # Outlines are kept by lightness: at whole ones there are few of them.
    off = off_path(np.concatenate([np.round(lab[..., :1]), lab[..., 1:]], axis=-1), words.path)
    stained = np.hypot(off[..., 0], off[..., 1]) > words.stain_distance
    hues = np.zeros(stained.shape, dtype=np.intp)
    hues[stained] = stain_words(lab[stained], off[stained], words) + 1
    tones = undertone_rules(lab, ladder, words)
    excess = warmth_excess(lab, ladder)
    ends = np.transpose(quantiles(excess.T, (0.025, 0.975))).tolist()
    hue_names = [NO_STAIN, *(hue.word for hue in words.stain_hues)]
    undertones = [rule.word for rule in words.undertones]
    told = []
    for i, found in enumerate(every):
        stain = None
        if stained[i].mean() > 0.5:
            mostly = np.bincount(hues[i][stained[i]]).argmax() == hues[i]
            stain = stain_at(lab[i][mostly].mean(0), off[i][mostly].mean(0), words)
        told.append(
            Likely(
                _chances(tones[i], undertones),
                _chances(hues[i], hue_names),
                stain,
                _warmth(excess[i], ends[i], words.usual_warmth),
                _chances(found.kind[drawn[i]], KINDS),
                _white(found),
            )
        )
    return told


def _white(found: Posterior) -> WhiteHair | None:
    grey = found.kind == KINDS.index("grey")
    if found.weight[grey].sum() < LEAST_GREY:
        return None
    low, middle, high = found.only(grey).quantiles(found.white[grey], (0.025, 0.5, 0.975)).tolist()
    return WhiteHair(middle, low, high)


def _warmth(excess: Array, ends: tuple[float, float], usual: float) -> WarmthBeside:
    codes: tuple[BesideCode, ...] = ("less", "usual", "more")
    side = (excess > -usual).astype(np.intp) + (excess > usual)
    code = codes[int(np.bincount(side).argmax())]
    return WarmthBeside(code, float(excess.mean()), *ends, _chances(side, codes))


def _chances(places: NDArray[np.intp], names: Sequence[str]) -> dict[str, float]:
    counts: dict[str, int] = {}
    for name, count in zip(names, np.bincount(places, minlength=len(names)).tolist(), strict=True):
        if count:
            counts[name] = counts.get(name, 0) + count
    told = {name: count / len(places) for name, count in counts.items() if count >= LEAST * len(places)}
    return dict(sorted(told.items(), key=lambda one: -one[1]))
