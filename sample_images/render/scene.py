"""Light transport: one strand on the card, under several lights apart, as radiance per unit light.

Light adds up, so each light is rendered once; any mixture, lamp spectrum and camera is applied afterwards.
Hair's colour enters only through the absorption of its fibres, and a path's weight falls exponentially with
it, so each light is rendered at nine absorptions (`NODES`) and any other absorption is a weighted sum of
these
(`node_weights`). The card, the table and what stands on it are rendered in flat greys; their colours are
multiplied in afterwards, which is exact for what is seen directly.

Needs the optional renderer (`pip install strandgauge[render]`) and, on some systems, DRJIT_LIBLLVM_PATH.
"""

from __future__ import annotations

import json
import os
import tempfile
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .strand import TINT_GROUPS, StrandShape, grow, write_curves

CARD_SIZE = (148.0, 105.0)
CARD_GREY = 0.87
TABLE_GREY = 0.5
TABLE_Z = -0.12
NODES = np.array([0.0025, 0.009, 0.03, 0.08, 0.2, 0.45, 1.0, 2.5, 7.0])  # absorption per fibre radius

Array = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Pose:
    """Where the camera stands: angles in degrees, lengths in mm, picture size in pixels."""

    width: int = 1000
    height: int = 750
    fill: float = 0.86  # the card's width as a share of the picture's longer side
    tilt: float = 8.0  # from straight above
    towards: float = 270.0  # azimuth of the camera, anticlockwise from the card's right
    roll: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)
    field: float = 62.0  # horizontal field of view


