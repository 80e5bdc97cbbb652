"""A phone-like camera: exposure, noise, white balance, colour matrix, tone, sharpening, JPEG.

No particular maker's processing is imitated; the steps are those every such camera has.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .spectra import GRID, camera_sensitivity, illuminant, observer

Array = NDArray[Any]

XYZ_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
XYZ_TO_P3 = np.array([[2.4935, -0.9314, -0.4027], [-0.8295, 1.7627, 0.0236], [0.0358, -0.0762, 0.9569]])


@dataclass(frozen=True, slots=True)
class Camera:
    """One camera's settings for one picture."""

    sensor: int = 0
    balance: str = "auto"  # auto, partial (leaves some of the cast) or daylight (left at daylight)
    balance_error: tuple[float, float] = (0.0, 0.0)  # log error of red and blue in the balanced picture
    exposure: float = 0.78  # where the card's white lands, linear, 1 being clipped
    saturation: float = 1.05
    contrast: float = 0.2
    lifted_blacks: float = 0.0
    gamma: float = 1.0
    channel_gamma: tuple[float, float, float] = (1.0, 1.0, 1.0)
    shoulder: float = 0.0
    flare: float = 0.01
    vignette: float = 0.06
    blur: float = 0.5
    noise: float = 0.008
    sharpen: float = 0.5
    quality: int = 90
    matrix_error: float = 0.01
    seed: int = 0
    wide_gamut: bool = False
    local_tone: float = 0.0  # how far large bright and dark areas are drawn together, 0 to about 0.3
    local_size: float = 0.06  # the size of such areas as a share of the picture's width


def colour_matrix(sensor: int, light: Array, camera: Camera) -> Array:
    """Return 3x3 from balanced camera channels to linear output RGB, white kept, fitted on smooth
    reflectances."""
    rng = np.random.default_rng(77)
    s = camera_sensitivity(sensor)
    t = (GRID - 550) / 150
    curves = rng.normal(size=(400, 7)) @ np.stack(
        [np.cos(k * np.pi * (t + 1) / 2) / (1 + 0.5 * k) for k in range(7)]
    )
    reflectance = 1 / (1 + np.exp(-1.3 * curves - rng.normal(-0.3, 0.8, (400, 1))))
    seen = (reflectance * light) @ s / (light @ s)
    d65 = illuminant("D65")
    xyz = (reflectance * d65) @ observer() / (d65 @ observer()[:, 1])
    wanted = xyz @ (XYZ_TO_P3 if camera.wide_gamut else XYZ_TO_SRGB).T
    white = np.ones((1, 3))
    weight = 100.0
    a, b = np.vstack([seen, weight * white]), np.vstack([wanted, weight * white])
    ridge = 0.5 * np.eye(3)  # a tame matrix: strongly overlapping channels would else blow up noise and casts
    m = np.linalg.solve(a.T @ a + ridge, a.T @ b + ridge @ np.eye(3)).T
    m = m + camera.matrix_error * np.random.default_rng(camera.seed + 5).normal(size=(3, 3))
    grey = np.full((3, 3), 1 / 3)
    m = (camera.saturation * np.eye(3) + (1 - camera.saturation) * grey) @ m
    return np.asarray(m / m.sum(1, keepdims=True))


def _curve(x: Array, camera: Camera) -> Array:
    y = np.where(x > 0.0031308, 1.055 * np.maximum(x, 1e-9) ** (1 / 2.4) - 0.055, 12.92 * x)
    y = np.clip(y, 0, 1) ** camera.gamma
    y = y + camera.contrast * ((3 * y**2 - 2 * y**3) - y)
    y = y - camera.shoulder * 0.5 * y**4 + camera.shoulder * 0.25 * y  # rolls the highlights off
    y = y ** np.array(camera.channel_gamma)
    return np.asarray(camera.lifted_blacks + (1 - camera.lifted_blacks) * np.clip(y, 0, 1))


