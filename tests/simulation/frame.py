"""One photo of references, paper and many swatches, and what the real correction makes of it.

References and their paper are a small picture that `ingest.correct.correct` reads as any photo.
Swatches are tiles of pixels developed with the same shot at places of the picture that are
given: so one frame can hold hundreds without being large.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from ingest.colour import SRGB_TO_XYZ, srgb_to_linear, xyz_to_lab
from ingest.correct import correct
from ingest.correction import Correction
from ingest.errors import IngestError
from ingest.flags import CLIPPED_BEYOND_USE, FLAGS_THAT_STOP_A_VERDICT
from ingest.locate import chart_reference
from ingest.model import Array, Encoding, Photo, Polygon, Reference, Settings
from ingest.reading import clip_code, zero_code
from swatchvault.difference import STOPPING_APART, curve_in_shadow
from swatchvault.pairdoubt import MISFIT
from tests.render import camera, spectra
from tests.render.camera import Shot

KINDS = ("card", "steps", "chart")
#: Height and width of the picture, pixels.
SHAPE = (150, 200)
#: Boxes x0, y0, x1, y1: chart with its frame, six steps, card, and the yarn's place.
CHART_BOX, STEPS_BOX, CARD_BOX, YARN_BOX = (
    (28, 18, 100, 66),
    (28, 76, 100, 88),
    (112, 18, 132, 38),
    (112, 50, 168, 106),
)
#: Pixels of one swatch's tile, and of the mean whose noise it is given.
TILE, NOISE_OF = 144, 2000
#: Standard deviation of ln light between pixels of a swatch: strand and gap.
TEXTURE_SD = 0.2


@dataclass(frozen=True, eq=False)
class Kit:
    """The physical references of one studio. ``chart_lab_d50`` None: the published values."""

    card: np.ndarray
    steps: np.ndarray
    chart: np.ndarray
    chart_lab_d50: np.ndarray | None
    paper: np.ndarray


@dataclass(frozen=True, eq=False)
class Taken:
    """What one reference makes of one frame's swatches.

    ``lab``: (n, 3). ``xyz``: (n, 3). ``clipped``, ``zero``: (n,) shares of pixels. ``column``:
    "card", "steps" or "chart" as the correction itself says.
    """

    lab: np.ndarray
    xyz: np.ndarray
    clipped: np.ndarray
    zero: np.ndarray
    column: str
    reading_sd: float
    value_sd: float
    flags: frozenset[str]

    @property
    def alone(self) -> bool:
        """Whether the frame is held to no other one, for its reference is shaded or misfits."""
        return bool(self.flags & STOPPING_APART)

    @property
    def misfit(self) -> bool:
        """Whether the reference does not fit its own curve."""
        return MISFIT in self.flags

    @property
    def shaded(self) -> bool:
        """Whether a shadow's edge bends the curve, so that no two of the frame are compared."""
        return curve_in_shadow(self.flags, self.column)

    @property
    def stopped(self) -> np.ndarray:
        """(n,) whether no verdict is given on a swatch."""
        return (self.clipped >= CLIPPED_BEYOND_USE) | bool(self.flags & FLAGS_THAT_STOP_A_VERDICT)


def make_kit(rng: np.random.Generator) -> Kit:
    """References as bought: all but flat greys, one of two charts, paper.

    The charts are the published reflectances: one is held to a published table, as most are,
    the other to its own measured colours.
    """
    slope = float(rng.uniform(-0.02, 0.02))
    measured = bool(rng.random() < 0.5)
    chart = spectra.chart("ohta" if measured else "average")
    return Kit(
        spectra.grey_card(0.18, slope),
        spectra.neutral_steps(spectra.STEPS_Y, slope),
        chart,
        spectra.lab(chart, "D50") if measured else None,
        spectra.neutral(float(rng.uniform(0.6, 0.8)), float(rng.uniform(-0.05, 0.05))),
    )


def _polygon(box: Sequence[float]) -> Polygon:
    x0, y0, x1, y1 = box
    h, w = SHAPE
    return tuple((x / w, y / h) for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1)))


def _steps_boxes() -> list[tuple[float, float, float, float]]:
    x0, y0, x1, y1 = STEPS_BOX
    side = (x1 - x0) / 6
    return [(x0 + i * side, y0, x0 + (i + 1) * side, y1) for i in range(6)]


def references(kit: Kit) -> dict[str, Reference]:
    """The three references at their places."""
    if kit.chart_lab_d50 is None:
        chart = chart_reference(_polygon(CHART_BOX), edition="before-2014-11")
    else:
        values = tuple((float(a), float(b), float(c)) for a, b, c in kit.chart_lab_d50)
        chart = chart_reference(_polygon(CHART_BOX), lab_d50=values)
    return {
        "card": Reference("card", (_polygon(CARD_BOX),), y=(0.18,)),
        "steps": Reference("steps", tuple(map(_polygon, _steps_boxes())), y=spectra.STEPS_Y),
        "chart": chart,
    }


