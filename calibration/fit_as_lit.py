"""Fits as-lit.toml: how the colour of hair as lit scatters about its diffuse colour, given the clues in a photo.

``python calibration/fit_as_lit.py FOLDER [FOLDER ...]`` reads photos with their truth beside them, as
``python -m sample_images.render.training`` writes them, measures each with this package and finds by maximum
likelihood the mean and the spread of (measured colour as lit - true diffuse colour), as scale and tint. What makes
the posterior's intervals hold what they say is then measured on places and on whole families left out of the fit.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, replace
from itertools import product
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.optimize import minimize

from strandgauge.colour.srgb import RATIO_FROM_RGB
from strandgauge.errors import StrandgaugeError
from strandgauge.hair.family import DARKEST, lab_from_ratio, ratio_from_lab, scale_and_tint
from strandgauge.hair.levels import Ladder, load_ladder
from strandgauge.hair.posterior import AsLit, ErrorModel, Telling, posterior, shifted_by, tell
from strandgauge.kit import shipped
from strandgauge.strand.direction import (
    FARTHEST,
    SHIFTED,
    TERMS,
    UNITS,
    CardSeen,
    LightModel,
    shift_terms,
    spread_terms,
)
from strandgauge.strand.names import PARTS

Models = tuple[ErrorModel, LightModel]
Rows = list[tuple["Zone", dict[str, Any]]]
DOUBTS = 10
"""How many `spread_terms` there are."""
LIGHTNESS = np.array([14.0, 20.0, 28.0, 42.0, 62.0, 84.0])
FREEDOM = 5.0
ROUNDS = 2
HELD_UNITS, HELD_SHIFT = 100.0, 60.0
"""How firmly the network's weights are held to nought (weight decay), on errors counted in their spreads."""
USUAL_SHIFT = np.array([0.15, 0.15, 0.15, 0.005, 0.02])
PLAIN = Telling(np.ones(3), 1.96, (0.0, 0.0), (0.0, 0.0), 1.0, np.zeros((2, 3)))
FAMILIES = ("shape", "lighting", "lamp", "camera", "sensor", "print", "inks")
UNSEEN_TRIED = (np.arange(0.0, 2.3, 0.25), np.arange(0.0, 13.0), np.arange(0.0, 4.1, 0.5))
HOLDS, LEAST_ZONES = 0.93, 100
"""How often an interval called 95 % must hold in every left-out family of so many zones."""
FOLDS = 6
HERE = Path(__file__).parent


@dataclass(frozen=True)
class Zone:
    """One zone of one photo, or of a pair: what was measured and what is true."""

    photo: str
    name: str
    place: int
    pair: str | None
    kind: str
    dyed: bool
    families: dict[str, str]
    ratio: np.ndarray
    lit_lab: np.ndarray
    true_lab: np.ndarray
    shift_terms: np.ndarray
    spread_terms: np.ndarray
    signs: np.ndarray
    """(3,) of `AsLit`: what the error that no fit has seen goes with."""
    apart: float | None = None  # of a pair: ln Y of one shot against the other
    other_terms: np.ndarray | None = None  # of a pair: shift terms of the other shot

    @property
    def off(self) -> np.ndarray:
        """(3,) measured as lit minus diffuse, as scale and tint."""
        return scale_and_tint(self.ratio) - scale_and_tint(ratio_from_lab(self.true_lab))


