"""Fits remainder.toml: what the fit leaves on the card's patches tells of its errors on hair.

``python calibration/fit_remainder.py FOLDER [FOLDER ...] [--photos N] [--jobs N] [--without FAMILY=NAME]`` takes
simulated photographs of the card (`sample_images.render.flat`) of hair as bright as the strands in these folders,
which ``python -m sample_images.render.training`` wrote, fits the card in each as a reading does, and learns from what
is left on the patches how far the colour of the hair is off, and how surely. Needs PyTorch (``pip install torch``);
60 000 photographs take twelve minutes on 64 cores, the network one more on a graphics card. ``--without`` leaves a
family out, as ``sensor=measured 1``, to judge what the network makes of what it has not seen.
"""

from __future__ import annotations

import argparse
import base64
import sys
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from sample_images.render import flat

from strandgauge.card.find import CardView
from strandgauge.card.model import CardDefinition
from strandgauge.card.sample import CLIPPED_HIGH, sample_card
from strandgauge.colour.cielab import chroma, difference_weights, lab_from_xyz
from strandgauge.kit import shipped
from strandgauge.light.correction import NEUTRAL_CHROMA, Correction, fit_correction
from strandgauge.light.remainder import FARTHEST, HAIR_MIDDLE, HAIR_SPREAD, USUAL_ERROR, fit_signs
from strandgauge.light.trust import judge, measure_exposure, measure_light
from strandgauge.strand.zones import MIDDLE, MOST_CLIPPED

if TYPE_CHECKING:
    from torch import Tensor, nn

HERE = Path(__file__).parent
PRINTS = 14
"""Printed cards drawn for each process."""
SEEN, HAIR = 64, 96
"""Units of the two layers."""
HIDDEN = 0.5
"""Share of the signs hidden at random while the network learns, so that it leans on none of them."""
ROUNDS, AT_ONCE, DECAY = 300, 4096, 1e-2
FREEDOM = 5.0
"""Of the t distribution by which errors that are left are judged."""


@dataclass(frozen=True)
class Shot:
    """One photograph: what the card showed, and three zones of hair as measured and as they are."""

    signs: np.ndarray
    lab: np.ndarray  # (3, 3)
    true: np.ndarray  # (3, 3)
    families: dict[str, str]


def patch_rows(card: CardDefinition) -> tuple[np.ndarray, list[np.ndarray]]:
    """Return the rows of patches taken one by one, and of those of each step of grey."""
    lab = np.array([patch.lab for patch in card.patches])
    grey = chroma(lab) < NEUTRAL_CHROMA
    steps = sorted(set(lab[grey, 0]))
    return np.flatnonzero(~grey), [np.flatnonzero(grey & (lab[:, 0] == step)) for step in steps]


def zone_light(pixels: np.ndarray, view: CardView, correction: Correction) -> tuple[np.ndarray, float]:
    """Return light (3, 3) of the zones in the camera's primaries, and the largest share of one that is clipped."""
    bare = replace(correction, tone_offsets=correction.bare_offsets, veil=np.zeros((2, 3)))
    low, high = flat.STRAND_ROWS
    rows = (low + high) / 2 + np.linspace(-MIDDLE, MIDDLE, 10) * (high - low) / 2
    light, clipped = [], 0.0
    for start, width in flat.ZONE_BOXES.values():
        columns = np.linspace(start + 5, start + width - 5, 24)
        places = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
        at = np.round(view.to_pixels(places)).astype(int)
        seen = pixels[at[:, 1], at[:, 0], ::-1] / 255.0
        clipped = max(clipped, float((seen.max(1) >= CLIPPED_HIGH).mean()))
        light.append(bare.to_light(seen, places).mean(0))
    return np.array(light), clipped


def simulate(job: tuple[int, int, list[flat.Transport]]) -> list[Shot]:
    """Take one process's share of the photographs."""
    seed, count, places = job
    cv2.setNumThreads(1)
    card = shipped().card
    rng = np.random.default_rng(seed)
    colours, greys = patch_rows(card)
    prints = [flat.draw_print(1000 * seed + i) for i in range(PRINTS)]
    corners = np.array([[0.0, 0.0], [148.0, 0.0], [148.0, 105.0], [0.0, 105.0]])
    outline = corners @ flat.TO_PICTURE[:2, :2].T + flat.TO_PICTURE[:2, 2]
    ids = tuple(marker.id for marker in card.markers)
    view = CardView(flat.TO_PICTURE, float(flat.SCALE), ids, (), 0.05, 0.25, outline)
    shots: list[Shot] = []
    while len(shots) < count:
        place, printed = places[int(rng.integers(len(places)))], prints[int(rng.integers(PRINTS))]
        photo = flat.photograph(rng, place, printed)
        pixels = cv2.imdecode(np.frombuffer(photo.jpeg, np.uint8), cv2.IMREAD_COLOR)
        samples = sample_card(pixels, view, card)
        exposure = measure_exposure(samples)
        if exposure.usable[samples.is_patch].sum() < len(card.patches) // 2:
            continue
        fitted = fit_correction(samples, card.size, exposure.usable)
        light, clipped = zone_light(pixels, view, fitted.for_hair)
        if clipped > MOST_CLIPPED or judge(exposure, measure_light(samples, fitted, view, card)).problems:
            continue
        signs, _ = fit_signs(fitted, samples, colours, greys)
        lab = lab_from_xyz(np.maximum(light @ fitted.for_hair.matrix.T, 1e-4))
        shots.append(
            Shot(signs, lab, np.array([photo.lit[zone] for zone in flat.ZONE_BOXES]), photo.families)
        )
    return shots


