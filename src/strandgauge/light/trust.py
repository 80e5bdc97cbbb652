"""Whether a card in a photo can be trusted: exposure, sharpness, glare, unevenness, kinds of light.

The card's signs are measured first, as numbers; then they are judged by one table of limits. A problem is an error
that a reading raises and a check lists; a caution is a note under a reading that was still possible, and widens its
uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strandgauge.card.find import CardView
from strandgauge.card.model import CardDefinition
from strandgauge.card.sample import Samples
from strandgauge.codes.facts import Note, caution
from strandgauge.colour.arrays import Mask, median, quantile
from strandgauge.colour.cielab import chroma, lab_from_xyz, xyz_from_lab
from strandgauge.errors import (
    BlurError,
    CardMismatchError,
    GlareError,
    MixedLightError,
    OverexposedError,
    PhotoError,
    UnderexposedError,
    UnevenLightError,
)
from strandgauge.light.correction import NEUTRAL_CHROMA, Correction, FittedCard
from strandgauge.light.otherprint import other_print

_OVER_CARD = np.stack(np.meshgrid(np.linspace(0.03, 0.97, 13), np.linspace(0.04, 0.96, 9)), -1).reshape(-1, 2)
"""(N, 2) places at which the light over a card is looked at, shares of its width and height."""


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
    crushed_share: float = 0.5
    """Share of the darkest greys that is clipped to black from which on they are too dark."""
    veil: float = 0.035
    """Light added in every channel, of a perfect white's, from which on a place is veiled by a reflection..."""
    veil_share: float = 0.30
    """... where it is also this share of all light seen there."""
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
    misfit: tuple[float, float] = (2.5, 9.0)
    """Median Delta E00 of the corrected card's colours: caution, refusal. No light and camera tried leaves more where
    the print is true, none less than 14 where it is another one."""


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Exposure:
    """What the samples show of the exposure, before anything is fitted to them."""

    usable: Mask
    """(N,) samples that are not clipped to white."""
    clipped: int
    """Patches clipped to white, those as light as paper aside."""
    clipped_share: float
    """Their share of such patches."""
    paper_clipped: bool
    """Most of the bare paper is clipped."""
    white: float
    """Encoded value of the lightest neutral."""
    darkest: float = 0.0
    """Encoded value of the darkest neutrals."""
    next_darkest: float | None = None
    """The same of the next step up; None where the card has no two dark neutrals."""
    crushed: float = 0.0
    """Share of the darkest neutrals that is clipped to black."""


@dataclass(frozen=True, slots=True)
class Signs:
    """What the card shows of light and sharpness once the correction is fitted."""

    edge_mm: float
    """Width of a printed edge."""
    edge_share: float
    """The same over the smallest patch side."""
    hidden: int
    """Corner marks that could not be seen."""
    misfit: float
    """Median Delta E00 of the corrected card's colours."""
    grey_misfit: float
    """The same of its greys; infinite where it has none."""
    brightest: float
    """Largest encoded value of a patch."""
    unevenness: float
    """(brightest - darkest) / mean of the light over the card."""
    colour_change: float
    """Largest range of log(red/green) or log(blue/green) of the light over the card."""
    veiled: tuple[str, ...]
    """Ids of the patches to which white light is added."""
    shaded: float
    """Share of neutral places whose brightness departs by a tenth from the smooth field."""
    other_print: CardMismatchError | None = None
    """What is known of a print that is not the card's; None where nothing speaks against it."""


@dataclass(frozen=True, slots=True)
class LightReport:
    """What the card tells about the light, and whether it can be trusted."""

    problems: tuple[PhotoError, ...]
    cautions: tuple[Note, ...]
    signs: Signs