def zones_of(path: Path) -> tuple[list[Zone], tuple[str | None, str]]:
    """Return a photo's zones and what became of it: why it should be refused, and its error's code or 'read'."""
    cv2.setNumThreads(1)
    truth = json.loads(path.read_text())
    try:
        m = shipped().measure(path.with_suffix(".jpg"))
    except StrandgaugeError as error:
        return [], (truth["refuse_because"], error.code)
    if not truth["valid"] or truth["wet"]:
        return [], (truth["refuse_because"], "read")
    card = m.card.fit
    cautions = len(m.card.light.cautions)
    usual = np.mean([np.log(m.colours[name].as_lit.ratio[1]) for name in PARTS])
    zones = []
    for name in PARTS:
        ratio = m.colours[name].as_lit.ratio
        read = lab_from_ratio(np.maximum(m.zones[name].linear @ RATIO_FROM_RGB.T, DARKEST))
        seen = CardSeen(
            card.leave_one_out_mean,
            cautions,
            card.light_unevenness_percent / 100.0,
            m.left.on_hair(read)[1],
        )
        zones.append(
            Zone(
                truth["photo"],
                name,
                truth["scene"],
                truth["pair"],
                truth["kind"],
                truth["dyed"],
                truth["families"],
                ratio,
                np.array(truth["zones"][name]["lab_as_lit"]),
                np.array(truth["zones"][name]["lab_diffuse"]),
                shift_terms(m.clues, m.clues.reliefs[name], float(np.log(ratio[1]) - usual)),
                spread_terms(m.clues, seen),
                m.colours[name].as_lit.signs,
            )
        )
    return zones, (None, "read")


def measure(folders: list[str]) -> tuple[list[Zone], list[tuple[str | None, str]]]:
    """Measure every photo of some folders."""
    files = [f for folder in folders for f in sorted(Path(folder).glob("[0-9]*.json"))]
    with Pool() as pool:
        found = pool.map(zones_of, files, chunksize=8)
    return [zone for zones, _ in found for zone in zones], [outcome for _, outcome in found]


def pairs_of(zones: list[Zone]) -> list[Zone]:
    """Join the zones of shots with the card turned."""
    joined = []
    for one, other in _turned(zones):
        a, b = zones[one], zones[other]
        joined.append(
            replace(
                a,
                ratio=(a.ratio + b.ratio) / 2,
                true_lab=lab_from_ratio((ratio_from_lab(a.true_lab) + ratio_from_lab(b.true_lab)) / 2),
                other_terms=b.shift_terms,
                spread_terms=(a.spread_terms + b.spread_terms) / 2,
                signs=(a.signs + b.signs) / 2,
                apart=abs(float(np.log(a.ratio[1] / b.ratio[1]))),
            )
        )
    return joined


def _turned(zones: list[Zone]) -> list[tuple[int, int]]:
    """Return which zones are of the same part of a strand, before and after the card was turned."""
    by_pair: dict[tuple[str, str], list[int]] = {}
    for i, zone in enumerate(zones):
        if zone.pair is not None:
            by_pair.setdefault((zone.pair, zone.name), []).append(i)
    return [(both[0], both[1]) for both in by_pair.values() if len(both) == 2]


def _model(x: np.ndarray) -> tuple[ErrorModel, np.ndarray]:
    """Return the error model and the widening per doubt (10, 3) of one vector."""
    k = len(LIGHTNESS)
    parts = np.split(x, np.cumsum([3 * k, 3 * k, 6, 3 * DOUBTS]))
    a, b, c = np.tanh(parts[4])
    return (
        ErrorModel(
            LIGHTNESS,
            parts[0].reshape(k, 3),
            parts[1].reshape(k, 3),
            parts[2].reshape(2, 3),
            np.array([[1, a, b], [a, 1, c], [b, c, 1]]),
            FREEDOM,
        ),
        parts[3].reshape(DOUBTS, 3),
    )


def _unlikely(
    off: np.ndarray, log_sd: np.ndarray, correlation: np.ndarray
) -> tuple[float, np.ndarray, np.ndarray]:
    """Return how unlikely errors (N, 3) are, and its slopes by each error and each log spread (N, 3)."""
    try:
        lower = np.linalg.cholesky(correlation)
    except np.linalg.LinAlgError:
        return 1e9, np.zeros_like(off), np.zeros_like(off)
    sharp = np.exp(-log_sd)
    z = np.linalg.solve(lower, (off * sharp).T)
    squared = (z**2).sum(0)
    unlikely = log_sd.sum() + len(off) * np.log(np.diag(lower)).sum()
    unlikely += (FREEDOM + 3) / 2 * np.log1p(squared / FREEDOM).sum()
    pull = ((FREEDOM + 3) / (FREEDOM + squared) * np.linalg.solve(lower.T, z)).T * sharp
    return float(unlikely), pull, 1.0 - pull * off


