"""A photo that cannot be trusted is refused, with the right reason; a borderline one is read with a caution."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from strandgauge.reading.pipeline import default_card, open_card
from synthetic import Shot, paint, photograph, srgb_curve


def shade(depth: float):
    return lambda x, y: 1 - (1 - depth) / (1 + np.exp(-(x - 0.2) * 20))


def lamps(strength: float):
    return lambda x, y: np.exp(np.stack([strength * x, 0 * x, -strength * x], axis=-1)) / 1.3


def gleam(picture: np.ndarray, x: int, y: int, radius: float, strength: float) -> np.ndarray:
    """Add a lamp's reflection, white and out of focus, to a photo with the plain sRGB curve."""
    rows, columns = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]]
    added = strength * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / radius**2)
    v = picture / 255
    linear = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4) + added[..., None]
    return (srgb_curve(np.clip(linear, 0, 1)) * 255 + 0.5).astype(np.uint8)


REFUSED = {
    "overexposed": Shot(exposure=1.6),
    "too-dark": Shot(exposure=0.02),
    "blur": Shot(blur_px=5.5),
    "uneven-light": Shot(light=lambda x, y: np.exp(-1.0 * x) / 2.7),
    "mixed-light": Shot(light=lamps(0.25)),
}


@pytest.mark.parametrize("code", REFUSED)
def test_bad_light_is_refused_for_the_right_reason(card, sheet, code):
    problems = problems_of(photograph(sheet, card, REFUSED[code]))
    assert problems[0] == code


def test_shadow_edge_is_uneven_light(card, sheet):
    assert problems_of(photograph(sheet, card, Shot(light=shade(0.25))))[0] == "uneven-light"


@pytest.mark.parametrize("strength", [0.15, 0.4, 0.9])
def test_reflection_is_glare(card, sheet, strength):
    picture = gleam(photograph(sheet, card, Shot(exposure=0.7)), 1000, 800, 150, strength)
    assert problems_of(picture)[0] == "glare"


def test_card_with_its_colours_exchanged_is_a_mismatch(card):
    colours = [p.lab for p in card.patches if np.hypot(p.lab[1], p.lab[2]) > 5]
    turned = iter(colours[7:] + colours[:7])
    patches = tuple(
        replace(p, lab=next(turned)) if np.hypot(p.lab[1], p.lab[2]) > 5 else p for p in card.patches
    )
    assert problems_of(photograph(paint(replace(card, patches=patches)), card, Shot()))[0] == "card-mismatch"


@pytest.mark.parametrize(
    ("shot", "caution"),
    [
        (Shot(exposure=0.13), "dark"),
        (Shot(exposure=1.12), "nearly-overexposed"),
        (Shot(blur_px=4), "soft"),
        (Shot(light=lambda x, y: np.exp(-0.5 * x) / 1.65), "uneven"),
        (Shot(light=lamps(0.1)), "mixed"),
    ],
)
def test_borderline_light_is_read_with_a_caution(card, sheet, shot, caution):
    report = open_card(as_png(photograph(sheet, card, shot)), card).light
    assert report.problems == ()
    assert caution in [c.code for c in report.cautions]


def test_good_light_has_nothing_to_say(card, sheet):
    report = open_card(as_png(photograph(sheet, card, Shot())), card).light
    assert report.problems == ()
    assert report.cautions == ()
    assert report.signs.unevenness < 0.03


def problems_of(picture: np.ndarray) -> list[str]:
    from strandgauge.errors import StrandgaugeError

    try:
        return [problem.code for problem in open_card(as_png(picture), default_card()).light.problems] or [
            "none"
        ]
    except StrandgaugeError as error:
        return [error.code]


def as_png(picture: np.ndarray) -> bytes:
    return cv2.imencode(".png", picture)[1].tobytes()