def measure_exposure(samples: Samples) -> Exposure:
    """Measure the exposure on a card's samples."""
    clipped = samples.clipped_high > LIMITS.clipped_share
    paper = ~samples.is_patch
    below_white = samples.is_patch & (samples.reference[:, 0] < 90)
    neutrals = _neutrals(samples)
    lightness = samples.reference[neutrals, 0]
    green = samples.encoded[neutrals, 1]
    darkest = lightness < lightness.min() + LIMITS.one_step
    above = lightness[~darkest]
    next_darkest = None
    if above.size and lightness.min() < 30:
        next_darkest = float(median(green[~darkest & (lightness < above.min() + LIMITS.one_step)]))
    return Exposure(
        ~clipped,
        int(clipped[below_white].sum()),
        float(clipped[below_white].mean()) if below_white.any() else 0.0,
        bool((clipped & paper).sum() > 0.5 * max(paper.sum(), 1)),
        float(median(green[lightness >= quantile(lightness, 0.9) - 0.5])),
        float(median(green[darkest])),
        next_darkest,
        float(np.mean(samples.clipped_low[neutrals][darkest])),
    )


def judge_exposure(exposure: Exposure) -> tuple[list[PhotoError], list[Note]]:
    """Return what is wrong with the exposure: what forbids a reading, and what only makes it less sure."""
    problems: list[PhotoError] = []
    cautions: list[Note] = []
    if exposure.clipped_share > LIMITS.clipped_patches[1]:
        problems.append(OverexposedError(fault="patches", clipped=exposure.clipped, where="card"))
    elif exposure.clipped_share > LIMITS.clipped_patches[0] or exposure.paper_clipped:
        cautions.append(caution("nearly-overexposed"))
    if exposure.white < LIMITS.white_encoded[1]:
        problems.append(UnderexposedError(fault="white", percent=100 * exposure.white, where="card"))
    elif exposure.white < LIMITS.white_encoded[0]:
        cautions.append(caution("dark"))
    if exposure.next_darkest is not None and not problems:
        step = exposure.next_darkest - exposure.darkest
        # Veiled by a reflection they are alike too, but not dark.
        alike = step < LIMITS.dark_step and exposure.darkest < LIMITS.dark_encoded
        if alike or exposure.crushed > LIMITS.crushed_share:
            problems.append(UnderexposedError(fault="greys", where="card"))
    return problems, cautions


def measure_light(samples: Samples, fitted: FittedCard, view: CardView, card: CardDefinition) -> Signs:
    """Measure light and sharpness on a card that the correction was fitted to."""
    # Greys fit under nearly any assumption; whether this is the card is told by its colours.
    greys = samples.is_patch & _neutrals(samples)
    colours = samples.is_patch & ~greys
    unevenness, colour_change = _light_over_card(fitted.correction, card)
    veiled = _veiled(samples, fitted) & samples.is_patch
    misfit = float(median(fitted.delta_e00[colours if colours.sum() >= 6 else samples.is_patch]))
    # Under two kinds of light no print fits.
    fits = misfit <= LIMITS.misfit[1] or colour_change > LIMITS.colour_change[0]
    return Signs(
        edge_mm=view.edge_width_mm,
        edge_share=view.edge_width_mm / min(min(patch.box[2:]) for patch in card.patches),
        hidden=len(view.hidden),
        misfit=misfit,
        grey_misfit=float(median(fitted.delta_e00[greys])) if greys.any() else float("inf"),
        brightest=float(samples.encoded[samples.is_patch].max()),
        unevenness=unevenness,
        colour_change=colour_change,
        veiled=tuple(np.asarray(samples.ids)[veiled].tolist()),
        shaded=_shaded_share(samples, fitted),
        other_print=other_print(samples, fitted, card, misfit, fits=fits),
    )