def fit(zones: list[Zone]) -> Models:
    """Fit both models by maximum likelihood, held weakly to smooth and small.

    The network is fitted to errors weighed as the t distribution weighs them, in turn with the rest. What it leaves
    is taken from places that it has not seen, else it would be thought surer than it is.
    """
    off = np.array([z.off for z in zones])
    true = np.array([z.true_lab for z in zones])
    place = scale_and_tint(ratio_from_lab(true))
    terms = np.array([z.shift_terms for z in zones])
    usual, spread = terms.mean(0), np.maximum(terms.std(0), 1e-6)
    terms = np.clip((terms - usual) / spread, -FARTHEST, FARTHEST)
    powers = shifted_by(true[:, 0]).T
    doubts = np.array([z.spread_terms for z in zones])
    fold = np.array([z.place for z in zones]) // FOLDS % FOLDS
    known = np.zeros((len(zones), len(SHIFTED)))
    errors = None
    for _ in range(ROUNDS):
        shifted = _shifted(known, powers)
        errors = _fit_errors(off - shifted, place, true[:, 0], doubts, errors)
        model, widen = _model(errors)
        centre, log_sd = model.at(place, true[:, 0])
        sharp = np.exp(-log_sd - doubts @ widen)
        left = off - (centre - place)
        whitened = np.linalg.solve(np.linalg.cholesky(model.correlation), ((left - shifted) * sharp).T)
        weight = sharp * np.sqrt((FREEDOM + 3) / (FREEDOM + (whitened**2).sum(0)))[:, None]
        for out in (fold == k for k in range(FOLDS)):
            known[out] = _network(
                terms[out], *_fit_network(terms[~out], powers[~out], left[~out], weight[~out])
            )
    units, shift = _fit_network(terms, powers, left, weight)
    model, widen = _model(_fit_errors(off - _shifted(known, powers), place, true[:, 0], doubts, errors))
    # Shots under the same light share its direction; what little differs is the camera's noise and the laying.
    again = np.log([0.95, 0.85, 0.85])
    light = LightModel(usual, spread, units, shift, widen, np.zeros((2, 3)), np.zeros(2), 1.0, again)
    turned = _fit_turned(zones, known, model, light)
    return model, replace(
        light, turned_widen=turned[:6].reshape(2, 3), turned_shift=turned[6:8], turned_clues=float(turned[8])
    )


def _shifted(known: np.ndarray, powers: np.ndarray) -> np.ndarray:
    """Return the shift of scale and tint (N, 3) that a network's answers (N, 5) come to, at powers (N, 3) of L*."""
    return np.c_[(known[:, :3] * powers).sum(1), known[:, 3:]]


def _network(terms: np.ndarray, units: np.ndarray, shift: np.ndarray) -> np.ndarray:
    return np.c_[np.tanh(terms @ units[:-1] + units[-1]), terms] @ shift


