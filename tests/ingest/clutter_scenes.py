"""Invented pictures without any reference: what a search must not take for a card or a chart."""

from __future__ import annotations

import cv2
import numpy as np

from tests.ingest.search_scenes import (
    SIZE,
    Shot,
    chart_texture,
    framed,
    knit,
    noise_field,
    paste,
    photograph,
    rectangle,
    shadow,
    table,
    yarn,
)

GROUNDS = ("paper", "plain", "wood", "cloth", "dark", "carpet")


def _place(rng: np.random.Generator, low: float, high: float) -> np.ndarray:
    w, h = rng.uniform(low, high, 2)
    return rectangle(rng.uniform(100, 1100), rng.uniform(100, 800), w, h, rng.uniform(-45, 45))


def _ground(rng: np.random.Generator) -> np.ndarray:
    return table(rng, str(rng.choice(GROUNDS)))


def boxes(rng: np.random.Generator) -> np.ndarray:
    """Coloured boxes and books that overlap."""
    scene = _ground(rng)
    for _ in range(rng.integers(4, 16)):
        at = _place(rng, 80, 420)
        shadow(scene, at)
        hue = rng.uniform(0, 2 * np.pi) + np.array([0, 2.1, 4.2])
        chroma = rng.uniform(0.35, 1.0)
        paste(scene, rng.uniform(0.05, 0.6) * np.exp(chroma * np.cos(hue)), at)
    return scene


def sheets(rng: np.random.Generator) -> np.ndarray:
    """White and off-white paper, with lines of print."""
    scene = _ground(rng)
    for _ in range(rng.integers(1, 5)):
        at = _place(rng, 200, 600)
        page = np.full((300, 220, 3), rng.uniform(0.7, 0.9) * rng.uniform(0.95, 1.0, 3))
        for y in range(20, 280, 9) if rng.random() < 0.6 else ():
            page[y : y + 3, 20 : rng.integers(60, 200)] = 0.08
        shadow(scene, at)
        paste(scene, page, at)
    return scene


def printed(rng: np.random.Generator) -> np.ndarray:
    """A sheet with one or more printed grey squares."""
    scene = table(rng, str(rng.choice(["wood", "cloth", "carpet", "dark", "plain"])))
    page = np.full((420, 300, 3), 0.82)
    for _ in range(rng.integers(1, 3)):
        x, y = rng.integers(20, 120), rng.integers(20, 200)
        page[y : y + rng.integers(80, 200), x : x + rng.integers(80, 160)] = rng.uniform(0.1, 0.4)
    at = rectangle(600, 450, 560, 800, rng.uniform(-20, 20))
    shadow(scene, at)
    paste(scene, page, at)
    return scene


def screens(rng: np.random.Generator) -> np.ndarray:
    """A screen or a framed picture: a grey area with a dark rim."""
    scene = _ground(rng)
    at = rectangle(600, 450, rng.uniform(300, 700), rng.uniform(300, 600), rng.uniform(-25, 25))
    middle = at.mean(axis=0)
    shadow(scene, at)
    paste(scene, np.full(3, rng.uniform(0.01, 0.06)), at)
    inner = middle + rng.uniform(0.82, 0.95) * (at - middle)
    paste(scene, rng.uniform(0.05, 0.4) * np.array([0.95, 1.0, 1.1]), inner)
    return scene


def walls(rng: np.random.Generator) -> np.ndarray:
    """Grey planes that meet: a wall and a table top, tiles, a door."""
    scene = np.full((*SIZE, 3), rng.uniform(0.1, 0.5))
    for _ in range(rng.integers(1, 4)):
        edge = rng.uniform(0.2, 0.8) * SIZE[0]
        low = np.array(
            [[-50, edge], [1300, edge + rng.uniform(-90, 90)], [1300, 1000], [-50, 1000]]
        )
        paste(scene, np.full(3, rng.uniform(0.1, 0.6)), low)
    if rng.random() < 0.5:
        pitch = int(rng.integers(120, 260))
        scene[::pitch] = scene[:, ::pitch] = 0.05
        scene = cv2.GaussianBlur(scene, (0, 0), 1.5)
    return scene * (1 + 0.006 * noise_field(rng, SIZE, (3, 3))[..., None])


def fabrics(rng: np.random.Generator) -> np.ndarray:
    """Grey and coloured knits, weaves and yarn over one another; a grey knitted square."""
    scene = _ground(rng)
    for _ in range(rng.integers(1, 6)):
        at = _place(rng, 200, 700)
        grey = np.full(3, rng.uniform(0.08, 0.5))
        colour = grey if rng.random() < 0.5 else rng.uniform(0.03, 0.6, 3)
        make = knit if rng.random() < 0.5 else yarn
        size = float(rng.uniform(5, 18))
        shadow(scene, at)
        paste(scene, make(rng, colour, 420, 420, size), at)
    return scene