@dataclass(frozen=True, slots=True)
class Lamp:
    """One light; angles in degrees, lengths in mm.

    ``kind``: dome; sky (a dome that is brighter towards ``azimuth``); lamp (a disc); panel (a large rectangle,
    a window); wall (a large upright rectangle close by); ceiling (a large rectangle overhead).
    """

    name: str
    kind: str = "dome"
    azimuth: float = 0.0
    elevation: float = 35.0
    distance: float = 800.0
    size: float = 100.0


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything that decides the geometry of one picture."""

    shape: StrandShape
    pose: Pose
    lamps: tuple[Lamp, ...]
    clutter: int = 1
    fibre_index: float = 1.55  # relative to what surrounds the fibre: about 1.17 in a film of water
    no_strand: bool = False
    roughness_along: float = 0.3
    roughness_around: float = 0.3
    cuticle_tilt: float = 2.5  # degrees


def _basis(absorption: Array) -> Array:
    s = np.asarray(absorption, float)[:, None]
    bulk = np.linspace(1.5, 10, 18)[None]
    single = np.geomspace(0.3, 60, 16)[None]
    return np.concatenate(
        [np.exp(-bulk * np.sqrt(s)), np.exp(-single * s), 1 / (1 + single * s), np.ones((len(s), 1))], axis=1
    )


def node_weights(absorption: Array) -> Array:
    """Return (9, n) weights by which the nine rendered absorptions give the picture at ``absorption`` (n,).

    They reproduce, in least squares, single paths (exp -d s), mixtures of them and the diffuse mass's
    exp(-D sqrt s) (Chiang et al. 2016).
    """
    a, b = _basis(NODES).T, _basis(np.clip(absorption, NODES[0] * 0.5, 12.0)).T
    return np.asarray(np.linalg.solve(a.T @ a + 1e-5 * np.eye(len(NODES)), a.T @ b))


def _mitsuba() -> Any:
    default = "/usr/lib/x86_64-linux-gnu/libLLVM.so.19.1"
    if Path(default).exists():
        os.environ.setdefault("DRJIT_LIBLLVM_PATH", default)
    import mitsuba as mi

    if mi.variant() is None:
        import drjit as dr

        cuda = dr.has_backend(dr.JitBackend.CUDA)
        mi.set_variant("cuda_ad_rgb" if cuda else "llvm_ad_rgb")
        mi.set_log_level(mi.LogLevel.Error)
    return mi


def _direction(azimuth: float, elevation: float) -> Array:
    a, e = np.radians([azimuth, elevation])
    return np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])


def _camera_frame(pose: Pose, distance: float) -> tuple[Array, Array, Array]:
    """Return (origin, target, up) of the camera in world mm."""
    target = np.array([74.0 + pose.shift[0], -52.5 + pose.shift[1], 0.0])
    origin = target + distance * _direction(pose.towards, 90 - pose.tilt)
    roll = np.radians(pose.roll)
    return origin, target, np.array([np.sin(roll), np.cos(roll), 0.0])


def _projection(pose: Pose, frame: tuple[Array, Array, Array]) -> Array:
    """Return the 3x3 homography from card mm (x right, y down) to pixels (centre of the first is 0.5)."""
    origin, target, up = frame
    ahead = (target - origin) / np.linalg.norm(target - origin)
    right = np.cross(ahead, up)
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    focal = pose.width / 2 / np.tan(np.radians(pose.field) / 2)
    intrinsic = np.array([[focal, 0, pose.width / 2], [0, focal, pose.height / 2], [0, 0, 1]])
    rotation = np.stack([right, down, ahead])
    card = np.array([[1, 0, 0], [0, -1, 0], [0, 0, 0]], float)  # card mm to world, the plane Z = 0
    plane = rotation @ (card + np.array([[0, 0, -origin[0]], [0, 0, -origin[1]], [0, 0, -origin[2]]]))
    homography = intrinsic @ plane
    return homography / homography[2, 2]


def project(homography: Array, points: Array) -> Array:
    """Map (n, 2) points through a homography."""
    h = np.c_[points, np.ones(len(points))] @ homography.T
    return np.asarray(h[:, :2] / h[:, 2:])


CORNERS = np.array([[0, 0], [148, 0], [148, 105], [0, 105]], float)


def place_camera(pose: Pose, keep_inside: bool = True) -> tuple[tuple[Array, Array, Array], Array]:
    """Return the camera frame and homography; steps back until the whole card is in the picture."""
    distance = 148.0 / (2 * pose.fill * np.tan(np.radians(pose.field) / 2))
    for _ in range(60):
        frame = _camera_frame(pose, distance)
        homography = _projection(pose, frame)
        corners = project(homography, CORNERS)
        margin = 0.012 * pose.width
        inside = (corners > margin).all() and (corners < np.array([pose.width, pose.height]) - margin).all()
        if inside or not keep_inside:
            break
        distance *= 1.02
    return frame, homography


def _emitter(mi: Any, lamp: Lamp) -> dict[str, Any]:
    if lamp.kind == "dome":
        return {"type": "constant", "radiance": {"type": "rgb", "value": 1.0}}
    if lamp.kind == "sky":
        return _sky(mi, lamp)
    centre = np.array([74.0, -52.5, 0.0])
    if lamp.kind in ("wall", "ceiling"):
        return _surface(mi, lamp, centre)
    origin = centre + lamp.distance * _direction(lamp.azimuth, lamp.elevation)
    look = mi.ScalarTransform4f().look_at(origin.tolist(), centre.tolist(), [0.0, 0.0, 1.0])
    area = np.pi * lamp.size**2 if lamp.kind == "lamp" else 4 * lamp.size**2 * 0.6
    radiance = np.pi * lamp.distance**2 / (area * np.sin(np.radians(lamp.elevation)))
    scale = [lamp.size, lamp.size, 1.0] if lamp.kind == "lamp" else [lamp.size, 0.6 * lamp.size, 1.0]
    return {
        "type": "disk" if lamp.kind == "lamp" else "rectangle",
        "to_world": look @ mi.ScalarTransform4f().scale(scale),
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": float(radiance)}},
    }


def _sky(mi: Any, lamp: Lamp) -> dict[str, Any]:
    """Return a dome whose brightness rises smoothly towards one azimuth; ``size`` is how sharply (1 to 6)."""
    height, width = 64, 128
    polar = np.pi * (np.arange(height) + 0.5) / height
    azimuth = 2 * np.pi * (np.arange(width) + 0.5) / width
    ahead = _direction(lamp.azimuth, lamp.elevation)
    up = np.cos(polar)[:, None] + 0 * azimuth
    flat = np.sin(polar)[:, None]
    # The map's middle column looks along +X once its pole is turned from +Y to +Z.
    along = flat * np.sin(azimuth), -flat * np.cos(azimuth)
    cosine = along[0] * ahead[0] + along[1] * ahead[1] + up * ahead[2]
    picture = ((1 + cosine) / 2) ** lamp.size + 0.02
    image = np.repeat(picture[..., None], 3, axis=2).astype(np.float32)
    turn = mi.ScalarTransform4f().rotate([1, 0, 0], 90)
    return {"type": "envmap", "bitmap": mi.Bitmap(image), "to_world": turn}


def _surface(mi: Any, lamp: Lamp, centre: Array) -> dict[str, Any]:
    """Return a lit wall beside the card, or a lit ceiling above it, as a source of its own."""
    T = mi.ScalarTransform4f
    if lamp.kind == "ceiling":
        origin, target = centre + np.array([0.0, 0.0, lamp.distance]), centre
        scale = [lamp.size, 0.7 * lamp.size, 1.0]
    else:
        out = _direction(lamp.azimuth, 0.0)
        origin = centre + lamp.distance * out + np.array([0, 0, lamp.size])
        target = origin - out
        scale = [1.5 * lamp.size, lamp.size, 1.0]
    up = [0.0, 1.0, 0.0] if lamp.kind == "ceiling" else [0.0, 0.0, 1.0]
    look = T().look_at(origin.tolist(), np.asarray(target).tolist(), up)
    return {
        "type": "rectangle",
        "to_world": look @ T().scale(scale),
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": 1.0}},
    }


def _clutter(mi: Any, seed: int) -> dict[str, Any]:
    """Return a few plain things lying about the card: bowls, clips, a brush handle, a comb."""
    rng = np.random.default_rng(seed)
    T = mi.ScalarTransform4f
    things: dict[str, Any] = {}
    finishes = (
        {"type": "roughplastic", "diffuse_reflectance": {"type": "rgb", "value": 0.03}, "alpha": 0.15},
        {"type": "roughplastic", "diffuse_reflectance": {"type": "rgb", "value": 0.55}, "alpha": 0.2},
        {"type": "roughconductor", "material": "Al", "alpha": 0.25},
        {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.25}},
    )
    for i in range(int(rng.integers(3, 7))):
        a = rng.uniform(0, 2 * np.pi)
        away = rng.uniform(1.22, 1.75)
        x, y = 74 + 92 * away * np.cos(a), -52.5 + 72 * away * np.sin(a)
        finish = finishes[int(rng.integers(len(finishes)))]
        kind = int(rng.integers(0, 4))
        if kind == 0:  # a bowl seen from above: a flat ring of ellipsoid
            things[f"thing{i}"] = {
                "type": "sphere",
                "to_world": T().translate([x, y, -6]).scale(26),
                "bsdf": finish,
            }
        elif kind == 1:  # a handle or a pen
            turn = rng.uniform(-35, 35)
            length = rng.uniform(50, 110)
            along = np.array([np.cos(a + np.pi / 2), np.sin(a + np.pi / 2), 0.0])
            along = np.array(T().rotate([0, 0, 1], turn).matrix)[:3, :3] @ along
            p0, p1 = np.array([x, y, 5]) - along * length / 2, np.array([x, y, 5]) + along * length / 2
            things[f"thing{i}"] = {
                "type": "cylinder",
                "p0": p0.tolist(),
                "p1": p1.tolist(),
                "radius": 4.5,
                "bsdf": finish,
            }
        elif kind == 2:  # a clip
            things[f"thing{i}"] = {
                "type": "cube",
                "to_world": T().translate([x, y, 4]).rotate([0, 0, 1], rng.uniform(0, 180)).scale([24, 4, 4]),
                "bsdf": finish,
            }
        else:  # a comb: a spine with teeth
            turn = T().translate([x, y, 2]).rotate([0, 0, 1], np.degrees(a) + 90 + rng.uniform(-25, 25))
            things[f"thing{i}"] = {
                "type": "cube",
                "to_world": turn @ T().scale([52, 5, 2]),
                "bsdf": finishes[0],
            }
            for j in range(26):
                things[f"thing{i}t{j}"] = {
                    "type": "cube",
                    "to_world": turn @ T().translate([-50 + 4 * j, 14, 0]) @ T().scale([0.9, 10, 1.2]),
                    "bsdf": finishes[0],
                }
    return things


def _world(mi: Any, scene: Scene, lamp: Lamp, film: dict[str, Any], hair: dict[str, Any], depth: int) -> Any:
    pose = scene.pose
    (origin, target, up), _ = place_camera(pose)
    T = mi.ScalarTransform4f
    world: dict[str, Any] = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": depth, "rr_depth": 8},
        "sensor": {
            "type": "thinlens",
            "aperture_radius": 1.2,
            "focus_distance": float(np.linalg.norm(target - origin)),
            "fov": pose.field,
            "fov_axis": "x",
            "to_world": T().look_at(origin.tolist(), target.tolist(), up.tolist()),
            "film": {"type": "hdrfilm", "pixel_format": "rgb", "component_format": "float32", **film},
            "sampler": {"type": "independent"},
        },
        "table": {
            "type": "rectangle",
            "to_world": T().translate([74, -52.5, TABLE_Z]).scale([700, 700, 1]),
            "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": TABLE_GREY}},
        },
        "card": {
            "type": "rectangle",
            "to_world": T().translate([74, -52.5, 0]).scale([74, 52.5, 1]),
            "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": CARD_GREY}},
        },
        "light": _emitter(mi, lamp),
        **_clutter(mi, scene.clutter),
        **hair,
    }
    return mi.load_dict(world)


def _hair(mi: Any, scene: Scene, folder: Path) -> dict[str, Any]:
    """Return the strand's shapes with grey fibres; the absorption is set later."""
    shapes: dict[str, Any] = {}
    for g, fibres in enumerate(grow(scene.shape)):
        path = folder / f"fibres{g}.txt"
        write_curves(path, fibres, scene.shape.radius)
        shapes[f"hair{g}"] = {
            "type": "bsplinecurve",
            "filename": str(path),
            "bsdf": {
                "type": "hair",
                "id": f"fibre{g}",
                "sigma_a": {"type": "rgb", "value": [1.0 + 0.01 * g] * 3},  # alike ones would be merged
                "int_ior": scene.fibre_index,
                "ext_ior": 1.0,
                "longitudinal_roughness": scene.roughness_along,
                "azimuthal_roughness": scene.roughness_around,
                "scale_tilt": scene.cuticle_tilt,
            },
        }
    if scene.shape.tied:
        x = scene.shape.start + 2.2
        s = scene.shape
        c, w = s.centre - 0.4 * s.bend, 0.36 * s.width * (1 - s.root_narrowing) + 1.0
        shapes["tie"] = {
            "type": "cube",
            "to_world": mi.ScalarTransform4f()
            .translate([x, -c, 0.45 * s.thickness])
            .scale([1.4, w, 0.5 * s.thickness + 0.5]),
            "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.02}},
        }
    return shapes


