"""How often a damaged file is refused, and how often one that is read says something else than the sound one.

    python tests/benchmarks/score_damage.py [PHOTO...] [--files N] [--seed N] [--coding CODING...]

Bits are flipped, bytes zeroed, overwritten by others of the file, put in, or cut off, in photos as they are and coded
anew. A reading has moved if the level of any zone differs by more than the sound photo's 95 % interval.
"""

from __future__ import annotations

import argparse
import io
import random
from collections import Counter
from collections.abc import Callable
from functools import cache, partial
from multiprocessing import Pool
from pathlib import Path

from PIL import Image

from strandgauge.errors import StrandgaugeError
from strandgauge.kit import shipped

SAMPLES = Path(__file__).parents[2] / "sample_images"


def coded(path: Path, kind: str, **how: int | bool) -> bytes:
    if kind == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()
    file = io.BytesIO()
    with Image.open(path) as picture:
        picture.save(file, kind, exif=picture.getexif().tobytes(), **how)
    return file.getvalue()


CODINGS: dict[str, Callable[[Path], bytes]] = {
    "as it is": Path.read_bytes,
    "progressive": partial(coded, kind="JPEG", quality=90, progressive=True),
    "4:4:4": partial(coded, kind="JPEG", quality=90, subsampling=0),
    "4:2:2": partial(coded, kind="JPEG", quality=80, subsampling=1),
    "restarts": partial(coded, kind="JPEG", quality=90, restart_marker_rows=1),
    "PNG": partial(coded, kind="PNG", compress_level=3),
    "HEIC": partial(coded, kind="HEIF", quality=80),
}


def flip(data: bytearray, rng: random.Random) -> None:
    for _ in range(rng.choice([1, 1, 2, 5, 20, 100])):
        data[rng.randrange(20, len(data))] ^= 1 << rng.randrange(8)


def zero(data: bytearray, rng: random.Random) -> None:
    at, count = rng.randrange(len(data)), rng.choice([1, 16, 500])
    data[at : at + count] = bytes(len(data[at : at + count]))


def copy(data: bytearray, rng: random.Random) -> None:
    start, at = rng.randrange(len(data)), rng.randrange(len(data))
    data[at : at + 200] = data[start : start + 200]


def insert(data: bytearray, rng: random.Random) -> None:
    at = rng.randrange(len(data))
    data[at:at] = rng.randbytes(rng.choice([1, 8]))


def head(data: bytearray, rng: random.Random) -> None:
    for _ in range(rng.choice([1, 3])):
        data[rng.randrange(700)] = rng.randrange(256)


def cut(data: bytearray, rng: random.Random) -> None:
    del data[rng.randrange(len(data)) :]


DAMAGES = (flip, flip, flip, zero, copy, insert, head, cut)


@cache
def sound(path: Path, coding: str) -> tuple[bytes, dict[str, tuple[float, float]]]:
    data = CODINGS[coding](path)
    return data, levels(data)


def levels(data: bytes) -> dict[str, tuple[float, float]]:
    reading = shipped().measure(data).reading
    return {zone.name: (zone.level, zone.level_sd) for zone in (reading.overall, *reading.zones)}


def damaged(number: int, seed: int, path: Path, coding: str) -> tuple[bytes, str]:
    rng = random.Random(f"{seed}.{number}")
    data, damage = bytearray(sound(path, coding)[0]), rng.choice(DAMAGES)
    damage(data, rng)
    return bytes(data), damage.__name__


def outcome(number: int, seed: int, photos: list[Path], codings: list[str]) -> tuple[str, str, str]:
    """Return the coding, what became of the file, and where it moved, what was done and by how much."""
    coding, path = codings[number % len(codings)], photos[number // len(codings) % len(photos)]
    data, damage = damaged(number, seed, path, coding)
    before = sound(path, coding)[1]
    try:
        after = levels(data)
    except StrandgaugeError:
        return coding, "refused", ""
    except Exception as error:  # what is counted here
        return coding, "untyped", f"{number} {path.name} {damage} {error!r}"
    moved = max(
        abs(after.get(zone, (99.0,))[0] - level) / (1.96 * sd) for zone, (level, sd) in before.items()
    )
    return coding, "read and moved" if moved > 1 else "read", f"{number} {path.name} {damage} {moved:.2f} x"


if __name__ == "__main__":
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("photos", nargs="*", type=Path)
    words.add_argument("--files", type=int, default=3000)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--coding", nargs="*", choices=CODINGS, default=["as it is"])
    words.add_argument("--processes", type=int)
    given = words.parse_args()
    usual = ("marta-1005", "stained", "tilted", "turned-b", "twelve-megapixels", "uneven", "warm-led", "wet")
    photos = given.photos or [SAMPLES / f"{name}.jpg" for name in usual]
    one = partial(outcome, seed=given.seed, photos=photos, codings=given.coding)
    with Pool(given.processes) as pool:
        got = pool.map(one, range(given.files), chunksize=max(1, given.files // 50))
    counts = Counter((coding, what) for coding, what, _ in got)
    for coding in given.coding:
        print(coding, {what: count for (kind, what), count in counts.items() if kind == coding})
    for coding, what, told in got:
        if what in ("untyped", "read and moved"):
            print(f"  {coding}: {what}: {told}")
