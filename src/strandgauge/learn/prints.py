"""Learns the true colours of a home-printed card from photos that show a trusted chart beside it.

The trusted chart gives the camera's tone curve and colour matrix, as in any reading. The light is the danger: it
is known on the chart, and the print lies beside it. So one smooth light field is fitted over both at once: to
the trusted chart's patches, whose colour is known, and to the print's bare paper, whose colour is not known
but is the same all over. What that leaves open at each patch goes into its uncertainty, and so does what the trusted
chart's patches show when each is left out of the fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated

import numpy as np
from annotated_types import MinLen
from numpy.typing import NDArray

from strandgauge.card.find import CardView, find_card, project
from strandgauge.card.model import CardDefinition
from strandgauge.card.sample import Samples, sample_card
from strandgauge.card.write import card_toml
from strandgauge.codes.bounds import NotNegative
from strandgauge.codes.catalogue import say
from strandgauge.colour.arrays import Array
from strandgauge.colour.cielab import (
    Lab,
    as_lab,
    delta_e_2000,
    difference_weights,
    lab_from_xyz,
    lab_slope,
    xyz_from_lab,
)
from strandgauge.errors import CannotLearnCardError, StrandgaugeError
from strandgauge.light import field as light_field
from strandgauge.light import tone
from strandgauge.light.trust import judge_exposure, measure_exposure
from strandgauge.photo.open import open_photo
from strandgauge.reading.pipeline import CardReading, read_card

LOOK_SIDE = 3600
"""Longest side, in pixels, at which a photo of two cards is opened."""
CLEAR_GAIN = 0.8
CLEAR_GAIN_OTHER_INKS = 0.6
"""What was learned must be surer than this share of the print's own departure from its nominal colours. With other
inks than the chart's the departure itself looks larger than it is, so more is asked."""
CAMERA_SD = np.array([1.1, 0.4, 0.3])
OTHER_INKS_SD = np.array([0.4, 1.7, 1.6])
"""Standard uncertainty of L*, a*, b* that the trusted chart's own patches do not show. The first: a camera that does
not see colours as people do bends the tone curve that is fitted to them. The second: colours that look alike to
people do not to a camera when their inks differ. Both from simulated photos of invented prints in daylight, by a
measured and three invented cameras (docs/learning.md)."""
UNDER_LAMPS = 1.5
"""Factor on the second where the photos may have been taken under lamps. Own choice, from the same simulations."""
NEAR = 15.0
"""CIELAB distance within which the trusted chart's patches speak for a colour."""
FAR = 25.0
"""CIELAB distance from the nearest trusted patch at which a patch's uncertainty has doubled in square."""
LEAST_TRUSTED_LIGHTNESS_SD = 0.5
PAPER_LOG_SD = 0.012
"""Relative standard deviation of one place of bare paper."""
UNSEEN_LOG_SD = 0.02
"""Relative standard deviation, in one photo, of the light between the two cards that neither can show, such as a soft
shadow that begins in the gap. Own choice; photos that disagree show more of it."""
GAIN_SD = 0.1
"""Prior standard deviation of what the joint field adds to the whole chart, log units."""
ROBUST = 2.5
"""Standard deviations beyond which a place loses weight."""
PAPER_LIGHTNESS = (86.0, 100.0)
"""L* of printing paper; beyond it the light between the cards was taken for the paper's own."""
MOST_SCALE_ERROR = 0.08
"""Largest departure of the print's size, seen in the trusted chart's plane, from its nominal size."""


@dataclass(frozen=True, slots=True)
class LearnedPatch:
    """One patch of the print."""

    id: str
    nominal: Lab
    lab: Lab
    lab_sd: Lab
    error: NotNegative
    """Expected CIEDE2000 of ``lab`` from the truth (root mean square)."""


