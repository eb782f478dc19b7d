"""Yarn laid by the third renderer: which strand is seen at each pixel, where on it, how high.

A strand is an axis, y over x, with a round section; the highest at a pixel is seen. All ranges of
how strands lie are our own, measured nowhere.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ingest.model import Array
from tests.tonality.third_knit import knit
from tests.tonality.third_noise import line
from tests.tonality.third_strands import Canvas, Laid

#: How far outside the photo strands of a skein start, mm.
OUTSIDE_MM = 6.0


def lay(
    rng: np.random.Generator,
    form: str,
    shape: tuple[int, int],
    px_per_mm: float,
    width_mm: float,
    filled: bool,
) -> Laid:
    """A photo of (h, w) pixels full of strands of ``width_mm``. ``filled``: a skein lies on
    strands close together, so that no way is open to what is under it."""
    if form == "knit":
        return knit(rng, shape, px_per_mm, width_mm)
    canvas = Canvas(shape, px_per_mm)
    if form == "skein":
        _skein(rng, canvas, width_mm, filled)
    else:
        _wound(rng, canvas, width_mm)
    return canvas.laid()


def _wound(rng: np.random.Generator, canvas: Canvas, width: float) -> None:
    """Parallel strands side by side, on two layers below that are wound a little askew."""
    px = canvas.px_per_mm
    h, w = canvas.shape
    pitch = width * rng.uniform(0.86, 1.08)
    tilt = np.tan(np.deg2rad(rng.uniform(-4.0, 4.0)))
    sag, drift, rise = width * rng.uniform((0.02, 0.03, 0.05), (0.10, 0.14, 0.22))
    lump = rng.uniform(0.02, 0.09)
    turn_mm = rng.uniform(90.0, 160.0)
    x = np.arange(w) / px
    shared = 0.5 * sag * line(rng, w, 40.0 * px)
    for layer, depth in ((2, 1.15), (1, 0.6), (0, 0.0)):
        slope = tilt + (np.tan(np.deg2rad(rng.uniform(-5.0, 5.0))) if layer else 0.0)
        span = abs(slope) * w / px + 2.0 * pitch
        pitch_here = pitch * (0.85 if layer else 1.0)
        for y in np.arange(rng.uniform(0.0, pitch) - span, h / px + span, pitch_here):
            axis = y + (x - x.mean()) * slope + sag * line(rng, w, 16.0 * px) + shared
            height = rise * (0.6 * rng.standard_normal() + 0.5 * line(rng, w, 22.0 * px))
            swell = line(rng, w, 5.0 * px) + 0.5 * rng.standard_normal()
            canvas.put(
                axis + drift * rng.standard_normal(),
                height - depth * width,
                0.5 * width * np.exp(lump * swell),
                turn_mm,
            )


def _skein(rng: np.random.Generator, canvas: Canvas, width: float, filled: bool) -> None:
    """Three to five layers of bundles that wave and cross."""
    px = canvas.px_per_mm
    h, w = canvas.shape
    if filled:
        for y in np.arange(-4.0, h / px + 4.0, 0.8 * width):
            axis = y + 0.12 * width * line(rng, w, 20.0 * px)
            canvas.put(axis, np.full(w, -0.45 * width), np.full(w, 0.5 * width), 1500.0)
    layers = int(rng.integers(3, 6))
    wild = rng.uniform(0.5, 1.5)
    common = 1.5 * wild * line(rng, w, rng.uniform(25.0, 60.0) * px)
    strand = _skein_strand(
        rng,
        canvas,
        width,
        wild,
        lump=rng.uniform(0.03, 0.10),
        crimp=width * rng.uniform(0.0, 0.22),
        turn_mm=rng.uniform(1200.0, 1900.0),
    )
    for layer in range(layers):
        gap = width * (rng.uniform(0.92, 1.2) if layer else rng.uniform(0.7, 0.85))
        slant = np.tan(np.deg2rad(rng.normal(0.0, 5.0 * wild)))
        y = -OUTSIDE_MM - rng.uniform(0.0, gap)
        while y < h / px + OUTSIDE_MM:
            wave = common + 0.9 * wild * line(rng, w, rng.uniform(14.0, 34.0) * px)
            lean = slant + np.tan(np.deg2rad(rng.normal(0.0, 4.5 * wild)))
            lift = width * (0.42 * layer + rng.normal(0.0, 0.3))
            for _ in range(rng.integers(2, 7)):  # a bundle that keeps together
                strand(y + wave, lean, lift)
                y += gap * rng.uniform(0.75, 1.2)
            y += gap * rng.uniform(0.0, 1.0) * (layer > 0)


def _skein_strand(
    rng: np.random.Generator,
    canvas: Canvas,
    width: float,
    wild: float,
    lump: float,
    crimp: float,
    turn_mm: float,
) -> Callable[[Array, float, float], None]:
    """What puts one strand of a bundle: its axis about (w,) mm, slope, and height in mm."""
    px, w = canvas.px_per_mm, canvas.shape[1]
    x = np.arange(w) / px

    def put(about: Array, lean: float, lift: float) -> None:
        slope = lean + np.tan(np.deg2rad(rng.normal(0.0, 2.2 * wild)))
        if rng.random() < 0.05:  # one that strays
            slope += np.tan(np.deg2rad(rng.uniform(10.0, 24.0))) * rng.choice([-1, 1])
        axis = about + (x - x.mean() * rng.uniform(0.0, 2.0)) * slope
        axis = axis + 0.35 * wild * width * line(rng, w, rng.uniform(7.0, 16.0) * px)
        axis = axis + 0.3 * crimp * line(rng, w, 4.0 * px)
        swell = line(rng, w, 6.0 * px) + 0.7 * rng.standard_normal()
        canvas.put(
            axis,
            lift + 0.5 * width * line(rng, w, 18.0 * px),
            0.5 * width * np.exp(lump * swell),
            turn_mm + rng.uniform(-8.0, 8.0),
        )

    return put