def _set_absorption(mi: Any, world: Any, values: Array) -> None:
    params = mi.traverse(world)
    names = list(params.keys())
    for g, factor in enumerate(TINT_GROUPS):
        keys = [k for k in names if k.endswith("sigma_a.value") and (f"fibre{g}" in k or f"hair{g}." in k)]
        for key in keys:
            params[key] = mi.Color3f(*[float(v * factor) for v in values])
        if not keys:
            raise RuntimeError(f"no absorption parameter for fibre group {g}: {list(params.keys())}")
    params.update()


def _hits(mi: Any, world: Any, pose: Pose, box: tuple[int, int, int, int], side: int) -> tuple[Array, Array]:
    """Cast side*side rays a pixel: the share that meets hair (h, w) and where, in card mm (h, w, 2)."""
    x0, y0, w, h = box
    ys, xs, sy, sx = np.meshgrid(
        np.arange(h),
        np.arange(w),
        (np.arange(side) + 0.5) / side,
        (np.arange(side) + 0.5) / side,
        indexing="ij",
    )
    u = ((xs + sx + x0) / pose.width).ravel().astype(np.float32)
    v = ((ys + sy + y0) / pose.height).ravel().astype(np.float32)
    (origin, target, up), _ = place_camera(pose)
    sensor = mi.load_dict(
        {
            "type": "perspective",
            "fov": pose.field,
            "fov_axis": "x",
            "to_world": mi.ScalarTransform4f().look_at(origin.tolist(), target.tolist(), up.tolist()),
            "film": {"type": "hdrfilm", "width": pose.width, "height": pose.height},
        }
    )
    ray, _ = sensor.sample_ray(0.0, 0.5, mi.Point2f(mi.Float(u), mi.Float(v)), mi.Point2f(0.5, 0.5))
    hit = world.ray_intersect(ray)
    on_hair = np.zeros(len(u), bool)
    for shape in world.shapes():
        if "Curve" in shape.class_name() or "curve" in str(shape.id()) or str(shape.id()).startswith("hair"):
            on_hair |= np.array(hit.shape == mi.ShapePtr(shape)).astype(bool)
    at = np.stack([np.array(hit.p.x), -np.array(hit.p.y)], axis=-1)
    on_hair = on_hair.reshape(h, w, side * side)
    at = np.where(on_hair[..., None], at.reshape(h, w, side * side, 2), 0)
    share = on_hair.mean(-1)
    where = at.sum(2) / np.maximum(on_hair.sum(-1), 1)[..., None]
    return share.astype(np.float32), where.astype(np.float32)