@cache
def _material_map() -> np.ndarray:
    """(h, w) index of the material: 0 paper, 1 card, 2..7 steps, 8..31 chart, 32 dark frame."""
    out = np.zeros(SHAPE, dtype=int)
    x0, y0, x1, y1 = CARD_BOX
    out[y0:y1, x0:x1] = 1
    for i, box in enumerate(_steps_boxes()):
        x0, y0, x1, y1 = (round(v) for v in box)
        out[y0:y1, x0:x1] = 2 + i
    x0, y0, x1, y1 = YARN_BOX
    out[y0:y1, x0:x1] = 32
    x0, y0, x1, y1 = CHART_BOX
    out[y0 - 2 : y1 + 2, x0 - 2 : x1 + 2] = 32
    for i in range(24):
        row, column = divmod(i, 6)
        x, y = x0 + 12 * column, y0 + 12 * row
        out[y + 1 : y + 11, x + 1 : x + 11] = 8 + i
    return out


@cache
def _encoding(raw: bool) -> Encoding:
    if raw:
        column = np.linspace(0.0, 1.0, 65536, dtype=np.float32)
        return Encoding("linear", np.repeat(column[:, None], 3, axis=1), SRGB_TO_XYZ)
    column = srgb_to_linear(np.arange(256) / 255.0).astype(np.float32)
    return Encoding("sRGB", np.repeat(column[:, None], 3, axis=1), SRGB_TO_XYZ)


def _developed(signal: np.ndarray, shot: Shot, raw: bool) -> Array:
    """Codes of a sensor signal: as a phone's 8-bit file, or 16-bit linear light."""
    if not raw:
        return camera.quantise(camera.develop(signal, shot))
    linear = np.clip(np.minimum(signal, 1.0) @ shot.matrix.T, 0.0, 1.0)
    return (linear * 65535.0 + 0.5).astype(np.uint16)


def _signal(rng: np.random.Generator, raw: np.ndarray, light: np.ndarray, shot: Shot) -> np.ndarray:
    signal = shot.exposure * (light[..., None] * raw + shot.veil)
    return camera.add_noise(rng, signal, shot)


def photo_of(rng: np.random.Generator, kit: Kit, shot: Shot, raw: bool) -> Photo:
    """The picture of references and paper."""
    materials = np.concatenate(
        [[kit.paper, kit.card], kit.steps, kit.chart, [spectra.neutral(0.04)]]
    )
    rgb = camera.raw_rgb(materials, shot.light, shot.camera, shot.wb_error)[_material_map()]
    h, w = SHAPE
    places = np.stack(np.meshgrid((np.arange(w) + 0.5) / w, (np.arange(h) + 0.5) / h), axis=-1)
    # A patch of about 100 pixels here stands for NOISE_OF in a real picture.
    signal = _signal(rng, rgb, camera.light_field(shot, places), shot.with_(pixels=NOISE_OF // 100))
    return Photo("made", "0" * 64, _developed(signal, shot, raw), _encoding(raw), "PNG")


def tiles_of(
    rng: np.random.Generator, swatches: np.ndarray, places: np.ndarray, shot: Shot, raw: bool
) -> Array:
    """Codes (n, TILE, 3) of swatches (n, 81) at places (n, 2); texture has a mean of exactly 1."""
    rgb = camera.raw_rgb(swatches, shot.light, shot.camera, shot.wb_error)
    from scipy.special import ndtri

    texture = np.exp(TEXTURE_SD * ndtri((np.arange(TILE) + 0.5) / TILE))
    texture /= texture.mean()
    light = camera.light_field(shot, places)[:, None] * texture
    signal = _signal(rng, rgb[:, None, :], light, shot.with_(pixels=NOISE_OF // TILE))
    return _developed(signal, shot, raw)


def take(
    rng: np.random.Generator,
    kit: Kit,
    shot: Shot,
    swatches: np.ndarray,
    places: np.ndarray,
    kinds: Sequence[str] = KINDS,
    raw: bool = False,
) -> dict[str, Taken]:
    """Photograph swatches (n, 81) at places (n, 2) and correct by each reference alone.

    A reference that the correction refuses (clipped beyond use) is left out of the answer.
    """
    photo = photo_of(rng, kit, shot, raw)
    tiles = tiles_of(rng, swatches, places, shot, raw)
    refs = references(kit)
    outlines = {
        "card": (_polygon(CARD_BOX),),
        "steps": (_polygon(STEPS_BOX),),
        "chart": (_polygon(CHART_BOX),),
    }
    out = {}
    for kind in kinds:
        others = [p for k, ps in outlines.items() if k != kind for p in ps]
        try:
            made = correct(photo, [refs[kind]], Settings(), (*others, _polygon(YARN_BOX)))
        except IngestError:
            continue
        out[kind] = _measured(made, tiles, places)
    return out


def _measured(made: Correction, tiles: Array, places: np.ndarray) -> Taken:
    """As `ingest.measure` takes them: mean corrected light, field divided out, then colours."""
    mean = made.linear(tiles).mean(axis=1, dtype=float) / made.light_at(places)[:, None]
    xyz = made.xyz(mean)
    return Taken(
        xyz_to_lab(xyz),
        xyz,
        (tiles.max(axis=-1) >= clip_code(tiles)).mean(axis=-1),
        (tiles.min(axis=-1) <= zero_code(_encoding(tiles.dtype == np.uint16))).mean(axis=-1),
        made.reference,
        made.reading_sd,
        made.value_sd,
        made.flags,
    )
