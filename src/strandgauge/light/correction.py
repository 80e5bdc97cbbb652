"""Fits tone curve, light field and colour matrix together to the card, and applies them to pixels.

One non-linear least squares (Levenberg-Marquardt, exact derivatives) with a robust loss over the places of known
colour. A place's residual is its CIELAB error, weighted to CIEDE2000 parts. For encoded value ``v`` at card
place ``p``::

    light_c = (decode_c(v_c) - veil_c(p)) / factor_c(p)     (tone, gloss, field, local tone)
    XYZ     = M light                                       (matrix)

Fitting them apart, as is usual, lets each take up the others' errors: a grey scale darkened by a falling
light bends the tone curve, a warm lamp on one side tilts the matrix.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from strandgauge.card.sample import Samples
from strandgauge.colour.arrays import Array, median
from strandgauge.colour.cielab import (
    chroma,
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
OFFSET_COLOUR_SD = 0.001
"""Expected departures of the channels' offsets from each other, linear light where white is 1: flare has the colour
of the light."""
VEIL_SD, VEIL_COLOUR_SD = 0.008, 0.001
"""The same of what a gloss of the print adds at the card's edge, and of its channels from each other."""
LEAST_VEIL = 1.25
"""Veil in the middle of the card, in units of its fall to the corners: no less than 1, since a veil nowhere takes
light away; on rendered cards some more."""
CAST_SD = 2.0
"""Expected a* and b* of the cast that mixed inks have to a camera and not to the eye, per unit of `_cast_of_inks`."""
PATCH_SD = 1.0
"""Expected Delta E00 of a patch: print tolerance and noise."""
PAPER_WEIGHT = 12.0
"""All bare paper together weighs like this many patches."""
ROBUST_SCALE = 3.0
"""Residuals beyond this many expected deviations lose weight (Cauchy loss)."""
MOST_STEPS = 25
NEUTRAL_CHROMA = 5.0
QUARREL = 6.0
"""Median Delta E00 of the card's colours from where on greys and colours contradict each other, and colours are
believed: of clipped or nearly dependent channels a tone curve makes true greys, but not hair."""
BELIEVED = 9.0
"""What they may then be off by: true prints under any light and camera tried mostly less, other cards 14 and more."""
FEWEST_COLOURS = 12
GREY_WEIGHT = 0.3
"""Weight of greys where colours are believed."""

_S, _G = tone.SPLINES, len(light_field.COLOUR_ORDERS)
_F = len(light_field.ORDERS) + 1  # the last is local tone
_SHARED = slice(0, _S)
_CHANNEL = slice(_S, 4 * _S)
_OFFSET = slice(4 * _S, 4 * _S + 3)
_BRIGHT = slice(_OFFSET.stop, _OFFSET.stop + _F)
_COLOUR = slice(_BRIGHT.stop, _BRIGHT.stop + 2 * _G)
_MATRIX = slice(_COLOUR.stop, _COLOUR.stop + 9)
_VEIL = slice(_MATRIX.stop, _MATRIX.stop + 6)
_CAST = slice(_VEIL.stop, _VEIL.stop + 2)
_PARAMETERS = _CAST.stop


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
    veil: Array = field(repr=False)
    """(2, 3) light that a gloss of the print adds to the card, per half of its width and of its height."""
    card_size: tuple[float, float]
    local: float = 0.0
    """Power of the brightness around with which the camera changes its own."""
    surround: NDArray[np.float32] | None = field(default=None, repr=False)
    """``Samples.surround`` of the photo."""

    def to_xyz(self, encoded: Array, places: Array) -> Array:
        """Return (N, 3) XYZ of (N, 3) encoded R, G, B in 0 to 1 at (N, 2) millimetres on the card."""
        xyz: Array = self.to_light(encoded, places) @ self.matrix.T
        return xyz

    def to_light(self, encoded: Array, places: Array) -> Array:
        """Return (N, 3) linear light in the camera's own primaries, gloss and light field taken out."""
        seen = tone.decode(encoded, self.tone_weights, self.tone_offsets)
        return np.asarray((seen - _across(places, self.card_size) @ self.veil) / self.factor(places))

    @property
    def bare_offsets(self) -> Array:
        """(3,) of ``tone.decode`` for what lies on the card, to which the print's gloss adds nothing."""
        return np.asarray(self.tone_offsets - LEAST_VEIL * np.abs(self.veil).sum(0))

    def factor(self, places: Array) -> Array:
        """Return the (N, 3) factors on light at (N, 2) millimetres on the card, of the light and of local tone."""
        local = np.exp(self.local * light_field.around(self.surround, places, self.card_size))
        return np.asarray(self.light_factor(places) * local[:, None])

    def light_factor(self, places: Array) -> Array:
        """Return the (N, 3) light factors at (N, 2) millimetres on the card; about 1 on average."""
        terms = _by_channel(self.brightness_terms, self.colour_terms)
        return np.asarray(np.exp(light_field.basis(places, self.card_size) @ terms))