def _even(values: Array, weight: Array, sx: float, sy: float) -> Array:
    """Blur ``values`` counting only where ``weight`` is."""
    num = cv2.GaussianBlur(values * weight, (0, 0), sigmaX=sx, sigmaY=sy)
    return np.asarray(num / np.maximum(cv2.GaussianBlur(weight, (0, 0), sigmaX=sx, sigmaY=sy), 1e-4))


def _along(picture: Array, angle: float) -> Array:
    """Turn a picture so that the strand lies along its rows; the canvas grows to hold it."""
    h, w = picture.shape[:2]
    side = int(np.ceil(np.hypot(h, w))) + 8
    matrix = cv2.getRotationMatrix2D((w / 2, h / 2), angle, 1.0)
    matrix[:, 2] += np.array([side / 2 - w / 2, side / 2 - h / 2])
    return np.asarray(cv2.warpAffine(picture, matrix, (side, side), flags=cv2.INTER_LINEAR))


def _unturn(picture: Array, angle: float, size: tuple[int, int]) -> Array:
    h, w = size
    side = picture.shape[0]
    matrix = cv2.getRotationMatrix2D((w / 2, h / 2), angle, 1.0)
    matrix[:, 2] += np.array([side / 2 - w / 2, side / 2 - h / 2])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(picture, matrix, (w, h), flags=flags))


