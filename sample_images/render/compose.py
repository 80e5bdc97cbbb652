"""From rendered light components to a picture in a camera's own linear channels, and its truth.

A picture is a mixture: each light of the scene with a weight (its share of the light on the card's centre), a
lamp spectrum and, where wanted, a shadow across it; a hair colour along and across the strand; a printed
card.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .card_sheet import PIXELS_PER_MM, Sheet
from .scene import (
    CARD_GREY,
    CORNERS,
    NODES,
    TABLE_GREY,
    Rendered,
    node_weights,
    project,
    quieten,
    strand_angle,
)
from .spectra import absorption, illuminant, lab_of
from .truth import ZONES, Outline, outline, zone_masks

Array = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Pigment:
    """Amounts of the absorbers in the fibres; dyes as (amount, centre nm, width nm)."""

    eumelanin: float
    pheomelanin: float
    remainder: float
    dyes: tuple[tuple[float, float, float], ...] = ()

    def spectrum(self) -> Array:
        """Return absorption per fibre radius (61,)."""
        return absorption(self.eumelanin, self.pheomelanin, self.remainder, self.dyes)


@dataclass(frozen=True, slots=True)
class HairColour:
    """Pigment at stops along the strand (0 root, 1 ends), blended evenly in between, and pieces of
    another."""

    stops: tuple[tuple[float, Pigment], ...]
    pieces: Pigment | None = None
    pieces_share: float = 0.0
    pieces_seed: int = 0


@dataclass(frozen=True, slots=True)
class Light:
    """One light's part in a picture. ``shadow``: (x mm, angle deg, softness mm, depth) of an edge, or
    None."""

    name: str
    weight: float
    illuminant: str
    shadow: tuple[float, float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Prepared:
    """A rendered scene with its noise taken out and its zones found; made once, used for many pictures."""

    rendered: Rendered
    strand: dict[str, Array] = field(repr=False)
    bare: dict[str, Array] = field(repr=False)
    outline: Outline | None
    zones: dict[str, Array] = field(repr=False)


def prepare(rendered: Rendered, noisy: bool = True) -> Prepared:
    """Find the strand's zones; quieten every light of the scene first where it was rendered with few samples."""
    angle, scale = strand_angle(rendered.homography)
    strand, bare = {}, {}
    for i, lamp in enumerate(rendered.scene.lamps):
        raw = rendered.strand[i].astype(np.float32)
        strand[lamp.name] = (
            raw if rendered.scene.no_strand or not noisy else quieten(raw, rendered.share, angle, scale / 6)
        )
        bare[lamp.name] = rendered.bare[i].astype(np.float32)
    if rendered.scene.no_strand:
        return Prepared(rendered, strand, bare, None, {})
    shape = outline(rendered.share, rendered.box, rendered.homography)
    return Prepared(
        rendered,
        strand,
        bare,
        shape,
        zone_masks(shape, rendered.share.shape, rendered.box, rendered.homography),
    )


STEPS, PIECES = 48, 8


def _colour_states(colour: HairColour) -> Array:
    """Return absorption (STEPS, PIECES, 61): along the strand, and from body to pieces."""
    at = np.linspace(0, 1, STEPS)
    stops = np.array([s for s, _ in colour.stops])
    spectra = np.stack([p.spectrum() for _, p in colour.stops])
    logs = np.log(spectra)
    if len(stops) == 1:
        body = np.repeat(spectra, STEPS, axis=0)
    else:
        body = np.exp(np.stack([np.interp(at, stops, logs[:, i]) for i in range(logs.shape[1])], axis=1))
    other = body if colour.pieces is None else np.repeat(colour.pieces.spectrum()[None], STEPS, axis=0)
    mix = np.linspace(0, 1, PIECES)[None, :, None]
    return np.asarray(np.exp((1 - mix) * np.log(body)[:, None] + mix * np.log(other)[:, None]))


def _state_of_pixels(prepared: Prepared, colour: HairColour) -> tuple[Array, Array]:
    """Return (h, w) row and column of each pixel's colour state."""
    r = prepared.rendered
    x, y = r.where[..., 0], r.where[..., 1]
    shape = r.scene.shape
    along = np.clip((x - shape.start) / shape.length, 0, 1)
    step = np.round(along * (STEPS - 1)).astype(int)
    if colour.pieces is None or colour.pieces_share <= 0:
        return step, np.zeros_like(step)
    rng = np.random.default_rng(colour.pieces_seed)
    field_ = cv2.GaussianBlur(
        rng.normal(size=(105 * 4, 148 * 4)).astype(np.float32), (0, 0), sigmaX=64, sigmaY=3.2
    )
    window = field_[36 * 4 : 69 * 4, 20 * 4 : 128 * 4]
    edge = np.quantile(window, 1 - colour.pieces_share)
    soft = 1 / (1 + np.exp(-(field_ - edge) / (0.25 * window.std())))
    i = np.clip((y * 4).astype(int), 0, field_.shape[0] - 1)
    j = np.clip((x * 4).astype(int), 0, field_.shape[1] - 1)
    return step, np.round(soft[i, j] * (PIECES - 1)).astype(int)