@dataclass(frozen=True, slots=True)
class LearnedPrint:
    """A print's colours, how sure they are, and how far from what the card should be."""

    card: CardDefinition = field(repr=False)
    """The card with its learned colours; its ink stays nominal."""
    patches: tuple[LearnedPatch, ...] = field(repr=False)
    paper: Lab | None
    error: NotNegative
    """Mean of the patches' expected CIEDE2000."""
    from_nominal: NotNegative
    """Root mean square CIEDE2000 between learned and nominal colours."""
    photos: Annotated[tuple[str, ...], MinLen(1)]
    trusted: str
    """Name of the trusted chart."""
    trusted_left_out: NotNegative
    """Mean CIEDE2000 of the trusted chart's patches, each left out of the fit."""


@dataclass(frozen=True, slots=True)
class _Shot:
    """What one photo tells."""

    name: str
    lab: Array  # (N, 3)
    light_cov: Array  # (N, 3, 3) of L*, a*, b*, from the light field
    transfer_cov: Array  # (N, 3, 3) from the trusted chart's own errors
    paper: Array | None  # (3,)
    usable: NDArray[np.bool_]  # (N,)
    left_out: float


def learn_print(
    sources: Sequence[Path | bytes],
    card: CardDefinition,
    trusted: CardDefinition,
    *,
    same_inks: bool = False,
    daylight: bool = False,
) -> LearnedPrint:
    """Return the print's colours, from one photo or several that show it beside the trusted chart.

    Parameters
    ----------
    sources : photos, as paths or bytes. Two with the chart on either side of the print are far surer than one: what
        the light does between the two cards then cancels.
    card : the home print's card, with its nominal colours.
    trusted : the trusted chart, with true colours; it needs no window.
    same_inks : the chart was printed with the same inks as the print, so that a camera sees both alike.
    daylight : the photos were taken in daylight. Under lamps other inks than the chart's look further off than they
        are, and the photos cannot show it; so lamps are reckoned with unless told otherwise.

    Raises
    ------
    CannotLearnCardError : the two share marker ids, do not lie in one plane, a patch is clipped in every photo, or
        the result would be no better than the nominal colours.
    StrandgaugeError : a photo cannot be opened, or either card cannot be found or trusted in it.
    """
    if not sources:
        raise CannotLearnCardError(fault="no-photo")
    ids = [{(marker.dictionary, marker.id) for marker in one.markers} for one in (card, trusted)]
    if ids[0] & ids[1]:
        raise CannotLearnCardError(fault="same-marks", card=card.name, other=trusted.name)
    inks = 0.0 if same_inks else 1.0 if daylight else UNDER_LAMPS
    unseen = np.diag(CAMERA_SD**2 + (inks * OTHER_INKS_SD) ** 2)
    learned = _joined([_look(source, card, trusted) for source in sources], card, trusted, unseen)
    _refuse_if_no_better(learned, CLEAR_GAIN if same_inks else CLEAR_GAIN_OTHER_INKS, same_inks or daylight)
    return learned


def _refuse_if_no_better(learned: LearnedPrint, share: float, sure_of_inks: bool) -> None:
    # What separates learned from nominal colours is the print's own error and that of learning, together.
    nominal = float(np.sqrt(max(learned.from_nominal**2 - learned.error**2, 0.0)))
    if learned.error > share * nominal:
        nominal, error = learned.from_nominal, learned.error
        if sure_of_inks:
            raise CannotLearnCardError(fault="nothing-to-gain", nominal=nominal, error=error)
        raise CannotLearnCardError(fault="nothing-to-gain-in-this-light", nominal=nominal, error=error)


def _look(source: Path | bytes, card: CardDefinition, trusted: CardDefinition) -> _Shot:
    photo = open_photo(source, longest_side_wanted=LOOK_SIDE)
    try:
        view = find_card(photo.pixels, trusted)
        reading = read_card(photo, trusted, view)
        if reading.light.problems:
            raise reading.light.problems[0]
    except StrandgaugeError as error:
        error.photo, error.place = photo.name, say("place.chart")
        raise
    try:
        own_view = find_card(photo.pixels, card)
        samples = sample_card(photo.pixels, own_view, card)
        exposure = measure_exposure(samples)
        problems, _ = judge_exposure(exposure)
        if problems:
            raise problems[0]
        places = _in_the_charts_plane(samples.places, own_view, view)
        _check_plane(card, own_view, view)
    except StrandgaugeError as error:
        error.photo, error.place = photo.name, say("place.print")
        raise
    return _shot(reading, samples, places, exposure.usable, photo.name)