def _fit_network(
    terms: np.ndarray, powers: np.ndarray, wanted: np.ndarray, weight: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return units and shift of `LightModel`: least squares on errors (N, 3), weighed, held to small weights."""
    rng = np.random.default_rng(0)
    sizes = np.cumsum([TERMS * UNITS, UNITS, UNITS * len(SHIFTED)])
    start = np.zeros((TERMS + 1) * UNITS + (UNITS + TERMS) * len(SHIFTED))
    start[: sizes[0]] = rng.normal(0, 0.3, sizes[0])
    start[sizes[0] : sizes[1]] = rng.normal(0, 0.5, UNITS)
    start[sizes[1] : sizes[2]] = rng.normal(0, 0.01, sizes[2] - sizes[1])
    wanted = np.clip(wanted * weight, -4.0, 4.0)

    def parts(x: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        a, b, c, d = np.split(x, sizes)
        return a.reshape(TERMS, UNITS), b, c.reshape(UNITS, -1), d.reshape(TERMS, -1)

    def cost(x: np.ndarray) -> tuple[float, np.ndarray]:
        inner, bias, outer, straight = parts(x)
        units = np.tanh(terms @ inner + bias)
        found = (units @ outer + terms @ straight) * USUAL_SHIFT
        miss = np.c_[(found[:, :3] * powers).sum(1), found[:, 3:]] * weight - wanted
        large = HELD_UNITS * (inner**2).sum() + HELD_SHIFT * ((outer**2).sum() + (straight**2).sum())
        pull = miss * weight
        pull = np.c_[pull[:, :1] * powers, pull[:, 1:]] * USUAL_SHIFT
        back = (pull @ outer.T) * (1 - units**2)
        slope = [
            terms.T @ back + HELD_UNITS * inner,
            back.sum(0),
            units.T @ pull + HELD_SHIFT * outer,
            terms.T @ pull + HELD_SHIFT * straight,
        ]
        return float((miss**2).sum() + large) / 2, np.concatenate([part.ravel() for part in slope])

    found = minimize(cost, start, jac=True, method="L-BFGS-B", options={"maxiter": 300, "maxfun": 600}).x
    inner, bias, outer, straight = parts(found)
    return np.vstack([inner, bias]), np.vstack([outer, straight]) * USUAL_SHIFT


def _fit_errors(
    off: np.ndarray, place: np.ndarray, lightness: np.ndarray, doubts: np.ndarray, start: np.ndarray | None
) -> np.ndarray:
    """Return the vector of `_model` that makes errors (N, 3), clues taken off, likeliest."""
    k = len(LIGHTNESS)
    by_lightness = np.stack([np.interp(lightness, LIGHTNESS, row) for row in np.eye(k)], axis=-1)
    at_one = ErrorModel(LIGHTNESS, np.zeros((k, 3)), np.zeros((k, 3)), np.eye(3)[:2], np.eye(3), FREEDOM)
    tint = at_one.at(place, lightness)[1][:, :2]
    small = np.concatenate(
        [
            np.zeros(3 * k),
            np.tile(3 / np.array([0.1, 0.01, 0.03]) ** 2, k),
            np.full(6, 5.0),
            np.full(3 * DOUBTS, 10.0),
        ]
    )

    def alone(x: np.ndarray) -> tuple[float, np.ndarray]:
        model, widen = _model(x)
        log_sd = by_lightness @ model.log_sd + tint @ model.by_tint + doubts @ widen
        cost, pull, wider = _unlikely(off - by_lightness @ model.shift, log_sd, model.correlation)
        bend, step = np.diff(model.log_sd, 2, axis=0), np.diff(model.shift, axis=0) / [0.1, 0.01, 0.02]
        cost += 3 * (bend**2).sum() + 2 * (step**2).sum() + (small * x[:-3] ** 2).sum()
        slope = np.concatenate(
            [
                (by_lightness.T @ wider + 6 * np.diff(np.eye(k), 2, axis=0).T @ bend).ravel(),
                (
                    -by_lightness.T @ pull + 4 * np.diff(np.eye(k), axis=0).T @ (step / [0.1, 0.01, 0.02])
                ).ravel(),
                (tint.T @ wider).ravel(),
                (doubts.T @ wider).ravel(),
            ]
        )
        return cost, slope + 2 * small * x[:-3]

    def cost(x: np.ndarray) -> tuple[float, np.ndarray]:
        here, slope = alone(x)
        steps = 1e-5 * np.eye(len(x))[-3:]
        return here, np.r_[slope, [(alone(x + s)[0] - alone(x - s)[0]) / 2e-5 for s in steps]]

    if start is None:
        start = np.zeros(6 * k + 6 + 3 * DOUBTS + 3)
        start[: 3 * k] = np.tile(np.log([0.2, 0.01, 0.03]), k)
    free, no_less = (None, None), (0.0, None)  # a doubt about the card never makes a colour surer
    bounds = [*[free] * (6 * k + 6), *[no_less] * 6, *[free] * 15, *[no_less] * 9, *[free] * 3]
    return minimize(cost, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 400}).x


def _fit_turned(zones: list[Zone], known: np.ndarray, model: ErrorModel, light: LightModel) -> np.ndarray:
    pairs = pairs_of(zones)
    off = np.array([z.off for z in pairs])
    true = np.array([z.true_lab for z in pairs])
    place = scale_and_tint(ratio_from_lab(true))
    centre, log_sd = model.at(place, true[:, 0])
    log_sd = log_sd + np.array([z.spread_terms for z in pairs]) @ light.widen
    both = np.array(_turned(zones))
    shift = _shifted((known[both[:, 0]] + known[both[:, 1]]) / 2, shifted_by(true[:, 0]).T)
    apart = np.array([[1.0, min(z.apart or 0.0, 1.2)] for z in pairs])

    def cost(y: np.ndarray) -> float:
        mean = centre - place + y[8] * shift
        mean[:, 0] -= y[6] + y[7] * apart[:, 1] ** 2
        small = 5 * (y[3:6] ** 2).sum() + 20 * y[6] ** 2 + 50 * y[7] ** 2 + 5 * (y[8] - 1) ** 2
        unlikely = _unlikely(off - mean, log_sd + apart @ y[:6].reshape(2, 3), model.correlation)[0]
        return unlikely + float(small)

    return minimize(cost, np.r_[np.zeros(8), 1.0], method="L-BFGS-B").x


def estimate(zone: Zone, models: Models, telling: Telling, ladder: Ladder) -> dict[str, Any]:
    """Return what a reading would say of a zone, by these models."""
    model, light = models
    shift, widen = light.shift_of(zone.shift_terms), zone.spread_terms @ light.widen
    if zone.apart is not None and zone.other_terms is not None:
        shifts, scales = np.array([shift, light.shift_of(zone.other_terms)]), np.array([0.0, zone.apart])
        shift, widen = light.several(shifts, np.array([widen, widen]), scales, turned=True)
    found = posterior(AsLit(zone.ratio, shift, widen), ladder, model=model)
    told = tell(found, ladder, turned=zone.apart is not None, signs=zone.signs, telling=telling)
    return {
        "lab": told.lab,
        "sd": told.sd,
        "together": told.together,
        "level": told.level,
        "level_sd": told.level_sd,
        "dye": found.dye_probability,
        "zone_correlation": telling.zone_correlation
        if zone.apart is None
        else telling.turned_zone_correlation,
    }


def crossed(zones: list[Zone], telling: Telling, ladder: Ladder) -> Rows:
    """Return every zone and pair with what is said of it by models that have not seen its place."""
    rows = []
    for fold in range(FOLDS):
        models = fit([z for z in zones if z.place % FOLDS != fold])
        out = [z for z in zones if z.place % FOLDS == fold]
        rows += [(z, estimate(z, models, telling, ladder)) for z in (*out, *pairs_of(out))]
    return rows


def families_left_out(zones: list[Zone], telling: Telling, ladder: Ladder) -> dict[str, Rows]:
    """Return, by family, its zones and pairs with what is said of them by models that have not seen it."""
    found = {}
    for family in FAMILIES:
        for value in sorted({z.families[family] for z in zones}):
            models = fit([z for z in zones if z.families[family] != value])
            out = [z for z in zones if z.families[family] == value]
            found[f"{family}: {value}"] = [
                (z, estimate(z, models, telling, ladder)) for z in (*out, *pairs_of(out))
            ]
    return found


def fit_telling(rows: Rows, families: dict[str, Rows], ladder: Ladder) -> Telling:
    """Return what makes the intervals hold, from rows of `crossed` and `families_left_out` made with `PLAIN`.

    L*, a* and b* singly and together hold 95 % on places left out. Levels and their differences hold `HOLDS` in
    every family left out: for that an error of L* is added that grows with the light's fall and the zones' range, the
    one that leaves the narrowest intervals in the middle, and zones are taken to err less alike.
    """
    alike: list[float] = []
    unseen: list[np.ndarray] = []
    for turned in (False, True):
        parts = [[(z, r) for z, r in every if (z.apart is not None) == turned] for every in families.values()]
        parts = [part for part in parts if len(part) >= LEAST_ZONES]
        undyed = [_misses([row for row in part if not row[0].dyed], ladder) for part in parts]
        own = _misses([row for row in rows if (row[0].apart is not None) == turned], ladder)
        enough = [
            (float(np.median(_wide(own, c))), c)
            for c in map(np.array, product(*UNSEEN_TRIED))
            if all((m[:, 0] <= 1.96 * _wide(m, c)).mean() >= HOLDS for m in undyed)
        ]
        unseen.append(min(enough, key=lambda one: one[0])[1])
        for sides in ((("root", "mids"), ("mids", "ends")), (("root", "ends"),)):
            alike.append(_correlation([_sides(part, sides, unseen[-1], ladder) for part in parts]))
    sd = np.array([r["sd"] for _, r in rows])
    sd[:, 0] = np.hypot(sd[:, 0], [zone.signs @ unseen[zone.apart is not None] for zone, _ in rows])
    error = np.array([row["lab"] - zone.true_lab for zone, row in rows]) / sd
    growth = np.maximum(np.quantile(np.abs(error), 0.95, axis=0) / 1.96, 1.0)
    together = float(np.quantile(np.abs(error / growth).max(1), 0.95))
    alone, both = (
        np.median(
            [
                np.hypot(r["level_sd"], z.signs @ unseen[a] * float(ladder.level_sd(r["lab"], np.eye(3))))
                for z, r in rows
                if (z.apart is not None) == a
            ]
        )
        for a in (False, True)
    )
    share = float(min(both / alone, 1.0))
    return Telling(growth, together, (alike[0], alike[1]), (alike[2], alike[3]), share, np.array(unseen))


def _misses(rows: Rows, ladder: Ladder) -> np.ndarray:
    """Return (N, 6): by how much the level is off, its sd, levels per unit of L*, and the zone's signs."""
    return np.array(
        [
            (
                abs(row["level"] - float(ladder.level_of(zone.true_lab))),
                row["level_sd"],
                float(ladder.level_sd(row["lab"], np.eye(3))),
                *zone.signs,
            )
            for zone, row in rows
        ]
    )


def _wide(misses: np.ndarray, unseen: np.ndarray) -> np.ndarray:
    """Return the level's sd (N,) of `_misses` with an unseen error of L*."""
    return np.hypot(misses[:, 1], misses[:, 3:] @ unseen * misses[:, 2])


def _sides(rows: Rows, sides: tuple[tuple[str, str], ...], unseen: np.ndarray, ladder: Ladder) -> np.ndarray:
    """Return (N, 2, 2): of two zones of a strand, the level's error and its sd."""
    strands: dict[str, dict[str, tuple[float, float]]] = {}
    for zone, row in rows:
        miss = row["level"] - float(ladder.level_of(zone.true_lab))
        added = zone.signs @ unseen * float(ladder.level_sd(row["lab"], np.eye(3)))
        sd = np.hypot(row["level_sd"], added)
        strands.setdefault(zone.photo, {})[zone.name] = (miss, float(sd))
    return np.array([[s[a], s[b]] for s in strands.values() if len(s) == 3 for a, b in sides])


def _correlation(families: list[np.ndarray]) -> float:
    """Return the correlation with which intervals of differences hold in each family of `_sides`."""
    tried = np.linspace(0.0, 0.98, 99)
    held = np.ones(len(tried))
    for pairs in families:
        miss = np.abs(pairs[:, 0, 0] - pairs[:, 1, 0])
        a, b = pairs[:, 0, 1], pairs[:, 1, 1]
        own = [(miss <= 1.96 * np.sqrt(a**2 + b**2 - 2 * r * a * b)).mean() for r in tried]
        held = np.minimum(held, own)
    return float(tried[held >= HOLDS].max(initial=0.0))


def main(folders: list[str]) -> None:
    zones, _ = measure(folders)
    ladder = load_ladder()
    places, families = crossed(zones, PLAIN, ladder), families_left_out(zones, PLAIN, ladder)
    telling = fit_telling(places, families, ladder)
    model, light = fit(zones)
    write(model, light, telling, len(zones))


def write(model: ErrorModel, light: LightModel, telling: Telling, count: int) -> None:
    def row(values: np.ndarray) -> str:
        return "[" + ", ".join(f"{v:.4g}" for v in values) + "]"

    def three(name: str, values: np.ndarray) -> list[str]:
        return [f"{name}_{c} = {row(values[:, i])}" for i, c in enumerate(("scale", "x", "z"))]

    c = model.correlation
    lines = [
        "# How the colour of hair as lit scatters about its diffuse colour, as scale (ln Y) and tint (x, z).",
        "# Made by calibration/fit_as_lit.py from path-traced photographs of strands with known colour; ours.",
        f"# Fitted to {count} zones. The terms are those of strandgauge.strand.direction.",
        "",
        'schema = "strandgauge.as-lit/1"',
        "",
        "[error]            # by the diffuse colour's L*; spreads are natural logarithms",
        f"lightness = {row(model.lightness)}",
        *three("log_sd", model.log_sd),
        *three("shift", model.shift),
        *three("by_tint", model.by_tint),
        f"correlation = {row(np.array([c[0, 1], c[0, 2], c[1, 2]]))}   # scale-x, scale-z, x-z",
        f"freedom = {model.freedom:g}        # of the t distribution",
        "",
        "[clues]            # per term: what is usual, what it shifts; what doubts add to log spreads",
        f"usual = {row(light.usual)}",
        f"spread = {row(light.spread)}",
        "units = [",
        *(f"    {row(unit)[1:-1]}," for unit in light.units.T),
        "]",
        *(f"shift_{name} = {row(light.shift[:, i])}" for i, name in enumerate(SHIFTED)),
        *three("widen", light.widen),
        "",
        "[turned]           # the mean of shots with the card turned; a constant, and by how far they lie apart",
        *three("widen", light.turned_widen),
        f"shift = {row(light.turned_shift)}",
        f"clues = {light.turned_clues:.4g}",
        "",
        "[again]            # the mean of shots under the same light; own judgement",
        f"widen = {row(light.again_widen)}",
        "",
        "[told]             # what makes the told intervals hold 95 %, from places and families left out of the fit",
        f"sd_growth = {row(telling.sd_growth)}",
        f"together = {telling.together:.4g}",
        f"zone_correlation = {row(np.array(telling.zone_correlation))}",
        f"turned_zone_correlation = {row(np.array(telling.turned_zone_correlation))}",
        f"turned_share = {telling.turned_share:.3g}",
        "# of L*, by hair, light and camera not fitted to: a constant, per fall of light, per range of zones",
        f"unseen = {row(telling.unseen[0])}",
        f"turned_unseen = {row(telling.unseen[1])}",
        "",
    ]
    (HERE / "as-lit.toml").write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
