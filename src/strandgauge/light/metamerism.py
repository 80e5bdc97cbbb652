"""What a camera does to hair that it does not do to ink of the same colour.

Hair that matches a printed patch to the eye under D65 need not match it to a camera, nor under another lamp: its
reflectance rises steadily towards red, where inks, narrow-band lamps and cameras each behave in their own way.
A correction fitted to ink is then off for hair, by several units of a* under fluorescent tubes.

The card itself tells which camera and lamp are likely: each pair spans, over all patches, its own three-dimensional
space of responses, and the patches as seen lie near that space for the right pair only. A few hundred plausible
triples of camera, lamp and print (``calibration/cameras.toml``, ``illuminants.toml``, ``inks.toml``) are weighed
by how near they come; each knows how hair would be shifted by a correction fitted to its own card, and the
weighted mean of those shifts is taken back. Their disagreement becomes part of the uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from strandgauge.calibration import CalibrationTable, calibration_file, read_calibration
from strandgauge.card.model import CardDefinition
from strandgauge.light.colorimetry import (
    WHITE_XYZ,
    difference_weights,
    lab_and_slope,
    lab_to_xyz,
    xyz_to_lab,
)

Array = NDArray[np.float64]

GRID = np.arange(400.0, 701.0, 10.0)
"""nm"""
RESIDUAL_SD = 0.045
"""Expected relative departure of a patch from its triple's space: print tolerance, noise, tone curve."""
SOFTENING = 3.0
"""Patches' departures are not independent: the log likelihood is divided by this."""
SMOOTH_PRINT_SHARE = 0.4
"""Prior share of prints whose spectra are smoother than three narrow inks (pigment inks, many inks)."""


@dataclass(frozen=True, slots=True)
class HairShift:
    """The expected shift of hair, as a map to be applied after the correction fitted to the card."""

    matrix: Array = field(repr=False)
    """(3, 3) from corrected XYZ of hair to its XYZ (D65, 2 degrees)."""
    candidates: Array = field(repr=False)
    """(K, 3, 3) the likeliest triples' own maps."""
    weights: Array = field(repr=False)
    """(K,) their probabilities, summing to 1."""

    def apply(self, xyz: Array) -> Array:
        """Return (..., 3) XYZ of hair from (..., 3) XYZ corrected by the card."""
        moved: Array = xyz @ self.matrix.T
        return moved

    def lab_sd(self, xyz: Array) -> Array:
        """Return the (3,) standard deviation in L*, a*, b* among the candidates, for corrected XYZ (3,)."""
        labs = xyz_to_lab(np.maximum(self.candidates @ xyz, 0))
        mean = self.weights @ labs
        return np.asarray(np.sqrt(self.weights @ (labs - mean) ** 2))


NO_SHIFT = HairShift(np.eye(3), np.eye(3)[None], np.ones(1))
"""For a card of so few patches that they cannot tell."""


@dataclass(frozen=True, slots=True)
class _Candidates:
    bases: Array  # (K, N, 3) orthonormal basis of each triple's weighted patch responses
    patch_weight: Array  # (N,)
    maps: Array  # (K, 3, 3)
    log_prior: Array  # (K,)


def hair_shift(light: Array, reference: Array, trusted: Array, card: CardDefinition) -> HairShift:
    """Weigh the candidates by the patches seen.

    Parameters
    ----------
    light : (N, 3) linear camera responses of the card's patches, light field taken out, any exposure.
    reference : (N, 3) their CIELAB.
    trusted : (N,) weight 0 to 1 of each patch in the fit; low ones are not asked.
    card : the card they are on.
    """
    if len(reference) < 12:
        return NO_SHIFT
    known = _candidates(card)
    ask = trusted > 0.3
    xyz = lab_to_xyz(reference)
    to_light = np.linalg.lstsq(xyz[ask], light[ask], rcond=None)[0]
    seen = np.where(ask[:, None], light, xyz @ to_light)  # an untrusted patch shall not speak for or against any
    seen = seen / np.linalg.norm(seen * known.patch_weight[:, None], axis=0)
    weighted = seen * known.patch_weight[:, None]
    inside = np.einsum("knb,nc->kbc", known.bases, weighted)
    distance = np.maximum(np.sum(weighted**2) - np.sum(inside**2, axis=(1, 2)), 0.0)
    per_patch = np.sum(weighted**2) / len(reference)
    log_likelihood = -0.5 * distance / (per_patch / 3 * RESIDUAL_SD**2) / 3 / SOFTENING + known.log_prior
    weights = np.exp(log_likelihood - log_likelihood.max())
    weights /= weights.sum()
    likely = np.argsort(-weights)[:60]
    share = weights[likely] / weights[likely].sum()
    maps = known.maps[likely]
    return HairShift(np.einsum("k,kij->ij", share, maps), maps, share)