@dataclass(frozen=True, slots=True)
class FittedCard:
    """A correction, and what it makes of the (N,) samples of the card that it was fitted to."""

    correction: Correction
    for_hair: Correction
    """The same, or where greys and colours contradict each other one that believes the colours: paper is not white
    by it, but hair and the card's colours are told by it."""
    xyz: Array = field(repr=False)
    """(N, 3) XYZ of the samples after ``correction``, perfect white = 1."""
    lab: Array = field(repr=False)
    """(N, 3) CIELAB by ``for_hair``, the cast of mixed inks taken out."""
    lab_left_out: Array = field(repr=False)
    """(N, 3) CIELAB each sample would get from a fit without it, as the fit's slopes tell; see `refit_left_out`."""
    weight: Array = field(repr=False)
    """(N,) robust weight, 1 for a sample fully believed, near 0 for one set aside."""
    delta_e00: Array = field(repr=False)
    """(N,) CIEDE2000 from what was printed."""
    delta_e00_left_out: Array = field(repr=False)
    """(N,) the same of ``lab_left_out``."""


@dataclass(frozen=True, slots=True)
class _Problem:
    encoded: Array
    splines: Array  # (N, 3, S)
    decoded: Array  # (N, 3) by sRGB
    bright: Array  # (N, F)
    across: Array  # (N, 2)
    cast: Array  # (N,)
    reference: Array
    weights: Array  # (N, 3, 3) CIELAB difference -> Delta E00 parts, in expected deviations
    gains: Array  # (3,) starting white balance
    prior: Array  # (P, P) inverse covariance


def fit_correction(
    samples: Samples, card_size: tuple[float, float], usable: NDArray[np.bool_] | None = None
) -> FittedCard:
    """Fit the correction to `samples`; `usable` (N,) leaves out samples that are clipped or covered.

    The result covers all samples; one that was left out has weight 0, and the same colour with and without it.
    """
    keep = np.ones(len(samples.ids), dtype=bool) if usable is None else usable
    problem = _set_up(samples, card_size, keep)
    theta, robust, jacobian, residual = _minimise(problem)
    correction = _unpack(theta, problem.gains, card_size, samples.surround)
    cast = _cast_of_inks(samples.reference)[:, None] * np.r_[0.0, theta[_CAST]]
    light = np.maximum(correction.to_light(samples.encoded, samples.places), 1e-4)
    xyz = light @ correction.matrix.T
    moved = np.zeros_like(xyz)
    moved[keep] = _leave_one_out_shift(problem, jacobian, residual, robust)
    for_hair, told = correction, lab_from_xyz(xyz) - cast
    away, away_left_out = delta_e_2000([told, told + moved], samples.reference)
    shown = keep & samples.is_patch
    colours = shown & (chroma(samples.reference) >= NEUTRAL_CHROMA)
    if colours.sum() >= FEWEST_COLOURS and median(away[colours]) > QUARREL:
        matrix = _matrix_by_colours(light[shown], samples.reference[shown])
        by_colours = lab_from_xyz(light @ matrix.T)
        away_then = delta_e_2000([by_colours, by_colours + moved], samples.reference)
        if median(away_then[0][colours]) < BELIEVED:
            for_hair, told = replace(correction, matrix=matrix), by_colours
            away, away_left_out = away_then
    weight = np.zeros(len(keep))
    weight[keep] = robust
    return FittedCard(correction, for_hair, xyz, told, told + moved, weight, away, away_left_out)


