"""The whole walk from a photo file to its measurements, one step a line."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ingest.colourless import colour_flag, refuse_black_and_white
from ingest.correct import correct
from ingest.correction import Correction
from ingest.decode import read_photo
from ingest.errors import IngestError
from ingest.exif import clean_text
from ingest.expected import unused_flag
from ingest.locate import marks_path, mm_per_px, read_marks
from ingest.measure import measure_region
from ingest.model import (
    Array,
    Encoding,
    Layout,
    Measurement,
    Photo,
    PhotoMeasurement,
    Settings,
    check_flags,
)
from ingest.raster import small_picture
from ingest.screen import XYZ_TO_SRGB, coded_8
from ingest.where import locate

#: Version of the method; it changes when the same photo would give other figures.
METHOD_VERSION = "6"


def measure_photo(
    path: str | os.PathLike[str],
    *,
    layout: Layout | None = None,
    settings: Settings | None = None,
) -> PhotoMeasurement:
    """Measure every swatch in a photo.

    ``layout``: where things are; without it the marks file beside the photo is read, and
    without that the picture is searched. Raises an :class:`IngestError` whose message is one
    line that begins with the file's name.
    """
    settings = settings or Settings()
    with _named(path):
        return measure_decoded(read_photo(path), layout or _layout_beside(Path(path)), settings)


def read_only(path: str | os.PathLike[str]) -> PhotoMeasurement:
    """A photo that is shown and never measured: what its file says, and its small picture."""
    with _named(path):
        photo = read_photo(path)
    return _result(photo, Layout(), None, ())


def prepare_file(
    path: str | os.PathLike[str],
    *,
    layout: Layout | None = None,
    settings: Settings | None = None,
) -> Prepared:
    """A photo file located and corrected but not measured; see :func:`measure_photo`."""
    with _named(path):
        return prepare(read_photo(path), layout or _layout_beside(Path(path)), settings)


def locate_file(
    path: str | os.PathLike[str],
    *,
    layout: Layout | None = None,
    settings: Settings | None = None,
) -> tuple[Photo, Layout]:
    """A photo file and where things are in it, for a person to see and correct."""
    with _named(path):
        photo = read_photo(path)
        return photo, locate(photo, layout or _layout_beside(Path(path)), settings or Settings())


@contextmanager
def _named(path: str | os.PathLike[str]) -> Iterator[None]:
    """Every error begins with the file's name."""
    try:
        yield
    except IngestError as error:
        name, said = clean_text(Path(path).name, 120), clean_text(str(error), 1000)
        raise type(error)(said if said.startswith(f"{name}:") else f"{name}: {said}") from error


@dataclass(frozen=True, eq=False)
class Prepared:
    """A photo with where things are in it and how it is corrected, ready to be measured."""

    photo: Photo
    layout: Layout
    correction: Correction


def prepare(photo: Photo, layout: Layout | None, settings: Settings | None = None) -> Prepared:
    """Locate and correct; the first half of :func:`measure_photo`."""
    settings = settings or Settings()
    refuse_black_and_white(photo)
    located = locate(photo, layout, settings)
    if not located.references and settings.search and not settings.allow_uncorrected:
        from ingest.search import refuse_mirrored

        refuse_mirrored(photo)
    occupied = [s.polygon for s in located.swatches]
    made = correct(photo, located.references, settings, occupied, located.surround)
    made = replace(made, flags=made.flags | colour_flag(photo) | unused_flag(located, settings))
    return Prepared(photo, located, made)


def measure_decoded(
    photo: Photo, layout: Layout | None, settings: Settings | None = None
) -> PhotoMeasurement:
    """Measure an already decoded photo; see :func:`measure_photo`."""
    settings = settings or Settings()
    ready = prepare(photo, layout, settings)
    located, correction = ready.layout, ready.correction
    swatches = tuple(
        _measure(photo, located, i, correction, settings) for i in range(len(located.swatches))
    )
    return _result(photo, located, correction, swatches)


def _result(
    photo: Photo,
    layout: Layout,
    correction: Correction | None,
    swatches: tuple[Measurement, ...],
) -> PhotoMeasurement:
    flags = photo.flags | layout.flags | (correction.flags if correction else frozenset())
    return PhotoMeasurement(
        path=photo.path,
        sha256=photo.sha256,
        width=photo.width,
        height=photo.height,
        format=photo.format,
        encoding=photo.encoding.name,
        taken_at=photo.taken_at,
        camera=photo.camera,
        layout=layout,
        references=correction.readings if correction else (),
        swatches=swatches,
        flags=check_flags(flags),
        steps=correction.steps if correction else (),
        version=METHOD_VERSION,
        preview=preview(photo),
    )


def preview(photo: Photo) -> Array:
    """uint8 sRGB (h, w, 3) of the picture, long side 640 or less, upright."""
    small = small_picture(photo)
    return to_srgb(small, photo.encoding)


def to_srgb(pixels: Array, encoding: Encoding) -> Array:
    """uint8 sRGB of coded pixels (h, w, 3); colours outside sRGB are cut at its edge."""
    if encoding.name == "sRGB" and pixels.dtype == np.uint8:
        return pixels
    linear = np.stack([encoding.curve[:, c][pixels[..., c]] for c in range(3)], axis=-1)
    rgb = linear @ (XYZ_TO_SRGB @ encoding.to_xyz).T
    return coded_8(rgb)


def _measure(
    photo: Photo,
    layout: Layout,
    index: int,
    correction: Correction,
    settings: Settings,
) -> Measurement:
    swatch = layout.swatches[index]
    scale = mm_per_px(layout, swatch, photo.width, photo.height)
    found = measure_region(photo, swatch, correction, settings, scale)
    return replace(found, flags=check_flags(found.flags | photo.flags))


def _layout_beside(path: Path) -> Layout | None:
    marks = marks_path(path)
    return read_marks(marks) if marks.is_file() else None
