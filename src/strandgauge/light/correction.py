"""Fits tone curve, light field and colour matrix together to the card, and applies them to pixels.

One non-linear least squares (Levenberg-Marquardt, exact derivatives) with a robust loss over the places of known
colour. A place's residual is its CIELAB error, weighted to CIEDE2000 parts. For encoded value ``v`` at card
place ``p``::

    light_c = decode_c(v_c) / factor_c(p)          (tone, field)
    XYZ     = M light                              (matrix)

Fitting the three apart, as is usual, lets each take up the others' errors: a grey scale darkened by a falling
light bends the tone curve, a warm lamp on one side tilts the matrix.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from strandgauge.card.sample import Samples
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import (
    delta_e_2000,
    difference_weights,
    lab_from_xyz,
    lab_slope,
    xyz_from_lab,
)
from strandgauge.colour.srgb import RGB_FROM_XYZ, XYZ_FROM_RGB, srgb_decode
from strandgauge.light import field as light_field
from strandgauge.light import tone

MATRIX_SD = 0.25
"""Prior standard deviation of the matrix' departures from sRGB primaries, off the diagonal."""
PATCH_SD = 1.0
"""Expected Delta E00 of a patch: print tolerance and noise."""
PAPER_WEIGHT = 12.0
"""All bare paper together weighs like this many patches."""
ROBUST_SCALE = 2.0
"""Residuals beyond this many expected deviations lose weight (Cauchy loss)."""
MOST_STEPS = 25
NEUTRAL_CHROMA = 5.0

_S, _F, _G = tone.SPLINES, len(light_field.ORDERS), len(light_field.COLOUR_ORDERS)
_SHARED = slice(0, _S)
_CHANNEL = slice(_S, 4 * _S)
_OFFSET = slice(4 * _S, 4 * _S + 3)
_BRIGHT = slice(_OFFSET.stop, _OFFSET.stop + _F)
_COLOUR = slice(_BRIGHT.stop, _BRIGHT.stop + 2 * _G)
_MATRIX = slice(_COLOUR.stop, _COLOUR.stop + 9)
_PARAMETERS = _MATRIX.stop


@dataclass(frozen=True, slots=True)
class Correction:
    """From encoded pixels at places on the card to XYZ (D65, 2 degrees, perfect white = 1) and CIELAB."""

    tone_weights: Array = field(repr=False)
    """(SPLINES, 3) of ``tone.decode``."""
    tone_offsets: Array = field(repr=False)
    """(3,) of ``tone.decode``."""
    brightness_terms: Array = field(repr=False)
    colour_terms: Array = field(repr=False)
    """(2, terms): red and blue against green."""
    matrix: Array = field(repr=False)
    """(3, 3) light in the camera's primaries to XYZ."""
    card_size: tuple[float, float]

    def to_xyz(self, encoded: Array, places: Array) -> Array:
        """Return (N, 3) XYZ of (N, 3) encoded R, G, B in 0 to 1 at (N, 2) millimetres on the card."""
        xyz: Array = self.to_light(encoded, places) @ self.matrix.T
        return xyz

    def to_light(self, encoded: Array, places: Array) -> Array:
        """Return (N, 3) linear light in the camera's own primaries, the light field taken out."""
        return tone.decode(encoded, self.tone_weights, self.tone_offsets) / self.factor(places)

    def factor(self, places: Array) -> Array:
        """Return the (N, 3) light factors at (N, 2) millimetres on the card; about 1 on average."""
        basis = light_field.basis(places, self.card_size)
        bright, colour = basis @ self.brightness_terms, basis[:, :_G] @ self.colour_terms.T
        logs = np.stack([bright + colour[:, 0], bright, bright + colour[:, 1]], axis=1)
        return np.exp(logs)


