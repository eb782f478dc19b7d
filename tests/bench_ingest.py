"""Speed and memory of the ingest as ratios in one run: `python -m tests.bench_ingest`.

A 12-megapixel photo of a wound card, 60 x 40 mm at 12 px per mm, beside six steps, is made once,
and everything is set against Pillow's bare decode of it to an array.
"""

from __future__ import annotations

import json
import statistics
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

from ingest.colour import linear_to_srgb
from ingest.pipeline import measure_photo
from swatchvault.archive import RegionOf, create_archive, file_photo
from swatchvault.archive.rows import insert

ROUNDS = 9
WIDTH, HEIGHT = 4000, 3000


def make_photo(folder: Path) -> Path:
    """A plain table, six steps and a textured swatch; noise everywhere, JPEG quality 92."""
    rng = np.random.default_rng(12)
    light = np.full((HEIGHT, WIDTH, 3), 0.45, dtype=np.float32)
    marks: dict[str, list[object]] = {"references": [], "swatches": []}
    ys = [0.9, 0.59, 0.36, 0.2, 0.09, 0.03]
    patches = []
    for i, y in enumerate(ys):
        x0 = 300 + 320 * i
        light[300:600, x0 : x0 + 300] = y
        patches.append(box(x0, 300, x0 + 300, 600))
    rows = np.arange(480)[:, None]
    strand = 0.75 + 0.25 * np.abs(np.sin(np.pi * rows / 14.0))
    light[1400:1880, 1500:2220] = np.array([0.35, 0.06, 0.09]) * strand[..., None]
    light *= np.exp(rng.normal(0, 0.02, (HEIGHT, WIDTH, 1))).astype(np.float32)
    path = folder / "big.jpg"
    coded = np.round(linear_to_srgb(np.clip(light, 0, 1)) * 255).astype(np.uint8)
    Image.fromarray(coded).save(path, quality=92)
    marks["references"] = [{"kind": "steps", "y": ys, "patches": patches}]
    marks["swatches"] = [{"name": "swatch", "polygon": box(1505, 1405, 2215, 1875)}]
    scale = {"from": [0.0, 0.5], "to": [1.0, 0.5], "mm": WIDTH / 12.0}
    (folder / "big.marks.json").write_text(json.dumps({**marks, "scale": scale}))
    return path


def box(x0: int, y0: int, x1: int, y1: int) -> list[list[float]]:
    corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    return [[x / WIDTH, y / HEIGHT] for x, y in corners]


def pillow(path: Path) -> np.ndarray:
    return np.asarray(Image.open(path).convert("RGB"))


def plain_script(path: Path) -> np.ndarray:
    """What a person would write: the whole frame as float, colour-science to Lab, the mean."""
    import colour

    frame = pillow(path).astype(float) / 255.0
    xyz = colour.sRGB_to_XYZ(frame)
    lab = colour.XYZ_to_Lab(xyz)
    return lab[1405:1875, 1505:2215].mean(axis=(0, 1))


def median_ratio(work: Callable[[], object], against: Callable[[], object], rounds: int) -> float:
    """Median over rounds of the time of ``work`` over that of ``against``, taken in turn."""
    work(), against()
    ratios = []
    for _ in range(rounds):
        t0 = time.perf_counter()
        against()
        t1 = time.perf_counter()
        work()
        ratios.append((time.perf_counter() - t1) / (t1 - t0))
    return statistics.median(ratios)


def filing(folder: Path, path: Path) -> Callable[[], object]:
    """Measures and files the photo with its thumb and a commit, as another photo each time."""
    archive = create_archive(folder / "archive")
    base = insert(archive.conn, "base", {"name": "B"})
    swatch = insert(archive.conn, "swatch", {"label": "s", "base_id": base, "form": "wound card"})
    data, marks = path.read_bytes(), path.with_name(f"{path.stem}.marks.json").read_bytes()
    copies = []
    for number in range(ROUNDS + 1):  # writing these is no part of the work
        copies.append(folder / f"copy-{number}.jpg")
        copies[-1].write_bytes(data + number.to_bytes(4, "big"))
        copies[-1].with_name(f"{copies[-1].stem}.marks.json").write_bytes(marks)
    waiting = iter(copies)

    def whole() -> None:
        copy = next(waiting)
        file_photo(archive, measure_photo(copy), copy, [RegionOf("swatch", swatch)])

    return whole


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        path = make_photo(folder)
        unmarked = folder / "unmarked.jpg"
        unmarked.write_bytes(path.read_bytes())

        def searched() -> None:
            from ingest.decode import read_photo
            from ingest.model import Settings
            from ingest.pipeline import measure_decoded

            ys = (0.9, 0.59, 0.36, 0.2, 0.09, 0.03)
            measure_decoded(read_photo(unmarked), None, Settings(steps_y=ys))

        base_line = lambda: pillow(path)  # noqa: E731
        print(f"medians of {ROUNDS} pairs against Pillow's decode of 12 megapixels")
        print(
            f"measure, marks       "
            f"{median_ratio(lambda: measure_photo(path), base_line, ROUNDS):.2f}"
        )
        whole = filing(folder, path)
        print(f"measure and file     {median_ratio(whole, base_line, ROUNDS):.2f}")
        print(f"measure, searched    {median_ratio(searched, base_line, ROUNDS):.2f}")
        slow = median_ratio(lambda: plain_script(path), lambda: measure_photo(path), 3)
        print(f"plain script over measure, marks  {slow:.1f}")
        tracemalloc.start()
        measure_photo(path)
        peak = tracemalloc.get_traced_memory()[1]
        print(f"peak of Python's memory over the decoded array  {peak / (WIDTH * HEIGHT * 3):.2f}")


if __name__ == "__main__":
    main()