def fit(shots: list[Shot]) -> dict[str, np.ndarray]:
    """Return the network's parts as `strandgauge.light.remainder.RemainderModel` names them."""
    import torch

    torch.manual_seed(0)
    device = "cuda" if torch.cuda.is_available() else "cpu"

    def tensor(values: np.ndarray) -> Tensor:
        return torch.tensor(values.astype(np.float32)).to(device)

    def tinted(lab: Tensor) -> Tensor:
        """Return scale and tint of CIELAB: `strandgauge.hair.family.scale_and_tint`, but for the darkest."""
        root = ((lab[..., 0] + 16) / 116).clamp(min=0.06)
        return torch.stack([3 * torch.log(root), lab[..., 1] / 500 / root, lab[..., 2] / 200 / root], -1)

    signs, lab, true = (np.array([getattr(s, name) for s in shots]) for name in ("signs", "lab", "true"))
    usual, spread = signs.mean(0), signs.std(0) + 1e-6
    known = tensor(np.clip((signs - usual) / spread, -FARTHEST, FARTHEST))
    where = tensor((lab - HAIR_MIDDLE) / HAIR_SPREAD)
    weights = tensor(difference_weights(true.reshape(-1, 3)).reshape(*true.shape, 3))
    measured, wanted = tensor(lab), tensor(true)
    usual_error = tensor(USUAL_ERROR)
    first, second = torch.nn.Linear(signs.shape[1], SEEN), torch.nn.Linear(SEEN + 3, HAIR)
    last, hide = torch.nn.Linear(HAIR, 6), torch.nn.Dropout(HIDDEN)
    torch.nn.init.zeros_(last.weight)
    torch.nn.init.zeros_(last.bias)
    network = torch.nn.ModuleList([first, second, last]).to(device)
    steps = ROUNDS * 3 * len(shots) // AT_ONCE + 1
    optimiser = torch.optim.AdamW(network.parameters(), lr=3e-3, weight_decay=DECAY)
    pace = torch.optim.lr_scheduler.OneCycleLR(optimiser, 6e-3, total_steps=steps)
    for _ in range(steps):
        i, zone = (torch.randint(n, (AT_ONCE,), device=device) for n in (len(shots), 3))
        units = torch.tanh(first(hide(known[i])))
        told = last(torch.tanh(second(torch.cat([units, where[i, zone]], 1))))
        shift, log_error = told[:, :3], told[:, 3:]
        off = shift - (wanted[i, zone] - measured[i, zone]).clamp(-20, 20)
        parts = torch.einsum("nij,nj->ni", weights[i, zone], off)
        left = (tinted(measured[i, zone] + shift) - tinted(wanted[i, zone])).detach() / usual_error
        far = torch.log1p((left * torch.exp(-log_error)) ** 2 / FREEDOM)
        unlikely = (log_error + (FREEDOM + 1) / 2 * far).mean()
        cost = torch.sqrt(0.25 + (parts**2).sum(1)).mean() + 0.1 * unlikely
        optimiser.zero_grad()
        cost.backward()
        optimiser.step()
        pace.step()

    def layer(linear: nn.Linear) -> np.ndarray:
        return np.vstack([linear.weight.detach().cpu().numpy().T, linear.bias.detach().cpu().numpy()])

    return {
        "usual": usual,
        "spread": spread,
        "seen_weights": layer(first),
        "hair_weights": layer(second),
        "told_weights": layer(last),
    }


def write(parts: dict[str, np.ndarray], card: CardDefinition, path: Path) -> None:
    """Write the network."""

    def packed(name: str) -> str:
        kind = "<f4" if name in ("usual", "spread") else "<f2"
        return base64.b64encode(np.ascontiguousarray(parts[name]).astype(kind).tobytes()).decode()

    colours, greys = patch_rows(card)
    ids = [patch.id for patch in card.patches]
    lines = [
        "# What the fit leaves on the card's patches tells of its errors on hair: a network of two layers of units.",
        "#",
        "# Fitted by fit_remainder.py to simulated photographs of this card; docs/method.md tells what it reads and",
        "# says, docs/accuracy.md how true that is. Weights are base64 of little-endian IEEE 754 numbers, single",
        "# precision for `usual` and `spread`, half precision for the others: not to be changed by hand.",
        "",
        'schema = "strandgauge.remainder/1"',
        "",
        "[card]",
        f'name = "{card.name}"',
        f"version = {card.version}",
        f'colours = "{" ".join(ids[row] for row in colours)}"',
        f'greys = "{", ".join(" ".join(ids[row] for row in step) for step in greys)}"',
        "",
        "[network]",
        f"seen = {parts['seen_weights'].shape[1]}",
        f"hair = {parts['hair_weights'].shape[1]}",
        *(f'{name} = "{packed(name)}"' for name in parts),
        "",
    ]
    path.write_text("\n".join(lines), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path, metavar="FOLDER")
    parser.add_argument("--photos", type=int, default=60_000)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--without", metavar="FAMILY=NAME")
    parser.add_argument("--out", type=Path, default=HERE / "remainder.toml")
    asked = parser.parse_args()
    places = flat.transports(asked.folders)
    jobs = [(seed, -(-asked.photos // asked.jobs), places) for seed in range(5_000, 5_000 + asked.jobs)]
    with get_context("spawn").Pool(asked.jobs) as pool:
        shots = [shot for own in pool.map(simulate, jobs, chunksize=1) for shot in own]
    if asked.without:
        family, _, name = asked.without.partition("=")
        shots = [shot for shot in shots if shot.families[family] != name]
    write(fit(shots), shipped().card, asked.out)


if __name__ == "__main__":
    main()
