"""How a bed of hair fibres returns light, by path tracing: the independent check of the pigment algebra.

A flat bed of parallel, slightly wavy fibres (``hair`` BSDF on B-spline curves) lies under a uniform dome. Since
every fibre holds the same pigment, the reflectance of the bed at a wavelength is a function of one number, the
absorption coefficient of the fibre's inside at that wavelength. So the bed is rendered once for a row of
absorption coefficients, three at a time as the three colour channels; any pigment, lift, dye and mix follows by
looking its spectrum up in that curve. Nothing of strandgauge is used here.

Needs the extra ``render``. ``python sample_images/render/overlays.py`` writes ``fibre-reflectance.json`` beside
the script: about five minutes on two cores.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
from pathlib import Path

import numpy as np

RADIUS = 0.035  # mm
HALF = 5.0  # mm, half the side of the bed; the camera sees the middle only
VIEW = 1.0  # mm, half the side of what the camera sees
LAYERS = 60
ABSORPTIONS = np.concatenate([[0.0], np.geomspace(0.0005, 40.0, 29)])  # per fibre radius
SURFACES = {  # longitudinal and azimuthal roughness: the renderer's default, smoother, rougher
    "usual": (0.3, 0.3),
    "smooth": (0.2, 0.25),
    "rough": (0.4, 0.45),
}


def write_fibres(path: Path, rng: np.random.Generator) -> None:
    """Write the bed as B-spline curves: x along the fibre, z up, radius in the fourth column."""
    across = int(2 * HALF / (2 * RADIUS))
    blocks = []
    for layer in range(LAYERS):
        for y in np.linspace(-HALF, HALF, across) + rng.uniform(-RADIUS, RADIUS):
            x = np.linspace(-HALF, HALF, 14)
            wave = 0.06 * np.sin(x * rng.uniform(0.8, 1.6) + rng.uniform(0, 6.28))
            lift = 0.04 * np.sin(x * rng.uniform(0.8, 1.6) + rng.uniform(0, 6.28))
            ys = y + rng.normal(0, RADIUS / 2) + wave
            zs = layer * 1.9 * RADIUS + rng.normal(0, RADIUS / 2) + lift
            blocks.append(np.column_stack([x, ys, zs, np.full_like(x, RADIUS)]))
    far = (
        np.linspace(0.0, 0.1, 6) + 500.0
    )  # the renderer reads past the last curve: let that one lie out of sight
    blocks.append(np.column_stack([far, far, far - 1000.0, np.full_like(far, 1e-3)]))
    path.write_text("\n\n".join("\n".join(" ".join(f"{v:.5f}" for v in p) for p in b) for b in blocks) + "\n")


def render_curve(surface: tuple[float, float], samples: int, depth: int) -> list[float]:
    """Return the reflectance of the bed, perfect white = 1, for each of ``ABSORPTIONS``."""
    import mitsuba as mi

    if mi.variant() is None:
        mi.set_variant("llvm_ad_rgb" if "DRJIT_LIBLLVM_PATH" in os.environ else "scalar_rgb")
    long_rough, azim_rough = surface
    values: list[float] = []
    with tempfile.TemporaryDirectory() as folder:
        fibres = Path(folder) / "bed.txt"
        write_fibres(fibres, np.random.default_rng(7))
        for start in range(0, len(ABSORPTIONS), 3):
            sigma = [float(v) for v in ABSORPTIONS[start : start + 3]]
            view = mi.ScalarTransform4f
            scene = mi.load_dict(
                {
                    "type": "scene",
                    "integrator": {"type": "path", "max_depth": depth, "rr_depth": 64},
                    "dome": {"type": "constant", "radiance": {"type": "rgb", "value": [1.0, 1.0, 1.0]}},
                    "camera": {
                        "type": "orthographic",
                        "to_world": view().look_at([0, 0, 30], [0, 0, 0], [0, 1, 0])
                        @ view().scale([VIEW, VIEW, 1]),
                        "film": {
                            "type": "hdrfilm",
                            "width": 64,
                            "height": 64,
                            "rfilter": {"type": "box"},
                            "pixel_format": "rgb",
                        },
                        "sampler": {"type": "independent", "sample_count": samples},
                    },
                    "hair": {
                        "type": "bsplinecurve",
                        "filename": str(fibres),
                        "bsdf": {
                            "type": "hair",
                            "sigma_a": {"type": "rgb", "value": sigma},
                            "longitudinal_roughness": long_rough,
                            "azimuthal_roughness": azim_rough,
                        },
                    },
                    "table": {
                        "type": "rectangle",
                        "to_world": view().translate([0, 0, -0.3]) @ view().scale([20, 20, 1]),
                        "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": [0.85] * 3}},
                    },
                }
            )
            image = np.asarray(mi.render(scene, spp=samples, seed=start))
            values += [float(v) for v in image.reshape(-1, 3).mean(axis=0)]
            print(surface, dict(zip(sigma, values[-3:], strict=True)), flush=True)
    return values


def main() -> None:
    """Render the curves and write them."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--samples", type=int, default=96)
    parser.add_argument("--depth", type=int, default=500)
    parser.add_argument("--surface", choices=list(SURFACES), action="append")
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name("fibre-reflectance.json"))
    options = parser.parse_args()
    curves = {
        name: render_curve(SURFACES[name], options.samples, options.depth)
        for name in options.surface or list(SURFACES)
    }
    content = {
        "about": "Reflectance of a bed of hair fibres under a uniform dome against the absorption per fibre radius",
        "samples_per_pixel": options.samples,
        "absorption": [round(float(v), 6) for v in ABSORPTIONS],
        "reflectance": {name: [round(v, 6) for v in curve] for name, curve in curves.items()},
    }
    options.out.write_text(json.dumps(content, indent=1) + "\n")


if __name__ == "__main__":
    main()
