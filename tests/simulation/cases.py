"""Sets of frames, and the flat tables of single colours and of pairs that they give.

One set is a studio: its references, a phone, a light, and four photos: the first, one more with
settings locked, one with settings free, and one with another phone or light. Cameras and lights
go round, so that each comes equally often.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.measure import ZERO_SHARE
from tests.render import camera, spectra
from tests.render.camera import Shot
from tests.simulation import frame
from tests.simulation.colourways import Bank, distance_at, make_bank
from tests.simulation.frame import Kit, Taken

CLASSES = ("same frame", "locked set-up", "same set-up", "other")
#: Tolerance and kL of each lot; the first lot is the difference of 1 at kL = 1.
TOLERANCES = np.array([np.nan, 1.0, 2.0, 3.0, 1.0, 2.0, 3.0])
K_L = np.array([1.0, 1.0, 1.0, 1.0, 2.0, 2.0, 2.0])
#: Masters of the main and of the dark bank in one set.
MASTERS = (12, 4)
OTHER_LIGHTS = tuple(n for n in spectra.LIGHTS if n not in spectra.DAYLIGHTS)
#: Distance of the middles of two swatches that lie side by side, in widths of the picture.
SIDE_BY_SIDE = (0.15, 0.2)
#: A phone meters so that white paper is seldom clipped: white lies at 0.64 to 0.85 of the top.
METERED = 0.85
#: Standard deviation of where a swatch lies the next time, in widths of the picture.
LAID_AGAIN = {"locked set-up": 0.05, "same set-up": 0.1}

Table = dict[str, np.ndarray]


@dataclass(frozen=True, eq=False)
class Cases:
    """``colours``: one row a swatch, frame and reference. ``pairs``: one row a master and lot."""

    colours: Table
    pairs: Table


def simulate(seed: int, family: int, sets: int) -> Cases:
    """Photograph ``sets`` sets in daylight and as many in other light, with the dyes ``family``.

    Columns of both tables: ``set``, ``kind`` and ``column`` (indices of the reference asked for
    and as the correction counts it), ``daylight``, ``camera``, ``light``, ``dark``. Of colours:
    ``yarn`` (not a published sample), ``true``, ``lab``, ``xyz``, ``reading_sd``, ``value_sd``,
    ``raw``, ``stop`` (no verdict is given on it). Of pairs: ``capture``, ``tolerance``, ``k_l``,
    ``distance``, the Lab values ``true_m``, ``true_l``, ``lab_m``, ``lab_l``, and ``stop``,
    ``bar`` (no verdict is given; no "within", on either side), ``misfit`` (of a reference).
    """
    colours: list[Table] = []
    pairs: list[Table] = []
    for number in range(2 * sets):
        daylight = number % 2 == 0
        rng = np.random.default_rng([seed, family, number])
        more_colours, more_pairs = _one_set(rng, family, number, daylight)
        colours += more_colours
        pairs += more_pairs
    return Cases(_joined(colours), _joined(pairs))


def _joined(rows: Sequence[Table]) -> Table:
    return {key: np.concatenate([r[key] for r in rows]) for key in rows[0]}


def _shots(rng: np.random.Generator, number: int, daylight: bool) -> dict[str, Shot]:
    half = number // 2
    lights = spectra.DAYLIGHTS if daylight else OTHER_LIGHTS
    cameras = camera.CAMERAS
    first = camera.random_shot(
        rng, (cameras[half % len(cameras)],), (lights[half // len(cameras) % len(lights)],)
    )
    elsewhere = camera.random_shot(rng, lights=lights if daylight else spectra.LIGHTS)
    while (elsewhere.camera, elsewhere.light) == (first.camera, first.light):
        elsewhere = camera.random_shot(rng, lights=lights if daylight else spectra.LIGHTS)
    shots = {
        "same frame": first,
        "locked set-up": camera.reshoot(rng, first, locked=True),
        "same set-up": camera.reshoot(rng, first),
        "other": elsewhere,
    }
    return {name: shot.with_(exposure=METERED * shot.exposure) for name, shot in shots.items()}


def _one_set(
    rng: np.random.Generator, family: int, number: int, daylight: bool
) -> tuple[list[Table], list[Table]]:
    count = sum(MASTERS)
    asked = rng.uniform(0.0, 1.0, (count, K_L.size)) * np.nan_to_num(3.0 * TOLERANCES, nan=1.0)
    asked[:, 0] = 1.0
    bank = make_bank(rng, family, MASTERS, asked, K_L)
    kit, shots = frame.make_kit(rng), _shots(rng, number, daylight)
    places = rng.uniform(0.2, 0.8, (count, 2))
    first = _first_frame(rng, kit, shots["same frame"], bank, places)
    about = {"set": number, "daylight": daylight}
    colours = _colour_rows(rng, bank, kit, shots["same frame"], first, about)
    pairs = []
    for capture, shot in shots.items():
        used = frame.make_kit(rng) if capture == "other" else kit
        lots = first
        if capture != "same frame":
            near = places + rng.normal(0, LAID_AGAIN.get(capture, 0.2), places.shape)
            lots = frame.take(rng, used, shot, *_flat_lots(bank, np.clip(near, 0.1, 0.9)))
        for kind in (k for k in frame.KINDS if k in first and k in lots):
            pair_about = {**about, "capture": CLASSES.index(capture)}
            pairs.append(_pair_rows(bank, kind, first[kind], lots[kind], pair_about, shots))
    return colours, pairs


def _flat_lots(bank: Bank, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    lots = np.nan_to_num(bank.lots, nan=0.5)
    return lots.reshape(-1, lots.shape[-1]), np.repeat(places, lots.shape[1], axis=0)


def _first_frame(
    rng: np.random.Generator, kit: Kit, shot: Shot, bank: Bank, places: np.ndarray
) -> dict[str, Taken]:
    """Published samples, masters, and every master's lots beside it."""
    lots, near = _flat_lots(bank, places)
    angle = rng.uniform(0, 2 * np.pi, len(near))
    away = rng.uniform(*SIDE_BY_SIDE, len(near))
    near = np.clip(near + away[:, None] * np.stack([np.cos(angle), np.sin(angle)], -1), 0.05, 0.95)
    anywhere = rng.uniform(0.1, 0.9, (len(bank.published), 2))
    swatches = np.concatenate([bank.published, bank.masters, lots])
    return frame.take(rng, kit, shot, swatches, np.concatenate([anywhere, places, near]))


