"""Cameras: from reflectance and light to the numbers in a phone's file.

The chain is that of any camera: sensor signal, white balance, veil and noise, exposure, a 3x3 to
linear sRGB fitted under daylight, clipping, a tone curve, the sRGB curve, 8 bits. Signals are
relative to the perfect reflector in the same light, which is 1 in every channel when the white
balance is right.

Two cameras are measured ones (colour-science: the National Physical Laboratory's sensitivities of
one Bayer and one stacked sensor); five are phone-like and made of numbers of our own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from ingest.colour import SRGB_TO_XYZ, linear_to_srgb, srgb_to_linear
from tests.render import spectra

WL = spectra.WAVELENGTHS

#: White of the printed sRGB matrix: what linear 1, 1, 1 is in XYZ.
SRGB_WHITE_XYZ = SRGB_TO_XYZ.sum(axis=1)

_MEASURED = {"measured bayer": "Nikon 5100 (NPL)", "measured stacked": "Sigma SDMerill (NPL)"}

# Gaussian channels: (peak nm, width below, width above) of red, green, blue, then a side lobe of
# red in the blue (peak, width, height). Our own numbers, in the range of published phone sensors.
_GAUSSIAN = {
    "phone narrow": (((604, 26, 34), (534, 36, 38), (462, 24, 26)), (445, 20, 0.03)),
    "phone wide": (((598, 42, 40), (532, 46, 46), (458, 32, 34)), (450, 24, 0.06)),
    "phone long red": (((614, 34, 44), (528, 34, 42), (466, 22, 30)), (440, 16, 0.02)),
}
# Mixes of the observer's own curves (rows: red, green, blue of x, y, z bars), so nearly without
# metameric error, then bent by an infrared filter. Our own numbers.
_OBSERVER_MIX = {
    "phone observer": ((1.25, -0.15, -0.12), (-0.45, 1.35, 0.08), (0.03, -0.05, 1.0)),
    "phone observer bent": ((1.0, 0.15, -0.05), (-0.25, 1.2, 0.15), (0.08, 0.05, 0.9)),
}

CAMERAS = (*_MEASURED, *_GAUSSIAN, *_OBSERVER_MIX)
PHONES = (*_GAUSSIAN, *_OBSERVER_MIX)


def _filter(cut_nm: float = 690.0, width: float = 12.0) -> np.ndarray:
    """Ultraviolet and infrared filter of a phone: two soft edges."""
    low = 1.0 / (1.0 + np.exp(-(WL - 405.0) / 6.0))
    return low / (1.0 + np.exp((WL - cut_nm) / width))


@cache
def sensitivities(camera: str) -> np.ndarray:
    """(81, 3) relative sensitivities of a camera of :data:`CAMERAS`, never negative."""
    if camera in _MEASURED:
        msds = spectra._colour().MSDS_CAMERA_SENSITIVITIES[_MEASURED[camera]]
        return np.maximum(spectra._on_grid(msds.wavelengths, msds.values, "zero"), 0.0)
    if camera in _GAUSSIAN:
        channels, (lobe_nm, lobe_width, lobe) = _GAUSSIAN[camera]
        columns = [
            np.exp(-0.5 * ((WL - p) / np.where(p > WL, below, above)) ** 2)
            for p, below, above in channels
        ]
        columns[0] = columns[0] + lobe * np.exp(-0.5 * ((WL - lobe_nm) / lobe_width) ** 2)
        return np.stack(columns, axis=1) * _filter()[:, None]
    mix = np.array(_OBSERVER_MIX[camera])
    bent = _filter(670.0, 18.0) if camera.endswith("bent") else _filter(710.0, 20.0)
    return np.maximum(spectra.observer() @ mix.T, 0.0) * bent[:, None]


@cache
def raw_weights(camera: str, light: str) -> np.ndarray:
    """(81, 3): reflectance @ weights is the balanced sensor signal, 1 for perfect white."""
    w = spectra.illuminant(light)[:, None] * sensitivities(camera)
    return w / w.sum(axis=0)


def raw_rgb(
    reflectance: np.ndarray, light: str, camera: str, wb_error: tuple[float, float] = (0.0, 0.0)
) -> np.ndarray:
    """Linear sensor signal (..., 3) of reflectances (..., 81), white-balanced.

    ``wb_error``: relative error of the red and blue gains (0.03: 3 % too much).
    """
    gains = np.array([1.0 + wb_error[0], 1.0, 1.0 + wb_error[1]])
    return np.asarray(reflectance) @ (raw_weights(camera, light) * gains)


#: The light whose matrix a camera takes: the nearest by colour temperature of the three that
#: makers calibrate for. Common practice, no source.
MATRIX_LIGHT = {
    "D65": "D65",
    "D50": "D50",
    "A": "A",
    "FL2": "D50",
    "LED-B3": "D50",
    "LED-V1": "A",
}


@cache
def colour_matrix(camera: str, light: str = "D65") -> np.ndarray:
    """(3, 3) sensor to linear sRGB, rows sum to 1 (white stays white).

    Least squares over the 99 samples of CIE 224:2017 and the 24-patch chart under ``light``:
    what a maker does with a training set.
    """
    train = np.concatenate([spectra.published_samples(), spectra.chart("ohta")])
    raw, target = raw_rgb(train, light, camera), spectra.linear_srgb(train)
    # With rows summing to 1 only the differences from green are free.
    x = raw[:, [0, 2]] - raw[:, [1]]
    rows = []
    for c in range(3):
        r, b = np.linalg.lstsq(x, target[:, c] - raw[:, 1], rcond=None)[0]
        rows.append([r, 1.0 - r - b, b])
    return np.array(rows)


# ---------------------------------------------------------------------------------------------
# Tone curves: coded value to coded value, 0..1, monotone, 0 and 1 stay
# ---------------------------------------------------------------------------------------------


def _s_curve(amount: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda c: c - amount * np.sin(2.0 * np.pi * c) / (2.0 * np.pi)


def _shoulder(c: np.ndarray) -> np.ndarray:
    return c * 1.28 / (1.0 + 0.28 * c)


def _film(c: np.ndarray) -> np.ndarray:
    """Strong contrast with a long shoulder: a Hill curve, eased so that black keeps a slope."""
    p = np.maximum(c, 0.0) ** 1.8
    return 0.8 * p * (1.0 + 0.45) / (p + 0.45) + 0.2 * c


TONES: Mapping[str, Callable[[np.ndarray], np.ndarray]] = {
    "none": lambda c: c,
    "soft s": _s_curve(0.18),
    "strong s": _s_curve(0.40),
    "shoulder": _shoulder,
    "film": _film,
    "lifted": lambda c: c**0.85,
    "flat": _s_curve(-0.20),
}


def encode(linear: np.ndarray, tone: str = "none") -> np.ndarray:
    """Coded values 0..1 of linear sRGB: clipped, sRGB curve, then the tone curve."""
    return TONES[tone](linear_to_srgb(np.clip(linear, 0.0, 1.0)))


def quantise(coded: np.ndarray) -> np.ndarray:
    """uint8 of coded 0..1."""
    return (np.clip(coded, 0.0, 1.0) * 255.0 + 0.5).astype(np.uint8)


def decode_plain(coded: np.ndarray) -> np.ndarray:
    """Linear light of coded 0..1 by the sRGB curve alone: what a measurement starts from."""
    return srgb_to_linear(coded)


# ---------------------------------------------------------------------------------------------
# One photo, as a patch simulator: no pictures, thousands of frames a second
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Shot:
    """Everything that makes one photo of given reflectances.

    ``exposure``: linear value of perfect white in even light before clipping. ``wb_error``: of
    the red and blue gain. ``gradient``: relative change of light over the frame from edge to
    edge; ``gradient_angle`` in radians. ``veil``: stray light as a share of perfect white.
    ``read_noise`` and ``full_well`` (electrons at 1): noise of one pixel; ``pixels``: how many
    are averaged in a patch, 1 for pictures.
    """

    camera: str = "phone wide"
    light: str = "D65"
    exposure: float = 0.92
    tone: str = "none"
    wb_error: tuple[float, float] = (0.0, 0.0)
    gradient: float = 0.0
    gradient_angle: float = 0.0
    veil: float = 0.0
    read_noise: float = 0.0
    full_well: float = float("inf")
    pixels: int = 1

    @property
    def matrix(self) -> np.ndarray:
        return colour_matrix(self.camera, MATRIX_LIGHT[self.light])

    def with_(self, **changes: object) -> Shot:
        return replace(self, **changes)  # type: ignore[arg-type]


def light_field(shot: Shot, positions: np.ndarray) -> np.ndarray:
    """(...,) relative light at positions (..., 2) in fractions of the frame; 1 at its middle."""
    axis = np.array([np.cos(shot.gradient_angle), np.sin(shot.gradient_angle)])
    return 1.0 + shot.gradient * ((np.asarray(positions) - 0.5) @ axis)


def add_noise(rng: np.random.Generator, signal: np.ndarray, shot: Shot) -> np.ndarray:
    """Shot and read noise on a sensor signal in which 1 is the full well."""
    if shot.read_noise == 0.0 and np.isinf(shot.full_well):
        return signal
    variance = (np.maximum(signal, 0.0) / shot.full_well + shot.read_noise**2) / shot.pixels
    return signal + rng.normal(size=signal.shape) * np.sqrt(variance)


def develop(signal: np.ndarray, shot: Shot) -> np.ndarray:
    """Coded values 0..1 (..., 3) of a balanced, exposed sensor signal: clip, 3x3, encode."""
    return encode(np.minimum(signal, 1.0) @ shot.matrix.T, shot.tone)


def simulate_frame(
    rng: np.random.Generator,
    shot: Shot,
    reflectances: np.ndarray,
    positions: np.ndarray | None = None,
) -> np.ndarray:
    """Coded values 0..1 (n, 3), not quantised, of n patches (n, 81) in one photo.

    ``positions``: (n, 2) fractions of the frame; random where ``None``. Undo with
    :func:`decode_plain` for the linear light that a measurement sees.
    """
    if positions is None:
        positions = rng.uniform(0.05, 0.95, size=(len(reflectances), 2))
    raw = raw_rgb(reflectances, shot.light, shot.camera, shot.wb_error)
    signal = shot.exposure * (light_field(shot, positions)[:, None] * raw + shot.veil)
    return develop(add_noise(rng, signal, shot), shot)


def random_shot(
    rng: np.random.Generator,
    cameras: tuple[str, ...] = CAMERAS,
    lights: tuple[str, ...] = spectra.LIGHTS,
    tones: tuple[str, ...] = tuple(TONES),
    max_gradient: float = 0.15,
) -> Shot:
    """A photo as people take them: any camera, light and curve, our own ranges.

    White-balance gains off by 4 % (one standard deviation), veil 0..2 %, patches of 2000 pixels.
    """
    return Shot(
        camera=str(rng.choice(cameras)),
        light=str(rng.choice(lights)),
        exposure=float(rng.uniform(0.75, 1.0)),
        tone=str(rng.choice(tones)),
        wb_error=(float(rng.normal(0, 0.04)), float(rng.normal(0, 0.04))),
        gradient=float(rng.uniform(0.0, max_gradient)),
        gradient_angle=float(rng.uniform(0.0, 2.0 * np.pi)),
        veil=float(rng.uniform(0.0, 0.02)),
        read_noise=0.003,
        full_well=5000.0,
        pixels=2000,
    )


def reshoot(rng: np.random.Generator, shot: Shot, locked: bool = False) -> Shot:
    """The same phone and light again: new exposure, balance and gradient unless ``locked``."""
    moved = replace(
        shot,
        gradient=float(np.clip(shot.gradient + rng.normal(0, 0.02), 0.0, 0.2)),
        gradient_angle=shot.gradient_angle + float(rng.normal(0, 0.2)),
        veil=float(np.clip(shot.veil + rng.normal(0, 0.002), 0.0, 0.03)),
    )
    if locked:
        return replace(moved, exposure=shot.exposure * float(np.exp(rng.normal(0, 0.01))))
    return replace(
        moved,
        exposure=float(rng.uniform(0.75, 1.0)),
        tone=str(rng.choice(list(TONES))),
        wb_error=(float(rng.normal(0, 0.04)), float(rng.normal(0, 0.04))),
    )
