"""Invented records of a batch, with strips painted in the colour that they stand for."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache

import cv2
import numpy as np
from curves import LADDER

from readings import reading
from strandgauge.colour.cielab import chroma, hue_deg
from strandgauge.colour.srgb import hex_colour, srgb_from_lab
from strandgauge.errors import Told
from strandgauge.hair.warmth import undertone
from strandgauge.judge.outlook import VERDICTS
from strandgauge.reading.model import Reading
from strandgauge.sheet.record import Record, WantedShade

START = datetime(2026, 3, 2, 9, 0)
TARGET = "pastel pink"
TARGET_LAB = (80.0, 12.0, 4.0)


def lab_at(level: float) -> tuple[float, float, float]:
    lightness, a, b = (float(v) for v in LADDER.lab_at(level))
    return lightness, a, b


def strand(level: float, spread: float = 0.2, photo: str = "strand.jpg") -> Reading:
    """Return a reading of one level, root darker and ends lighter by half the spread."""
    made = reading(levels=(level - spread / 2, level, level + spread / 2), photo=photo)
    lab = lab_at(level)
    zones = tuple(
        replace(
            zone,
            lab=lab_at(zone.level),
            chroma=float(chroma(lab_at(zone.level))),
            hue_deg=float(hue_deg(lab_at(zone.level))),
            undertone=undertone(lab_at(zone.level)),
        )
        for zone in (replace(made.overall, level=level), *made.zones)
    )
    assert zones[0].lab == lab
    return replace(made, overall=zones[0], zones=zones[1:])


@cache
def strip(level: float, width: int = 240) -> bytes:
    """Return a small JPEG: a field of the level's colour on white paper."""
    picture = np.full((width // 3, width, 3), 245, np.uint8)
    rgb = np.round(255 * srgb_from_lab(lab_at(level))).astype(np.uint8)
    picture[width // 12 : width // 4, width // 12 : -width // 12] = rgb[::-1]
    done, encoded = cv2.imencode(".jpg", picture)
    assert done
    return encoded.tobytes()


def read(file: str, level: float, spread: float = 0.2, **changes) -> Record:
    """Return a photo that was read, with pastel pink wanted; the darker, the worse its verdict."""
    verdict = VERDICTS[min(3, int(10.0 - level))]
    becomes = lab_at(level)
    values = {
        "file": file,
        "digest": "0" * 64,
        "reading": strand(level, spread, file.rsplit("/", 1)[-1]),
        "refusal": None,
        "wanted": WantedShade(
            TARGET,
            hex_colour(TARGET_LAB),
            hex_colour(((becomes[0] + 80) / 2, becomes[1] + 5, becomes[2] / 2)),
            verdict,
            {"true": "reads true", "turns": "turns coral"}.get(verdict, verdict),
            9.0,
        ),
        "client": None,
        "group": None,
        "taken": None,
        "strip": strip(round(level)),
    }
    return Record(**(values | changes))


def refused(file: str, **changes) -> Record:
    values = {
        "file": file,
        "digest": "0" * 64,
        "reading": None,
        "refusal": Told(
            "glare", "10 patches are veiled by a reflection.", "Tilt the card until no shine lies on it."
        ),
        "wanted": None,
        "client": None,
        "group": None,
        "taken": None,
        "strip": None,
    }
    return Record(**(values | changes))


def folder(count: int):
    """Yield many photos, every twentieth refused, levels and evenness all over the place, names not in order."""
    for i in range(count):
        name = f"day {i % 7}/strand {(i * 7919) % count}.jpg"
        taken = START + timedelta(minutes=(i * 31) % 1000)
        if i % 20 == 19:
            yield refused(name, taken=taken)
        else:
            yield read(name, 4.0 + (i * 37 % 60) / 10.0, (i * 13 % 31) / 10.0, taken=taken)