def _colour_rows(
    rng: np.random.Generator,
    bank: Bank,
    kit: Kit,
    shot: Shot,
    first: dict[str, Taken],
    about: dict[str, object],
) -> list[Table]:
    swatches = np.concatenate([bank.published, bank.masters])
    dark = np.concatenate([np.zeros(len(bank.published), bool), bank.dark])
    truth = spectra.lab(swatches)
    anywhere = rng.uniform(0.1, 0.9, (len(swatches), 2))
    raw = frame.take(rng, kit, shot, swatches, anywhere, ("chart",), raw=True)
    found = [(k, t, False) for k, t in first.items()] + [(k, t, True) for k, t in raw.items()]
    n = len(swatches)
    return [
        _broadcast(
            n,
            **about,
            **_who(kind, taken.column, shot),
            dark=dark,
            yarn=np.arange(n) >= len(bank.published),
            true=truth,
            lab=taken.lab[:n],
            xyz=taken.xyz[:n],
            reading_sd=taken.reading_sd,
            value_sd=taken.value_sd,
            raw=is_raw,
            stop=taken.stopped[:n],
        )
        for kind, taken, is_raw in found
    ]


def _who(kind: str, column: str, shot: Shot) -> dict[str, object]:
    return {
        "kind": frame.KINDS.index(kind),
        "column": frame.KINDS.index(column),
        "camera": camera.CAMERAS.index(shot.camera),
        "light": spectra.LIGHTS.index(shot.light),
    }


def _pair_rows(
    bank: Bank,
    kind: str,
    first: Taken,
    other: Taken,
    about: dict[str, object],
    shots: dict[str, Shot],
) -> Table:
    m, k = bank.lots.shape[:2]
    at = len(bank.published)
    mine = np.repeat(np.arange(at, at + m), k)
    theirs = np.arange(m * k) + (at + m if other is first else 0)
    true_m = np.repeat(spectra.lab(bank.masters), k, axis=0)
    true_l = spectra.lab(np.nan_to_num(bank.lots.reshape(m * k, -1), nan=0.5))
    k_l = np.tile(K_L, m)
    worse = min((first.column, other.column), key=frame.KINDS.index)
    rows = _broadcast(
        m * k,
        **about,
        **_who(kind, worse, shots["same frame"]),
        dark=np.repeat(bank.dark, k),
        tolerance=np.tile(TOLERANCES, m),
        k_l=k_l,
        distance=distance_at(true_m, true_l, k_l),
        true_m=true_m,
        true_l=true_l,
        lab_m=first.lab[mine],
        lab_l=other.lab[theirs],
        stop=first.stopped[mine]
        | other.stopped[theirs]
        | first.shaded
        | (other is not first and (first.alone or other.alone)),
        misfit=first.misfit or other.misfit,
        bar=np.maximum(first.zero[mine], other.zero[theirs]) >= ZERO_SHARE,
    )
    made = np.isfinite(bank.lots[..., 0]).ravel()
    return {key: values[made] for key, values in rows.items()}


def _broadcast(n: int, **columns: object) -> Table:
    arrays = {key: np.asarray(v) for key, v in columns.items()}
    return {
        k: np.broadcast_to(a, (n, *a.shape[1:])) if a.ndim else np.full(n, a)
        for k, a in arrays.items()
    }