def quieten(pictures: Array, share: Array, angle: float, scale: float = 1.0) -> Array:
    """Take the sampling noise out of one light's nine pictures, keeping their local means.

    ``pictures`` (h, w, 9) from pale to dark. The darkest hold glint and shadow and are nearly free of
    noise. What
    paler fibres add is scattered many times, so it varies slowly along the fibres while its noise is
    large: it is
    averaged along them, and its fine texture is borrowed, toned down, from a darker and quieter picture.
    ``angle`` (degrees) is the strand's direction in the picture, ``scale`` pixels per mm over 6.
    """
    size = share.shape
    hair = (share > 0.4).astype(np.float32)
    out = np.empty_like(pictures)
    calm = np.empty_like(pictures)
    for k in range(9):
        p = np.ascontiguousarray(pictures[..., k], np.float32)
        top = 2.2 * cv2.medianBlur(p, 5) + 0.004
        spill = (
            np.clip(p - top, 0, None) * hair
        )  # beside the hair bright specks are dropped, on it spread out
        wide = cv2.GaussianBlur(spill, (0, 0), 12 * scale)
        wide = hair * wide / np.maximum(cv2.GaussianBlur(hair, (0, 0), 12 * scale), 1e-3)
        calm[..., k] = np.minimum(p, top) + wide
    dark = calm[..., 7]
    card = _even(dark, 1 - np.clip(share * 1.5, 0, 0.999), 1.2 * scale, 1.2 * scale)
    free = np.clip(1 - 6 * share, 0, 1)
    dark = dark * (1 - free) + card * free
    turned = _along(hair, angle)

    def smooth(values: Array, sx: float, sy: float) -> Array:
        t = _even(_along(values.astype(np.float32), angle), turned + 1e-4, sx * scale, sy * scale)
        return _unturn(t, angle, size)

    def added(k: int) -> Array:
        return np.asarray(calm[..., k] - calm[..., 7])

    texture = np.clip(smooth(added(4), 3.0, 0.7), 0, None)
    texture = np.clip(texture / np.maximum(smooth(added(4), 12, 3), 1e-4), 0.3, 2.5)
    strength = {0: 0.45, 1: 0.5, 2: 0.6, 3: 0.75, 4: 0.9, 5: 1.0}
    for k in range(9):
        if k == 7:
            out[..., k] = dark
            continue
        body = (
            smooth(added(k), 12, 3) * texture ** strength[k] if k in strength else smooth(added(k), 1.2, 0.5)
        )
        bleed = _even(added(k), 1 - hair + 1e-3, 4 * scale, 4 * scale)
        out[..., k] = dark + share * body + (1 - share) * bleed
    return np.asarray(np.maximum(out, 0))