def _local_tone(linear: Array, camera: Camera) -> Array:
    """Brighten large dark areas and darken large bright ones, as phones do; hue and fine detail stay."""
    h, w = linear.shape[:2]
    luminance = np.log(np.maximum(linear @ np.array([0.2126, 0.7152, 0.0722], np.float32), 0.01))
    small = cv2.resize(luminance.astype(np.float32), (w // 4, h // 4), interpolation=cv2.INTER_AREA)
    base = cv2.resize(cv2.GaussianBlur(small, (0, 0), camera.local_size * w / 4), (w, h))
    gain = np.exp(np.clip(-camera.local_tone * (base - np.log(0.35)), -0.5, 0.7))
    return np.asarray(np.clip(linear * gain[..., None], 0, 1))


def develop(picture: Array, light: Array, camera: Camera, white: float) -> Array:
    """Turn linear camera channels (H, W, 3) into an 8 bit RGB picture.

    ``light`` (61,) is the mean spectrum on the card, which the white balance aims at; ``white`` is the
    level of
    the card's white in ``picture``.
    """
    rng = np.random.default_rng(camera.seed)
    s = camera_sensitivity(camera.sensor)
    d65 = illuminant("D65") @ s
    raw = picture.astype(np.float32)
    h, w = raw.shape[:2]
    if camera.blur > 0:
        raw = cv2.GaussianBlur(raw, (0, 0), camera.blur)
    if camera.vignette:
        ys, xs = np.mgrid[0:h, 0:w].astype(np.float32)
        far = ((xs - w / 2) ** 2 + (ys - h / 2) ** 2) / (w**2 / 4 + h**2 / 4)
        raw *= (1 - camera.vignette * far)[..., None]
    if camera.flare:
        small = cv2.resize(raw, (w // 8, h // 8), interpolation=cv2.INTER_AREA)
        wide = cv2.resize(cv2.GaussianBlur(small, (0, 0), w / 40), (w, h), interpolation=cv2.INTER_LINEAR)
        raw = raw * (1 - camera.flare) + camera.flare * (0.5 * wide + 0.5 * raw.mean((0, 1)))
    own = (light @ s) / d65
    daylight = (illuminant("D65") @ s) / d65
    aim = {"auto": own, "partial": own**0.72 * daylight**0.28, "daylight": daylight}[camera.balance]
    gains = aim[1] / aim
    level = white * own[1]
    raw = raw * (camera.exposure / level)
    fine = rng.normal(size=raw.shape).astype(np.float32)
    coarse = cv2.GaussianBlur(rng.normal(size=raw.shape).astype(np.float32), (0, 0), 1.2) * 2.4
    raw = raw + camera.noise * np.sqrt(np.maximum(raw, 0) + 0.003) * (0.8 * fine + 0.5 * coarse)
    balanced = np.clip(raw * gains.astype(np.float32), 0, 1)
    # The matrix is chosen for the light the camera believes in.
    believed = light if camera.balance == "auto" else illuminant("D65")
    m = colour_matrix(camera.sensor, believed, camera).astype(np.float32)
    slip = np.exp([camera.balance_error[0], 0.0, camera.balance_error[1]]).astype(np.float32)
    linear = np.clip((balanced @ m.T) * slip, 0, 1)
    if camera.local_tone:
        linear = _local_tone(linear, camera)
    out = _curve(linear, camera).astype(np.float32)
    if camera.sharpen:
        grey = out.mean(2, keepdims=True)
        detail = grey[..., 0] - cv2.GaussianBlur(grey[..., 0], (0, 0), 1.1)
        out = out + camera.sharpen * np.clip(detail, -0.08, 0.08)[..., None]
    return np.asarray(np.clip(out * 255 + 0.5, 0, 255).astype(np.uint8))


def write_jpeg(
    picture: Array, path: Path, quality: int, when: str | None = None, orientation: int = 1
) -> None:
    """Write RGB as JPEG with colour at half size, EXIF time ``when`` ("YYYY:MM:DD HH:MM:SS") and orientation.

    With orientation 3, 6 or 8 the stored pixels are turned so that a viewer that honours it shows
    ``picture``.
    """
    from PIL import Image

    turns = {1: 0, 3: 2, 6: 1, 8: 3}[orientation]
    image = Image.fromarray(np.ascontiguousarray(np.rot90(picture, turns)))
    exif = Image.Exif()
    exif[0x0112] = orientation
    if when:
        exif[0x0132] = when
        exif.get_ifd(0x8769)[0x9003] = when
        exif.get_ifd(0x8769)[0x9004] = when
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=quality, subsampling=2, exif=exif)
    path.write_bytes(buffer.getvalue())


def write_heic(picture: Array, path: Path, quality: int, when: str | None = None) -> None:
    """Write RGB as HEIC with EXIF time ``when``."""
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener()
    exif = Image.Exif()
    if when:
        exif[0x0132] = when
        exif.get_ifd(0x8769)[0x9003] = when
    Image.fromarray(picture).save(path, "HEIF", quality=quality, exif=exif.tobytes())