def _in_the_charts_plane(places: Array, own: CardView, chart: CardView) -> Array:
    """Return millimetres on the trusted chart (N, 2), beyond its edge, of millimetres on the print."""
    return project(np.linalg.inv(chart.homography), own.to_pixels(places))


def _check_plane(card: CardDefinition, own: CardView, chart: CardView) -> None:
    """Refuse a print that lies on another plane than the chart: the same light would not fall on both.

    Raises
    ------
    CannotLearnCardError
    """
    corners = _in_the_charts_plane(card.outline, own, chart)
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
    nominal = np.linalg.norm(card.outline - np.roll(card.outline, 1, axis=0), axis=1)
    ratio = sides / nominal
    if np.abs(ratio - 1.0).max() > MOST_SCALE_ERROR:
        raise CannotLearnCardError(fault="size", low=100 * ratio.min(), high=100 * ratio.max())


def _shot(reading: CardReading, own: Samples, places: Array, usable: NDArray[np.bool_], name: str) -> _Shot:
    correction, chart = reading.correction, reading.samples
    patches = own.is_patch
    decoded = tone.decode(own.encoded, correction.tone_weights, correction.tone_offsets)
    everywhere = np.concatenate([chart.places, places])
    low, span = everywhere.min(0), np.maximum(np.ptp(everywhere, axis=0), 1.0)
    theta, covariance = _fit_light(reading, own, places, decoded, usable, low, span)
    logs, log_cov = _field_at(places[patches], low, span, theta, covariance)
    light = decoded[patches] / np.exp(logs)
    xyz = light @ correction.matrix.T
    lab, slope = lab_from_xyz(xyz), lab_slope(xyz)
    to_lab = slope @ (correction.matrix * light[:, None, :])  # (N, 3, 3): d lab / d log light
    light_cov = np.einsum("nij,njk,nlk->nil", to_lab, log_cov + UNSEEN_LOG_SD**2, to_lab)
    paper = None
    if (~patches).any():
        paper_light = np.exp(theta[_PAPER])
        paper = lab_from_xyz(paper_light @ correction.matrix.T)
        if not PAPER_LIGHTNESS[0] <= paper[0] <= PAPER_LIGHTNESS[1]:
            raise CannotLearnCardError(where=f"{name}, the print", fault="paper", lightness=paper[0])
    return _Shot(
        name,
        lab,
        light_cov,
        _transfer(lab, reading),
        paper,
        usable[patches],
        float(reading.fitted.delta_e00_left_out[chart.is_patch].mean()),
    )


_F, _G = len(light_field.ORDERS), len(light_field.COLOUR_ORDERS)
_BRIGHT = slice(0, _F)
_COLOUR = (slice(_F, _F + _G), None, slice(_F + _G, _F + 2 * _G))
"""Of red, green (which has none of its own) and blue."""
_GAIN = slice(_F + 2 * _G, _F + 2 * _G + 3)
_PAPER = slice(_GAIN.stop, _GAIN.stop + 3)
_PARAMETERS = _PAPER.stop


def _rows(places: Array, low: Array, span: Array, channel: int) -> Array:
    """Return (N, parameters) of the log of light in a channel, without the paper's own colour."""
    rows = np.zeros((len(places), _PARAMETERS))
    size = (float(span[0]), float(span[1]))
    rows[:, _BRIGHT] = basis = light_field.basis(places - low, size)
    colour = _COLOUR[channel]
    if colour is not None:
        rows[:, colour] = basis[:, :_G]
    rows[:, _GAIN.start + channel] = 1.0
    return rows