def patchwork(rng: np.random.Generator) -> np.ndarray:
    """A chart's look without its colours: squares in rows, shuffled, mirrored or half a chart."""
    scene = _ground(rng)
    chart = chart_texture()
    which = int(rng.integers(0, 3))
    if which == 0:
        cells = [
            chart[r : r + 40, c : c + 40] for r in range(0, 160, 40) for c in range(0, 240, 40)
        ]
        order = rng.permutation(24)
        rows = [np.hstack([cells[i] for i in order[r : r + 6]]) for r in range(0, 24, 6)]
        chart = np.vstack(rows)
    elif which == 1:
        chart = chart[:, ::-1]
    else:
        keep = int(rng.integers(80, 200))
        chart = chart[:, :keep] if rng.random() < 0.5 else chart[-keep // 2 :]
    at = rectangle(600, 450, 5 * chart.shape[1] / 2, 5 * chart.shape[0] / 2, rng.uniform(-40, 40))
    shadow(scene, at)
    paste(scene, framed(chart, 8), at)
    return scene


def round_things(rng: np.random.Generator) -> np.ndarray:
    """Grey plates, ovals, triangles and bent sheets: flat and grey but not four-sided."""
    scene = _ground(rng)
    for _ in range(rng.integers(1, 4)):
        cover = np.zeros(SIZE, np.uint8)
        centre = (int(rng.uniform(250, 950)), int(rng.uniform(250, 650)))
        axes = (int(rng.uniform(80, 220)), int(rng.uniform(80, 220)))
        if rng.random() < 0.6:
            cv2.ellipse(cover, centre, axes, rng.uniform(0, 90), 0, 360, 255, -1, cv2.LINE_AA)
        else:
            corners = np.array(centre) + rng.uniform(-220, 220, (int(rng.choice([3, 5])), 2))
            cv2.fillConvexPoly(cover, cv2.convexHull(corners.astype(np.int32)), 255, cv2.LINE_AA)
        part = (cover / 255.0)[..., None]
        scene = scene * (1 - part) + part * rng.uniform(0.1, 0.3)
    return scene


def greys(rng: np.random.Generator) -> np.ndarray:
    """Several grey rectangles of about one kind: which one would be the card?"""
    scene = _ground(rng)
    for k in range(int(rng.integers(2, 5))):
        at = rectangle(
            220 + 270 * k, rng.uniform(250, 650), *rng.uniform(120, 220, 2), rng.uniform(-30, 30)
        )
        shadow(scene, at)
        paste(scene, np.full(3, rng.uniform(0.12, 0.25)), at)
    return scene


def shaded(rng: np.random.Generator) -> np.ndarray:
    """Grey things that bend: a can, a folded sheet, a dirty or creased square."""
    scene = _ground(rng)
    at = rectangle(600, 450, rng.uniform(250, 450), rng.uniform(250, 450), rng.uniform(-30, 30))
    t = np.linspace(-1, 1, 200)
    which = int(rng.integers(0, 3))
    if which == 0:
        shade = np.sqrt(1.05 - t**2)[None, :, None]
    elif which == 1:
        shade = (np.where(t < 0, 1.0, 0.8) + 0.1 * t)[None, :, None]
    else:
        shade = np.exp(0.12 * noise_field(rng, (200, 200), (12, 12)))[..., None]
    shadow(scene, at)
    paste(scene, np.full((200, 200, 3), rng.uniform(0.15, 0.3)) * shade, at)
    return scene


KINDS = {
    f.__name__: f
    for f in (
        boxes,
        sheets,
        printed,
        screens,
        walls,
        fabrics,
        patchwork,
        round_things,
        greys,
        shaded,
    )
}


def clutter(kind: str, seed: int) -> np.ndarray:
    """uint8 picture without a reference, of one kind, seen in some light."""
    rng = np.random.default_rng([seed, sorted(KINDS).index(kind)])
    scene = KINDS[kind](rng)
    shot = Shot(
        exposure=float(rng.uniform(0.5, 1.1)),
        tint=tuple(np.exp(rng.normal(0, 0.08, 3))),
        gradient=tuple(rng.normal(0, 0.2, 2)),
        blur=float(rng.uniform(0.5, 1.5)),
        noise=float(rng.uniform(0.002, 0.01)),
        tilt=tuple(rng.uniform(-0.05, 0.05, 2)),
        seed=seed,
    )
    return photograph(scene, shot)