@dataclass(frozen=True, slots=True)
class FittedCard:
    """A correction, and what it makes of the (N,) samples of the card that it was fitted to."""

    correction: Correction
    xyz: Array = field(repr=False)
    """(N, 3) XYZ of the samples after correction, perfect white = 1."""
    lab: Array = field(repr=False)
    """(N, 3) the same as CIELAB."""
    lab_left_out: Array = field(repr=False)
    """(N, 3) CIELAB each sample would get from a fit without it, as the fit's slopes tell; see `refit_left_out`."""
    weight: Array = field(repr=False)
    """(N,) robust weight, 1 for a sample fully believed, near 0 for one set aside."""
    delta_e00: Array = field(repr=False)
    """(N,) CIEDE2000 of ``lab`` from what was printed."""
    delta_e00_left_out: Array = field(repr=False)
    """(N,) the same of ``lab_left_out``."""


@dataclass(frozen=True, slots=True)
class _Problem:
    encoded: Array
    splines: Array  # (N, 3, S)
    decoded: Array  # (N, 3) by sRGB
    bright: Array  # (N, F)
    colour: Array  # (N, G)
    reference: Array
    weights: Array  # (N, 3, 3) CIELAB difference -> Delta E00 parts, in expected deviations
    gains: Array  # (3,) starting white balance
    prior: Array  # (rows, P), each row of unit sd


def fit_correction(
    samples: Samples, card_size: tuple[float, float], usable: NDArray[np.bool_] | None = None
) -> FittedCard:
    """Fit the correction to `samples`; `usable` (N,) leaves out samples that are clipped or covered.

    The result covers all samples; one that was left out has weight 0, and the same colour with and without it.
    """
    keep = np.ones(len(samples.ids), dtype=bool) if usable is None else usable
    problem = _set_up(samples, card_size, keep)
    theta, robust, jacobian, residual = _minimise(problem)
    correction = _unpack(theta, problem.gains, card_size)
    xyz = correction.to_xyz(samples.encoded, samples.places)
    lab = lab_from_xyz(xyz)
    lab_left_out = lab.copy()
    lab_left_out[keep] = _forward(problem, theta)[0] + _leave_one_out_shift(
        problem, jacobian, residual, robust
    )
    weight = np.zeros(len(keep))
    weight[keep] = robust
    return FittedCard(
        correction,
        xyz,
        lab,
        lab_left_out,
        weight,
        delta_e_2000(lab, samples.reference),
        delta_e_2000(lab_left_out, samples.reference),
    )


def refit_left_out(samples: Samples, card_size: tuple[float, float], fitted: FittedCard) -> Array:
    """Return (N, 3) CIELAB that each patch gets from a fit of its own that never saw it.

    Some ten milliseconds a patch. What `FittedCard` tells without fitting again does not know that a fit without the
    patch would believe the others otherwise; docs/method.md tells how far it is off.
    """
    usable = fitted.weight > 0
    lab = fitted.lab_left_out.copy()
    for row in np.flatnonzero(usable & samples.is_patch):
        others = usable.copy()
        others[row] = False
        lab[row] = fit_correction(samples, card_size, others).lab[row]
    return lab


def with_paper_seen(samples: Samples, card_size: tuple[float, float], usable: NDArray[np.bool_]) -> Samples:
    """Return samples whose bare paper has the colour that a fit to the patches alone sees in it.

    For paper of one colour that is not known: it then tells where the light is stronger, and no more.
    """
    paper = ~samples.is_patch
    reference = samples.reference.copy()
    if paper.any():
        reference[paper] = np.median(fit_correction(samples, card_size, usable & ~paper).lab[paper], axis=0)
    return replace(samples, reference=reference)


