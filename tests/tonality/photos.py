"""From a case to a small JPEG of yarn and the truth that no camera sees."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import numpy as np

from ingest.colour import SRGB_TO_XYZ, delta_e_2000, linear_to_srgb, srgb_to_linear, xyz_to_lab
from ingest.evenness_doubt import Ends
from tests.render.camera import Shot
from tests.render.dye import Dyeing, camera_table, look_up, smooth_field, xyz_table
from tests.render.yarn import Piece, make_piece
from tests.tonality.draws import Case

#: Yarn drawn beyond the region on every side, so that no end or edge is in it, mm.
MARGIN = {"wound card": 3.0, "skein": 14.0, "knit": 8.0}
#: Side of a block, and by what the start of the blocks is moved, down and across, mm.
BLOCK_MM, STARTS_MM = 5.0, (-1.875, -0.625, 0.625, 1.875)
#: The highest code at zero of an 8-bit sRGB file.
_ZERO = 1
_TO_LIGHT = srgb_to_linear(np.arange(256) / 255.0).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Seen:
    """A photo of yarn. ``jpeg``: the file. ``truth``: figures of the dye itself."""

    jpeg: bytes
    mm_per_px: float
    exposure: float
    truth: dict[str, float]

    @property
    def linear(self) -> np.ndarray:
        """(h, w, 3) float32 linear sRGB relative to a white in the same light."""
        return _TO_LIGHT[self.coded] / np.float32(self.exposure)

    @property
    def ends(self) -> Ends:
        """Pixels with a channel at zero; those at the top are told by the picture alone."""
        darkest = self.coded.min(axis=2)
        return Ends(zero=float((darkest <= _ZERO).mean()))

    @property
    def coded(self) -> np.ndarray:
        """(h, w, 3) uint8 of the file."""
        from PIL import Image

        return np.asarray(Image.open(io.BytesIO(self.jpeg)))


def to_xyz(rgb: np.ndarray) -> np.ndarray:
    """XYZ of linear sRGB (..., 3)."""
    return np.asarray(rgb, dtype=float) @ SRGB_TO_XYZ.T


def render(case: Case) -> Seen:
    """The photo of a case; the same case gives the same bytes."""
    piece, part = _piece(case, case.lamp)
    rng = np.random.default_rng([case.seed, 99])
    light = _large_light(rng, case, piece.shade.shape)
    shot = Shot(
        exposure=case.exposure, veil=case.veil, wb_error=case.wb_error, full_well=case.full_well
    )
    linear = _lit(piece, case, shot, light)
    if case.tint:
        other, _ = _piece(case, case.lamp.turned(180.0))
        tint = np.exp(0.5 * case.tint * np.array([1.0, 0.0, -1.0], np.float32))
        linear = 0.5 * (linear * tint + _lit(other, case, shot, light) / tint)
    jpeg = _photograph(rng, linear[part] + np.float32(case.veil), case, shot)
    return Seen(jpeg, 1.0 / case.px_per_mm, case.exposure, truth_of(piece, part, case))


def _piece(case: Case, lamp: object) -> tuple[Piece, tuple[slice, slice]]:
    margin = MARGIN[case.form] + (case.yarn.diameter_mm if case.form != "wound card" else 0.0)
    size = (case.size_mm[0] + 2 * margin, case.size_mm[1] + 2 * margin)
    piece = make_piece(case.seed, case.form, size, case.yarn, case.dyeing, lamp, case.px_per_mm)
    edge = round(margin * case.px_per_mm)
    return piece, (slice(edge, -edge), slice(edge, -edge))


def _large_light(rng: np.random.Generator, case: Case, shape: tuple[int, int]) -> np.ndarray:
    """(h, w) light over folds and from one side, mean about 1."""
    h, w = shape
    ln = np.zeros(shape, np.float32)
    if case.fold:
        sigma = case.fold_mm * case.px_per_mm / 2.5
        ln += case.fold * smooth_field(rng, shape, sigma).astype(np.float32)
    angle = rng.uniform(0.0, 2.0 * np.pi)
    x, y = np.linspace(-0.5, 0.5, w)[None, :], np.linspace(-0.5, 0.5, h)[:, None]
    fall = 1.0 + case.fall * (np.cos(angle) * x + np.sin(angle) * y)
    return (np.exp(ln) * fall).astype(np.float32)


def _lit(piece: Piece, case: Case, shot: Shot, light: np.ndarray) -> np.ndarray:
    """Sensor signal: light once reflected, and light that met the yarn before."""
    dye = case.dyeing
    # The light that folds take away comes back in part from the yarn around, as in the gaps.
    shade = 0.95 * np.maximum(piece.shade / 0.95, 1e-3) ** np.float32(case.deep) * light
    bounce = case.lamp.bounce * np.clip(0.95 - shade, 0.0, 1.0) * piece.alpha
    once = look_up(camera_table(dye, shot), dye, piece.t, piece.ln_f)
    twice = look_up(camera_table(dye, shot, bounces=1), dye, piece.t, piece.ln_f)
    return once * shade[..., None] + twice * bounce[..., None]


def _photograph(rng: np.random.Generator, linear: np.ndarray, case: Case, shot: Shot) -> bytes:
    """The developed JPEG."""
    import cv2
    from PIL import Image

    signal = cv2.GaussianBlur(linear, (0, 0), case.blur_px) * np.float32(shot.exposure)
    sd = np.sqrt(np.maximum(signal, 0.0) / shot.full_well + 0.002**2)
    signal = signal + sd * rng.standard_normal(signal.shape, dtype=np.float32)
    rgb = cv2.transform(np.minimum(signal, 1.0).astype(np.float32), shot.matrix)
    coded = linear_to_srgb(np.clip(rgb, 0.0, 1.0))
    coded = coded - case.tone * np.sin(2.0 * np.pi * coded) / (2.0 * np.pi)
    stored = io.BytesIO()
    image = Image.fromarray((np.clip(coded, 0.0, 1.0) * 255.0 + 0.5).astype(np.uint8))
    image.save(stored, "JPEG", quality=case.quality)
    return stored.getvalue()


def truth_of(piece: Piece, part: tuple[slice, slice], case: Case) -> dict[str, float]:
    """Unevenness of the dye alone, by 5 mm blocks of the flat, evenly lit yarn.

    Of one grid of blocks the figure of dotted yarn moves by 0.2 with where it starts, which is no
    property of the yarn; so it is the mean over starts, blocks at the edge reaching half of one
    into the yarn around the region. ``one_grid``: of blocks within the region alone.
    """
    dye = case.dyeing
    xyz = look_up(xyz_table(dye), dye, piece.t, piece.ln_f)
    cover = (piece.alpha > 0.99).astype(np.float32)
    blocks = Blocks(xyz, cover, part, case.px_per_mm)
    starts = [(down, across) for down in STARTS_MM for across in STARTS_MM]
    found = {
        "unevenness": float(np.mean([blocks.unevenness(*start) for start in starts])),
        "one_grid": block_unevenness(xyz[part], cover[part], case.px_per_mm),
        "cell_unevenness": cell_unevenness(xyz[part], cover[part], case.px_per_mm),
    }
    crest, rim = crest_and_rim(dye, dye.core_halo)
    found["core_halo"] = float(delta_e_2000(crest, rim))
    for name, value in zip("Lab", rim - crest, strict=True):
        found[f"core_halo_{name}"] = float(value)
    return found


def crest_and_rim(dyeing: Dyeing, core_halo: float) -> np.ndarray:
    """(2, 3) Lab of a strand's crest and rim, for ln depth of the rim over the crest."""
    shares = np.array([[-1.0 / 3.0, 2.0 / 3.0]])
    return xyz_to_lab(
        look_up(xyz_table(dyeing), dyeing, np.zeros(shares.shape), core_halo * shares)
    )[0]