def _matrix_by_colours(light: Array, reference: Array) -> Array:
    """Return the matrix (3, 3) of light (N, 3) to XYZ that the colours of the card want, greys weighing little.

    Gauss-Newton on CIELAB, weighted as in the whole fit, a Cauchy loss at ten expected deviations.
    """
    wanted = xyz_from_lab(reference)
    weights = difference_weights(reference)
    weights[chroma(reference) < NEUTRAL_CHROMA] *= GREY_WEIGHT
    even = np.cbrt(wanted[:, 1:2]) ** -2.0  # small lights count as much as large ones
    matrix = np.linalg.lstsq(light * even, wanted * even, rcond=None)[0].T
    for _step in range(5):
        xyz = np.maximum(light @ matrix.T, 1e-3)
        residual = np.einsum("nij,nj->ni", weights, lab_from_xyz(xyz) - reference)
        robust = np.repeat(1 / (1 + np.sum(residual**2, axis=1) / 100.0), 3)
        rows = np.einsum("nik,nl->nikl", weights @ lab_slope(xyz), light).reshape(-1, 9)
        gram = (rows * robust[:, None]).T @ rows
        steady = 1e-5 * np.trace(gram) / 9 * np.eye(9)
        matrix = matrix - np.linalg.solve(
            gram + steady, (rows * robust[:, None]).T @ residual.ravel()
        ).reshape(3, 3)
    return np.asarray(matrix)


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
        reference[paper] = median(fit_correction(samples, card_size, usable & ~paper).lab[paper])
    return replace(samples, reference=reference)


def _set_up(samples: Samples, card_size: tuple[float, float], keep: NDArray[np.bool_]) -> _Problem:
    encoded, places = samples.encoded[keep], samples.places[keep]
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
    bright_enough = neutral & (reference[:, 0] > median(reference[neutral, 0]) - 1e-9)
    gains = median(np.maximum(target[bright_enough], 1e-3) / np.maximum(decoded[bright_enough], 1e-3))
    return _Problem(
        encoded,
        tone.splines(encoded),
        decoded,
        np.c_[light_field.basis(places, card_size), light_field.around(samples.surround, places, card_size)],
        _across(places, card_size),
        _cast_of_inks(reference),
        reference,
        weights,
        gains,
        _prior(gains),
    )


def _across(places: Array, card_size: tuple[float, float]) -> Array:
    """Return (N, 2) places on the card, from -1 to 1 over its width and its height."""
    return np.asarray(2 * places / np.asarray(card_size) - 1)


def _cast_of_inks(lab: Array) -> Array:
    """Return (N,) how far mixed inks of these colours (N, 3) may look off to a camera: grows with the ink, saturates.

    Greys and browns of three inks match their colour for the eye under daylight alone (metamerism); hair is no ink.
    """
    ink = np.clip((95.0 - np.nan_to_num(lab[:, 0], nan=95.0)) / 80.0, 0.0, 1.1)
    return np.asarray(ink * (1.0 - 0.65 * ink))


def _prior(gains: Array) -> Array:
    """Return the inverse covariance (P, P) of the parameters before the card is looked at."""
    prior = _prior_of_even_gains().copy()
    # The offset is small against white, whatever the exposure and white balance.
    prior[_OFFSET, _OFFSET] *= np.outer(gains, gains)
    return prior


