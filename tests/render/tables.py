"""What lies under everything: a wooden table, a cloth, a grey sheet.

Each gives a mix (h, w) of 0..1 between two reflectances (81,), drawn straight on the picture's
pixels: a table needs no perspective to look like one at a few degrees of tilt.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.render import spectra
from tests.render.camera import Shot, raw_rgb
from tests.render.dye import smooth_field

Mix = tuple[np.ndarray, np.ndarray, np.ndarray]

_DARK_WOOD = spectra.BaseCurve(0.05, 0.30, 600.0, 55.0).reflectance()
_PALE_WOOD = spectra.BaseCurve(0.16, 0.58, 540.0, 60.0).reflectance()


def _wood(rng: np.random.Generator, size_px: tuple[int, int], px: float) -> Mix:
    """Mix (h, w) of two reflectances: boards, grain and pores, running across the picture."""
    import cv2

    w, h = size_px
    row, column = np.arange(h)[:, None] / px, np.arange(w)[None, :] / px
    board = np.floor((row + rng.uniform(0, 90)) / 95.0).astype(int)
    shift = rng.uniform(0, 900, board.max() + 1)[board]
    tone = rng.normal(0.0, 0.07, board.max() + 1)[board]
    # Grain: a slow field stretched along the board, cut by rings.
    slow = cv2.resize(
        smooth_field(rng, (h // 4 + 1, w // 40 + 1), 14.0), (w, h), interpolation=cv2.INTER_CUBIC
    )
    rings = np.sin(2 * np.pi * ((row + shift) / 5.5 + 2.2 * slow + 0.002 * column))
    fibre = cv2.GaussianBlur(
        rng.normal(size=(h, w)).astype(np.float32), (0, 0), sigmaX=2.5 * px, sigmaY=0.08 * px + 0.3
    )
    fibre = fibre / fibre.std()
    pores = np.minimum(fibre + 1.3, 0.0)
    mix = 0.62 + tone + 0.07 * rings + 0.05 * slow + 0.035 * fibre + 0.16 * pores
    seam = np.mod(row + rng.uniform(0, 90), 95.0)
    mix = mix - 0.5 * np.exp(-((np.minimum(seam, 95.0 - seam) / 0.45) ** 2))
    return np.clip(mix, 0.0, 1.0).astype(np.float32), _DARK_WOOD, _PALE_WOOD


def _cloth(rng: np.random.Generator, size_px: tuple[int, int], px: float) -> Mix:
    """Plain weave of uneven threads, off-white and nearly neutral."""
    w, h = size_px
    drift = 0.25 * smooth_field(rng, (h, w), 6.0 * px)
    row = np.arange(h)[:, None] / px / 0.62 + drift
    column = np.arange(w)[None, :] / px / 0.62 + drift.mean(axis=0)
    over = np.where((np.floor(row) + np.floor(column)) % 2 == 0, row, column) % 1.0
    slub = rng.normal(0, 0.05, 4000)
    thread = slub[np.floor(row).astype(int)] + slub[2000 + np.floor(column).astype(int)]
    mix = 0.68 + 0.22 * np.sin(np.pi * over) + thread + 0.03 * rng.normal(size=(h, w))
    return (
        np.clip(mix, 0.0, 1.0).astype(np.float32),
        spectra.neutral(0.22, 0.25),
        spectra.neutral(0.60, 0.08),
    )


def _paper(rng: np.random.Generator, size_px: tuple[int, int], px: float) -> Mix:
    """Plain mid-grey sheet with a slight tooth."""
    w, h = size_px
    tooth = smooth_field(rng, (h, w), 0.15 * px) + 0.6 * smooth_field(rng, (h, w), 8.0 * px)
    mix = 0.5 + 0.05 * tooth
    return np.clip(mix, 0, 1).astype(np.float32), spectra.neutral(0.33), spectra.neutral(0.49, 0.03)


TABLES: dict[str, Callable[..., Mix]] = {
    "wood": _wood,
    "cloth": _cloth,
    "paper": _paper,
}


def table_signal(
    rng: np.random.Generator, kind: str, size_px: tuple[int, int], px_per_mm: float, shot: Shot
) -> np.ndarray:
    """(h, w, 3) float32 balanced sensor signal of a bare table in even light."""
    mix, dark, pale = TABLES[kind](rng, size_px, px_per_mm)
    ends = raw_rgb(np.stack([dark, pale]), shot.light, shot.camera, shot.wb_error)
    low, high = ends.astype(np.float32)
    return low + mix[..., None] * (high - low)
