"""Whether a card in a photo can be trusted: exposure, sharpness, glare, unevenness, kinds of light.

A problem is an error that a reading raises and a check lists; a caution is a note under a reading that was still
possible, and widens its uncertainty. Limits are in one table at the top.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strandgauge.card.find import CardView
from strandgauge.card.model import CardDefinition
from strandgauge.card.sample import Samples
from strandgauge.colour.arrays import Array, Mask
from strandgauge.colour.cielab import chroma, xyz_from_lab
from strandgauge.errors import (
    BlurError,
    CardMismatchError,
    GlareError,
    MixedLightError,
    OverexposedError,
    StrandgaugeError,
    UnderexposedError,
    UnevenLightError,
)
from strandgauge.facts import Note, caution
from strandgauge.light.correction import NEUTRAL_CHROMA, Correction


@dataclass(frozen=True, slots=True)
class Limits:
    """From where on a photo gets a caution, and from where on it is refused."""

    clipped_share: float = 0.08
    """A place with more clipped pixels than this is left out of the fit."""
    clipped_patches: tuple[float, float] = (0.01, 0.13)
    """Share of the card's patches (paper aside) that are clipped: caution, refusal."""
    white_encoded: tuple[float, float] = (0.45, 0.28)
    """Encoded value of the lightest neutral below which the photo is dark: caution, refusal."""
    dark_step: float = 0.006
    """Smallest encoded step between the two darkest neutrals that can still be told apart."""
    one_step: float = 3.0
    """L* within which greys count as one step: patches of one step differ a little where the print was measured."""
    nearly_white: float = 0.975
    """Encoded value of the lightest patch beyond which colours that do not fit are washed out."""
    dark_encoded: float = 0.15
    """Encoded value below which two greys that look alike are too dark rather than veiled."""
    edge_share: tuple[float, float] = (0.11, 0.21)
    """Width of a printed edge over the smallest patch side: caution, refusal."""
    unevenness: tuple[float, float] = (0.60, 1.50)
    """(brightest - darkest) / mean of the light over the card: caution, refusal."""
    colour_change: tuple[float, float] = (0.12, 0.30)
    """Range of log(red/green) or log(blue/green) of the light over the card: caution, refusal."""
    local_shade: tuple[float, float] = (0.10, 0.22)
    """Share of neutrals whose light departs from the smooth field by a tenth: caution, refusal."""
    glare_patches: tuple[int, int] = (1, 3)
    """Places veiled by a reflection: caution, refusal."""
    misfit: tuple[float, float] = (2.5, 6.0)
    """Median Delta E00 of the corrected card: caution, refusal."""


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class LightReport:
    """What the card tells about the light, and whether it can be trusted."""

    problems: tuple[StrandgaugeError, ...]
    cautions: tuple[Note, ...]
    unevenness: float
    """(brightest - darkest) / mean of the light over the card."""
    colour_change: float
    """Largest range of log(red/green) or log(blue/green) of the light over the card."""


def exposure_problems(
    samples: Samples, card: CardDefinition
) -> tuple[Mask, list[StrandgaugeError], list[Note]]:
    """Return which samples can be used, and what is wrong with the exposure."""
    problems: list[StrandgaugeError] = []
    cautions: list[Note] = []
    clipped = samples.clipped_high > LIMITS.clipped_share
    patches = samples.is_patch
    below_white = patches & (samples.reference[:, 0] < 90)
    share = float(clipped[below_white].mean()) if below_white.any() else 0.0
    if share > LIMITS.clipped_patches[1]:
        problems.append(
            OverexposedError(
                f"{int(clipped[below_white].sum())} of the card's patches are clipped to white.",
                where="the card",
            )
        )
    elif share > LIMITS.clipped_patches[0] or (clipped & ~patches).sum() > 0.5 * max((~patches).sum(), 1):
        cautions.append(caution("nearly-overexposed"))
    neutrals = _neutrals(samples)
    lightness = samples.reference[neutrals, 0]
    green = samples.encoded[neutrals, 1]
    white = float(np.median(green[lightness >= np.percentile(lightness, 90) - 0.5]))
    if white < LIMITS.white_encoded[1]:
        problems.append(
            UnderexposedError(
                f"The card's white is only {100 * white:.0f} % bright in the picture.", where="the card"
            )
        )
    elif white < LIMITS.white_encoded[0]:
        cautions.append(caution("dark"))
    darkest = lightness < lightness.min() + LIMITS.one_step
    above = lightness[~darkest]
    if above.size and lightness.min() < 30 and not problems:
        next_step = ~darkest & (lightness < above.min() + LIMITS.one_step)
        low, next_up = (float(np.median(green[step])) for step in (darkest, next_step))
        crushed = float(np.mean(samples.clipped_low[neutrals][darkest]))
        # Veiled by a reflection they are alike too, but not dark.
        if (next_up - low < LIMITS.dark_step and low < LIMITS.dark_encoded) or crushed > 0.5:
            problems.append(
                UnderexposedError("The card's two darkest greys cannot be told apart.", where="the card")
            )
    return ~clipped, problems, cautions