def _fit_light(
    reading: CardReading,
    own: Samples,
    places: Array,
    decoded: Array,
    usable: NDArray[np.bool_],
    low: Array,
    span: Array,
) -> tuple[Array, Array]:
    """Fit the light over both cards; return its parameters and their covariance.

    Linear in the logarithm of light: ``log seen = field(place) + log(what the place sends back)``, the latter known
    for the trusted chart, one unknown for the print's paper. Least squares with the priors of the light field on a
    card, here over both, and less weight for what does not fit.
    """
    correction, chart = reading.correction, reading.samples
    seen = tone.decode(chart.encoded, correction.tone_weights, correction.tone_offsets)
    known = xyz_from_lab(chart.reference) @ np.linalg.inv(correction.matrix).T
    lightness_sd = max(
        LEAST_TRUSTED_LIGHTNESS_SD,
        float(np.sqrt(np.median((reading.fitted.lab_left_out - chart.reference)[chart.is_patch, 0] ** 2)))
        * 1.48,
    )
    chart_sd = 3.0 * lightness_sd / (chart.reference[:, 0] + 16.0)
    good = (
        (seen.min(1) > 0.01)
        & (known.min(1) > 0.01)
        & (chart.reference[:, 0] > 30.0)
        & (np.hypot(chart.reference[:, 1], chart.reference[:, 2]) < 30.0)
        & (reading.fitted.weight > 0.2)
    )
    blank = ~own.is_patch & usable & (decoded.min(1) > 0.01)
    spread = 1.0 + (own.spread / (0.02 + 0.04 * own.encoded[:, 1])) ** 2
    rows, values, sds = [], [], []
    for channel in range(3):
        rows.append(_rows(chart.places[good], low, span, channel))
        values.append(np.log(seen[good, channel] / known[good, channel]))
        sds.append(chart_sd[good])
        paper = _rows(places[blank], low, span, channel)
        paper[:, _PAPER.start + channel] = 1.0
        rows.append(paper)
        values.append(np.log(decoded[blank, channel]))
        sds.append(PAPER_LOG_SD * np.sqrt(spread[blank]))
    design, value, sd = np.concatenate(rows), np.concatenate(values), np.concatenate(sds)
    bright_sd, colour_sd = light_field.prior_sd()
    prior = np.concatenate([bright_sd, colour_sd, colour_sd, np.full(3, GAIN_SD), np.full(3, 10.0)])
    weight = np.ones(len(value))
    for _ in range(8):
        scaled = design * (weight / sd**2)[:, None]
        precision = design.T @ scaled + np.diag(1.0 / prior**2)
        theta = np.linalg.solve(precision, scaled.T @ value)
        away = np.abs(value - design @ theta) / sd
        weight = 1.0 / (1.0 + (away / ROBUST) ** 2)
    return theta, np.linalg.inv(precision)


def _field_at(places: Array, low: Array, span: Array, theta: Array, covariance: Array) -> tuple[Array, Array]:
    """Return the log of light (N, 3) and its covariance over the channels (N, 3, 3)."""
    rows = np.stack([_rows(places, low, span, channel) for channel in range(3)], axis=1)  # (N, 3, P)
    return rows @ theta, np.einsum("nip,pq,njq->nij", rows, covariance, rows)


def _transfer(lab: Array, reading: CardReading) -> Array:
    """Return (N, 3, 3): the covariance of CIELAB that the trusted chart shows for colours like these.

    The squared errors of its patches, each left out of the fit, near ones counting most; more for colours far from
    all of them, where the correction extrapolates.
    """
    chart = reading.samples
    patches = chart.is_patch
    residual = (reading.fitted.lab_left_out - chart.reference)[patches]
    apart = np.linalg.norm(lab[:, None] - chart.reference[patches][None], axis=2)
    weight = np.exp(-0.5 * (apart / NEAR) ** 2) + 0.02
    weight /= weight.sum(1, keepdims=True)
    squares = np.einsum("nm,mi,mj->nij", weight, residual, residual)
    return np.asarray(squares * (1.0 + (apart.min(1) / FAR) ** 2)[:, None, None])