def block_unevenness(xyz: np.ndarray, weight: np.ndarray, px_per_mm: float) -> float:
    """Mean ΔE00 of 5 mm blocks from their mean, by sums of its own, not the measure's."""
    whole = (slice(0, weight.shape[0]), slice(0, weight.shape[1]))
    return Blocks(xyz, weight, whole, px_per_mm).unevenness(0.0, 0.0)


class Blocks:
    """Blocks of 5 mm, one beside the other, of a part of a piece.

    ``xyz``: (h, w, 3) of the piece; ``weight``: (h, w), 1 where it is yarn.
    """

    def __init__(
        self,
        xyz: np.ndarray,
        weight: np.ndarray,
        part: tuple[slice, slice],
        px_per_mm: float,
    ) -> None:
        import cv2

        sigma, edge = 0.29 * BLOCK_MM * px_per_mm, {"borderType": cv2.BORDER_CONSTANT}
        self.px_per_mm = px_per_mm
        self.spread = cv2.GaussianBlur(weight, (0, 0), sigma, **edge)
        self.light = cv2.GaussianBlur(xyz * weight[..., None], (0, 0), sigma, **edge)
        self.centres = []
        for side, n in zip(part, weight.shape, strict=True):
            first, last, _ = side.indices(n)
            half, end = BLOCK_MM / 2.0, (last - first) / px_per_mm - BLOCK_MM / 2.0
            self.centres.append(first + np.arange(half, end + 1e-6, BLOCK_MM) * px_per_mm - 0.5)

    def unevenness(self, down_mm: float, across_mm: float) -> float:
        """Mean ΔE00 of the blocks from their mean, where all of them are moved by so much."""
        places = (
            np.clip(np.rint(c + moved * self.px_per_mm).astype(int), 0, n - 1)
            for c, moved, n in zip(
                self.centres, (down_mm, across_mm), self.spread.shape, strict=True
            )
        )
        grid = np.ix_(*places)
        blocks = self.light[grid] / np.maximum(self.spread[grid], 1e-6)[..., None]
        labs = xyz_to_lab(blocks.reshape(-1, 3))
        middle = xyz_to_lab(blocks.reshape(-1, 3).mean(axis=0))
        return float(delta_e_2000(middle, labs).mean())


def cell_unevenness(xyz: np.ndarray, weight: np.ndarray, px_per_mm: float) -> float:
    """Mean ΔE00 of 1 mm squares from their mean, squares that are mostly yarn."""
    side = round(px_per_mm)
    rows, columns = (n // side for n in weight.shape)
    cut = np.s_[: rows * side, : columns * side]
    shape = (rows, side, columns, side)
    full = weight[cut].reshape(shape).sum(axis=(1, 3))
    light = (xyz[cut] * weight[cut][..., None]).reshape(*shape, 3).sum(axis=(1, 3))
    squares = light[full > 0.5 * side * side] / full[full > 0.5 * side * side][:, None]
    return float(delta_e_2000(xyz_to_lab(squares.mean(axis=0)), xyz_to_lab(squares)).mean())


def without_structure(case: Case) -> Case:
    """The same dye in even light on yarn that casts no shadow: what a flat print would show."""
    return replace(case, lamp=replace(case.lamp, key=0.0, bounce=0.0), fold=0.0, fall=0.0)
