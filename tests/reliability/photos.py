"""Photos of one megapixel with their notes, made for filing by the dozen."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
from PIL import Image

from ingest.colour import linear_to_srgb

WIDTH, HEIGHT = 1200, 840  # 1.008 megapixels
PX_PER_MM = 12.0
FULL_EVERY = 8  # one photo in so many has steps and a swatch large enough for its evenness
STEPS_Y = (0.9, 0.59, 0.36, 0.2, 0.09, 0.03)
BASE = "Plain four"

STUDIO = f"""[[base]]
name = "{BASE}"
fibres = {{wool = 100}}

[[colourway]]
name = "Trial"

"""
_COLUMNS = ("photo", "swatch", "colourway", "base", "lot", "form", "dry", "light")


def write_batch(folder: Path, count: int, seed: int = 1, prefix: str = "photo") -> list[Path]:
    """``count`` photos, each of a lot of its own, with marks, photos.csv and studio.toml."""
    folder.mkdir(parents=True)
    paths = [folder / f"{prefix}-{i:02d}.jpg" for i in range(count)]
    lots = ""
    with (folder / "photos.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(_COLUMNS)
        for i, path in enumerate(paths):
            write_photo(path, np.random.default_rng((seed, i)), small=i % FULL_EVERY != 0)
            lot = f"{prefix} lot {i:02d}"
            lots += f'[[lot]]\ncode = "{lot}"\nbase = "{BASE}"\ncolourway = "Trial"\n\n'
            label = f"{prefix} swatch {i:02d}"
            table.writerow((path.name, label, "Trial", BASE, lot, "wound card", "yes", "daylight"))
    (folder / "studio.toml").write_text(STUDIO + lots, encoding="utf-8")
    return paths


def write_photo(path: Path, rng: np.random.Generator, *, small: bool = False) -> None:
    """A plain table, six steps and one wound swatch of a colour of its own, with its marks."""
    Image.fromarray(picture(rng)).save(path, quality=92)
    beside = path.with_name(f"{path.stem}.marks.json")
    beside.write_text(json.dumps(small_marks() if small else marks()), encoding="utf-8")


def picture(rng: np.random.Generator) -> np.ndarray:
    """(HEIGHT, WIDTH, 3) uint8 sRGB."""
    light = np.full((HEIGHT, WIDTH, 3), 0.45)
    for i, y in enumerate(STEPS_Y):
        light[60:180, 60 + 180 * i : 220 + 180 * i] = y
    rows = np.arange(480)[:, None]
    strand = 0.75 + 0.25 * np.abs(np.sin(np.pi * rows / 14.0))
    light[280:760, 240:960] = rng.uniform(0.05, 0.5, 3) * strand[..., None]
    light *= np.exp(rng.normal(0, 0.02, (HEIGHT, WIDTH, 1)))
    return np.round(linear_to_srgb(np.clip(light, 0, 1)) * 255).astype(np.uint8)


def marks() -> dict[str, object]:
    """Where steps, swatch and scale are, as in a marks file."""
    steps = {"kind": "steps", "y": list(STEPS_Y), "patches": [_step(i) for i in range(6)]}
    return {
        "references": [steps],
        "swatches": [{"name": "swatch", "polygon": _box(245, 285, 955, 755)}],
        "scale": {"from": [0.0, 0.5], "to": [1.0, 0.5], "mm": WIDTH / PX_PER_MM},
    }


def small_marks() -> dict[str, object]:
    """Of the same picture one step as a card and a corner of the swatch: quick to measure."""
    return {
        "references": [{"kind": "card", "polygon": _step(3), "y": STEPS_Y[3]}],
        "swatches": [{"name": "swatch", "polygon": _box(245, 285, 405, 395)}],
    }


def _step(i: int) -> list[list[float]]:
    return _box(60 + 180 * i, 60, 220 + 180 * i, 180)


def _box(x0: float, y0: float, x1: float, y1: float) -> list[list[float]]:
    return [[x / WIDTH, y / HEIGHT] for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]