@dataclass(frozen=True, slots=True)
class Rendered:
    """One scene's light components. ``c`` lights, crop (h, w), whole picture (H, W)."""

    scene: Scene
    homography: Array  # card mm to pixels
    box: tuple[int, int, int, int]  # the crop: x, y, width, height
    strand: (
        Array  # (c, h, w, 9) radiance, not yet quietened, the card's centre without a strand being CARD_GREY
    )
    bare: Array  # (c, H, W) the same without the strand: the light field
    share: Array  # (h, w) share of the pixel that is hair
    where: Array  # (h, w, 2) where that hair is, card mm
    table: Array  # (H, W) share of the pixel that is bare table
    seconds: float

    def save(self, path: Path) -> None:
        """Write as a compressed archive in half precision."""
        np.savez_compressed(
            path,
            meta=json.dumps({"scene": asdict(self.scene), "box": self.box, "seconds": self.seconds}),
            homography=self.homography,
            strand=self.strand.astype(np.float16),
            bare=self.bare.astype(np.float16),
            share=self.share.astype(np.float16),
            where=self.where.astype(np.float32),
            table=self.table.astype(np.float16),
        )

    @staticmethod
    def load(path: Path) -> Rendered:
        """Read what `save` wrote."""
        with np.load(path) as a:
            meta = json.loads(str(a["meta"]))
            s = meta["scene"]
            pose = {**s["pose"], "shift": tuple(s["pose"]["shift"])}
            scene = Scene(
                StrandShape(**s["shape"]),
                Pose(**pose),
                tuple(Lamp(**lamp) for lamp in s["lamps"]),
                s["clutter"],
                s["fibre_index"],
                s["no_strand"],
                s["roughness_along"],
                s["roughness_around"],
                s["cuticle_tilt"],
            )
            f = {k: a[k].astype(np.float32) for k in ("strand", "bare", "share", "where", "table")}
            return Rendered(
                scene,
                a["homography"],
                tuple(meta["box"]),
                f["strand"],
                f["bare"],
                f["share"],
                f["where"],
                f["table"],
                meta["seconds"],
            )


def strand_angle(homography: Array) -> tuple[float, float]:
    """Return the strand's direction in the picture (degrees) and its scale (pixels per mm)."""
    ends = project(homography, np.array([[40.0, 52.5], [108.0, 52.5]]))
    run = ends[1] - ends[0]
    return float(np.degrees(np.arctan2(run[1], run[0]))), float(np.hypot(*run) / 68.0)