@cache
def _prior_of_even_gains() -> Array:
    prior = np.zeros((_PARAMETERS, _PARAMETERS))

    def add(rows: Array, start: int) -> None:
        """Take up rows of which each is of unit standard deviation."""
        part = slice(start, start + rows.shape[1])
        prior[part, part] += rows.T @ rows

    shared, channel = tone.prior_rows()
    add(shared, _SHARED.start)
    for c in range(3):
        add(channel, _CHANNEL.start + c * _S)
    apart: Array = np.eye(3) - np.roll(np.eye(3), 1, axis=1)
    add(np.eye(3) / tone.OFFSET_SD, _OFFSET.start)
    add(apart / OFFSET_COLOUR_SD, _OFFSET.start)
    bright_sd, colour_sd = light_field.prior_sd()
    add(np.diag(1 / np.r_[bright_sd, light_field.LOCAL_SD]), _BRIGHT.start)
    add(np.diag(1 / np.tile(colour_sd, 2)), _COLOUR.start)
    off_diagonal = np.where(np.eye(3, dtype=bool), 0.02, 1.0).ravel()
    add(np.diag(off_diagonal / MATRIX_SD), _MATRIX.start)
    add(np.eye(6) / VEIL_SD, _VEIL.start)
    for start in (_VEIL.start, _VEIL.start + 3):
        add(apart / VEIL_COLOUR_SD, start)
    add(np.eye(2) / CAST_SD, _CAST.start)
    return prior


def _by_channel(bright: Array, colour: Array) -> Array:
    """Return the terms (F, 3) of each channel's logarithm, of those all share (F,) and red's and blue's (2, G)."""
    terms = np.repeat(bright[:, None], 3, axis=1)
    terms[:_G, ::2] += colour.T
    return terms


@dataclass(frozen=True, slots=True)
class _Seen:
    """The samples as a set of parameters sees them."""

    residual: Array  # (N, 3) weighted CIELAB error
    xyz: Array  # (N, 3)
    light: Array  # (N, 3) in camera units
    raised: Array  # (N, 3) its slope by the tone curve's logarithm
    inverse_factor: Array  # (N, 3)
    matrix: Array  # (3, 3) balanced light to XYZ


def _forward(problem: _Problem, theta: Array) -> _Seen:
    exponent = np.einsum("ncs,cs->nc", problem.splines, theta[_CHANNEL].reshape(3, _S) + theta[_SHARED])
    terms = _by_channel(theta[_BRIGHT], theta[_COLOUR].reshape(2, _G))
    inverse_factor = np.exp(-(problem.bright @ terms))
    raised = problem.decoded * np.exp(exponent)
    veil = problem.across @ theta[_VEIL].reshape(2, 3) / problem.gains
    light = (raised - theta[_OFFSET] - veil) * inverse_factor
    matrix = XYZ_FROM_RGB + XYZ_FROM_RGB @ theta[_MATRIX].reshape(3, 3)
    xyz = (light * problem.gains) @ matrix.T
    off = lab_from_xyz(xyz) - problem.reference
    off[:, 1:] -= problem.cast[:, None] * theta[_CAST]
    residual = np.einsum("nij,nj->ni", problem.weights, off)
    return _Seen(residual, xyz, light, raised * inverse_factor, inverse_factor, matrix)


def _slope(problem: _Problem, seen: _Seen) -> Array:
    """Return the derivative of the residuals by the parameters (N, 3, P)."""
    n = len(problem.encoded)
    slope = problem.weights @ lab_slope(seen.xyz)
    to_light = slope @ (seen.matrix * problem.gains)  # (N, 3 residuals, 3 channels)
    jacobian = np.empty((n, 3, _PARAMETERS))
    per_spline = (seen.raised[:, None] * to_light)[..., None] * problem.splines[:, None]  # (N, 3, c, S)
    jacobian[:, :, _SHARED] = (seen.raised[:, None] * to_light) @ problem.splines
    jacobian[:, :, _CHANNEL] = per_spline.reshape(n, 3, 3 * _S)
    offset = -to_light * seen.inverse_factor[:, None]
    jacobian[:, :, _OFFSET] = offset
    shrunk = -seen.light[:, None] * to_light  # by the logarithm of each channel's factor
    jacobian[:, :, _BRIGHT] = shrunk.sum(2)[..., None] * problem.bright[:, None]
    coloured = shrunk[:, :, ::2, None] * problem.bright[:, None, None, :_G]
    jacobian[:, :, _COLOUR] = coloured.reshape(n, 3, 2 * _G)
    veiled = problem.across[:, None, :, None] * (offset / problem.gains)[:, :, None]
    jacobian[:, :, _VEIL] = veiled.reshape(n, 3, 6)
    jacobian[:, :, _CAST] = -problem.cast[:, None, None] * problem.weights[:, :, 1:]
    balanced = seen.light * problem.gains
    by_matrix = (slope @ XYZ_FROM_RGB)[..., None] * balanced[:, None, None]
    jacobian[:, :, _MATRIX] = by_matrix.reshape(n, 3, 9)
    return jacobian


