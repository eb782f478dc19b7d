"""The third renderer's camera: three Gaussian filters, white balance, noise, a bent curve, JPEG."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass

import cv2
import numpy as np

from ingest.colour import linear_to_srgb
from ingest.model import Array
from tests.tonality.third_dyes import BANDS_NM, Floats, bands_to_rgb, bump
from tests.tonality.third_noise import F
from tests.tonality.third_recipes import sample

#: Share of a filter that lets all three colours through, at most; our own.
LEAK = 0.03
#: Brightest light, relative to the sensor's full, that an exposure is chosen for, and the share of
#: pixels that may be brighter.
FULL, BRIGHTER = 0.97, 0.003


@dataclass(frozen=True)
class Camera:
    """``kelvin``: daylight, or None for a white diode of a blue part ``diode[0]`` and a yellow
    peak at ``diode[1]`` nm. ``peaks_nm``, ``widths_nm``: of the filters red, green, blue, and
    ``leak``, 0..1, of :data:`LEAK`. ``balance``: ln error of each colour. ``blur_px``; ``veil``:
    stray light; ``exposure``: factor on light relative to white, at most; ``lift``: how much more
    yarn too dark to fill the sensor is given. ``shot``, ``read``: variance of noise per signal,
    and standard deviation without any; ``coarse``: whether it is blurred. ``bend``: of the tone
    curve. ``sharpen``: strength. ``quality``: of the JPEG."""

    px_per_mm: float
    kelvin: float | None
    diode: tuple[float, float]
    peaks_nm: tuple[float, float, float]
    widths_nm: tuple[float, float, float]
    leak: float
    balance: tuple[float, float, float]
    blur_px: float
    veil: float
    exposure: float
    lift: float
    shot: float
    read: float
    coarse: bool
    bend: float
    sharpen: float
    quality: int


def scene_light(camera: Camera) -> Floats:
    """(b,) relative power of the light that the photo was taken in."""
    if camera.kelvin is None:
        blue, yellow = camera.diode
        return np.asarray(blue * bump(452, 12, 14) + bump(yellow, 58, 72) + 0.02)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about packages that it can live without
        import colour
    xy = colour.temperature.CCT_to_xy_CIE_D(camera.kelvin)
    light = colour.sd_CIE_illuminant_D_series(xy)
    return np.array([light[float(nm)] for nm in BANDS_NM]) / 100.0


def bands_to_raw(camera: Camera) -> Floats:
    """(b, 3) sensor signal of light in each band; all bands of a white together are 1."""
    peaks, widths = np.array(camera.peaks_nm), np.array(camera.widths_nm)
    filters = np.exp(-0.5 * ((BANDS_NM[:, None] - peaks) / widths) ** 2)
    filters += LEAK * camera.leak * filters.sum(axis=1, keepdims=True)
    raw = filters * scene_light(camera)[:, None]
    return np.asarray(raw / raw.sum(axis=0))


def raw_to_rgb(raw: Floats) -> Floats:
    """(3, 3) from signal to linear sRGB, fitted to dyed wool and white; white stays white."""
    back = sample()
    want = back @ bands_to_rgb()
    weight = 1.0 / np.sqrt(0.05 + want.mean(axis=1))[:, None]
    matrix = np.linalg.lstsq(back @ raw * weight, want * weight, rcond=None)[0].T
    return np.asarray(matrix / matrix.sum(axis=1, keepdims=True))


def photograph(
    rng: np.random.Generator, signal: Array, matrix: Floats, camera: Camera
) -> tuple[bytes, float]:
    """The JPEG of a sensor's signal (h, w, 3), 1 for white, and its exposure: the factor on light
    relative to white, held low enough that next to nothing clips."""
    from PIL import Image

    linear = cv2.GaussianBlur(signal, (0, 0), camera.blur_px) + F(camera.veil)
    linear = cv2.transform(linear * np.exp(camera.balance).astype(F), matrix.astype(F))
    peak = float(np.quantile(linear[::3, ::3].max(axis=2), 1.0 - BRIGHTER))
    exposure = min(camera.exposure, FULL / max(peak, 1e-3))
    if peak < 0.25:
        exposure *= camera.lift
    linear = np.maximum(linear * F(exposure), 0.0)
    noise = rng.standard_normal(linear.shape, dtype=F)
    if camera.coarse:
        noise = cv2.GaussianBlur(noise, (0, 0), 0.6) * F(1.9)
    linear = linear + noise * np.sqrt(F(camera.shot) * linear + F(camera.read**2))
    coded = linear_to_srgb(np.clip(linear, 0.0, 1.0)).astype(F)
    coded = coded + F(camera.bend) * np.sin(F(2.0 * np.pi) * coded)
    if camera.sharpen:
        coded = coded + F(camera.sharpen) * (coded - cv2.GaussianBlur(coded, (0, 0), 1.0))
    stored = io.BytesIO()
    picture = np.rint(np.clip(coded, 0.0, 1.0) * 255.0).astype(np.uint8)
    Image.fromarray(picture).save(stored, "JPEG", quality=camera.quality)
    return stored.getvalue(), exposure
