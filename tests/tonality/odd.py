"""What the rule of evenness was never fitted on: ``python -m tests.tonality.odd --to FOLDER``.

Solids and semi-solids of the third renderer, each photographed once as that renderer does and once
more with one thing about the photo that is odd. The table sets them side by side. Photos lie in
the folder and are rendered once.
"""

from __future__ import annotations

import argparse
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from ingest.colour import linear_to_srgb, srgb_to_linear
from ingest.model import Array
from tests.tonality import renderer_tables
from tests.tonality.photos import Seen
from tests.tonality.renderer_tables import RULED, Row, counted, measured
from tests.tonality.third_draws import draw
from tests.tonality.third_yarn import Case, render

#: First seed, apart from those of all other sets; photos of each oddity and light.
FIRST_SEED, COUNT = 23_000_000, 40
F = np.float32


def as_it_is(case: Case) -> Case:
    return case


def silky(case: Case) -> Case:
    """Sheen as of silk: ten times what wool has."""
    return replace(case, light=replace(case.light, sheen=10.0 * case.light.sheen))


def quality(value: int) -> Callable[[Case], Case]:
    return lambda case: replace(case, camera=replace(case.camera, quality=value))


def far(case: Case) -> Case:
    """From further off: 3 to 5 px per mm."""
    px = 3.0 + 2.0 * np.random.default_rng([case.seed, 9]).random()
    return replace(case, camera=replace(case.camera, px_per_mm=float(px)))


def soft(case: Case) -> Case:
    return replace(case, camera=replace(case.camera, blur_px=2.0))


def dim(case: Case) -> Case:
    """A long way from the window: eight times the noise."""
    camera = case.camera
    return replace(case, camera=replace(camera, shot=8 * camera.shot, read=3 * camera.read))


def small(case: Case) -> Case:
    return replace(case, size_mm=(32.0, 25.0))


def bent(case: Case) -> Case:
    """A tone curve that correction left over."""
    sign = 1.0 if case.seed % 4 < 2 else -1.0
    return replace(case, camera=replace(case.camera, bend=0.06 * sign))


def falling(case: Case) -> Case:
    """Light that falls off by half from side to side."""
    return replace(case, light=replace(case.light, fall=0.5))


def tinted(linear: Array, px_per_mm: float, total: float) -> Array:
    """Light of two colours from either side: ln R/B changes by ``total`` across."""
    x = np.linspace(-0.5, 0.5, linear.shape[1], dtype=F)[None, :, None]
    return linear * np.exp(0.5 * F(total) * x * np.array([1.0, 0.0, -1.0], F))


def finished(linear: Array, px_per_mm: float) -> Array:
    """As a phone may finish its pictures: noise smoothed away, edges made hard."""
    coded = np.rint(np.clip(linear_to_srgb(linear), 0, 1) * 255).astype(np.uint8)
    smooth = cv2.bilateralFilter(coded, 7, 22, 3).astype(F)
    sharp = smooth + F(1.0) * (smooth - cv2.GaussianBlur(smooth, (0, 0), 1.5))
    return np.asarray(srgb_to_linear(np.clip(sharp / 255.0, 0, 1)), F)


def lifted(linear: Array, px_per_mm: float) -> Array:
    """Dark places lifted, bright ones held back, as pictures of several exposures have it."""
    light = np.log(np.maximum(linear.mean(axis=2), F(1e-3)))
    base = cv2.GaussianBlur(light, (0, 0), 4.0 * px_per_mm)
    return linear * np.exp(F(-0.35) * (base - base.mean()))[..., None]


@dataclass(frozen=True)
class Odd:
    """``case``: another photo of a case. ``picture``: what is done to its linear light."""

    case: Callable[[Case], Case] = as_it_is
    picture: Callable[[Array, float], Array] | None = None


ODD = {
    "as it is": Odd(),
    "silky": Odd(silky),
    "JPEG 60": Odd(quality(60)),
    "JPEG 45": Odd(quality(45)),
    "3 to 5 px per mm": Odd(far),
    "blur of 2 px": Odd(soft),
    "dim": Odd(dim),
    "32 x 25 mm": Odd(small),
    "tone bent by 0.06": Odd(bent),
    "light falls by half": Odd(falling),
    "R/B drifts by 5 %": Odd(picture=lambda p, mm: tinted(p, mm, 0.05)),
    "R/B drifts by 12 %": Odd(picture=lambda p, mm: tinted(p, mm, 0.12)),
    "finished": Odd(picture=finished),
    "several exposures": Odd(picture=lifted),
}


def photo(case: Case, odd: Odd) -> Seen:
    """The photo of a case with its oddity."""
    if odd.picture is None:
        return render(odd.case(case))
    plain = render(replace(odd.case(case), camera=replace(case.camera, quality=98)))
    changed = odd.picture(plain.linear * F(plain.exposure), 1.0 / plain.mm_per_px)
    coded = np.rint(np.clip(linear_to_srgb(np.clip(changed, 0, 1)), 0, 1) * 255).astype(np.uint8)
    from PIL import Image

    stored = io.BytesIO()
    Image.fromarray(coded).save(stored, "JPEG", quality=case.camera.quality)
    return replace(plain, jpeg=stored.getvalue())


def cases(count: int, hard: bool) -> Iterator[Case]:
    """The first ``count`` solids and semi-solids that are no greys."""
    seed, made = FIRST_SEED + int(hard), 0
    while made < count:
        case = draw(seed, hard)
        seed += 2
        if case.kind in RULED and not case.neutral:
            made += 1
            yield case


def row(case: Case, odd: Odd, name: str, folder: Path) -> Row:
    named = f"odd-{name.replace(' ', '-').replace('/', '')}-{case.seed}"
    shot = odd.case(case)
    seen = renderer_tables.kept(
        named, folder, 1.0 / shot.camera.px_per_mm, lambda: photo(case, odd)
    )
    return measured(case, seen)


def line(name: str, rows: list[Row]) -> str:
    """One oddity: solids and semi-solids by what they are called, ranges, errors."""
    parts = [f"{name:22}"]
    for kind in RULED:
        some = [r for r in counted(rows) if r.case.kind == kind]
        right = sum(r.found.name == kind for r in some)
        unsaid = sum(r.found.name is None for r in some)
        parts.append(f"{kind} {len(some)}: {right} right, {unsaid} untold;")
    held = np.mean([r.outside <= 0.01 for r in rows])
    errors = np.array([r.error for r in rows])
    rms = float(np.sqrt((errors**2).mean()))
    parts.append(f"range holds {held:.0%}, bias {errors.mean():+.2f}, rms {rms:.2f};")
    flags = [f for r in rows for f in r.found.flags]
    parts += [f"{f} {flags.count(f)}" for f in sorted(set(flags))]
    return " ".join(parts)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--to", type=Path, required=True, help="folder for the photos")
    parser.add_argument("--count", type=int, default=COUNT, help="photos of each kind of light")
    parser.add_argument("--only", choices=sorted(ODD), action="append")
    chosen = parser.parse_args()
    for hard in (False, True):
        print("hard" if hard else "flat, softly lit", flush=True)
        drawn = list(cases(chosen.count, hard))
        for name in chosen.only or ODD:
            rows = [row(case, ODD[name], name, chosen.to) for case in drawn]
            print("  " + line(name, rows), flush=True)


if __name__ == "__main__":
    main()