@lru_cache(maxsize=4)
def _candidates(card: CardDefinition) -> _Candidates:
    reference = np.array(card.patch_labs)
    paper = np.array(card.paper or (95.0, 0.0, 0.0))
    hair = _hair_spectra()
    hair_xyz = hair @ _observer()
    patch_weight = 1 / (0.03 + lab_to_xyz(reference)[:, 1])
    lights, cameras = _lights(), _cameras()
    prints = [_inked(reference, paper, inks) for inks in _inks()] + [_smooth(reference)]
    inked = len(prints) - 1
    responses, hair_responses, prior = [], [], []
    pair = 0
    for camera in cameras:
        for light in lights:
            weight = camera * light[:, None]
            # Each pair of camera and lamp meets two printers and the smooth print.
            for which, share in (
                (pair % inked, (1 - SMOOTH_PRINT_SHARE) / 2),
                ((pair + inked // 2) % inked, (1 - SMOOTH_PRINT_SHARE) / 2),
                (inked, SMOOTH_PRINT_SHARE),
            ):
                seen = prints[which] @ weight
                white = seen.max(0)
                responses.append(seen / white)
                hair_responses.append(hair @ weight / white)
                prior.append(np.log(share))
            pair += 1
    seen_patches, seen_hair = np.array(responses), np.array(hair_responses)
    bases = np.linalg.qr(seen_patches * patch_weight[:, None])[0]
    correction = _fit_maps(seen_patches, reference)  # (K, 3, 3)
    corrected = np.einsum("knc,kxc->knx", seen_hair, correction)
    maps = _fit_maps(corrected, xyz_to_lab(hair_xyz), towards=np.eye(3))
    return _Candidates(bases, patch_weight, maps, np.array(prior))


def _fit_maps(seen: Array, lab: Array, towards: Array | None = None) -> Array:
    """Return (K, 3, 3) maps from (K, N, 3) responses to XYZ that best give (N, 3) CIELAB, linearised there.

    ``towards`` is a map that the result is drawn to, weakly.
    """
    xyz = lab_to_xyz(lab)
    weight = difference_weights(lab) @ lab_and_slope(xyz)[1]  # (N, 3, 3): XYZ difference to Delta E00 parts
    metric = np.einsum("nij,nik->njk", weight, weight)
    gram = np.einsum("njl,kna,knb->kjalb", metric, seen, seen, optimize=True).reshape(len(seen), 9, 9)
    right = np.einsum("njl,nl,kna->kja", metric, xyz, seen, optimize=True).reshape(len(seen), 9)
    ridge = 1e-4 * np.trace(gram, axis1=1, axis2=2)[:, None, None] / 9 * np.eye(9)
    if towards is not None:
        right = right + ridge[:, 0, 0][:, None] * towards.ravel()
    else:
        ridge = ridge * 1e-4
    return np.asarray(np.linalg.solve(gram + ridge, right[..., None])[..., 0].reshape(len(seen), 3, 3))


# --- spectra --------------------------------------------------------------------------------------------------


def _table(name: str) -> CalibrationTable:
    return read_calibration(calibration_file(f"{name}.toml"), f"strandgauge.{name}/1")


@cache
def _observer() -> Array:
    """Return (31, 3): reflectance to XYZ with Y = 1 for white (D65, 2 degrees)."""
    table = _table("observer")
    rows = np.array([table.numbers("weights", i, count=4) for i in range(len(GRID))])
    return np.asarray(rows[:, 1:] / rows[:, 1:].sum(0) * WHITE_XYZ)


@cache
def _lights() -> tuple[Array, ...]:
    table = _table("illuminants")
    return tuple(np.array(table.numbers("illuminant", i, "power", count=len(GRID))) for i in range(table.rows("illuminant")))


@cache
def _cameras() -> tuple[Array, ...]:
    table = _table("cameras")
    return tuple(
        np.stack([table.numbers("camera", i, c, count=len(GRID)) for c in ("red", "green", "blue")], axis=1)
        for i in range(table.rows("camera"))
    )


@cache
def _inks() -> tuple[tuple[Array, Array], ...]:
    """Return for each printer (3, 31) colour inks and (31,) black, scaled by its share in greys."""
    table = _table("inks")
    return tuple(
        (
            np.stack([table.numbers("inks", i, c, count=len(GRID)) for c in ("cyan", "magenta", "yellow")]),
            np.array(table.numbers("inks", i, "black", count=len(GRID))) * table.number("inks", i, "black_share"),
        )
        for i in range(table.rows("inks"))
    )


def _hair_spectra() -> Array:
    """Return (M, 31) reflectances of undyed hair from black to palest.

    Eumelanin, pheomelanin and a steep yellow-brown rest, absorptions as in Donner and Jensen 2006, seen through
    the square law of Chiang et al. 2016 (D = 5.9) above a surface floor of 0.022.
    """
    r = GRID / 550
    amounts = [
        (eu, ph * eu**0.8, rest * min(1.0, 8 * eu) + 0.02)
        for eu in np.geomspace(0.005, 2.5, 14)
        for ph in (0.1, 0.5, 1.1)
        for rest in (0.05, 0.22)
    ]
    absorption = np.array([eu * 0.697 * r**-3.33 + ph * 0.4 * r**-4.75 + rest * 0.5 * r**-7 for eu, ph, rest in amounts])
    return np.asarray(0.022 + 0.978 * np.exp(-5.9 * np.sqrt(absorption + 0.0015)))


def _inked(lab: Array, paper_lab: Array, inks: tuple[Array, Array]) -> Array:
    """Return (N, 31) reflectances of prints of (N, 3) CIELAB: three inks over paper, part of the grey in black."""
    colours, black = inks
    paper = _smooth(paper_lab[None])[0]
    density = np.maximum(-np.log(np.maximum(lab_to_xyz(lab)[:, 1] / 0.87, 0.012)), 0.0)

    best, best_miss = np.empty((len(lab), len(GRID))), np.full(len(lab), np.inf)
    for share in (1.0, 0.4, 0.0):  # a vivid colour has no room for black

        def spectra(amount: Array, share: float = share) -> Array:
            return np.asarray(paper * np.exp(-(amount @ colours + share * density[:, None] * black)))

        found = spectra(_solve(spectra, lab, np.full((len(lab), 3), 0.4), low=-0.1, high=6.0))
        miss = np.abs(xyz_to_lab(found @ _observer()) - lab).max(1)
        better = (miss < best_miss - 0.1) & (best_miss > 0.1)
        best[better], best_miss[better] = found[better], miss[better]
    return best


def _smooth(lab: Array) -> Array:
    """Return (N, 31) sigmoid reflectances of (N, 3) CIELAB (Jakob and Hanika 2019)."""
    x = (GRID - 550) / 150

    def spectra(c: Array) -> Array:
        p = c[:, :1] * x**2 + c[:, 1:2] * x + c[:, 2:]
        return np.asarray(0.5 + p / (2 * np.sqrt(1 + p**2)))

    y = np.clip(lab_to_xyz(lab)[:, 1], 0.01, 0.99)
    start = np.c_[np.zeros(len(lab)), np.zeros(len(lab)), (2 * y - 1) / (2 * np.sqrt(y * (1 - y)))]
    return spectra(_solve(spectra, lab, start, low=-80.0, high=80.0))


def _solve(spectra, lab: Array, start: Array, low: float, high: float) -> Array:  # type: ignore[no-untyped-def]
    """Return (N, 3) parameters whose spectra have the (N, 3) CIELAB asked for (damped Gauss-Newton)."""
    at, damping = start.copy(), np.full(len(lab), 1e-3)
    observer = _observer()
    error = xyz_to_lab(spectra(at) @ observer) - lab
    for _ in range(25):
        slope = np.stack(
            [(xyz_to_lab(spectra(at + 1e-4 * np.eye(3)[k]) @ observer) - lab - error) / 1e-4 for k in range(3)], axis=2
        )
        gram = np.einsum("nij,nik->njk", slope, slope)
        step = np.linalg.solve(
            gram + damping[:, None, None] * np.einsum("njj->n", gram)[:, None, None] * np.eye(3),
            -np.einsum("nij,ni->nj", slope, error)[..., None],
        )[..., 0]
        trial = np.clip(at + step, low, high)
        trial_error = xyz_to_lab(spectra(trial) @ observer) - lab
        better = (trial_error**2).sum(1) < (error**2).sum(1)
        at = np.where(better[:, None], trial, at)
        error = np.where(better[:, None], trial_error, error)
        damping = np.where(better, damping / 5, damping * 5)
        if np.abs(error).max() < 0.05:
            break
    return at
