"""``python -m tests.bench_evenness``: evenness of 2000 x 2000 pixels against decoding their photo.

The photo is of 12 megapixels: rendered yarn on a plain table, with noise, JPEG quality 92. Yarn at
8 pixels to the millimetre is a swatch of 25 cm, at 24 one of 8 cm; it is mirrored to that size.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from ingest.colour import linear_to_srgb
from ingest.decode import read_photo
from ingest.tonality import measure_tonality
from tests.tonality.draws import draw
from tests.tonality.photos import render, to_xyz

ROUNDS, SIDE, SHAPE = 15, 2000, (3000, 4000, 3)
#: Seed of the yarn that is drawn, and of the noise; standard deviation of ln light in a pixel.
SEED, NOISE = 5, 0.08


def yarn(px_per_mm: int) -> np.ndarray:
    """(SIDE, SIDE, 3) linear light of a semi-solid."""
    size = SIDE / 2 / px_per_mm
    case = replace(draw(SEED, False, "semi-solid"), px_per_mm=float(px_per_mm))
    quarter = render(replace(case, size_mm=(size, size))).linear
    half = np.concatenate([quarter, quarter[:, ::-1]], axis=1)
    return np.concatenate([half, half[::-1]])[:SIDE, :SIDE].astype(np.float32)


def write_photo(path: Path, region: np.ndarray) -> None:
    """The region on a table, as a phone would keep it."""
    light = np.full(SHAPE, 0.25, np.float32)
    light[500 : 500 + SIDE, 1000 : 1000 + SIDE] = region
    light *= np.exp(np.random.default_rng(SEED).normal(0.0, NOISE, SHAPE).astype(np.float32))
    coded = np.round(linear_to_srgb(np.clip(light, 0.0, 1.0)) * 255.0).astype(np.uint8)
    Image.fromarray(coded).save(path, quality=92)


def seconds(work: Callable[[], object]) -> float:
    before = time.perf_counter()
    work()
    return time.perf_counter() - before


def main() -> None:
    whole = np.ones((SIDE, SIDE), bool)
    with tempfile.TemporaryDirectory() as scratch:
        for px_per_mm in (24, 8):
            region, path = yarn(px_per_mm), Path(scratch) / "photo.jpg"
            write_photo(path, region)
            rows = []
            for _ in range(ROUNDS + 1):
                ours = seconds(lambda: read_photo(path))  # noqa: B023
                pillow = seconds(lambda: np.asarray(Image.open(path)))  # noqa: B023
                made = seconds(lambda: measure_tonality(region, whole, 1 / px_per_mm, to_xyz))  # noqa: B023
                rows.append((made / ours, made / pillow, made))
            over_ours, over_pillow, made = (
                statistics.median(column) for column in zip(*rows[1:], strict=True)
            )
            print(
                f"{px_per_mm} px per mm, photo of {path.stat().st_size / 1e6:.1f} MB: "
                f"{over_ours:.2f} of our decode, {over_pillow:.2f} of Pillow's "
                f"({1e3 * made:.0f} ms)"
            )


if __name__ == "__main__":
    main()