def _set_up(samples: Samples, card_size: tuple[float, float], keep: NDArray[np.bool_]) -> _Problem:
    encoded = samples.encoded[keep]
    reference = samples.reference[keep]
    is_patch = samples.is_patch[keep]
    decoded = srgb_decode(encoded)
    weights = difference_weights(reference) / PATCH_SD
    # Text, a hair or an edge within a place makes it less sure; bare paper is plentiful and of one colour.
    sureness = 1 / (1 + (samples.spread[keep] / (0.02 + 0.04 * encoded[:, 1])) ** 2)
    share = np.where(is_patch, 1.0, min(1.0, PAPER_WEIGHT / max(1, int((~is_patch).sum()))))
    weights = weights * np.sqrt(sureness * share)[:, None, None]
    target = xyz_from_lab(reference) @ RGB_FROM_XYZ.T
    neutral = np.hypot(reference[:, 1], reference[:, 2]) < NEUTRAL_CHROMA
    if neutral.sum() < 2:
        neutral = np.ones(len(reference), dtype=bool)
    bright_enough = neutral & (reference[:, 0] > np.median(reference[neutral, 0]) - 1e-9)
    gains = np.median(
        np.maximum(target[bright_enough], 1e-3) / np.maximum(decoded[bright_enough], 1e-3), axis=0
    )
    basis = light_field.basis(samples.places[keep], card_size)
    return _Problem(
        encoded,
        tone.splines(encoded),
        decoded,
        basis,
        basis[:, :_G],
        reference,
        weights,
        gains,
        _prior(gains),
    )


def _prior(gains: Array) -> Array:
    shared, channel = tone.prior_rows()
    bright_sd, colour_sd = light_field.prior_sd()
    rows = np.zeros((len(shared) + 3 * len(channel) + 3 + _F + 2 * _G + 9, _PARAMETERS))
    at = 0

    def place(block: Array, start: int) -> None:
        nonlocal at
        rows[at : at + len(block), start : start + block.shape[1]] = block
        at += len(block)

    place(shared, _SHARED.start)
    for c in range(3):
        place(channel, _CHANNEL.start + c * _S)
    # The offset is small against white, whatever the exposure and white balance.
    place(np.diag(gains / tone.OFFSET_SD), _OFFSET.start)
    place(np.diag(1 / bright_sd), _BRIGHT.start)
    place(np.diag(1 / np.tile(colour_sd, 2)), _COLOUR.start)
    off_diagonal = np.where(np.eye(3, dtype=bool), 0.02, 1.0).ravel()
    place(np.diag(off_diagonal / MATRIX_SD), _MATRIX.start)
    return rows


def _forward(problem: _Problem, theta: Array, with_slope: bool = False) -> tuple[Array, Array]:
    """Return CIELAB (N, 3) and, when asked, its derivative to the parameters (N, 3, P)."""
    n = len(problem.encoded)
    w = theta[_SHARED]
    d = theta[_CHANNEL].reshape(3, _S)
    exponent = np.einsum("ncs,cs->nc", problem.splines, d + w)
    raised = problem.decoded * np.exp(exponent)
    bright = problem.bright @ theta[_BRIGHT]
    colour = problem.colour @ theta[_COLOUR].reshape(2, _G).T
    inverse_factor = np.exp(-np.stack([bright + colour[:, 0], bright, bright + colour[:, 1]], axis=1))
    light = (raised - theta[_OFFSET]) * inverse_factor  # (N, 3) in camera units
    matrix = XYZ_FROM_RGB @ (np.eye(3) + theta[_MATRIX].reshape(3, 3))
    balanced = light * problem.gains
    xyz = balanced @ matrix.T
    lab = lab_from_xyz(xyz)
    if not with_slope:
        return lab, np.empty(0)
    slope = lab_slope(xyz)
    to_light = slope @ (matrix * problem.gains)  # (N, 3 lab, 3 channels)
    jacobian = np.empty((n, 3, _PARAMETERS))
    grown = (raised * inverse_factor)[:, None, :] * to_light  # d lab / d exponent_c
    per_spline = grown[:, :, :, None] * problem.splines[:, None, :, :]  # (N, 3, c, S)
    jacobian[:, :, _SHARED] = per_spline.sum(2)
    jacobian[:, :, _CHANNEL] = per_spline.reshape(n, 3, 3 * _S)
    jacobian[:, :, _OFFSET] = -to_light * inverse_factor[:, None, :]
    shrunk = -light[:, None, :] * to_light  # d lab / d log factor_c
    jacobian[:, :, _BRIGHT] = shrunk.sum(2)[:, :, None] * problem.bright[:, None, :]
    for k, c in enumerate((0, 2)):
        start = _COLOUR.start + k * _G
        jacobian[:, :, start : start + _G] = shrunk[:, :, c, None] * problem.colour[:, None, :]
    through = slope @ XYZ_FROM_RGB  # (N, 3, rows of A)
    jacobian[:, :, _MATRIX] = (through[:, :, :, None] * balanced[:, None, None, :]).reshape(n, 3, 9)
    return lab, jacobian


