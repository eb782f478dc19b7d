"""``python -m tests.shadows --count 20``: lots held to a master in one frame, in bad light.

Rendered pairs on white paper, half of them one yarn and half dyed more deeply, beside a card, six
steps or a chart: in even light; with a soft shade over one swatch and the paper about it, as of a
hand; with a patch of light on one; with a shadow's edge between the two; in light of another colour
on one. The table counts verdicts that are wrong and those that cannot tell.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

from ingest import measure_photo
from ingest.model import Settings
from swatchvault.compare import compare
from swatchvault.difference import Verdict, delta_e_2000
from swatchvault.pair import Colour, Conditions
from tests.render.camera import Shot
from tests.render.dye import Dyeing
from tests.render.objects import Card, Chart, Place, Steps, Swatch
from tests.render.scene import FileStyle, Rendered, Scene, render, save
from tests.render.strands import Yarn
from tests.render.yarn import Lamp

#: Seed of the first pair; the sets of other studies lie far from it.
FIRST_SEED = 9_500_000
#: Size of the pictures, and of the table in them, in mm.
SIZE, WIDTH_MM = (1200, 900), 210.0
#: Depth of the other lot over the master's.
DEEPER = (1.5, 2.4)
TOLERANCE, K_L = 2.0, 2.0

Spot = Callable[[np.ndarray, np.ndarray], np.ndarray]


def _blob(rng: np.random.Generator, x: np.ndarray, y: np.ndarray, wide: float) -> np.ndarray:
    """(h, w, 1) of 0..1 about one of the two swatches, soft at its edge."""
    away = np.hypot((x - rng.choice([0.28, 0.72])) / wide, (y - 0.3) / (wide * SIZE[0] / SIZE[1]))
    return (1.0 / (1.0 + np.exp((away - 1.0) / rng.uniform(0.05, 0.25))))[..., None]


def spots(seed: int) -> dict[str, Spot | None]:
    """Light of each kind, drawn by ``seed``."""
    rng = np.random.default_rng([seed, 1])
    depth, glow, tint = rng.uniform(0.12, 0.35), rng.uniform(0.15, 0.5), rng.uniform(0.04, 0.12)
    edge, wide = rng.uniform(0.46, 0.54), rng.uniform(0.2, 0.28)

    def shade(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 1.0 - depth * _blob(np.random.default_rng([seed, 2]), x, y, wide)

    def patch(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 1.0 + glow * _blob(np.random.default_rng([seed, 2]), x, y, wide)

    def between(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return (1.0 - depth / (1.0 + np.exp((edge - x) / 0.01)) + 0.0 * y)[..., None]

    def colour(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        on = _blob(np.random.default_rng([seed, 2]), x, y, wide)
        return np.exp(tint * on * np.array([0.5, 0.0, -0.5]))

    return {
        "even light": None,
        "soft shade on one": shade,
        "patch of light on one": patch,
        "edge of a shadow between": between,
        "another colour on one": colour,
    }


def pair(seed: int, spot: Spot | None) -> Rendered:
    """The photo of a master and a lot, drawn by ``seed``."""
    rng = np.random.default_rng([seed, 3])
    dyes = {"Pellow red": rng.uniform(0.2, 0.8), "Brackle brown": rng.uniform(0.1, 0.5)}
    times = 1.0 if seed % 2 else rng.uniform(*DEEPER)
    deeper = {dye: depth * times for dye, depth in dyes.items()}
    things = [
        Swatch(name, Place(x, -30), "wound card", (60, 44), Yarn(),
               Dyeing("wool", (tuple(knot.items()),), "solid", 0.012), seed + number)
        for number, (name, x, knot) in enumerate((("master", -47, dyes), ("new", 47, deeper)))
    ]  # fmt: skip
    reference = (
        Card(Place(0, 44), (58.0, 40.0)),
        Steps(Place(0, 42), patch_mm=(13.0, 19.0)),
        Chart(Place(0, 38), patch_mm=9.0),
    )[seed % 3]
    shot = Shot(tone="soft s", veil=0.006, read_noise=0.0025, full_well=9000.0)
    lamp = Lamp(215, 50, 0.55)
    return render(
        Scene((*things, reference), shot, lamp, "paper", WIDTH_MM, SIZE, seed=seed, spot=spot)
    )


def judged(rendered: Rendered, folder: Path) -> tuple[float, Verdict]:
    """True ΔE00 of the pair, and the verdict on it."""
    path = folder / "pair.jpg"
    save(path, rendered, "srgb", FileStyle(90))
    path.with_suffix(".marks.json").write_text(json.dumps(rendered.marks), encoding="utf-8")
    found = {s.name: s for s in measure_photo(path, settings=Settings(light="daylight")).swatches}
    sides = (
        Colour.from_measurement(found[n], photo_ids=frozenset({"one"}), light="daylight")
        for n in ("master", "new")
    )
    told = compare(*sides, Conditions("same frame", light="daylight", same_dyes=True))
    true = delta_e_2000(*(rendered.truth[n]["lab_seen"] for n in ("master", "new")), k_l=K_L)
    return float(true), told.verdict


def wrong(true: float, verdict: Verdict) -> bool:
    """Whether a verdict at the usual tolerance says what is not so."""
    return verdict is (Verdict.OUTSIDE if true < TOLERANCE else Verdict.WITHIN)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.shadows")
    parser.add_argument("--count", type=int, default=20, help="pairs in each light")
    count = parser.parse_args().count
    with tempfile.TemporaryDirectory() as scratch:
        for kind in spots(0):
            told: Counter[str] = Counter()
            for seed in range(FIRST_SEED, FIRST_SEED + count):
                true, verdict = judged(pair(seed, spots(seed)[kind]), Path(scratch))
                told["wrong" if wrong(true, verdict) else verdict.value] += 1
            sys.stdout.write(
                f"{kind}: {told['wrong']} wrong, {told['cannot tell']} cannot tell, "
                f"{told['within']} within, {told['outside']} outside of {count}\n"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main()