def _shadow(light: Light, homography: Array, size: tuple[int, int]) -> Array | float:
    """Return (H, W) what a straight-edged thing in front of this light lets through."""
    if light.shadow is None:
        return 1.0
    x0, angle, soft, depth = light.shadow
    h, w = size
    xs, ys = np.meshgrid(np.arange(w) + 0.5, np.arange(h) + 0.5)
    card = project(np.linalg.inv(homography), np.stack([xs.ravel(), ys.ravel()], 1)).reshape(h, w, 2)
    a = np.radians(angle)
    across = (card[..., 0] - x0) * np.cos(a) + (card[..., 1] - 52.5) * np.sin(a)
    return (1 - depth / (1 + np.exp(-across / max(soft, 0.3)))).astype(np.float32)


@cache
def _wood(seed: int) -> Array:
    """Return an invented table top (H, W) in -1..1 over 400 mm, 3 pixels a mm: grain, speckle or plain."""
    rng = np.random.default_rng(seed)
    kind = seed % 4
    n = 1200
    noise = rng.normal(size=(n, n)).astype(np.float32)
    if kind == 0:
        t = (
            cv2.GaussianBlur(noise, (0, 0), sigmaX=60, sigmaY=1.4) * 8
            + cv2.GaussianBlur(noise, (0, 0), sigmaX=200, sigmaY=9) * 30
        )
    elif kind == 1:
        t = cv2.GaussianBlur(noise, (0, 0), 1.0) * 1.6
    elif kind == 2:
        t = cv2.GaussianBlur(noise, (0, 0), 25) * 25 + cv2.GaussianBlur(noise, (0, 0), 1.2) * 0.5
    else:
        t = cv2.GaussianBlur(noise, (0, 0), 3) * 1.2
    return np.asarray(np.clip(t / 2.5, -1, 1))


TABLES = (  # pigments of the table: darkest and lightest CIELAB-ish as melanin-like absorptions and a level
    (0.16, 0.9),
    (0.45, 0.25),
    (0.62, 0.1),
    (0.10, 0.1),
    (0.34, 0.5),
    (0.75, 0.06),
)