def _minimise(problem: _Problem) -> tuple[Array, Array, Array, Array]:
    """Return parameters, robust weights (N,), weighted Jacobian (N, 3, P) and weighted residuals (N, 3)."""
    theta = np.zeros(_PARAMETERS)
    damping = 1e-2
    scale = 8 * ROBUST_SCALE  # lenient first, so that a bad start does not cast out good patches

    def judge(seen: _Seen, at: Array, scale: float) -> tuple[Array, float]:
        squared = np.sum(seen.residual**2, axis=1) / scale**2
        return 1 / (1 + squared), float(scale**2 * np.sum(np.log1p(squared)) + at @ problem.prior @ at)

    seen = _forward(problem, theta)
    robust, cost = judge(seen, theta, scale)
    for _step in range(MOST_STEPS):
        jacobian = _slope(problem, seen)
        root = np.sqrt(robust)[:, None]
        flat = jacobian.reshape(-1, _PARAMETERS) * np.repeat(root, 3, axis=0)
        gram = flat.T @ flat + problem.prior
        gradient = flat.T @ (seen.residual * root).ravel() + problem.prior @ theta
        improved = False
        for _try in range(6):
            damped = gram.copy()
            damped.flat[:: _PARAMETERS + 1] *= 1 + damping
            trial = theta - np.linalg.solve(damped, gradient)
            trial_seen = _forward(problem, trial)
            trial_robust, trial_cost = judge(trial_seen, trial, scale)
            if np.isfinite(trial_cost) and trial_cost < cost:
                improved = True
                break
            damping *= 6
        if not improved:
            break
        gain = cost - trial_cost
        theta, seen, robust, cost = trial, trial_seen, trial_robust, trial_cost
        damping = max(damping / 8, 1e-7)
        if gain < (4e-3 if scale <= ROBUST_SCALE else 3e-2) * cost:
            if scale <= ROBUST_SCALE:
                break
            scale = max(ROBUST_SCALE, scale / 3)
            robust, cost = judge(seen, theta, scale)
    return theta, robust, jacobian, seen.residual


def _leave_one_out_shift(problem: _Problem, jacobian: Array, residual: Array, robust: Array) -> Array:
    """Return (N, 3): how each sample's CIELAB would move if the fit had not known it.

    For a least-squares fit linear near its minimum, leaving out block i turns its residual r into
    ``(I - H_ii)^-1 r`` with the block H_ii of the hat matrix (Cook and Weisberg 1982, case deletion).
    """
    flat = jacobian.reshape(-1, _PARAMETERS)
    gram = (flat * np.repeat(robust, 3)[:, None]).T @ flat + problem.prior
    solved = (flat @ np.linalg.inv(gram)).reshape(jacobian.shape)
    hat = jacobian @ solved.swapaxes(1, 2) * robust[:, None, None]
    left_out = np.linalg.solve(np.eye(3) - hat, residual[..., None])[..., 0]
    return np.asarray(np.linalg.solve(problem.weights, (left_out - residual)[..., None])[..., 0])


def _unpack(
    theta: Array, gains: Array, card_size: tuple[float, float], surround: NDArray[np.float32] | None
) -> Correction:
    return Correction(
        tone_weights=theta[_SHARED][:, None] + theta[_CHANNEL].reshape(3, _S).T,
        tone_offsets=theta[_OFFSET].copy(),
        brightness_terms=theta[_BRIGHT][:-1].copy(),
        colour_terms=theta[_COLOUR].reshape(2, _G).copy(),
        matrix=XYZ_FROM_RGB @ (np.eye(3) + theta[_MATRIX].reshape(3, 3)) * gains,
        veil=theta[_VEIL].reshape(2, 3) / gains,
        card_size=card_size,
        local=float(theta[_BRIGHT][-1]),
        surround=surround,
    )
