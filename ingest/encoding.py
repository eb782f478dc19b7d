"""Colour encodings: known spaces, ITU-T H.273 code points, PNG gamma and chromaticities.

Numbers in, :class:`ingest.model.Encoding` out. A tag that cannot be honoured raises PhotoError
with what to do instead. ``coded`` is always the value in 0..1 of each pixel code, (levels,).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from ingest import colour
from ingest.colour import Floats
from ingest.errors import PhotoError
from ingest.model import Array, Encoding

Curve = Callable[[Floats], Floats]

SAVE_AGAIN = "save it as an RGB JPEG or PNG with the sRGB profile"

# Our choice: how near a matrix must be to a known space to be that space. The colorants of
# known profiles differ by 16-bit rounding and by which rounded D50 they used, under 0.0002.
MATRIX_TOLERANCE = 5e-4


def _adobe_curve(coded: Floats) -> Floats:
    return np.asarray(coded**colour.ADOBE_GAMMA)


#: The encodings known by name: curve and linear RGB to XYZ (D65).
SPACES: Mapping[str, tuple[Curve, Floats]] = {
    "sRGB": (colour.srgb_to_linear, colour.SRGB_TO_XYZ),
    "Display P3": (colour.srgb_to_linear, colour.DISPLAY_P3_TO_XYZ),
    "Adobe RGB (1998)": (_adobe_curve, colour.ADOBE_RGB_TO_XYZ),
}


def make_encoding(name: str, curves: Array, to_xyz: Floats) -> Encoding:
    """An Encoding with frozen arrays; ``curves`` (levels,) or (levels, 3), clipped to 0..1;
    ``to_xyz`` (3, 3)."""
    table = np.asarray(curves, dtype=float)
    if table.ndim == 1:
        table = np.repeat(table[:, None], 3, axis=1)
    table = np.clip(table, 0.0, 1.0).astype(np.float32)
    matrix = np.array(to_xyz, dtype=float)
    table.setflags(write=False)
    matrix.setflags(write=False)
    return Encoding(name, table, matrix)


def known_encoding(name: str, coded: Floats) -> Encoding:
    """The space ``name`` of :data:`SPACES` at the coded values (levels,) in 0..1."""
    curve, to_xyz = SPACES[name]
    return make_encoding(name, curve(coded), to_xyz)


HDR_TRANSFERS = {16: "PQ", 18: "HLG"}  # ITU-T H.273, table 3

# ITU-T H.273, table 2; all three have the D65 white.
_PRIMARIES = {
    1: ("sRGB", colour.SRGB_TO_XYZ),
    9: ("BT.2020", colour.primaries_to_xyz((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))),
    12: ("Display P3", colour.DISPLAY_P3_TO_XYZ),
}


def _bt709_curve(coded: Floats) -> Floats:
    # ITU-T H.273, table 3, transfer 1 undone (also 6, 14 and 15: the same function).
    a, b = 1.09929682680944, 0.018053968510807
    return np.where(coded < 4.5 * b, coded / 4.5, ((coded + a - 1.0) / a) ** (1 / 0.45))


_TRANSFERS: Mapping[int, tuple[str, Curve]] = {
    1: ("BT.709 curve", _bt709_curve),
    6: ("BT.709 curve", _bt709_curve),
    14: ("BT.709 curve", _bt709_curve),
    15: ("BT.709 curve", _bt709_curve),
    4: ("gamma 2.2", lambda coded: np.asarray(coded**2.2)),
    5: ("gamma 2.8", lambda coded: np.asarray(coded**2.8)),
    8: ("linear", lambda coded: coded),
    13: ("sRGB curve", colour.srgb_to_linear),
}


def hdr_error(transfer: int) -> PhotoError:
    """The error of an HDR picture, by its H.273 transfer characteristics, PQ's or HLG's."""
    return PhotoError(
        f"it is an HDR picture ({HDR_TRANSFERS[transfer]}); switch HDR off in the camera and "
        "photograph again"
    )


def refuse_hdr_transfer(transfer: int) -> None:
    """Raise PhotoError for PQ and HLG."""
    if transfer in HDR_TRANSFERS:
        raise hdr_error(transfer)


def code_point_encoding(primaries: int, transfer: int, coded: Floats) -> Encoding | None:
    """Encoding of H.273 code points; None where both are "unspecified" (2).

    Raises PhotoError for HDR transfers and for points that no photo needs.
    """
    refuse_hdr_transfer(transfer)
    if primaries == 2 and transfer == 2:
        return None
    primaries = 1 if primaries == 2 else primaries
    transfer = 13 if transfer == 2 else transfer
    if primaries not in _PRIMARIES or transfer not in _TRANSFERS:
        raise PhotoError(
            f"its colour tags (primaries {primaries}, transfer {transfer}) are not for photos "
            f"of known colour; {SAVE_AGAIN}"
        )
    name, to_xyz = _PRIMARIES[primaries]
    curve_name, curve = _TRANSFERS[transfer]
    if transfer == 13 and name in SPACES:
        return known_encoding(name, coded)
    return make_encoding(f"{name}, {curve_name}", curve(coded), to_xyz)


def gamma_encoding(
    gamma: float | None, chromaticities: tuple[float, ...] | None, coded: Floats
) -> Encoding | None:
    """Encoding of PNG's gAMA (file gamma, e.g. 0.45455) and cHRM (white, red, green, blue xy).

    Missing gamma means the sRGB curve, missing chromaticities mean sRGB's (PNG 3rd edition,
    11.3.2). None if neither is given. Raises :class:`PhotoError` for chromaticities that cannot be.
    """
    if gamma is None and chromaticities is None:
        return None
    to_xyz = colour.SRGB_TO_XYZ
    if chromaticities is not None:
        w, r, g, b = ((chromaticities[i], chromaticities[i + 1]) for i in (0, 2, 4, 6))
        try:
            native = colour.primaries_to_xyz(r, g, b, w)
            to_xyz = colour.bradford(colour.xy_to_xyz(w), colour.D65) @ native
        except (np.linalg.LinAlgError, ZeroDivisionError) as exc:
            raise PhotoError(f"its cHRM colour tag is absurd; {SAVE_AGAIN}") from exc
    if not np.isfinite(to_xyz).all() or np.abs(to_xyz).max() > 10.0:
        raise PhotoError(f"its cHRM colour tag is absurd; {SAVE_AGAIN}")
    if np.abs(to_xyz - colour.SRGB_TO_XYZ).max() < MATRIX_TOLERANCE:
        to_xyz = colour.SRGB_TO_XYZ
    curve = colour.srgb_to_linear(coded) if gamma is None else coded ** (1.0 / gamma)
    label = "sRGB curve" if gamma is None else f"gamma {1.0 / gamma:.3g}"
    return make_encoding(f"PNG colour tags, {label}", curve, to_xyz)