def judge(exposure: Exposure, signs: Signs) -> LightReport:
    """Judge exposure, light and sharpness by the limits."""
    problems, cautions = judge_exposure(exposure)
    if signs.edge_share > LIMITS.edge_share[1]:
        problems.append(BlurError(fault="edge", edge_mm=signs.edge_mm))
    elif signs.edge_share > LIMITS.edge_share[0]:
        cautions.append(caution("soft"))
    if signs.hidden:
        cautions.append(caution("mark-hidden", hidden=signs.hidden))
    if (
        signs.other_print is not None
        and signs.misfit > LIMITS.misfit[1]
        and signs.colour_change < LIMITS.colour_change[0]
        and signs.grey_misfit < LIMITS.misfit[0]
    ):
        # No lamp and no reflection spoils the colours and leaves the greys; clipping does.
        problems.append(
            OverexposedError(fault="washed-out", where="card")
            if signs.brightest > LIMITS.nearly_white
            else signs.other_print
        )
        return LightReport(tuple(problems), tuple(cautions), signs)
    light_problems: list[PhotoError] = []
    if len(signs.veiled) >= LIMITS.glare_patches[1]:
        patches = ", ".join(signs.veiled[:4])
        light_problems.append(GlareError(veiled=len(signs.veiled), patches=patches, where="patches"))
    elif len(signs.veiled) >= LIMITS.glare_patches[0]:
        cautions.append(caution("slight-glare"))
    # Two kinds of light look uneven too, so they are named first.
    if signs.colour_change > LIMITS.colour_change[1]:
        light_problems.append(
            MixedLightError(fault="colour", percent=100 * float(np.expm1(signs.colour_change)))
        )
    elif signs.colour_change > LIMITS.colour_change[0]:
        cautions.append(caution("mixed"))
    if signs.shaded > LIMITS.local_shade[1]:
        light_problems.append(UnevenLightError(fault="shadow", where="card"))
    elif signs.unevenness > LIMITS.unevenness[1]:
        light_problems.append(UnevenLightError(fault="fall", percent=100 * signs.unevenness, where="card"))
    elif signs.unevenness > LIMITS.unevenness[0] or signs.shaded > LIMITS.local_shade[0]:
        cautions.append(caution("uneven", percent=100 * signs.unevenness))
    problems += light_problems
    if signs.edge_share <= LIMITS.edge_share[1] and not light_problems:
        if signs.misfit > LIMITS.misfit[1] and signs.colour_change > LIMITS.colour_change[0]:
            problems.append(MixedLightError(fault="misfit"))
        elif signs.other_print is not None:
            problems.append(signs.other_print)
        elif signs.misfit > LIMITS.misfit[0]:
            cautions.append(caution("loose-fit", delta_e00=signs.misfit))
    return LightReport(tuple(problems), tuple(cautions), signs)


def _light_over_card(correction: Correction, card: CardDefinition) -> tuple[float, float]:
    """Return the unevenness and the colour change of the fitted light over the card (see Signs)."""
    factor = correction.light_factor(_OVER_CARD * card.size)
    green = factor[:, 1]
    logs = np.log(factor[:, [0, 2]] / factor[:, [1]])
    return float((green.max() - green.min()) / green.mean()), float(np.ptp(logs, axis=0).max())


def _veiled(samples: Samples, fitted: FittedCard) -> Mask:
    """Return (N,) True where white light is added to what the card's colour would send back.

    A lamp mirrored in the print adds light of its own colour to all channels alike: dark patches turn grey and
    light, which neither shade nor a misprint does.
    """
    added = fitted.xyz - xyz_from_lab(samples.reference)
    return np.asarray(
        (added.min(1) > LIMITS.veil)
        & (added[:, 1] > LIMITS.veil_share * fitted.xyz[:, 1])
        & (fitted.weight < 0.5)
    )


def _shaded_share(samples: Samples, fitted: FittedCard) -> float:
    neutrals = _neutrals(samples) & (samples.reference[:, 0] > 30) & (samples.spread < 0.08)
    if neutrals.sum() < 4:
        return 0.0
    ratio = (lab_from_xyz(fitted.xyz[neutrals])[:, 0] + 16) / (samples.reference[neutrals, 0] + 16)
    return float(np.mean(np.abs(3 * np.log(np.maximum(ratio, 1e-3))) > 0.10))


def _neutrals(samples: Samples) -> Mask:
    few = chroma(samples.reference) < NEUTRAL_CHROMA
    return np.asarray(few if few.sum() >= 2 else np.ones(len(few), dtype=bool))