def render(scene: Scene, spp: int = 12, only_dome: bool = False, log: Any = None) -> Rendered:
    """Render every light of a scene. ``spp`` is the sample count of the palest pass; darker ones take
    fewer."""
    import time

    began = time.time()
    mi = _mitsuba()
    pose = scene.pose
    _, homography = place_camera(pose)
    s = scene.shape
    first_seed = 1000 * (scene.shape.seed * 2 + scene.clutter % 2) % 2**31
    lo, hi = s.centre - s.width / 2 - 4.5, s.centre + s.width / 2 + 4.5
    around = np.array([[s.start - 2.5, lo], [129.5, lo], [129.5, hi], [s.start - 2.5, hi]])
    corners = project(homography, around)
    x0, y0 = np.maximum(np.floor(corners.min(0)).astype(int), 0)
    x1 = int(min(np.ceil(corners[:, 0].max()), pose.width))
    y1 = int(min(np.ceil(corners[:, 1].max()), pose.height))
    box = (int(x0), int(y0), int(x1 - x0), int(y1 - y0))
    full = {"width": pose.width, "height": pose.height, "rfilter": {"type": "gaussian", "stddev": 0.45}}
    crop = {
        **full,
        "crop_offset_x": box[0],
        "crop_offset_y": box[1],
        "crop_width": box[2],
        "crop_height": box[3],
    }
    half = {**full, "width": pose.width // 3, "height": pose.height // 3}
    lamps = tuple(lamp for lamp in scene.lamps if not only_dome or lamp.kind == "dome")
    strand, bare = [], []
    with tempfile.TemporaryDirectory() as name:
        hair = {} if scene.no_strand else _hair(mi, scene, Path(name))
        if hair:
            world = _world(mi, scene, lamps[0], crop, hair, 128)
            share, where = _hits(mi, world, pose, box, 4)
        else:
            share, where = np.zeros(box[:1:-1], np.float32), np.zeros((*box[:1:-1], 2), np.float32)
        for i, lamp in enumerate(lamps):
            empty = _world(mi, scene, lamp, half, {}, 4)
            plain = np.array(
                mi.render(empty, spp=64 if lamp.kind == "dome" else 32, seed=first_seed + 900 + i)
            )[..., 0]
            plain = np.minimum(plain, 1.5 * cv2.medianBlur(plain, 5) + 0.02)
            plain = cv2.resize(plain, (pose.width, pose.height), interpolation=cv2.INTER_CUBIC)
            inner = project(homography, CORNERS * 0.97 + np.array([74, 52.5]) * 0.03)
            mask = cv2.fillConvexPoly(
                np.zeros(plain.shape, np.float32), np.round(inner).astype(np.int32), 1.0
            )
            centre = float(plain[mask > 0].mean()) / CARD_GREY
            smooth = cv2.GaussianBlur(plain * mask, (0, 0), 9) / np.maximum(
                cv2.GaussianBlur(mask, (0, 0), 9), 1e-3
            )
            blend = cv2.GaussianBlur(cv2.erode(mask, np.ones((9, 9))), (0, 0), 3)
            plain = blend * smooth + (1 - blend) * plain
            bare.append(np.maximum(plain, 0) / centre)
            if not hair:
                strand.append(np.repeat(bare[-1][y0:y1, x0:x1, None], len(NODES), axis=2))
                continue
            world = _world(mi, scene, lamp, crop, hair, 128)
            passes = []
            for p, count in enumerate((spp, max(spp * 2 // 3, 4), max(spp * 2 // 3, 4))):
                _set_absorption(mi, world, NODES[3 * p : 3 * p + 3])
                passes.append(np.array(mi.render(world, spp=count, seed=first_seed + 100 * i + p)))
            raw = np.concatenate(passes, axis=2)
            strand.append(raw / centre)
            if log:
                log(f"{lamp.name}: {time.time() - began:.0f} s")
        table = _table_share(mi, scene, half)
    return Rendered(
        replace(scene, lamps=lamps),
        homography,
        box,
        np.stack(strand),
        np.stack(bare),
        share,
        where,
        table,
        time.time() - began,
    )


def _table_share(mi: Any, scene: Scene, half: dict[str, Any]) -> Array:
    """Share of each pixel that is bare table (not a thing on it); the card is told apart by the
    homography."""
    world = _world(mi, scene, Lamp("dome"), half, {}, 2)
    w, h = scene.pose.width, scene.pose.height
    n = 2
    xs, ys = np.meshgrid((np.arange(w * n) + 0.5) / n, (np.arange(h * n) + 0.5) / n)
    (origin, target, up), _ = place_camera(scene.pose)
    sensor = mi.load_dict(
        {
            "type": "perspective",
            "fov": scene.pose.field,
            "fov_axis": "x",
            "to_world": mi.ScalarTransform4f().look_at(origin.tolist(), target.tolist(), up.tolist()),
            "film": {"type": "hdrfilm", "width": w, "height": h},
        }
    )
    u, v = (xs / w).ravel().astype(np.float32), (ys / h).ravel().astype(np.float32)
    ray, _ = sensor.sample_ray(0.0, 0.5, mi.Point2f(mi.Float(u), mi.Float(v)), mi.Point2f(0.5, 0.5))
    z = np.array(world.ray_intersect(ray).p.z).reshape(h * n, w * n)
    table = cv2.resize((np.abs(z - TABLE_Z) < 0.05).astype(np.float32), (w, h), interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(table, (0, 0), 1.0)