def compose(
    prepared: Prepared,
    colour: HairColour | None,
    lights: tuple[Light, ...],
    sheet: Sheet,
    camera: Array,
    table_seed: int = 0,
) -> tuple[Array, dict[str, Any]]:
    """Return the picture in the camera's linear channels (H, W, 3), white card about 1, and its truth.

    ``camera`` (61, 3) are sensitivities; the channels are relative to D65 light, so a lamp's colour shows.
    """
    r = prepared.rendered
    height, width = r.bare.shape[1:]
    x0, y0, w, h = r.box
    crop = np.s_[y0 : y0 + h, x0 : x0 + w]
    d65 = illuminant("D65") @ camera

    # The card's texture, warped once as index-weights: paper/ink cover and patches as their spectra's
    # channels.
    scale = np.diag([1 / PIXELS_PER_MM, 1 / PIXELS_PER_MM, 1.0])
    fine = 2
    blow = np.diag([fine, fine, 1.0])
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    warp = np.linalg.inv(half) @ blow @ r.homography @ scale @ half
    blank = cv2.fillConvexPoly(
        np.zeros((height * 4, width * 4), np.float32),
        np.round(project(r.homography, CORNERS) * 4 - 0.5).astype(np.int32),
        1.0,
    )
    on_card = cv2.resize(blank, (width, height), interpolation=cv2.INTER_AREA)
    top = cv2.warpPerspective(
        _wood(table_seed),
        np.linalg.inv(half)
        @ r.homography
        @ np.array([[1 / 3, 0, -126], [0, 1 / 3, -147.5], [0, 0, 1.0]])
        @ half,
        (width, height),
        flags=cv2.INTER_AREA,
        borderMode=cv2.BORDER_REFLECT,
    )
    level, warmth = TABLES[table_seed % len(TABLES)]
    grid = np.linspace(0, 1, 61)
    table_spectrum = np.clip(level * (1 - warmth * (0.5 - grid)), 0.01, 0.95)

    dark: dict[str, tuple[Array, Array, Array]] = {}
    picture = np.zeros((height, width, 3), np.float32)
    hair = np.zeros((h, w, 3), np.float32)
    states = None
    if colour is not None:
        absorb = _colour_states(colour)
        weights = node_weights(absorb.reshape(-1)).reshape(len(NODES), STEPS, PIECES, -1)
        states = _state_of_pixels(prepared, colour)
    else:
        weights = node_weights(np.full((STEPS * PIECES * 61,), 0.1)).reshape(len(NODES), STEPS, PIECES, -1)
        zero = np.zeros((h, w), int)
        states = (zero, zero)
    light_spectra: list[tuple[Light, Array, Array | float]] = []
    for light in lights:
        power = illuminant(light.illuminant) * light.weight
        power = power / (illuminant(light.illuminant) @ camera[:, 1]) * d65[1]
        if light.illuminant not in dark:
            channels = power @ camera
            rho = (sheet.spectra * power) @ camera / channels
            tint = ((table_spectrum * power) @ camera / channels / TABLE_GREY).astype(np.float32)
            flat = rho.astype(np.float32)[sheet.index]
            card = cv2.warpPerspective(flat, warp, (width * fine, height * fine), flags=cv2.INTER_AREA)
            card = cv2.resize(card, (width, height), interpolation=cv2.INTER_AREA)
            solid = np.maximum(on_card, 1e-3)[..., None]
            card = np.where(on_card[..., None] > 0.02, np.minimum(card / solid, 1.05), 0)
            dark[light.illuminant] = (card, tint, np.asarray(rho[0]))
        card, tint, _ = dark[light.illuminant]
        channels = (power @ camera / d65).astype(np.float32)
        passes = _shadow(light, r.homography, (height, width))
        bare = prepared.bare[light.name] * passes
        plank = (1 + 0.28 * top[..., None]) * tint
        t = r.table[..., None] * (1 - on_card[..., None])
        rest = 1 - np.maximum(on_card[..., None], t)
        albedo = on_card[..., None] * card / CARD_GREY + t * plank + rest
        picture += bare[..., None] * albedo * channels
        matrix = np.einsum("kspl,l,lc->spck", weights, power, camera / d65, optimize=True).astype(np.float32)
        per_pixel = matrix[states[0], states[1]]
        f = prepared.strand[light.name]
        value = np.einsum("hwck,hwk->hwc", per_pixel, f)
        ratio = r.share[..., None] + (1 - r.share[..., None]) * albedo[crop]
        value = np.maximum(value, 0) * ratio
        hair += value * (passes[crop][..., None] if isinstance(passes, np.ndarray) else 1.0)
        light_spectra.append((light, power, passes))
    if not r.scene.no_strand:
        feather = np.zeros((h, w), np.float32)
        m = 10
        feather[m:-m, m:-m] = 1
        feather = cv2.GaussianBlur(feather, (0, 0), 4)[..., None]
        if colour is not None:
            picture[crop] = feather * hair + (1 - feather) * picture[crop]
    truth = {} if colour is None else _truth(prepared, weights, states, light_spectra)
    return picture, truth


def _mean_spectrum(
    prepared: Prepared,
    name: str,
    mask: Array,
    weights: Array,
    states: tuple[Array, Array],
    gain: Array | float,
) -> Array:
    """Return the mean (61,) of a light's radiance over ``mask``, per unit power at each wavelength."""
    f = prepared.strand[name][mask] * (gain[mask][:, None] if isinstance(gain, np.ndarray) else 1.0)
    row, column = states[0][mask], states[1][mask]
    sums = np.zeros((STEPS, PIECES, f.shape[1]))
    np.add.at(sums, (row, column), f)
    return np.asarray(np.einsum("spk,kspl->l", sums, weights, optimize=True) / mask.sum())


def _share(lit: Array, reference: Array) -> Array:
    """Return lit / reference (61,); where a lamp sends nothing, what it is at the nearest wavelength."""
    there = reference > 1e-6 * reference.max()
    at = np.arange(len(lit))
    return np.asarray(np.interp(at, at[there], lit[there] / reference[there]))


def _truth(
    prepared: Prepared,
    weights: Array,
    states: tuple[Array, Array],
    lights: list[tuple[Light, Array, Array | float]],
) -> dict[str, Any]:
    r = prepared.rendered
    x0, y0, w, h = r.box
    crop = np.s_[y0 : y0 + h, x0 : x0 + w]
    zones: dict[str, Any] = {}
    for name in ZONES:
        mask = prepared.zones[name]
        dome = _mean_spectrum(prepared, "dome", mask, weights, states, 1.0)
        white = prepared.bare["dome"][crop][mask].mean() / CARD_GREY
        lit, reference = np.zeros(61), np.zeros(61)
        for light, power, passes in lights:
            gain = passes[crop] if isinstance(passes, np.ndarray) else 1.0
            lit += power * _mean_spectrum(prepared, light.name, mask, weights, states, gain)
            reference += power * float((prepared.bare[light.name][crop] * gain)[mask].mean() / CARD_GREY)
        zones[name] = {
            "lab_diffuse": [round(float(v), 2) for v in lab_of(dome / white)],
            "lab_as_lit": [round(float(v), 2) for v in lab_of(_share(lit, reference))],
            "reflectance_diffuse_20nm": [round(float(v), 4) for v in (dome / white)[::4]],
        }
    return zones