def judge(
    samples: Samples, correction: Correction, view: CardView, card: CardDefinition, delta_e00: Array
) -> LightReport:
    """Judge light and sharpness after the fit; `delta_e00` (N,) is the fitted error of each sample."""
    problems: list[StrandgaugeError] = []
    cautions: list[Note] = []
    smallest = min(min(patch.box[2:]) for patch in card.patches)
    edge = view.edge_width_mm / smallest
    if edge > LIMITS.edge_share[1]:
        problems.append(
            BlurError(f"The picture is blurred: a printed edge is {view.edge_width_mm:.1f} mm wide.")
        )
    elif edge > LIMITS.edge_share[0]:
        cautions.append(caution("soft"))
    if view.hidden:
        cautions.append(caution("mark-hidden", hidden=len(view.hidden)))
    # Greys fit under nearly any assumption; whether this is the card is told by its colours.
    greys = samples.is_patch & _neutrals(samples)
    colours = samples.is_patch & ~greys
    median = float(np.median(delta_e00[colours if colours.sum() >= 6 else samples.is_patch]))
    unevenness, colour_change = light_over_card(correction, card)
    if (
        median > LIMITS.misfit[1]
        and colour_change < LIMITS.colour_change[0]
        and greys.any()
        and np.median(delta_e00[greys]) < LIMITS.misfit[0]
    ):
        # No lamp and no reflection spoils the colours and leaves the greys; clipping does.
        washed_out = samples.encoded[samples.is_patch].max() > LIMITS.nearly_white
        problem = _washed_out() if washed_out else _mismatch(median)
        return LightReport((*problems, problem), tuple(cautions), unevenness, colour_change)
    veiled = veiled_places(samples, correction)
    near_strand = veiled & samples.is_patch
    if near_strand.sum() >= LIMITS.glare_patches[1]:
        where = ", ".join(np.asarray(samples.ids)[near_strand][:4])
        problems.append(
            GlareError(
                f"{int(near_strand.sum())} patches are veiled by a reflection.", where=f"patches {where}"
            )
        )
    elif near_strand.sum() >= LIMITS.glare_patches[0]:
        cautions.append(caution("slight-glare"))
    shaded = shaded_share(samples, correction)
    # Two kinds of light look uneven too, so they are named first.
    if colour_change > LIMITS.colour_change[1]:
        problems.append(
            MixedLightError(
                f"The light's colour changes by {100 * np.expm1(colour_change):.0f} % over the card."
            )
        )
    elif colour_change > LIMITS.colour_change[0]:
        cautions.append(caution("mixed"))
    if unevenness > LIMITS.unevenness[1] or shaded > LIMITS.local_shade[1]:
        problems.append(_uneven(unevenness, shaded))
    elif unevenness > LIMITS.unevenness[0] or shaded > LIMITS.local_shade[0]:
        cautions.append(caution("uneven", percent=100 * unevenness))
    if not problems:
        if median > LIMITS.misfit[1] and colour_change > LIMITS.colour_change[0]:
            problems.append(
                MixedLightError("Two kinds of light meet on the card; its colours do not fit together.")
            )
        elif median > LIMITS.misfit[1]:
            problems.append(_mismatch(median))
        elif median > LIMITS.misfit[0]:
            cautions.append(caution("loose-fit", delta_e00=median))
    return LightReport(tuple(problems), tuple(cautions), unevenness, colour_change)


def light_over_card(correction: Correction, card: CardDefinition) -> tuple[float, float]:
    """Return the unevenness and the colour change of the fitted light over the card (see LightReport)."""
    x, y = np.meshgrid(np.linspace(0.03, 0.97, 13) * card.size[0], np.linspace(0.04, 0.96, 9) * card.size[1])
    factor = correction.factor(np.c_[x.ravel(), y.ravel()])
    green = factor[:, 1]
    logs = np.log(factor[:, [0, 2]] / factor[:, [1]])
    return float((green.max() - green.min()) / green.mean()), float(np.ptp(logs, axis=0).max())


def veiled_places(samples: Samples, correction: Correction) -> Mask:
    """Return (N,) True where white light is added to what the card's colour would send back.

    A lamp mirrored in the print adds light of its own colour to all channels alike: dark patches turn grey and
    light, which neither shade nor a misprint does.
    """
    seen = correction.to_xyz(samples.encoded, samples.places)
    added = seen - xyz_from_lab(samples.reference)
    return np.asarray(
        (added.min(1) > 0.035) & (added[:, 1] > 0.30 * seen[:, 1]) & (correction.influence_weight < 0.5)
    )


def shaded_share(samples: Samples, correction: Correction) -> float:
    """Return the share of neutral places whose brightness departs by a tenth from the smooth field."""
    neutrals = _neutrals(samples) & (samples.reference[:, 0] > 30) & (samples.spread < 0.08)
    if neutrals.sum() < 4:
        return 0.0
    fitted = (correction.lab_fitted[neutrals, 0] + 16) / (samples.reference[neutrals, 0] + 16)
    return float(np.mean(np.abs(3 * np.log(np.maximum(fitted, 1e-3))) > 0.10))


def _neutrals(samples: Samples) -> Mask:
    few = chroma(samples.reference) < NEUTRAL_CHROMA
    return np.asarray(few if few.sum() >= 2 else np.ones(len(few), dtype=bool))


def _mismatch(median: float) -> CardMismatchError:
    return CardMismatchError(f"The card's colours are off by Delta E00 {median:.1f} after correction.")


def _washed_out() -> OverexposedError:
    return OverexposedError("The card's light colours are washed out.", where="the card")


def _uneven(unevenness: float, shaded: float) -> UnevenLightError:
    if shaded > LIMITS.local_shade[1]:
        return UnevenLightError("The edge of a shadow lies across the card.", where="the card")
    return UnevenLightError(f"The light changes by {100 * unevenness:.0f} % over the card.", where="the card")