def _joined(
    shots: Sequence[_Shot], card: CardDefinition, trusted: CardDefinition, unseen: Array
) -> LearnedPrint:
    """Average the photos, and put together what makes each patch unsure; `unseen` (3, 3) is common to all."""
    usable = np.array([shot.usable for shot in shots])
    never = [card.patches[place].id for place in np.flatnonzero(~usable.any(axis=0))]
    if never:
        raise CannotLearnCardError(
            where="the print", fault="clipped", count=len(never), patches=", ".join(never[:6])
        )
    weight = usable / usable.sum(0)
    count = usable.sum(0)
    labs = np.array([shot.lab for shot in shots])
    lab = np.einsum("sn,sni->ni", weight, labs)
    transfer = np.einsum("sn,snij->nij", weight, np.array([shot.transfer_cov for shot in shots]))
    light = (
        np.einsum("sn,snij->nij", weight, np.array([shot.light_cov for shot in shots])) / count[:, None, None]
    )
    if len(shots) > 1:
        # Where photos disagree more than the light explains, the light was less sure than it seemed. The light's
        # error is common to neighbouring patches, so the whole print is asked, not each patch.
        away = np.einsum("sn,sni->i", weight, (labs - lab) ** 2) / max(len(shots) - 1, 1) / len(lab)
        claimed = np.mean(np.diagonal(light, axis1=1, axis2=2), axis=0)
        light = light + np.diag(np.maximum(away - claimed, 0.0))
    total = transfer + light + unseen
    sd = np.sqrt(np.diagonal(total, axis1=1, axis2=2))
    scaled = difference_weights(lab)
    errors = np.sqrt(np.einsum("nij,njk,nik->n", scaled, total, scaled))
    patches = tuple(
        LearnedPatch(patch.id, patch.lab, as_lab(lab[i]), as_lab(sd[i]), float(errors[i]))
        for i, patch in enumerate(card.patches)
    )
    papers = [shot.paper for shot in shots if shot.paper is not None]
    paper = as_lab(np.mean(papers, axis=0)) if papers else None
    learned = replace(
        card,
        patches=tuple(replace(patch, lab=own.lab) for patch, own in zip(card.patches, patches, strict=True)),
        paper=paper or card.paper,
        profile_name="own print",
    )
    return LearnedPrint(
        learned,
        patches,
        paper,
        float(errors.mean()),
        float(np.sqrt(np.mean(delta_e_2000(lab, card.patch_labs) ** 2))),
        tuple(shot.name for shot in shots),
        trusted.name,
        float(np.mean([shot.left_out for shot in shots])),
    )


def print_toml(learned: LearnedPrint) -> str:
    """Return the learned card as a definition that `load_card` reads, what is known of its error above it."""
    told = [f"{patch.id} {patch.error:.1f}" for patch in learned.patches]
    head = [
        f"'{learned.card.name}' as printed: colours learned by strandgauge beside '{learned.trusted}',",
        f"from {', '.join(learned.photos)}.",
        f"Expected error, CIEDE2000: mean {learned.error:.1f}. By patch:",
        *("  " + ", ".join(told[at : at + 10]) for at in range(0, len(told), 10)),
    ]
    return card_toml(learned.card, "\n".join(_printable(line) for line in head))


def print_cgats(learned: LearnedPrint) -> str:
    """Return the learned colours as CGATS.17 text that ``--profile`` reads; STDEV is their standard uncertainty."""
    rows = [(patch.id, patch.lab, patch.lab_sd) for patch in learned.patches]
    if learned.paper is not None:
        rows.append(("paper", learned.paper, (0.0, 0.0, 0.0)))
    lines = [
        "CGATS.17",
        'ORIGINATOR "strandgauge"',
        f'DESCRIPTOR "learned beside {_printable(learned.trusted)}, expected CIEDE2000 {learned.error:.1f}"',
        'ILLUMINANT "D65"',
        'OBSERVER "2"',
        "NUMBER_OF_FIELDS 7",
        "BEGIN_DATA_FORMAT",
        "SAMPLE_ID LAB_L LAB_A LAB_B STDEV_L STDEV_A STDEV_B",
        "END_DATA_FORMAT",
        f"NUMBER_OF_SETS {len(rows)}",
        "BEGIN_DATA",
    ]
    for name, lab, sd in rows:
        lines.append(" ".join([f'"{_printable(name)}"', *(f"{value:.3f}" for value in (*lab, *sd))]))
    return "\n".join([*lines, "END_DATA", ""])


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() and c != '"' else "?" for c in text)