def _minimise(problem: _Problem) -> tuple[Array, Array, Array, Array]:
    """Return parameters, robust weights (N,), weighted Jacobian (N, 3, P) and weighted residuals (N, 3)."""
    theta = np.zeros(_PARAMETERS)
    gram_prior = problem.prior.T @ problem.prior
    damping = 1e-2
    scale = 8 * ROBUST_SCALE  # lenient first, so that a bad start does not cast out good patches

    def state(at: Array, scale: float) -> tuple[Array, Array, float]:
        residual = np.einsum("nij,nj->ni", problem.weights, _forward(problem, at)[0] - problem.reference)
        squared = np.sum(residual**2, axis=1)
        cost = float(np.sum(scale**2 * np.log1p(squared / scale**2)) + at @ gram_prior @ at)
        return residual, 1 / (1 + squared / scale**2), cost

    residual, robust, cost = state(theta, scale)
    jacobian = np.empty((len(residual), 3, _PARAMETERS))
    for _step in range(MOST_STEPS):
        jacobian = problem.weights @ _forward(problem, theta, with_slope=True)[1]
        flat = jacobian.reshape(-1, _PARAMETERS)
        weighted = flat * np.repeat(robust, 3)[:, None]
        gram = weighted.T @ flat + gram_prior
        gradient = weighted.T @ residual.ravel() + gram_prior @ theta
        improved = False
        for _try in range(6):
            move = np.linalg.solve(gram + damping * np.diag(np.diag(gram)), -gradient)
            trial = theta + move
            trial_residual, trial_robust, trial_cost = state(trial, scale)
            if np.isfinite(trial_cost) and trial_cost < cost:
                improved = True
                break
            damping *= 6
        if not improved:
            break
        gain = cost - trial_cost
        theta, residual, robust, cost = trial, trial_residual, trial_robust, trial_cost
        damping = max(damping / 8, 1e-7)
        if gain < (4e-3 if scale <= ROBUST_SCALE else 3e-2) * cost:
            if scale <= ROBUST_SCALE:
                break
            scale = max(ROBUST_SCALE, scale / 3)
            residual, robust, cost = state(theta, scale)
    return theta, robust, jacobian, residual


def _leave_one_out_shift(problem: _Problem, jacobian: Array, residual: Array, robust: Array) -> Array:
    """Return (N, 3): how each sample's CIELAB would move if the fit had not known it.

    For a least-squares fit linear near its minimum, leaving out block i turns its residual r into
    ``(I - H_ii)^-1 r`` with the block H_ii of the hat matrix (Cook and Weisberg 1982, case deletion).
    """
    flat = jacobian.reshape(-1, _PARAMETERS)
    gram = (flat * np.repeat(robust, 3)[:, None]).T @ flat + problem.prior.T @ problem.prior
    solved = (flat @ np.linalg.inv(gram)).reshape(jacobian.shape)
    hat = jacobian @ solved.swapaxes(1, 2) * robust[:, None, None]
    left_out = np.linalg.solve(np.eye(3) - hat, residual[..., None])[..., 0]
    return np.asarray(np.linalg.solve(problem.weights, (left_out - residual)[..., None])[..., 0])


def _unpack(theta: Array, gains: Array, card_size: tuple[float, float]) -> Correction:
    return Correction(
        tone_weights=theta[_SHARED][:, None] + theta[_CHANNEL].reshape(3, _S).T,
        tone_offsets=theta[_OFFSET].copy(),
        brightness_terms=theta[_BRIGHT].copy(),
        colour_terms=theta[_COLOUR].reshape(2, _G).copy(),
        matrix=XYZ_FROM_RGB @ (np.eye(3) + theta[_MATRIX].reshape(3, 3)) * gains,
        card_size=card_size,
    )
